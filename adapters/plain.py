"""Plain lines: one line an event, for an output that is no terminal, and when there is no dashboard."""

from __future__ import annotations

import sys
from typing import TextIO

from adapters.canvas import write_all
from monitor.events import Event
from monitor.snapshot import Snapshot
from monitor.spans import clean

LEVELS = ("quiet", "normal", "all")
"""How much is printed: "quiet" only what is spoken and every alert; "normal" phases, silent calls and the feed as well;
"all" also checks that are in order and silent advisories."""

_ALERTS = {"warning": "WARNING", "caution": "CAUTION", "advisory": "advisory"}


def importance(event: Event) -> int:
    """2 spoken or an alert, 1 worth a line, 0 only for who wants all."""
    if event.say is not None or event.kind in ("warning", "caution"):
        return 2
    if event.kind == "advisory" or (event.kind == "check" and event.more.get("state") == "ok"):
        return 0
    return 1


def words(event: Event) -> str:
    """The event in words: what is said as it is said, what is silent in brackets."""
    name = event.id.replace("-", " ").replace(".", ": ")
    if event.kind == "phase":
        return f"-- {name}"
    if event.kind in ("feed", "drill"):
        return f"{event.kind}: {name}{_detail(event)}" if event.say is None else event.say
    if event.kind in _ALERTS:
        reason = (event.reason or event.id).replace("-", " ")
        label = f"{_ALERTS[event.kind]} {name}" + (f" ({reason})" if event.reason and reason != name else "")
        return f"{label}: {event.say}" if event.say else f"[{label}]"
    if event.kind == "check":
        return event.say or f"[{name}: {event.more.get('state', '')}]"
    return event.say or f"[{name}]"


def _detail(event: Event) -> str:
    """What a feed or drill event adds, as "name value"."""
    parts = [f"{key} {value}" for key, value in event.more.items() if isinstance(value, (str, int, float))]
    return f" ({', '.join(parts)})" if parts else ""


def _number(value: float | None, unit: str, decimals: int) -> str:
    return " " * (8 if decimals else 9) if value is None else f"{round(value, decimals) + 0.0:>5.{decimals}f} {unit}"


def line(event: Event) -> str:
    """One aligned line: time, phase, airspeed, height, words."""
    stamp = " " * 9 if event.t_s is None else f"{event.t_s:>7.1f} s"
    speed = " " * 8 if event.ias_kt is None else f"{event.ias_kt + 0.0:>5.1f} kt"
    height = " " * 8 if event.height_ft is None else f"{round(event.height_ft) + 0:>5d} ft"
    return f"{stamp}  {event.phase or '':<17} {speed} {height}  {words(event)}".rstrip()


def notice_line(text: str) -> str:
    """A line for a person that is no event, set apart from the events."""
    return f"         -  {text}"


class PlainLines:
    """An output that prints events as they come. A line takes microseconds; who reads slowly is the fan-out's care."""

    def __init__(self, stream: TextIO | None = None, level: str = "normal") -> None:
        """`stream`: standard output unless given. `level`: one of `LEVELS`."""
        self._stream = sys.stdout if stream is None else stream
        self._least = {"quiet": 2, "normal": 1, "all": 0}[level]
        self._off: tuple[str, ...] = ()

    def start(self) -> str | None:
        """Nothing to say: the lines speak for themselves."""
        return None

    def event(self, event: Event) -> None:
        """Print the event, if it is important enough."""
        if importance(event) >= self._least:
            self.print(line(event))

    def notice(self, text: str) -> None:
        """Print a line that is no event: something about the feed, the voice, the recording."""
        self.print(notice_line(text))

    def show(self, snapshot: Snapshot) -> None:
        """Print which checks are off, when that is new; the rest of a snapshot is for screens."""
        if snapshot.off != self._off:
            self._off = snapshot.off
            for each in snapshot.off:
                self.notice(f"off: {each}")

    def close(self) -> None:
        """Nothing is held back."""

    def print(self, text: str) -> None:
        """Print a line, whatever it is; nothing in it can move the cursor."""
        write_all(self._stream, clean(text) + "\n")
