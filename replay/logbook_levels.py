"""Level `auto`: what the logbook's last takeoffs say of each call, before a flight begins.

Only takeoffs of the last 90 days count, as in 14 CFR 61.57(a) for recent experience (an analogy, from memory), of
the same procedure, and at most the last 20 of them (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import msgspec

from adapters.common import Setup
from monitor.levels import (
    AUTO,
    CORRECT,
    CORRECT_AFTER,
    PROMPT,
    SKILLS,
    TEST,
    TEST_AFTER,
    Skill,
    history,
    levels_for,
    streak,
)
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.toml_check import Faults
from replay import logbook
from replay.logbook import Line
from replay.logbook_entry import flown_as

RECENT_DAYS = 90
LOOKED_AT = 20


def skills_of(procedure: Procedure, options: Options) -> list[Skill]:
    """The calls whose level the logbook chooses: those at `auto`, as long as the procedure makes them."""
    level = _level(procedure, options)
    made = [skill for skill in SKILLS if skill.call != "obstacle-clear" or procedure.short_field]
    return [skill for skill in made if procedure.levels.get(skill.call, level) == AUTO]


def _level(procedure: Procedure, options: Options) -> str:
    return options.level if options.level is not None else procedure.level


def with_levels(setup: Setup, data_dir: Path, now_s: float) -> tuple[Setup, str | None]:
    """The set-up with `Options.levels` as the logbook suggests, and a line that says so; None when nothing is `auto`.

    now_s: Unix time. A logbook that cannot be read costs the line that says so: every call is then prompted.
    """
    skills = skills_of(setup.procedure, setup.options)
    if not skills:
        return setup, None
    path = data_dir / logbook.FILE
    try:
        lines = logbook.read(path)
    except Faults as faults:
        return setup, f"level auto: every call is prompted; {'; '.join(faults.faults)}"
    flown = flown_as(setup.procedure_texts)
    anywhere = recent(lines, flown, now_s)
    if not anywhere:
        when = f"no takeoff by {flown!r} in the last {RECENT_DAYS} days" if lines else "nothing is in the logbook yet"
        return setup, f"level auto: every call is prompted ({when})"
    here = [line for line in anywhere if line.aircraft == setup.aircraft.name]
    own = setup.procedure.levels
    found = levels_for(_verdicts(here), _verdicts(anywhere), skills)
    levels = {id_: level for id_, level in found.items() if own.get(id_, AUTO) == AUTO}
    options = msgspec.structs.replace(setup.options, levels={**setup.options.levels, **levels})
    return msgspec.structs.replace(setup, options=options), told(skills, found, here, anywhere)


def recent(lines: Sequence[Line], flown: str, now_s: float) -> list[Line]:
    """The takeoffs that count for a procedure, oldest first."""
    since = now_s - RECENT_DAYS * 86_400.0
    same = [line for line in lines if line.flown_as == flown and not line.struck and line.started_s >= since]
    return same[-LOOKED_AT:]


def _verdicts(lines: Sequence[Line]) -> list[dict[str, str]]:
    return [line.verdicts for line in lines]


def told(skills: Sequence[Skill], levels: dict[str, str], here: Sequence[Line], anywhere: Sequence[Line]) -> str:
    """One line: what is left alone, only corrected and prompted, and why."""
    parts = []
    for level, words in ((TEST, "left alone"), (CORRECT, "only corrected"), (PROMPT, "prompted")):
        calls = [f"{s.call} ({_why(s, level, here, anywhere)})" for s in skills if levels[s.call] == level]
        if calls:
            parts.append(f"{words}: {', '.join(calls)}")
    count = len(anywhere)
    elsewhere = f", {len(here)} of them in this aeroplane" if len(here) < count else ""
    return f"level auto, by the last {count} takeoff{'s' * (count > 1)}{elsewhere}: {'; '.join(parts)}"


def _why(skill: Skill, level: str, here: Sequence[Line], anywhere: Sequence[Line]) -> str:
    own, all_ = history(skill, _verdicts(here)), history(skill, _verdicts(anywhere))
    missed_here = bool(own) and not own[-1]
    within = own if len(own) >= TEST_AFTER or missed_here else all_
    running = streak(within)
    if not within:
        return "not judged yet"
    if not running:
        return "the last outside"
    if level == PROMPT:
        return f"{running} running within, {CORRECT_AFTER} wanted"
    few_here = running >= TEST_AFTER and level == CORRECT
    return f"{running} running within" + (f", {len(own)} in this aeroplane" if few_here else "")
