"""Coaching levels that fade as the pilot learns: which items to prompt, which only to correct, which to leave alone.

Good teaching fades: what went well three times running needs no prompt, what went well five times running no word. One
miss brings the prompt back (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

PROMPT, CORRECT, TEST = "prompt", "correct", "test"
CORRECT_AFTER = 3
TEST_AFTER = 5


def level_for(within: Sequence[bool]) -> str:
    """The level of one item, from its last takeoffs, oldest first: True where the pilot did it within the standard."""
    streak = 0
    for good in reversed(within):
        if not good:
            break
        streak += 1
    if streak >= TEST_AFTER:
        return TEST
    return CORRECT if streak >= CORRECT_AFTER else PROMPT


def levels_for(history: Mapping[str, Sequence[bool]]) -> dict[str, str]:
    """The level of every item by its callout id, as `Options.levels` takes them."""
    return {item: level_for(within) for item, within in history.items()}
