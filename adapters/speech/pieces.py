"""Phrases made of pieces that are already rendered, for words that vary when the engine does not answer in time."""

from __future__ import annotations

import re
from collections.abc import Callable

from adapters.speech.clip import Clip, join

NUMBER_WORDS = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "niner"),
    *("ten", "hundred", "thousand", "point", "left", "right", "centre", "runway", "knots", "feet"),
)
_GAP_S, _WORD_GAP_S = 0.12, 0.02


def _part(text: str, have: Callable[[str], Clip | None]) -> Clip | None:
    whole = have(text)
    if whole:
        return whole
    words = text.split()
    if not words or any(word.lower() not in NUMBER_WORDS for word in words):
        return None
    clips = [have(word.lower()) for word in words]
    found = [clip for clip in clips if clip]
    return join(found, _WORD_GAP_S) if len(found) == len(words) else None


def from_pieces(text: str, have: Callable[[str], Clip | None]) -> Clip | None:
    """`text` put together at its commas and full stops from what `have` gives, number words one by one; or None."""
    parts = [part.strip() for part in re.split(r"[,.;:]", text) if part.strip()]
    clips = [_part(part, have) for part in parts]
    found = [clip for clip in clips if clip]
    return join(found, _GAP_S) if parts and len(found) == len(parts) else None
