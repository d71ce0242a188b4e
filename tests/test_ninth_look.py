"""Found by bending one instrument at a time for some tenths of a second, or for good, against all the others."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from monitor.sample import Sample
from tests.synthetic import FIELD_FT, Flight, Flown, at, fly, step, takeoff

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
