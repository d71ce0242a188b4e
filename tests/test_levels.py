"""The rule by which prompting fades: three running within are only corrected, five left alone, one miss prompts again.

The numbers three and five: common practice, no source.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.levels import (
    CORRECT,
    PROMPT,
    SKILLS,
    TEST,
    history,
    level_for,
    level_here,
    levels_for,
    shown,
    streak,
)
from monitor.options import Options
from replay.items import CLIMB, REJECTED, SHORT_FIELD
from tests.synthetic import changed, fly, procedure, takeoff

ROTATE = next(skill for skill in SKILLS if skill.call == "rotate")
FLAPS = next(skill for skill in SKILLS if skill.call == "flaps-up")
GOOD = {item: "within" for skill in SKILLS for item in skill.items}


@pytest.mark.parametrize(
    ("within", "level"),
    [
        ("", PROMPT),
        ("++", PROMPT),
        ("+++", CORRECT),
        ("++++", CORRECT),
        ("+++++", TEST),
        ("x+++++", TEST),
        ("+++++x", PROMPT),
        ("+++++x++", PROMPT),
        ("+++++x+++", CORRECT),
        ("xxxxx", PROMPT),
    ],
)
def test_a_level_follows_from_the_last_running(within: str, level: str) -> None:
    """Two good ones are prompted, three corrected, five left alone; a miss begins anew however many went before."""
    assert level_for([mark == "+" for mark in within]) == level


@given(st.lists(st.booleans()))
def test_one_miss_always_prompts(within: list[bool]) -> None:
    """Whatever went before, a last takeoff outside the standard brings the prompt back."""
    assert level_for([*within, False]) == PROMPT
    assert streak([*within, False]) == 0


@pytest.mark.parametrize(
    ("here", "anywhere", "level"),
    [
        ("", "++++++++", CORRECT),  # never flown here: corrected, not left alone
        ("", "++", PROMPT),
        ("++++", "++++++++", CORRECT),
        ("+++++", "+++++x", TEST),  # enough here: others do not count
        ("x", "+++++x", PROMPT),
        ("x", "x+++", PROMPT),  # the last one here was missed, what came after was elsewhere
        ("x++++", "x++++", CORRECT),
    ],
)
def test_another_aeroplane_counts_while_this_one_is_new(here: str, anywhere: str, level: str) -> None:
    """Skill shown elsewhere spares the prompt, never the correction; a miss in this aeroplane is prompted."""
    assert level_here([m == "+" for m in here], [m == "+" for m in anywhere]) == level


def test_a_takeoff_shows_a_skill_by_all_its_items() -> None:
    """One item outside is a miss; what was not measured is no evidence either way."""
    assert shown(FLAPS, {"flaps-up-height": "within", "flaps-up-speed": "within"}) is True
    assert shown(FLAPS, {"flaps-up-height": "within", "flaps-up-speed": "outside"}) is False
    assert shown(FLAPS, {"flaps-up-height": "not-measured", "flaps-up-speed": "within"}) is True
    assert shown(FLAPS, {"flaps-up-height": "not-measured", "rotation-speed": "outside"}) is None
    takeoffs = [{"rotation-speed": "within"}, {"rotation-speed": "not-measured"}, {"rotation-speed": "outside"}, {}]
    assert history(ROTATE, takeoffs) == [True, False]


def test_every_call_has_a_level_and_its_remarks_go_with_it() -> None:
    """Without takeoffs all is prompted; after five good ones the calls and their advisories are left alone, oil not."""
    assert levels_for([], []) == {skill.call: PROMPT for skill in SKILLS}
    levels = levels_for([GOOD] * 5, [GOOD] * 5)
    assert {levels[skill.call] for skill in SKILLS} == {TEST}
    assert {levels[remark] for skill in SKILLS for remark in skill.remarks} == {TEST}
    assert levels["engine-green"] == CORRECT
    corrected = levels_for([GOOD] * 3, [GOOD] * 3)
    assert {corrected[skill.call] for skill in SKILLS} == {CORRECT}
    assert "late-rotate" not in corrected and corrected["engine-green"] == CORRECT


def test_the_items_are_the_debriefs() -> None:
    """Each skill is judged by items that the debrief has, and corrects by phrases that the procedure has."""
    items = {rule[0] for rule in (*CLIMB, *SHORT_FIELD, *REJECTED)}
    words = procedure().words
    for skill in SKILLS:
        assert set(skill.items) <= items
        assert {skill.call, *skill.remarks, *skill.kept} <= set(words)


def test_only_advisories_fade() -> None:
    """No remark that can be a caution or a warning falls silent with a call."""
    grave = {"pitch", "sink", "speed-low", "early-turn", "early-flaps", "power-reduced", "heading", "bank", "abort",
             "drift", "rpm-high", "flaps-overspeed", "oil-pressure", "oil-temperature", "configuration"}  # fmt: skip
    assert not grave & {remark for skill in SKILLS for remark in skill.remarks}


def test_what_is_left_alone_stays_silent_in_flight() -> None:
    """Levels as made here are heeded by the coach: mastered calls are silent, all others and cautions are said."""
    levels = levels_for([GOOD] * 5, [GOOD] * 5)
    flown = fly(takeoff(), options=Options(level="auto", levels=levels))
    for call in ("power-set", "rotate", "climb-speed", "flaps-up", "turn"):
        assert flown.said(call) is None, call
    assert flown.said("airspeed-alive") == "Airspeed alive"
    assert flown.said("after-takeoff") == "After-takeoff checks"


def test_a_late_rotation_is_corrected_or_left_alone() -> None:
    """The nose kept down to 65 kt (VR 50): "Rotate" where it is corrected, nothing where it is left alone."""
    late = takeoff(pitch_deg=((27.5, 0.0), (30.0, 9.0)), ias_kt=((11.0, 0.0), (27.5, 66.0), (39.0, 70.0)),
                   groundspeed_kt=((11.0, 0.0), (27.5, 66.0), (39.0, 70.0)), on_ground=((28.5, 1.0), (28.51, 0.0)),
                   height_ft=((28.5, 0.0), (128.5, 1200.0)), altitude_ft=((28.5, 400.0), (128.5, 1600.0)),
                   vertical_speed_fpm=((28.5, 0.0), (28.51, 720.0))).between(0.0, 40.0)  # fmt: skip
    said = {}
    for level in (CORRECT, TEST):
        verdicts = [{"rotation-speed": "within"}] * (3 if level == CORRECT else 5)
        flown = fly(late, options=Options(level="auto", levels=levels_for(verdicts, verdicts)))
        assert flown.said("rotate") is None
        (event,) = flown.all("advisory", "late-rotate")
        said[level] = event.say
    assert said == {CORRECT: "Rotate", TEST: None}


def test_an_abort_is_said_whatever_was_mastered() -> None:
    """Warnings never fade."""
    levels = levels_for([GOOD] * 20, [GOOD] * 20)
    flown = fly(takeoff().bend("oil_pressure_psi", 14.0, 40.0, 5.0), options=Options(level="auto", levels=levels))
    assert flown.one("warning", "abort").say == "Abort, abort. Oil pressure"


def test_auto_without_a_logbook_prompts() -> None:
    """Level auto alone speaks as level prompt does."""
    auto = fly(takeoff(), options=Options(level="auto"))
    prompt = fly(takeoff(), options=Options(level="prompt"))
    assert [event.say for event in auto.events] == [event.say for event in prompt.events]
    assert [e.say for e in fly(takeoff(), using=changed(level="auto")).events] == [e.say for e in prompt.events]


def test_the_readme_tells_which_calls_fade() -> None:
    """README's table has a row for each call that fades, with the remarks that fall silent with it, and no other."""
    text = (Path(__file__).resolve().parent.parent / "README.md").read_text(encoding="utf-8")
    part = text.split("| call | shown by | left alone with it |")[1].split("\n\n")[0]
    rows = [re.findall(r"`([a-z-]+)`", line) for line in part.splitlines()[2:]]
    assert {row[0]: set(row[1:]) for row in rows} == {skill.call: set(skill.remarks) for skill in SKILLS}
