"""Counted notices: what is wrong with a feed is told when it first happens, then at each power of ten."""

from __future__ import annotations

MOST_KINDS = 500
"""Kinds of trouble counted apart; more come together under one. Bounds the memory a hostile sender can take."""
MOST_WAITING = 100
"""Notices kept until someone takes them."""
TEXT_SHOWN = 40


class Tally:
    """The notices of one sender's packets. `where` and `source` begin each line; `packets` is the number of packets."""

    def __init__(self, where: str, source: str = "") -> None:
        """Start at packet 0 with nothing to tell."""
        self.packets = 0
        self.counts: dict[str, int] = {}
        self._prefix = f"{where}, {source}" if source else where
        self._waiting: list[str] = []

    def note(self, kind: str, text: str, result: str = "") -> None:
        """Count one more of `kind`; tell it when its count is 1 to 3 or a power of ten.

        text: "ias_kt (field "v"): got "abc", wanted a number in m/s"; result: what happens now ("value not used").
        """
        if kind not in self.counts and len(self.counts) >= MOST_KINDS:
            kind = "other"
        count = self.counts[kind] = self.counts.get(kind, 0) + 1
        if count <= 3 or str(count).strip("0") == "1":
            self._tell(f"{text}; {result} ({count:,} of {self.packets:,})" if result else text)

    def once(self, kind: str, text: str) -> None:
        """Tell this the first time only."""
        if kind not in self.counts and len(self.counts) < MOST_KINDS:
            self.counts[kind] = 1
            self._tell(text)

    def _tell(self, text: str) -> None:
        if len(self._waiting) < MOST_WAITING:
            self._waiting.append(f"{self._prefix}, packet {self.packets}: {text}")

    def take(self) -> list[str]:
        """The notices since the last call."""
        taken, self._waiting = self._waiting, []
        return taken


def shown(value: object) -> str:
    """A raw value for a notice: text in quotes, cut short, nothing unprintable."""
    if isinstance(value, str):
        cut = value if len(value) <= TEXT_SHOWN else value[: TEXT_SHOWN - 3] + "..."
        return '"' + "".join(c if c.isprintable() else "?" for c in cut) + '"'
    if value is None:
        return "nothing"
    return f"{value:g}" if isinstance(value, float) else str(value)[:TEXT_SHOWN]
