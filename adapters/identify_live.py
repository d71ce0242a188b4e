"""The live side of the guided talk: the terminal, and the packets as they come in beside it."""

from __future__ import annotations

import sys
import time

import msgspec

from adapters.identify_format import FormatGuess, guess_formats
from adapters.identify_steps import Window
from adapters.identify_table import make_table
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
        columns = make_table(self._guess.records(inside[:4000])).columns
        moving = [str(field) for field, x in columns.items() if len(x) and x.max() != x.min()]
        shown = ", ".join(moving[:12]) + (f" and {len(moving) - 12} more" if len(moving) > 12 else "")
        return [f"{len(inside)} packets ({self._guess.words}); changing: {shown or 'no field'}"]
