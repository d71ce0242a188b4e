"""Coaching levels that fade as the pilot learns: which calls to prompt, which only to correct, which to leave alone.

Good teaching fades: what went well three times running needs no prompt, what went well five times running no word. One
miss brings the prompt back. In an aeroplane that was hardly flown yet, what went well in others is still corrected.
All of it: common practice, no source.

Only what can be seen in the debrief's figures fades; a call that no figure can stand for (clock, airspeed alive, the
checks) is always made. Cautions and warnings never fade, nor does "Check oil": the oil is not the pilot's skill.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

PROMPT, CORRECT, TEST, AUTO = "prompt", "correct", "test", "auto"
CORRECT_AFTER = 3
TEST_AFTER = 5


class Skill(msgspec.Struct, frozen=True):
    """One routine call that can fade.

    items: the debrief's items that show whether the pilot does it unprompted. remarks: the advisories that correct it;
    they fall silent with it at "test". kept: silent calls beside it that are corrected as soon as it is not prompted.
    """

    call: str
    items: tuple[str, ...]
    remarks: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()


SKILLS = (
    Skill("power-set", ("full-power-after", "takeoff-rpm"), ("late-power",), ("engine-green",)),
    Skill("rotate", ("rotation-speed",), ("early-rotate", "late-rotate")),
    Skill("obstacle-clear", ("obstacle-speed",)),
    Skill("climb-speed", ("climb-speed-share",), ("climb-fast", "climb-slow")),
    Skill("flaps-up", ("flaps-up-height", "flaps-up-speed"), ("late-flaps",)),
    Skill("turn", ("first-turn-height",)),
)


def shown(skill: Skill, verdicts: Mapping[str, str]) -> bool | None:
    """Whether a takeoff showed the skill, from its items' verdicts by id; None when none of them was judged."""
    judged = [verdicts[item] for item in skill.items if verdicts.get(item) in ("within", "outside")]
    return "outside" not in judged if judged else None


def history(skill: Skill, takeoffs: Sequence[Mapping[str, str]]) -> list[bool]:
    """What takeoffs, oldest first, showed of a skill; those that showed nothing of it are left out."""
    return [good for good in (shown(skill, verdicts) for verdicts in takeoffs) if good is not None]


def streak(within: Sequence[bool]) -> int:
    """How many of the last ones running were within the standard; oldest first."""
    count = 0
    for good in reversed(within):
        if not good:
            break
        count += 1
    return count


def level_for(within: Sequence[bool]) -> str:
    """The level of one call, from its last takeoffs, oldest first: True where the pilot did it within the standard."""
    running = streak(within)
    if running >= TEST_AFTER:
        return TEST
    return CORRECT if running >= CORRECT_AFTER else PROMPT


def level_here(here: Sequence[bool], anywhere: Sequence[bool]) -> str:
    """The same where takeoffs in other aeroplanes count too, as long as there are few in this one (`here`).

    anywhere: all of them, in order. What was shown elsewhere is left alone nowhere; a last one missed here is prompted.
    """
    if len(here) >= TEST_AFTER or (here and not here[-1]):
        return level_for(here)
    level = level_for(anywhere)
    return CORRECT if level == TEST else level


def levels_for(
    here: Sequence[Mapping[str, str]], anywhere: Sequence[Mapping[str, str]], skills: Sequence[Skill] = SKILLS
) -> dict[str, str]:
    """The level of every call, as `Options.levels` takes them, with those of its remarks.

    here: the verdicts by item id of the takeoffs in this aeroplane; anywhere: of all, both oldest first.
    """
    levels: dict[str, str] = {}
    for skill in skills:
        level = levels[skill.call] = level_here(history(skill, here), history(skill, anywhere))
        if level == TEST:
            levels |= dict.fromkeys(skill.remarks, TEST)
        if level != PROMPT:
            levels |= dict.fromkeys(skill.kept, CORRECT)
    return levels
