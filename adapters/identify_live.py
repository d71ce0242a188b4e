"""The live side of the guided talk: the terminal, and the packets as they come in beside it."""

from __future__ import annotations

import sys
import time

import msgspec
import numpy as np

from adapters.identify_format import FormatGuess, guess_formats
from adapters.identify_steps import Window
from adapters.identify_table import Field, Floats, make_table
from adapters.ports import Packet
from adapters.watch_receive import Receiver


class Terminal:
    """Talks over standard error and standard input. Lines are typed in the terminal's own mode: none is to restore."""

    def __init__(self, start_ns: int) -> None:
        """start_ns: where the stream's time begins."""
        self._start_ns = start_ns

    def ask(self, text: str) -> str:
        """Show a prompt and give the line typed. Raises EOFError at the end of the input."""
        print(text, end="", file=sys.stderr, flush=True)
        line = sys.stdin.readline()
        if not line:
            raise EOFError
        if not sys.stdin.isatty():
            print(file=sys.stderr)
        return line

    def tell(self, text: str) -> None:
        """Show a line."""
        print(text, file=sys.stderr, flush=True)

    def wait(self, seconds: float) -> None:
        """Sleep."""
        time.sleep(seconds)

    def now_s(self) -> float:
        """Seconds since the stream's time began."""
        return (time.monotonic_ns() - self._start_ns) / 1e9


class Stream:
    """The packets so far, and what can be said of a step just made."""

    def __init__(self, receiver: Receiver, start_ns: int) -> None:
        """Nothing taken yet."""
        self.packets: list[Packet] = []
        self._receiver = receiver
        self._start_ns = start_ns
        self._guess: FormatGuess | None = None
        self._usual: dict[Field, float] = {}

    def gather(self) -> None:
        """Take what has come, its time counted from the start of the talk."""
        for packet in self._receiver.take(0):
            self.packets.append(msgspec.structs.replace(packet, arrival_ns=packet.arrival_ns - self._start_ns))

    def remark(self, window: Window) -> list[str]:
        """Which fields moved in a step, and how many packets it had."""
        self.gather()
        arrived = ((packet.arrival_ns / 1e9, packet.payload) for packet in self.packets)
        inside = [(at_s, payload) for at_s, payload in arrived if window.from_s <= at_s <= window.to_s]
        if not inside:
            return ["no packets came in this step; is the simulator sending?"]
        if self._guess is None:
            self._guess = next((g for g in guess_formats([payload for _, payload in inside]) if g.usable), None)
            if self._guess is None:
                return [f"{len(inside)} packets, in no format known here"]
        swings = {f: swing(x) for f, x in make_table(self._guess.records(inside[:4000])).columns.items()}
        said = f"{len(inside)} packets ({self._guess.words}); "
        if not self._usual:
            self._usual = swings
            changing = sum(x > 0 for x in swings.values())
            return [f"{said}{len(swings)} fields, {changing} of them changing"]
        return [said + self._moved(swings)]

    def _moved(self, swings: dict[Field, float]) -> str:
        """The fields that moved much more than in the first step, the most first."""
        more = {f: x / max(self._usual.get(f, 0.0), 1e-9) for f, x in swings.items() if x > 3 * self._usual.get(f, 0.0)}
        if not more:
            return "no field moved more than at first"
        ordered = sorted(more, key=lambda field: -more[field])
        left = f" and {len(ordered) - 10} more" if len(ordered) > 10 else ""
        return f"moved: {', '.join(map(str, ordered[:10]))}{left}"


def swing(x: Floats) -> float:
    """Highest less lowest of what is known."""
    known = x[np.isfinite(x)]
    return float(np.ptp(known)) if len(known) else 0.0
