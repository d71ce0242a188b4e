"""The instruments' limits: just inside and just outside, just short of the hold and just past it, and the exact stamp.

Holds and what counts as a warning: common practice, no source, but for the governed overspeed (FAA-H-8083-3C
chapter 12: to 10 % for 3 s is usually not serious). Alert order: 14 CFR 25.1322, written for transport aeroplanes.
"""

from __future__ import annotations

import msgspec
import pytest

from monitor.aircraft import Aircraft, Band
from tests.synthetic import FIXED, GOVERNED, Flight, Flown, Points, fly, governed, rejected, takeoff

CUT = (5.0, 24.0)  # to before lift-off


def _rolled(channel: str, value: float | Points, aircraft: Aircraft = FIXED) -> Flown:
    flight = takeoff() if aircraft is FIXED else governed()
    return fly(flight.with_(**{channel: value}).between(*CUT), aircraft)


def _ramp(before: float, after: float, from_s: float, to_s: float) -> Points:
    return ((from_s, before), (to_s, after))


def _crossing(line: float, ramp: Points) -> float:
    (t0, v0), (t1, v1) = ramp
    return t0 + (line - v0) / (v1 - v0) * (t1 - t0)


# channel, healthy, far beyond, the profile's line, hold, reason, aircraft
WARNINGS = [
    ("oil_pressure_psi", 75.0, 10.0, 25.0, 1.5, "oil-pressure-low", FIXED),
    ("oil_temperature_degf", 165.0, 280.0, 240.0, 2.0, "oil-temperature-high", FIXED),
    ("rpm", 2350.0, 2900.0, 2650.0 * 1.02, 2.0, "rpm-high", FIXED),
    ("rpm", 2690.0, 3000.0, 2700.0 * 1.05, 2.0, "rpm-high", GOVERNED),
]


def _begun(healthy: float, beyond: float, channel: str) -> Points:
    """From healthy to beyond in 2 s from 13 s on (rpm: from the power's coming), below half VR all the way."""
    return (
        ((10.0, 700.0), (12.0, healthy), (13.0, healthy), (14.0, beyond))
        if channel == "rpm"
        else ((12.5, healthy), (14.5, beyond))
    )


@pytest.mark.parametrize(("channel", "healthy", "beyond", "line", "hold_s", "reason", "aircraft"), WARNINGS)
def test_a_warning_is_stamped_at_the_crossing_plus_its_hold(
    channel: str, healthy: float, beyond: float, line: float, hold_s: float, reason: str, aircraft: Aircraft
) -> None:
    """Past the profile's line for its hold: one abort, the right reason, stamped at the crossing plus the hold."""
    ramp = _begun(healthy, beyond, channel)
    flown = _rolled(channel, ramp, aircraft)
    assert flown.warnings == [("abort", reason)]
    assert flown.t("warning", "abort") == pytest.approx(_crossing(line, ramp[-2:]) + hold_s, abs=2e-3)


@pytest.mark.parametrize(("channel", "healthy", "beyond", "line", "hold_s", "reason", "aircraft"), WARNINGS)
@pytest.mark.parametrize(("part", "warned"), [(-0.002, False), (0.002, True)])
def test_just_inside_the_line_is_no_warning(
    channel: str, healthy: float, beyond: float, line: float, hold_s: float, reason: str, aircraft: Aircraft,
    part: float, warned: bool,
) -> None:  # fmt: skip
    """Held for good 0.2 % inside the line: no warning; 0.2 % outside: the warning."""
    near = line * (1.0 + part * (1.0 if beyond > healthy else -1.0))
    flown = _rolled(channel, _begun(healthy, near, channel), aircraft)
    assert (("abort", reason) in flown.warnings) == warned


