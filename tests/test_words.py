"""Events to words: speeds digit by digit, the deciding word first, every phrase known beforehand, another language
is a file."""

from __future__ import annotations

import msgspec
import pytest

from monitor.callouts import phrases, urgency, worth_saying_s
from monitor.events import KINDS, Event
from monitor.judge import ABORT_TABLE
from monitor.words import DIGITS, Words, spoken
from tests.synthetic import FIXED, Flown, fly, procedure, takeoff

NORMAL, GERMAN = procedure(), procedure("normal-de")


@pytest.mark.parametrize(
    ("value", "said"), [(72.0, "seven two"), (60.0, "six zero"), (105.0, "one zero five"), (65.6, "six six")]
)
def test_speeds_are_read_digit_by_digit(value: float, said: str) -> None:
    """72 is "seven two" (the radio way of numbers, AIM 4-2-9: each digit by itself)."""
    assert spoken(value, DIGITS.split()) == said


def test_the_profiles_speeds_are_filled_in() -> None:
    """VY, VX and best glide of the profile come into the phrases."""
    words = Words(NORMAL, FIXED)
    assert words.say("climb-speed") == "Climb speed, seven zero"
    assert words.say("climb-slow.best-angle") == "Nose down, five eight"
    assert words.say("engine-failure.high") == "Nose down. Best glide, six two"


def test_a_speed_the_profile_lacks_leaves_the_rest_of_the_phrase() -> None:
    """No best glide in the profile: "Nose down. Best glide"."""
    bare = msgspec.structs.replace(FIXED, speeds_kias=msgspec.structs.replace(FIXED.speeds_kias, best_glide=None))
    assert Words(NORMAL, bare).say("engine-failure.high") == "Nose down. Best glide"


def test_the_first_key_that_the_procedure_has_gives_the_words() -> None:
    """Variants fall back on their event's own words; a phrase that is empty stays silent; an unknown one too."""
    words = Words(NORMAL, FIXED)
    assert words.say("late-rotate.anything", "late-rotate") == "Rotate"
    assert words.say("acceleration", "rotate") is None
    assert words.say("no-such-thing") is None


@pytest.mark.parametrize("using", [NORMAL, GERMAN], ids=["en", "de"])
def test_every_abort_has_words_that_begin_with_the_deciding_one(using: object) -> None:
    """Every reason of the table has its words, and the first of them is the same deciding word for all."""
    words = Words(using, FIXED)  # type: ignore[arg-type]
    first = set()
    for reason in ABORT_TABLE:
        said = words.say(f"abort.{reason.removesuffix('-flaps')}")
        assert said, reason
        first.add(said.split(",")[0])
    assert len(first) == 1


@pytest.mark.parametrize("using", [NORMAL, GERMAN], ids=["en", "de"])
def test_everything_said_in_flight_was_known_beforehand(using: object) -> None:
    """Whatever a flight says, clean or faulted, is in the list that was rendered before it."""
    known = set(phrases(using, FIXED))  # type: ignore[arg-type]
    flights = [
        takeoff(),
        takeoff(oil_pressure_psi=((13.0, 75.0), (15.0, 10.0))),
        takeoff(rpm=((10.0, 700.0), (12.0, 2350.0), (80.0, 2350.0), (81.0, 500.0))),
        takeoff(bank_deg=((30.0, 0.0), (31.0, 35.0)), flaps_deg=10.0, track_deg=((26.0, 80.0), (27.0, 90.0))),
    ]
    for flight in flights:
        flown: Flown = fly(flight, using=using)  # type: ignore[arg-type]
        assert flown.spoken
        assert {event.say for event in flown.spoken} <= known


def test_another_language_says_the_same_things_at_the_same_moments() -> None:
    """In German every event is the same but for its words."""
    english, german = fly(takeoff()), fly(takeoff(), using=GERMAN)
    strip = [msgspec.structs.replace(event, say=None) for event in english.events]
    assert [msgspec.structs.replace(event, say=None) for event in german.events] == strip
    assert [bool(e.say) for e in german.events] == [bool(e.say) for e in english.events]
    assert {e.say for e in german.spoken}.isdisjoint({e.say for e in english.spoken} - {"Rotate"})


def test_phrases_come_once_each_in_a_steady_order() -> None:
    """The list to render has no phrase twice and is the same every time."""
    found = phrases(NORMAL, FIXED)
    assert found == sorted(set(found)) == phrases(NORMAL, FIXED)


def test_the_order_of_alerts() -> None:
    """Warnings come before cautions, cautions before advisories (14 CFR 25.1322(b)); routine calls before
    advisories."""
    order = ["warning", "caution", "callout", "advisory"]
    ranks = [urgency(Event(0.0, kind, "x")) for kind in order]
    assert ranks == sorted(set(ranks))


def test_rotate_is_worth_saying_for_a_second_only() -> None:
    """ "Rotate" late by more than a second is shown, not said; every kind has its time."""
    assert worth_saying_s(Event(0.0, "callout", "rotate")) == 1.0
    assert all(1.0 < worth_saying_s(Event(0.0, kind, "x")) <= 5.0 for kind in KINDS)
