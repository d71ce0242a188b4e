"""Large letters and digits of our own, five dots high, for what must be readable from two metres.

A dot is `scale` columns wide and `scale` half rows high, so it is about square: a row of a terminal is about twice as
high as wide (common practice, no source). Without half blocks a dot is one whole row high at the least.
"""

from __future__ import annotations

from functools import lru_cache

from monitor.spans import Glyphs

_DOTS = {
    " ": "..|..|..|..|..",
    "0": "###|#.#|#.#|#.#|###",
    "1": ".#.|##.|.#.|.#.|###",
    "2": "###|..#|###|#..|###",
    "3": "###|..#|.##|..#|###",
    "4": "#.#|#.#|###|..#|..#",
    "5": "###|#..|###|..#|###",
    "6": "###|#..|###|#.#|###",
    "7": "###|..#|..#|..#|..#",
    "8": "###|#.#|###|#.#|###",
    "9": "###|#.#|###|..#|###",
    "A": ".##.|#..#|####|#..#|#..#",
    "B": "###.|#..#|###.|#..#|###.",
    "C": ".###|#...|#...|#...|.###",
    "D": "###.|#..#|#..#|#..#|###.",
    "E": "###|#..|##.|#..|###",
    "F": "###|#..|##.|#..|#..",
    "G": ".###|#...|#.##|#..#|.###",
    "H": "#..#|#..#|####|#..#|#..#",
    "I": "#|#|#|#|#",
    "J": "..#|..#|..#|#.#|###",
    "K": "#..#|#.#.|##..|#.#.|#..#",
    "L": "#..|#..|#..|#..|###",
    "M": "#...#|##.##|#.#.#|#...#|#...#",
    "N": "#...#|##..#|#.#.#|#..##|#...#",
    "O": ".##.|#..#|#..#|#..#|.##.",
    "P": "###.|#..#|###.|#...|#...",
    "Q": ".##.|#..#|#..#|#.##|.###",
    "R": "###.|#..#|###.|#.#.|#..#",
    "S": ".###|#...|.##.|...#|###.",
    "T": "###|.#.|.#.|.#.|.#.",
    "U": "#..#|#..#|#..#|#..#|.##.",
    "V": "#...#|#...#|.#.#.|.#.#.|..#..",
    "W": "#...#|#...#|#.#.#|##.##|#...#",
    "X": "#.#|#.#|.#.|#.#|#.#",
    "Y": "#.#|#.#|.#.|.#.|.#.",
    "Z": "####|...#|.##.|#...|####",
    "-": "...|...|###|...|...",
    "+": "...|.#.|###|.#.|...",
    ".": ".|.|.|.|#",
    ",": "..|..|..|.#|#.",
    ":": ".|#|.|#|.",
    "/": "..#|..#|.#.|#..|#..",
    "'": "#|#|.|.|.",
    "!": "#|#|#|.|#",
    "?": "##.|..#|.#.|...|.#.",
}


def rows_of(scale: int, glyphs: Glyphs) -> int:
    """How many rows the letters take at this scale."""
    return (5 * _height(scale, glyphs) + 1) // 2


def _height(scale: int, glyphs: Glyphs) -> int:
    """Half rows a dot takes: an even number where half rows cannot be drawn."""
    return scale if glyphs.halves else scale + scale % 2


def _dots(text: str) -> list[str]:
    """Five rows of dots, one empty column between letters."""
    letters = [_DOTS[char].split("|") for char in text]
    return [".".join(letter[row] for letter in letters) for row in range(5)]


def _row(upper: str, lower: str, glyphs: Glyphs) -> str:
    signs = {("#", "#"): glyphs.full, ("#", "."): glyphs.upper, (".", "#"): glyphs.lower, (".", "."): " "}
    return "".join(signs[pair] for pair in zip(upper, lower, strict=True))


@lru_cache(maxsize=512)
def big(text: str, scale: int, width: int, glyphs: Glyphs, columns: int = 0) -> tuple[str, ...] | None:
    """The text in large capitals, or None when it is wider than `width` or has a sign that is not drawn here.

    columns: of a dot, `scale` when 0; one fewer gives narrow letters of the same height.
    """
    capitals = text.upper()
    if scale < 1 or not text.strip() or any(char not in _DOTS for char in capitals):
        return None
    wide = ["".join(dot * (columns or scale) for dot in row) for row in _dots(capitals)]
    if len(wide[0]) > width:
        return None
    halves = [row for row in wide for _ in range(_height(scale, glyphs))]
    halves += ["." * len(wide[0])] * (len(halves) % 2)
    return tuple(_row(halves[i], halves[i + 1], glyphs) for i in range(0, len(halves), 2))