@pytest.mark.parametrize(("channel", "healthy", "beyond", "line", "hold_s", "reason", "aircraft"), WARNINGS)
@pytest.mark.parametrize(("lasts_s", "warned"), [(-0.1, False), (0.1, True)])
def test_just_short_of_the_hold_is_no_warning(
    channel: str, healthy: float, beyond: float, line: float, hold_s: float, reason: str, aircraft: Aircraft,
    lasts_s: float, warned: bool,
) -> None:  # fmt: skip
    """Beyond the line for 0.1 s less than the hold: no warning; for 0.1 s more: the warning."""
    beyond = line + (beyond - line) * 0.3  # near, so that the way there is no jump
    over_s = 13.0 + hold_s + lasts_s
    rises = ((12.0, healthy), (12.8, healthy), (13.0, line), (13.2, beyond))
    falls = ((over_s - 0.2, beyond), (over_s, line), (over_s + 0.2, healthy))
    start = ((10.0, 700.0),) if channel == "rpm" else ()
    flown = _rolled(channel, (*start, *rises, *falls), aircraft)
    assert (("abort", reason) in flown.warnings) == warned


@pytest.mark.parametrize("rate_hz", [20.0, 5.0])
def test_a_channel_that_is_lost_while_it_waits_warns_of_nothing(rate_hz: float) -> None:
    """Oil pressure low in the last samples before the channel is missing: no abort for a gauge that shows nothing."""
    low = takeoff(rate_hz).bend("oil_pressure_psi", 14.0, 14.5, 10.0).bend("oil_pressure_psi", 14.5, 200.0, None)
    flown = fly(low.between(5.0, 40.0))
    assert flown.warnings == []
    assert [event.more["channel"] for event in flown.all("feed", "channel-lost")] == ["oil_pressure_psi"]


CAUTIONS = [
    ("oil_pressure_psi", 75.0, 40.0, 55.0, 3.0, "oil-pressure", FIXED),
    ("oil_pressure_psi", 75.0, 130.0, 115.0, 3.0, "oil-pressure-high", FIXED),
    ("oil_temperature_degf", 165.0, 232.0, 220.0, 3.0, "oil-temperature", FIXED),
    ("rpm", 2350.0, 2690.0, 2650.0, 2.0, "rpm-high", FIXED),
    ("rpm", 2690.0, 2800.0, 2700.0 * 1.01, 3.0, "rpm-high", GOVERNED),
    ("fuel_pressure_psi", 4.0, 0.2, 0.5, 3.0, "fuel-pressure-low", FIXED),
    ("fuel_pressure_psi", 4.0, 9.0, 8.0, 3.0, "fuel-pressure-high", FIXED),
    ("bus_v", 14.0, 11.0, 12.0, 3.0, "bus-low", FIXED),
    ("cht_degf", 300.0, 520.0, 500.0, 3.0, "cht-high", FIXED),
]


@pytest.mark.parametrize(("channel", "healthy", "beyond", "line", "hold_s", "caution", "aircraft"), CAUTIONS)
def test_a_caution_is_stamped_at_the_crossing_plus_its_hold_and_aborts_nothing(
    channel: str, healthy: float, beyond: float, line: float, hold_s: float, caution: str, aircraft: Aircraft
) -> None:
    """Past a line that is worth a caution only: that caution, once, at the crossing plus its hold, and no abort."""
    ramp = _begun(healthy, beyond, channel)
    flown = _rolled(channel, ramp, aircraft)
    assert flown.warnings == []
    assert flown.ids("caution") == [caution]
    assert flown.t("caution", caution) == pytest.approx(_crossing(line, ramp[-2:]) + hold_s, abs=2e-3)


@pytest.mark.parametrize(("channel", "healthy", "beyond", "line", "hold_s", "caution", "aircraft"), CAUTIONS)
def test_on_the_line_itself_nothing_is_said(
    channel: str, healthy: float, beyond: float, line: float, hold_s: float, caution: str, aircraft: Aircraft
) -> None:
    """A needle that stays exactly on its line is within it."""
    assert _rolled(channel, _begun(healthy, line, channel), aircraft).ids("caution", "warning") == []


def test_a_governor_that_overshoots_for_a_moment_is_ordinary() -> None:
    """Two percent over the red line for 2 s on a constant-speed propeller: not a word (as on recorded flights)."""
    rpm = ((10.0, 700.0), (12.0, 2690.0), (13.0, 2690.0), (13.2, 2754.0), (15.2, 2754.0), (15.4, 2690.0))
    assert _rolled("rpm", rpm, GOVERNED).ids("caution", "warning") == []


