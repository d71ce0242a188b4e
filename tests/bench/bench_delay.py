"""What outputs cost the coach: `python -m tests.bench.bench_delay [seconds]`. POSIX, for its pseudo-terminal.

A process of its own sends the trainer's packets over UDP at 200 Hz and notes when each went out (the monotonic clock
is one for all processes). Here the real loop receives them, and the moment the coach is given each sample is noted.
The delay between the two is taken with nothing switched on, with JSON lines and a recording, and with the dashboard,
the voice and a recording, in short alternating stretches, so that all meet the same machine.
"""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from adapters.feed import load_feed, make_source
from adapters.library import open_aircraft, open_procedure
from adapters.live import Live, no_record
from adapters.outputs import JsonLines, Output, Outputs, Queued
from adapters.session import CoachLike, Session, real_coach
from adapters.terminal import Dashboard
from adapters.voice import VoiceSettings, make_voice
from monitor.aircraft import Aircraft
from monitor.events import Event
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.sample import Sample
from replay.recording import Recorder
from replay.trainer_feed import feed_text
from tests.trainer_packets import AIRCRAFT_NAME, free_port, packets

RATE_HZ = 200.0
STRETCH = 800
SENDER = """
import json, socket, sys, time
port, rate, lines = int(sys.argv[1]), float(sys.argv[2]), json.load(open(sys.argv[3]))
sock, sent, due = socket.socket(socket.AF_INET, socket.SOCK_DGRAM), [], time.monotonic()
for line in lines:
    due += 1 / rate
    time.sleep(max(0.0, due - time.monotonic()))
    sent.append(time.monotonic_ns())
    sock.sendto(line.encode(), ("127.0.0.1", port))
print(json.dumps(sent))
"""
READER = "import os, sys\ntry:\n    while os.read(0, 65536): pass\nexcept OSError: pass"


class TimedCoach:
    """The coach, with the moment noted at which it is given each sample."""

    def __init__(self, coach: CoachLike, given_ns: list[int]) -> None:
        """Note into `given_ns`."""
        self._coach, self._given_ns = coach, given_ns
        self.tick, self.end, self.snapshot = coach.tick, coach.end, coach.snapshot
        self.next_deadline, self.set_voice_latency = coach.next_deadline, coach.set_voice_latency

    def feed(self, sample: Sample, arrival_s: float) -> list[Event]:
        """Note, and pass on."""
        self._given_ns.append(time.monotonic_ns())
        return self._coach.feed(sample, arrival_s)


@contextmanager
def _nothing(_folder: Path) -> Iterator[tuple[list[Output], object]]:
    yield [], no_record


@contextmanager
def _lines(folder: Path) -> Iterator[tuple[list[Output], object]]:
    with Path(os.devnull).open("wb") as sink:
        recorder = Recorder(folder / f"{time.monotonic_ns()}.climbout", {"feed": ""}, print)
        yield [Queued(JsonLines(sink))], recorder.record
        recorder.close()


@contextmanager
def _screen(folder: Path) -> Iterator[tuple[list[Output], object]]:
    master, slave = pty.openpty()
    reader = subprocess.Popen([sys.executable, "-c", READER], stdin=master)
    recorder = Recorder(folder / f"{time.monotonic_ns()}.climbout", {"feed": ""}, print)
    settings = VoiceSettings(device="null", cache_dir=folder / "voice")
    voice = make_voice(["Rotate", "Clock", "Airspeed alive", "Power set, green"], settings)
    with os.fdopen(slave, "w", encoding="utf-8") as terminal:
        yield [voice, Dashboard(stream=terminal)], recorder.record
    recorder.close()
    reader.kill()
    reader.wait()
    os.close(master)


WAYS = {"nothing on": _nothing, "lines, recording": _lines, "dashboard, voice, recording": _screen}


def _stretch(way: Callable[[Path], object], folder: Path, lines_file: Path, count: int) -> list[int]:
    """The delays of one stretch, in nanoseconds."""
    port, given_ns = free_port(), list[int]()
    feed = load_feed(feed_text().replace("port = 5501", f"port = {port}"), "feed")

    def coach(aircraft: Aircraft, procedure: Procedure, options: Options) -> CoachLike:
        return TimedCoach(real_coach(aircraft, procedure, options), given_ns)

    session = Session(feed, open_aircraft(AIRCRAFT_NAME), open_procedure("normal"), Options(), make_coach=coach)
    with ExitStack() as stack:
        outputs_of, record = stack.enter_context(way(folder))  # type: ignore[arg-type]
        source = make_source(feed)
        stack.callback(source.close)
        outputs = Outputs(outputs_of, lambda line: None)
        outputs.start()
        stack.callback(outputs.close)
        time.sleep(0.5)
        command = [sys.executable, "-c", SENDER, str(port), str(RATE_HZ), str(lines_file)]
        sender = subprocess.Popen(command, stdout=subprocess.PIPE)
        until = time.monotonic() + 10 + count / RATE_HZ
        Live(source, session, outputs, record=record).run(  # type: ignore[arg-type]
            lambda: len(given_ns) >= count or time.monotonic() > until
        )
        sent_ns = json.loads(sender.communicate()[0])
    if len(given_ns) != len(sent_ns):
        raise SystemExit(f"{len(sent_ns) - len(given_ns)} packets lost")
    return [given - sent for given, sent in zip(given_ns, sent_ns, strict=True)]


def _row(name: str, values: list[int]) -> str:
    values = sorted(values)
    picks = [values[min(len(values) - 1, int(len(values) * part))] / 1e3 for part in (0.5, 0.99, 0.999)]
    return f"{name:<28} {picks[0]:>9.0f} {picks[1]:>9.0f} {picks[2]:>9.0f}"


def main() -> None:
    """Run all ways, alternating, and print microseconds: median, p99, p99.9."""
    os.environ["TERM"] = "xterm-256color"
    rounds = max(1, int(float(sys.argv[1]) / (len(WAYS) * STRETCH / RATE_HZ)) if len(sys.argv) > 1 else 3)
    lines = [line.decode() for _, line in packets(RATE_HZ / 6, 6 * STRETCH / RATE_HZ + 1)][:STRETCH]
    delays: dict[str, list[int]] = {name: [] for name in WAYS}
    with tempfile.TemporaryDirectory() as name:
        lines_file = Path(name) / "lines.json"
        lines_file.write_text(json.dumps(lines))
        for _ in range(rounds):
            for way, make in WAYS.items():
                delays[way] += _stretch(make, Path(name), lines_file, len(lines))
    print(f"send to coach at {RATE_HZ:g} Hz, {rounds * len(lines)} packets each, microseconds")
    print(f"{'':<28} {'median':>9} {'p99':>9} {'p99.9':>9}")
    for way, values in delays.items():
        print(_row(way, values))


if __name__ == "__main__":
    main()
