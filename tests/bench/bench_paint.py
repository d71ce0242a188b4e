"""What the dashboard costs the caller: `python -m tests.bench.bench_paint [seconds]`. POSIX, for its pseudo-terminal.

One loop at 200 turns a second makes a snapshot and shows it, in short alternating stretches with the painter on and
with no screen at all, so that both meet the same machine. Two figures of each: the call to `show` itself, and how late
each turn was against its time, which is what the coach would feel. A reader in a process of its own empties the
terminal, as a terminal program does.
"""

from __future__ import annotations

import os
import pty
import subprocess
import sys
import time
from collections.abc import Callable

from msgspec.structs import replace

from adapters.terminal import Dashboard
from monitor.snapshot import Snapshot
from tests.screen_scenes import AROUND, ROLL

TURN_NS = 5_000_000
STRETCH = 400
READER = "import os, sys\nwhile os.read(0, 65536): pass"


def _nothing(_shot: Snapshot) -> None:
    """No screen."""


def _stretch(show: Callable[[Snapshot], None]) -> tuple[list[int], list[int]]:
    """Nanoseconds of each call, and nanoseconds each turn was late."""
    calls, late = [], []
    due = time.monotonic_ns() + TURN_NS
    for index in range(STRETCH):
        time.sleep(max(0, due - time.monotonic_ns()) / 1e9)
        late.append(time.monotonic_ns() - due)
        shot = replace(ROLL, t_s=index / 200, ias_kt=index / 8)
        begun = time.perf_counter_ns()
        show(shot)
        calls.append(time.perf_counter_ns() - begun)
        due = max(due + TURN_NS, time.monotonic_ns())
    return calls, late


def _marker_delays(board: Dashboard) -> list[int]:
    """Nanoseconds from `show` of a marked snapshot to the flush of its frame, at 60 snapshots a second."""
    begun: dict[str, int] = {}
    for index in range(360):
        if index % 6 == 0:
            marker = f"marker {index}"
            board.mark(marker)
            begun[marker] = time.monotonic_ns()
        board.show(replace(ROLL, t_s=index / 60, ias_kt=index / 8))
        time.sleep(1 / 60)
    time.sleep(0.5)
    shown = {marker: board.frame_shown(marker) for marker in begun}
    missing = [marker for marker, at in shown.items() if at is None]
    if missing:
        raise SystemExit(f"never shown: {missing}")
    return [at - begun[marker] for marker, at in shown.items() if at is not None]


def _row(name: str, values: list[int]) -> str:
    values = sorted(values)
    picks = [values[min(len(values) - 1, int(len(values) * part))] / 1e3 for part in (0.5, 0.99, 0.999)]
    return f"{name:<28} {picks[0]:>9.1f} {picks[1]:>9.1f} {picks[2]:>9.1f}"


def main() -> None:
    """Run both, alternating, and print microseconds: median, p99, p99.9."""
    stretches = max(2, int(float(sys.argv[1]) / 4) if len(sys.argv) > 1 else 6)
    os.environ["TERM"] = "xterm-256color"
    master, slave = pty.openpty()
    reader = subprocess.Popen([sys.executable, "-c", READER], stdin=master)
    board = Dashboard(AROUND, os.fdopen(slave, "w", encoding="utf-8"))
    why = board.start()
    if why is not None:
        raise SystemExit(why)
    time.sleep(1)
    results: dict[str, tuple[list[int], list[int]]] = {"painter on": ([], []), "no screen": ([], [])}
    for _ in range(stretches):
        for name, show in (("painter on", board.show), ("no screen", _nothing)):
            for kept, new in zip(results[name], _stretch(show), strict=True):
                kept.extend(new)
    delays = _marker_delays(board)
    board.close()
    reader.terminate()
    print(f"{'microseconds':<28} {'median':>9} {'p99':>9} {'p99.9':>9}")
    for name, (calls, late) in results.items():
        print(_row(f"{name}: call to show", calls))
        print(_row(f"{name}: turn late by", late))
    print(_row("marker to flushed frame", delays))


if __name__ == "__main__":
    main()