def test_low_oil_pressure_of_a_stopped_engine_is_no_news() -> None:
    """An engine that has stopped has no oil pressure: the engine is named, once, not the oil."""
    flight = takeoff(
        rpm=((10.0, 700.0), (12.0, 2350.0), (16.0, 2350.0), (17.5, 0.0)), oil_pressure_psi=((16.0, 75.0), (18.0, 0.0))
    )
    assert fly(flight.between(*CUT)).warnings == [("abort", "engine-failure")]


def test_oil_pressure_under_the_green_at_idle_is_ordinary() -> None:
    """Idle oil pressure below the green arc after a rejected takeoff is not remarked on."""
    flight = rejected(18.0, oil_pressure_psi=((18.0, 75.0), (19.0, 40.0)))
    assert fly(flight).ids("caution", "warning", "advisory") == []


def test_oil_pressure_high_with_cold_oil_is_ordinary() -> None:
    """The relief valve and cold oil: high pressure is remarked on only once the oil is warm."""
    cold = fly(takeoff(oil_pressure_psi=125.0, oil_temperature_degf=90.0).between(*CUT))
    assert cold.ids("caution", "warning") == []


def test_a_missing_gauge_says_nothing() -> None:
    """Without the oil channels nothing is said of oil, and a profile without marks says nothing either."""
    assert fly(takeoff().without("oil_pressure_psi").between(*CUT)).ids("caution", "warning") == []
    bare = takeoff(oil_pressure_psi=3.0, oil_temperature_degf=500.0)
    unmarked = {k: v for k, v in FIXED.instruments.items() if not k.startswith("oil")}
    assert fly(bare.between(*CUT), _with(unmarked)).ids("caution", "warning") == []


def _with(instruments: dict[str, Band]) -> Aircraft:
    return msgspec.structs.replace(FIXED, instruments=instruments)


@pytest.mark.parametrize("rate_hz", [2.0, 5.0, 20.0, 60.0])
def test_the_stamp_does_not_depend_on_the_rate(rate_hz: float) -> None:
    """The same slow trouble at 2 to 60 Hz is stamped at the same moment."""
    flight = takeoff(oil_pressure_psi=((12.0, 75.0), (17.0, 0.0)))
    flown = fly(_at(flight, rate_hz))
    assert flown.t("warning", "abort") == pytest.approx(12.0 + 5.0 * 50.0 / 75.0 + 1.5, abs=2e-3)


def _at(flight: Flight, rate_hz: float) -> Flight:
    return flight.at(rate_hz).between(*CUT)


def test_two_gauges_with_one_word_sound_once() -> None:
    """Cylinder heads too hot and oil pressure too high at 500 ft: both are shown, "Engine. Return and land" is said
    once."""
    flown = fly(takeoff().bend("cht_degf", 30.0, 200.0, 520.0).bend("oil_pressure_psi", 30.0, 200.0, 120.0))
    high = [event for event in flown.all("caution") if event.t_s is not None and event.t_s > 60.0]
    assert sorted(event.id for event in high) == ["cht-high", "oil-pressure-high"]
    assert [event.say for event in high if event.say] == ["Engine. Return and land"]


@pytest.mark.parametrize("rate_hz", [0.2, 0.25])
@pytest.mark.parametrize("at_s", [15.0, 60.0])
def test_one_damaged_value_of_a_very_slow_feed_is_no_warning(rate_hz: float, at_s: float) -> None:
    """At a sample in 4 or 5 s one oil pressure of 0 brings nothing, on the roll and aloft; two in a row a warning with
    the second."""
    slow = takeoff(rate_hz)
    found_s = float(next(t for t in slow.times() if t >= at_s))
    assert fly(slow.bend("oil_pressure_psi", found_s, found_s + 1.0, 0.0)).warnings == []
    low = fly(slow.bend("oil_pressure_psi", found_s, found_s + 1.0 + 1.0 / rate_hz, 0.0))
    assert [reason for _, reason in low.warnings] == ["oil-pressure-low"]
    assert low.all("warning")[0].t_s == pytest.approx(found_s + 1.0 / rate_hz)
