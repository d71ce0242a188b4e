"""Rows of spans onto a terminal: roles become styles, and only the rows that changed are written.

A frame goes out in one write, rows are overwritten in place and never cleared first, so nothing flickers; terminals
that know synchronized updates (mode 2026; others ignore it) show it as a whole.
"""

from __future__ import annotations

import os
from typing import TextIO

from rich.console import Console
from rich.style import Style
from rich.text import Text

from monitor.spans import ASCII, UNICODE, Glyphs, Line, length

ENTER = "\x1b[?1049h\x1b[?25l\x1b[?7l\x1b[2J"
"""Alternate screen, cursor hidden, no wrapping at the right edge, cleared."""
LEAVE = "\x1b[0m\x1b[?2026l\x1b[?7h\x1b[?25h\x1b[?1049l"
"""All of it undone; harmless when it was never done."""

COLOURS = {
    "plain": "",
    "dim": "dim",
    "strong": "bold",
    "title": "bold",
    "caption": "bold",
    "green": "green",
    "warning": "bold white on red",
    "caution": "bold black on yellow",
    "advisory": "bold black on cyan",
    "limit": "bold red",
    "arc": "yellow",
}
"""Roles to styles by 14 CFR 25.1322(e)(1) (warning red, caution amber or yellow, advisory neither red nor green) and
25.1549 (green arc, yellow arc, red line). Text on a ground, so that they read on dark and light terminals alike."""

NO_COLOURS = {
    "warning": "bold reverse",
    "caution": "bold underline",
    "advisory": "underline",
    "green": "",
    "limit": "bold",
    "arc": "",
}
"""The same where colours are not wanted (the NO_COLOR convention) or not to be had."""


def glyphs_for(encoding: str | None) -> Glyphs:
    """The drawing signs that the terminal's encoding has."""
    return UNICODE if (encoding or "").lower().replace("-", "").replace("_", "") == "utf8" else ASCII


def write_all(stream: TextIO, text: str) -> None:
    """Write and flush; a sign that the encoding lacks becomes "?"."""
    encoding = stream.encoding or "ascii"
    stream.write(text.encode(encoding, "replace").decode(encoding))
    stream.flush()


class Canvas:
    """One terminal that frames are painted on. Not for threads."""

    def __init__(self, stream: TextIO) -> None:
        """`stream`: text going to a terminal. NO_COLOR, TERM and COLORTERM are honoured, through rich."""
        self._stream = stream
        self._console = Console(file=stream, force_terminal=True, highlight=False, markup=False, width=10_000)
        coloured = self._console.color_system is not None and not self._console.no_color
        table = COLOURS if coloured else {**COLOURS, **NO_COLOURS}
        self._styles = {role: Style.parse(text) if text else Style.null() for role, text in table.items()}
        self.glyphs = glyphs_for(stream.encoding)
        self._size = (0, 0)
        self._shown: list[Line] = []

    def size(self) -> tuple[int, int]:
        """Columns and rows of the terminal now; 80 by 24 when it does not tell."""
        try:
            size = os.get_terminal_size(self._stream.fileno())
        except (OSError, ValueError):
            return 80, 24
        return (size.columns or 80), (size.lines or 24)

    def forget(self) -> None:
        """The terminal's content is not known any more: the next paint writes every row."""
        self._shown = []

    def enter(self) -> None:
        """Take over the terminal."""
        self.forget()
        write_all(self._stream, ENTER)

    def leave(self) -> None:
        """Give the terminal back as it was."""
        write_all(self._stream, LEAVE)

    def _row(self, line: Line) -> str:
        text = Text.assemble(*((span.text, self._styles.get(span.role, Style.null())) for span in line))
        with self._console.capture() as captured:
            self._console.print(text, end="", soft_wrap=True)
        return captured.get()

    def _rest(self, line: Line) -> str:
        """Erase to the right edge; not after a full row, where that would take its last sign away."""
        return "\x1b[0m\x1b[K" if length(line) < self._size[0] else "\x1b[0m"

    def paint(self, lines: list[Line], size: tuple[int, int]) -> int:
        """Write the rows that differ from what is shown; the number of rows written."""
        if size != self._size:
            self._size, self._shown = size, []
        fresh = not self._shown
        old = self._shown
        changed = [index for index, line in enumerate(lines) if index >= len(old) or line != old[index]]
        rows = [f"\x1b[{index + 1};1H{self._row(lines[index])}{self._rest(lines[index])}" for index in changed]
        if rows:
            clear = "\x1b[2J" if fresh else ""
            write_all(self._stream, f"\x1b[?2026h{clear}{''.join(rows)}\x1b[?2026l")
        self._shown = list(lines)
        return len(changed)
