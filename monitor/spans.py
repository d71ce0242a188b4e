"""Pieces of text with a role, and the arithmetic that keeps a line of them within the screen's width.

A role says what a piece is for ("warning", "dim"); what colour that becomes is the painter's. Words come from files
and feeds that others write, so `clean` lets nothing through that could move the cursor or upset the alignment.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from functools import lru_cache

import msgspec

ROLES = ("plain", "dim", "strong", "title", "caption", "green", "warning", "caution", "advisory", "limit", "arc")
"""Every role. 14 CFR 25.1322(e)(1): warning red, caution amber or yellow, advisory any colour but red or green.
"limit" is an instrument's red line, "arc" its yellow arc, "green" its normal range (14 CFR 25.1549); 25.1322(f) keeps
those colours from other uses, so no role for decoration has one."""


class Span(msgspec.Struct, frozen=True):
    """A piece of one line: its text and its role, one of `ROLES`."""

    text: str
    role: str = "plain"


Line = tuple[Span, ...]
"""One row of the screen."""


class Glyphs(msgspec.Struct, frozen=True):
    """The signs the screen is drawn with. halves: rows may be drawn as two half rows (upper, lower, full)."""

    full: str = "█"
    upper: str = "▀"
    lower: str = "▄"
    rule: str = "─"
    scale: str = "─"
    arc: str = "━"
    limit: str = "┃"
    pointer: str = "█"
    degree: str = "°"
    ellipsis: str = "…"
    halves: bool = True
    ascii: bool = False


UNICODE = Glyphs()
ASCII = Glyphs("#", "#", "#", "-", ".", "=", "|", "#", "", "~", False, True)
"""For a terminal whose encoding is not UTF-8."""


def _cells(char: str) -> int:
    if unicodedata.category(char) in ("Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


_ASCII_FOR = {"\N{DEGREE SIGN}": "", "\N{EN DASH}": "-", "\N{EM DASH}": "-", "\N{RIGHT SINGLE QUOTATION MARK}": "'"}


_UNCERTAIN = (
    (0x1160, 0x11FF), (0xD7B0, 0xD7FF), (0x3164, 0x3164), (0xFFA0, 0xFFA0),  # parts of Korean syllables, and fillers
    (0x2630, 0x2637), (0x268A, 0x268F), (0x4DC0, 0x4DFF), (0x1D300, 0x1D37F),  # wide since Unicode 16 only
    (0xFE00, 0xFE0F),  # variation selectors change their neighbour's width
)  # fmt: skip
"""Signs that take one column or another by the terminal and its Unicode version, as emoji (from 0x1F000 on) do."""


def _plain(char: str, ascii_only: bool) -> str:
    """The character as it may be shown: control, private and joining ones become "?", spaces become a space."""
    if " " <= char <= "~":
        return char
    if char.isspace():
        return " "
    if ascii_only:
        return "" if unicodedata.combining(char) else _ASCII_FOR.get(char, "?")
    if unicodedata.category(char)[0] == "C" or unicodedata.category(char) == "Mc" or not char.isprintable():
        return "?"
    uncertain = ord(char) >= 0x1F000 or unicodedata.category(char) == "Me"
    return "?" if uncertain or any(first <= ord(char) <= last for first, last in _UNCERTAIN) else char


@lru_cache(maxsize=4096)
def clean(text: str, ascii_only: bool = False) -> str:
    """The text with nothing in it that could move the cursor, and no sign of uncertain width."""
    normal = unicodedata.normalize("NFKD", text) if ascii_only else unicodedata.normalize("NFC", text)
    return "".join(_plain(char, ascii_only) for char in normal)


@lru_cache(maxsize=4096)
def cells(text: str) -> int:
    """How many columns a cleaned text takes."""
    return sum(map(_cells, text))


def crop(text: str, width: int, ellipsis: str = "…") -> str:
    """The text in at most `width` columns, its cut end marked."""
    if cells(text) <= width:
        return text
    room, kept = width - cells(ellipsis), ""
    for char in text:
        room -= _cells(char)
        if room < 0:
            break
        kept += char
    return kept + ellipsis if width >= cells(ellipsis) else ""


def length(line: Sequence[Span]) -> int:
    """How many columns a line takes."""
    return sum(cells(span.text) for span in line)


def fit(line: Sequence[Span], width: int, glyphs: Glyphs = UNICODE) -> Line:
    """The line in at most `width` columns, every text cleaned; what does not fit is cut and marked so."""
    kept: list[Span] = []
    room = max(0, width)
    for span in line:
        text = crop(clean(span.text, glyphs.ascii), room, glyphs.ellipsis)
        kept.append(Span(text, span.role))
        room -= cells(text)
        if text != clean(span.text, glyphs.ascii):
            break
    return tuple(span for span in kept if span.text)


def pad(line: Sequence[Span], width: int, role: str = "plain", glyphs: Glyphs = UNICODE) -> Line:
    """The line in exactly `width` columns."""
    fitted = fit(line, width, glyphs)
    gap = width - length(fitted)
    return (*fitted, Span(" " * gap, role)) if gap > 0 else fitted


def two_ends(left: Sequence[Span], right: Sequence[Span], width: int, role: str, glyphs: Glyphs) -> Line:
    """`left` at the left edge and `right` at the right one; the left gives way when there is no room for both."""
    tail = fit(right, width, glyphs)
    room = width - length(tail) - (2 if tail else 0)
    return (*pad(fit(left, room, glyphs), width - length(tail), role, glyphs), *tail)


def beside(left: Sequence[Line], right: Sequence[Line], at: int, width: int, glyphs: Glyphs) -> list[Line]:
    """Two blocks side by side, the right one beginning in column `at`; as many rows as the taller one."""
    rows = max(len(left), len(right))
    lines: list[Line] = []
    for row in range(rows):
        begin = pad(left[row] if row < len(left) else (), at, "plain", glyphs)
        lines.append((*begin, *fit(right[row] if row < len(right) else (), width - at, glyphs)))
    return lines
