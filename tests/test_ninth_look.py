"""Found by bending one instrument at a time for some tenths of a second, or for good, against all the others."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from monitor.sample import Sample
from tests.synthetic import END_S, FIELD_FT, Flight, Value, at, fly, step, takeoff

CALLS = ("rotate", "climb-speed", "flaps-up", "turn", "after-takeoff")


def _shifted(flight: Flight, channel: str, from_s: float, lasts_s: float, by: float) -> list[Sample]:
    """One channel off by so much for a moment."""

    def off(sample: Sample) -> Sample:
        value = getattr(sample, channel)
        inside = from_s - 1e-6 <= at(sample) < from_s + lasts_s - 1e-6
        return (
            replace(sample, **{channel: max(value + by, 0.0) if channel.endswith("_kt") else value + by})
            if (inside and value is not None)
            else sample
        )

    return [off(sample) for sample in flight.samples()]


# ---- groundspeed -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [20.0, 5.0])
@pytest.mark.parametrize("from_s", [13.5, 16.0, 19.0, 27.0])
@pytest.mark.parametrize(("by_kt", "lasts_s"), [(-25.0, 0.15), (-25.0, 0.4), (40.0, 0.6)])
def test_a_groundspeed_that_leaps_and_is_back_makes_no_airspeed_dead(
    rate_hz: float, from_s: float, by_kt: float, lasts_s: float
) -> None:
    """Groundspeed 25 kt low for some samples, or 40 kt high for 0.6 s, on the roll or just off the ground: the rising
    airspeed is not called dead, and all the calls come."""
    flown = fly(_shifted(takeoff(rate_hz), "groundspeed_kt", from_s, lasts_s, by_kt))
    assert not [e for e in flown.events if "airspeed-not-alive" in (e.id, e.reason)]
    assert flown.warnings == []
    assert [id_ for id_ in CALLS if not flown.all("callout", id_)] == []


# ---- an airspeed about to be called stuck ----------------------------------------------------------------------------


def _stuck_from(from_s: float, rate_hz: float, **lines: Value) -> Flight:
    stands_kt = 4.0 * (from_s - 11.0)
    return takeoff(rate_hz, ias_kt=((11.0, 0.0), (from_s, stands_kt), (END_S, stands_kt)), **lines)


@pytest.mark.parametrize("rate_hz", [20.0, 5.0])
@pytest.mark.parametrize("from_s", [20.8, 21.0, 21.6, 22.0, 22.4])
def test_a_needle_that_stands_makes_no_early_rotation_and_no_low_speed(rate_hz: float, from_s: float) -> None:
    """Stuck 1.1 to 2.7 s before VR: a rotation at the true VR is not called early, and no word is for a speed that is
    not so, until the needle is known to be stuck."""
    flown = fly(_stuck_from(from_s, rate_hz).between(5.0, 40.0))
    assert {e.id for e in flown.all("advisory") + flown.all("caution")} <= {"airspeed-not-alive"}
    assert flown.warnings == [("airspeed-not-alive", "airspeed-not-alive")]


def test_a_needle_that_stands_makes_no_sink_a_low_speed() -> None:
    """Stuck at 51.6 kt and sinking 5 s after lift-off, at a true 60: "Sinking", not a word for a speed above VX."""
    height = ((25.0, 0.0), (29.0, 48.0), (30.0, 30.0), (34.0, 78.0))
    flight = _stuck_from(
        23.9, 20.0, height_ft=height, altitude_ft=tuple((t, FIELD_FT + h) for t, h in height),
        vertical_speed_fpm=((25.0, 720.0), (28.99, 720.0), (29.0, -1080.0), (29.99, -1080.0), (30.0, 720.0)),
    )  # fmt: skip
    assert [e.say for e in fly(flight.between(5.0, 31.0)).all("caution", "sink")] == ["Sinking"]


def test_the_last_two_seconds_begin_by_groundspeed_where_the_needle_stands() -> None:
    """Stuck at 40 kt, 2.5 s before VR: oil pressure low half a second before the true VR is held, no abort at speed."""
    flight = _stuck_from(21.0, 20.0, oil_pressure_psi=step(21.5, 75.0, 10.0))
    flown = fly(flight.between(5.0, 24.5))
    assert flown.warnings == []
    assert flown.coach.judge.zone == "late"
