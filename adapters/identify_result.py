"""What identification gives: a proposal for each channel with how sure it is, and what was not found."""

from __future__ import annotations

import msgspec

from adapters.identify_guesses import Reading
from adapters.identify_score import Reason
from adapters.identify_table import Field


class Found(msgspec.Struct, frozen=True):
    """One channel's proposal.

    field, reading: which field, and how it becomes the channel. confidence: 0 to 1; word: sure, likely or unsure.
    reasons: the evidence, the heaviest first. rivals: what else it could be, in words. low, high: the channel's range.
    """

    channel: str
    field: Field
    reading: Reading
    confidence: float
    reasons: tuple[Reason, ...]
    rivals: tuple[str, ...]
    low: float
    high: float

    @property
    def word(self) -> str:
        """The confidence in a word for a person."""
        return confidence_word(self.confidence)


class Identification(msgspec.Struct, frozen=True):
    """The whole answer: proposals in the channels' order, main channels not found and why, notes, unused fields."""

    found: tuple[Found, ...]
    missing: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    unused: tuple[Field, ...]

    def channel(self, name: str) -> Found | None:
        """The proposal for a channel, or None."""
        return next((found for found in self.found if found.channel == name), None)


def confidence_word(confidence: float) -> str:
    """0.97 and more: sure; 0.8 and more: likely; below: unsure."""
    return "sure" if confidence >= 0.97 else "likely" if confidence >= 0.8 else "unsure"
