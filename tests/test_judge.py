"""Abort or not: the whole table of cues by how far the takeoff has come, held to flights whose every moment is known.

The table is written out again here, from how instructors brief it: below half VR nearly everything ends the takeoff; in
the last 2 s before VR only what makes flight impossible. Common practice, no source; an analogy to the alerts that some
transport aeroplanes hold back near rotation (FAA-H-8083-3C chapter 16).
"""

from __future__ import annotations

import msgspec
import pytest

from monitor.options import Options
from tests.synthetic import FIXED, GOVERNED, Flight, Flown, at, changed, fly, governed, step, takeoff

# When each zone's cue falls due: half VR (25 kt) is passed at 17.25 s, the line 2 s before VR at 21.5, lift-off at 25.
EARLY, MID, LATE, LOW, MIDDLE, HIGH = 15.2, 19.0, 22.6, 29.0, 45.0, 80.0
LINE = 21.45  # the last sample before the line
ABORT, HELD, SILENT = "abort", "held", "silent"


def _rpm(healthy: float, from_s: float, to: float, in_s: float) -> tuple[tuple[float, float], ...]:
    return ((10.0, 700.0), (12.0, healthy), (from_s, healthy), (from_s + in_s, to))


def _engine(due_s: float) -> Flight:
    return takeoff(rpm=_rpm(2350.0, due_s - 0.2, 600.0, 1.0))


def _power(due_s: float) -> Flight:
    return takeoff(rpm=_rpm(2450.0, due_s - 1.4, 2290.0, 0.5))


def _rpm_low(due_s: float) -> Flight:
    return takeoff(rpm=_rpm(2230.0, due_s - 2.1, 2190.0, 0.1))


def _pressure_low(due_s: float) -> Flight:
    line = ((10.0, 12.0), (12.0, 28.5), (due_s - 1.2, 28.5), (due_s - 1.0, 27.3), (due_s + 90.0, 26.2))
    return governed(manifold_pressure_inhg=line)


def _rpm_high(due_s: float) -> Flight:
    return takeoff(rpm=_rpm(2640.0, due_s - 2.4, 2720.0, 0.5))


def _oil_pressure(due_s: float) -> Flight:
    return takeoff(oil_pressure_psi=((due_s - 3.0, 75.0), (due_s - 1.0, 10.0)))


def _oil_temperature(due_s: float) -> Flight:
    return takeoff(oil_temperature_degf=((due_s - 3.6, 165.0), (due_s - 1.6, 260.0)))


def _airspeed(due_s: float) -> Flight:
    return takeoff().bend("ias_kt", due_s - 0.5, 999.0, 0.0)


def _direction(due_s: float) -> Flight:
    return takeoff(heading_deg=((due_s - 1.2, 80.0), (due_s, 98.0)))


def _flaps(due_s: float) -> Flight:
    return takeoff(flaps_deg=((due_s - 2.0, 0.0), (due_s - 1.0, 21.0)))


def _trim(due_s: float) -> Flight:
    return takeoff(elevator_trim=((due_s - 2.0, 0.0), (due_s - 1.0, 0.8)))


def _brake(due_s: float) -> Flight:
    return takeoff(parking_brake=step(due_s - 1.0, 0.0, 1.0))


def _mixture(due_s: float) -> Flight:
    return takeoff(mixture=((due_s - 1.5, 1.0), (due_s - 1.0, 0.4)))


CUES = {
    "engine-failure": _engine, "power-loss": _power, "rpm-low": _rpm_low, "manifold-pressure-low": _pressure_low,
    "rpm-high": _rpm_high, "oil-pressure-low": _oil_pressure, "oil-temperature-high": _oil_temperature,
    "airspeed-not-alive": _airspeed, "directional-control": _direction, "flaps": _flaps, "trim": _trim,
    "brake": _brake, "mixture": _mixture,
}  # fmt: skip
# 35 kt of groundspeed, from which a dead airspeed can be told, is at 19.75 s; 15 kt, from which direction is, at 14.75.
MOVED = {("airspeed-not-alive", MID): 20.25, ("directional-control", EARLY): 16.6}
REASON = {"flaps": "configuration", "trim": "configuration", "brake": "configuration", "mixture": "configuration"}

TABLE = {
    # cue: (below half VR, to 2 s before VR, the last 2 s on the wheels)
    "engine-failure": (ABORT, ABORT, ABORT),
    "power-loss": (ABORT, ABORT, ABORT),
    "rpm-low": (ABORT, ABORT, SILENT),
    "manifold-pressure-low": (ABORT, ABORT, SILENT),
    "rpm-high": (ABORT, HELD, HELD),
    "oil-pressure-low": (ABORT, ABORT, HELD),
    "oil-temperature-high": (ABORT, HELD, HELD),
    "airspeed-not-alive": (None, ABORT, HELD),  # under half VR there is no telling yet
    "directional-control": (ABORT, ABORT, ABORT),
    "flaps": (ABORT, ABORT, HELD),
    "trim": (ABORT, SILENT, HELD),
    "brake": (ABORT, SILENT, HELD),
    "mixture": (ABORT, SILENT, HELD),
}
ROWS = [
    (cue, zone, due_s, action)
    for cue, actions in TABLE.items()
    for zone, due_s, action in zip(("early", "mid", "late"), (EARLY, MID, LATE), actions, strict=True)
    if action is not None
]


def _flown(cue: str, due_s: float, to_s: float, options: Options | None = None) -> Flown:
    aircraft = GOVERNED if cue == "manifold-pressure-low" else FIXED
    due_s = MOVED.get((cue, due_s), due_s)
    return fly(CUES[cue](due_s).between(5.0, to_s), aircraft, options)


@pytest.mark.parametrize(("cue", "zone", "due_s", "action"), ROWS)
def test_the_table_on_the_wheels(cue: str, zone: str, due_s: float, action: str) -> None:
    """Each cue in each part of the roll: an abort with its reason, or shown and not said, or nothing."""
    flown = _flown(cue, due_s, LINE if (zone, action) == ("mid", SILENT) else 24.8)
    reason = REASON.get(cue, cue)
    if action == ABORT:
        assert flown.warnings == [("abort", reason)]
        event = flown.one("warning", "abort")
        assert event.t_s == pytest.approx(MOVED.get((cue, due_s), due_s), abs=0.45)
        assert event.say is not None
        assert event.say.startswith("Abort, abort.")
    else:
        assert flown.warnings == []
        held = [event for event in flown.all("caution") if event.more.get("held")]
        assert [event.reason for event in held] == ([reason] if action == HELD else [])
        assert all(event.say is None for event in held)


@pytest.mark.parametrize("rate_hz", [5.0, 2.0])
@pytest.mark.parametrize(("cue", "zone", "due_s", "action"), ROWS)
def test_the_table_holds_with_slow_data(cue: str, zone: str, due_s: float, action: str, rate_hz: float) -> None:
    """At 5 and 2 Hz the table is the same, and a call is later by two samples at most."""
    aircraft = GOVERNED if cue == "manifold-pressure-low" else FIXED
    due_s = MOVED.get((cue, due_s), due_s)
    flown = fly(CUES[cue](due_s).at(rate_hz).between(5.0, 24.8), aircraft)
    assert flown.warnings == ([("abort", REASON.get(cue, cue))] if action == ABORT else [])
    if action == ABORT:
        assert flown.t("warning", "abort") == pytest.approx(due_s, abs=0.45 + 2.0 / rate_hz)


@pytest.mark.parametrize("cue", ["trim", "brake", "mixture"])
def test_a_configuration_passed_over_is_shown_in_the_last_two_seconds(cue: str) -> None:
    """Wrong since the middle of the roll, it is no abort; from 2 s before VR it is shown, where it still is wrong."""
    flown = _flown(cue, MID, 24.8)
    (event,) = flown.all("caution")
    assert (event.id, event.reason, event.say, event.more["held"]) == ("configuration", "configuration", None, True)
    assert event.t_s == pytest.approx(21.5, abs=0.01)
    channel, right = {"trim": ("elevator_trim", 0.0), "brake": ("parking_brake", 0.0), "mixture": ("mixture", 1.0)}[cue]
    healed = fly(CUES[cue](MID).bend(channel, 21.0, 999.0, right).between(5.0, 24.8))
    assert healed.all("caution") == []


SAID_AFTER = {
    "oil-pressure-low": ("oil-pressure-low", "Oil pressure. Return and land"),
    "oil-temperature-high": ("oil-temperature-high", "Oil temperature. Return"),
    "airspeed-not-alive": ("airspeed-not-alive", "Airspeed dead. Attitude and power"),
}


@pytest.mark.parametrize("cue", sorted(SAID_AFTER))
def test_what_was_held_is_said_after_lift_off(cue: str) -> None:
    """Held in the last 2 s, it is said once lift-off is certain: once, with its own words, never as an abort."""
    flown = _flown(cue, LATE, 45.0)
    assert flown.warnings == [(cue, cue)]
    event = flown.one("warning", cue)
    assert event.say == SAID_AFTER[cue][1]
    assert event.phase == "initial-climb"
    assert event.t_s is not None
    assert 24.9 <= event.t_s <= 27.1


def test_the_gravest_of_what_was_held_comes_first() -> None:
    """Oil temperature and then oil pressure held on the wheels: after lift-off the pressure is said before it."""
    hot = ((17.0, 165.0), (19.0, 260.0))
    flown = fly(_oil_pressure(LATE).with_(oil_temperature_degf=hot).between(5.0, 45.0))
    assert [event.reason for event in flown.all("caution") if event.more.get("held")] == [
        "oil-temperature-high", "oil-pressure-low",
    ]  # fmt: skip
    assert flown.warnings == [("oil-pressure-low",) * 2, ("oil-temperature-high",) * 2]


@pytest.mark.parametrize("zone_s", [MID, LATE])
def test_rpm_high_held_is_said_at_500_ft(zone_s: float) -> None:
    """High rpm held on the wheels waits to 500 ft, for the power is needed below."""
    flown = _flown("rpm-high", zone_s, 75.0)
    assert flown.warnings == [("rpm-high", "rpm-high")]
    event = flown.one("warning", "rpm-high")
    assert event.say == "R p m. Ease power"
    assert event.height_ft == pytest.approx(500.0, abs=2.0)


@pytest.mark.parametrize("cue", ["oil-pressure-low", "rpm-high"])
def test_what_was_held_and_has_healed_is_not_said(cue: str) -> None:
    """A held cue that is over by lift-off is not said after it."""
    channel, healthy = {"oil-pressure-low": ("oil_pressure_psi", 75.0), "rpm-high": ("rpm", 2640.0)}[cue]
    beyond = 10.0 if cue == "oil-pressure-low" else 2720.0
    flight = CUES[cue](LATE).bend(channel, 23.4, 999.0, ((23.4, beyond), (24.4, healthy)))
    assert fly(flight.between(5.0, 75.0)).warnings == []


AIR = [
    ("engine-failure", LOW, "engine-failure", "Land ahead"),
    ("engine-failure", MIDDLE, "engine-failure", "Nose down. Land ahead"),
    ("engine-failure", HIGH, "engine-failure", "Nose down. Best glide, six two"),
    ("power-loss", MIDDLE, "power-loss", "Power. Return and land"),
    ("oil-pressure-low", MIDDLE, "oil-pressure-low", "Oil pressure. Return and land"),
    ("oil-temperature-high", MIDDLE, "oil-temperature-high", "Oil temperature. Return"),
    ("airspeed-not-alive", MIDDLE, "airspeed-not-alive", "Airspeed dead. Attitude and power"),
    ("rpm-high", HIGH, "rpm-high", "R p m. Ease power"),
]


@pytest.mark.parametrize(("cue", "due_s", "id_", "words"), AIR)
def test_the_table_in_the_air(cue: str, due_s: float, id_: str, words: str) -> None:
    """The same faults after lift-off: their own warning and words, at once, and never "abort"."""
    flown = _flown(cue, due_s, due_s + 6.0)
    assert flown.warnings == [(id_, cue)]
    event = flown.one("warning", id_)
    assert event.say == words
    assert event.t_s == pytest.approx(due_s, abs=0.45)


@pytest.mark.parametrize("cue", ["directional-control", "flaps", "trim", "brake", "mixture"])
def test_what_only_matters_on_the_wheels_is_no_warning_in_the_air(cue: str) -> None:
    """Direction and configuration warn of nothing after lift-off."""
    assert _flown(cue, MIDDLE, MIDDLE + 6.0).warnings == []


def test_a_power_loss_that_cannot_climb_says_land_ahead() -> None:
    """With the climb gone as well, the words are those of an engine failure."""
    flight = _power(MIDDLE).with_(
        height_ft=((25.0, 0.0), (43.6, 223.2), (90.0, 223.2)),
        altitude_ft=((25.0, 400.0), (43.6, 623.2), (90.0, 623.2)),
        vertical_speed_fpm=((24.999, 0.0), (25.0, 720.0), (43.6, 720.0), (44.4, 0.0)),
    )  # fmt: skip
    event = fly(flight.between(5.0, MIDDLE + 6.0)).one("warning", "power-loss")
    assert event.say == "Land ahead"


def test_rpm_high_that_begins_low_waits_for_500_ft() -> None:
    """Overspeed that begins at 150 ft is shown, and said from 500 ft, not before."""
    flown = _flown("rpm-high", 38.0, 75.0)
    event = flown.one("warning", "rpm-high")
    assert event.height_ft == pytest.approx(500.0, abs=2.0)


def test_no_speed_calls_once_the_airspeed_is_dead() -> None:
    """After "Airspeed dead" nothing is said of speed, and a needle fallen to nothing is not taken for flying slowly."""
    flown = _flown("airspeed-not-alive", MIDDLE, 70.0)
    assert [e.id for e in flown.all("caution") + flown.all("advisory") if e.say] == []


def test_a_second_fault_brings_no_second_abort() -> None:
    """One abort a takeoff, whatever else goes wrong after it."""
    flight = _oil_pressure(EARLY).with_(
        rpm=_rpm(2350.0, 18.0, 600.0, 1.0), oil_temperature_degf=((17.0, 165.0), (18.0, 260.0))
    )
    assert fly(flight.between(5.0, 24.0)).warnings == [("abort", "oil-pressure-low")]


@pytest.mark.parametrize("cue", ["engine-failure", "oil-pressure-low", "directional-control"])
def test_never_rotate_after_an_abort(cue: str) -> None:
    """A pilot who flies on through an abort hears no "Rotate", and is coached in the climb."""
    flown = _flown(cue, MID, 60.0)
    assert flown.warnings[0] == ("abort", cue)
    assert flown.all("callout", "rotate") == []
    assert flown.one("callout", "flaps-up").say
    assert flown.phases[-1] == "initial-climb"


def test_no_abort_once_the_throttle_is_closed() -> None:
    """Closing the throttle ends the judging: what the gauges do then is no news."""
    flight = takeoff(
        throttle=((10.0, 0.0), (12.0, 1.0), (18.0, 1.0), (18.3, 0.0)),
        rpm=((10.0, 700.0), (12.0, 2350.0), (18.0, 2350.0), (18.8, 700.0)),
        oil_pressure_psi=((18.0, 75.0), (19.0, 10.0)),
        ias_kt=((11.0, 0.0), (18.3, 29.2), (23.0, 0.0)),
        groundspeed_kt=((11.0, 0.0), (18.3, 29.2), (23.0, 0.0)),
    )
    flown = fly(flight.between(5.0, 24.0))
    assert flown.warnings == []
    assert "rejected-takeoff" in flown.phases


# ---- where the lines are -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("due_s", "action"), [(17.0, ABORT), (17.5, HELD)])
def test_the_line_at_half_vr(due_s: float, action: str) -> None:
    """Oil temperature ends the takeoff just below half VR (17.25 s) and is held just above it."""
    ramp = ((due_s - 4.0, 140.0), (due_s, 340.0))  # 240 degF is passed exactly 2 s before
    flown = fly(takeoff(oil_temperature_degf=ramp).between(5.0, 21.0))
    assert bool(flown.warnings) == (action == ABORT)


@pytest.mark.parametrize(("due_s", "action"), [(21.3, ABORT), (21.7, HELD)])
def test_the_line_two_seconds_before_vr(due_s: float, action: str) -> None:
    """Oil pressure ends the takeoff just before 2 s to VR (21.5 s) and is held just after it."""
    ramp = ((due_s - 3.5, 75.0), (due_s + 0.5, -25.0))  # 25 psi is passed exactly 1.5 s before
    flown = fly(takeoff(oil_pressure_psi=((ramp[0]), (due_s - 0.9, 10.0))).between(5.0, 24.5))
    assert bool(flown.warnings) == (action == ABORT)


@pytest.mark.parametrize(("line_s", "action"), [(1.0, ABORT), (2.0, HELD)])
def test_the_line_is_a_setting(line_s: float, action: str) -> None:
    """Oil pressure 1.5 s before VR: held with the line at 2 s, an abort with the line at 1 s."""
    flight = takeoff(oil_pressure_psi=((18.5, 75.0), (21.1, 10.0))).between(5.0, 24.5)
    flown = fly(flight, using=changed(abort_line_s=line_s))
    assert bool(flown.warnings) == (action == ABORT)


# ---- a runway too short to stop on --------------------------------------------------------------------------------

SHORT = Options(runway_length_ft=500.0)  # at 19 s 216 ft are rolled at 32 kt; 560 (32/50)^2 = 229 ft more to stop
LONG = Options(runway_length_ft=5000.0)


@pytest.mark.parametrize(
    ("cue", "aborts"),
    [("power-loss", False), ("oil-pressure-low", False), ("engine-failure", True), ("directional-control", True)],
)
def test_where_the_stop_does_not_fit_only_the_gravest_ends_the_takeoff(cue: str, aborts: bool) -> None:
    """On a runway too short to stop on the takeoff goes on, except for engine failure and loss of direction."""
    due_s = 20.8  # 39 kt: 324 ft rolled and 341 more to stop
    assert bool([w for w in _flown(cue, due_s, 24.0, SHORT).warnings if w[0] == "abort"]) == aborts
    assert [w[0] for w in _flown(cue, due_s, 24.0, LONG).warnings] == ["abort"]


@pytest.mark.parametrize(("length_ft", "aborts"), [(650.0, False), (690.0, True)])
def test_whether_the_stop_fits_is_by_distance_and_speed(length_ft: float, aborts: bool) -> None:
    """39.2 kt at 20.8 s: 324 ft rolled (half a v t) and 560 (39.2/50)^2 = 344 ft to stop: 668 ft in all."""
    flown = _flown("oil-pressure-low", 20.8, 24.0, Options(runway_length_ft=length_ft))
    assert bool(flown.warnings) == aborts


# ---- AIM 7-6-8: 70 % of lift-off speed by mid-runway --------------------------------------------------------------

STOPS = msgspec.structs.replace(FIXED, stop_from_rotate_ft=200.0)


@pytest.mark.parametrize(("length_ft", "low"), [(560.0, True), (640.0, False)])
def test_seventy_percent_of_lift_off_speed_by_mid_runway(length_ft: float, low: bool) -> None:
    """70 % of 54 kt is 37.8 kt, had after 9.45 s and 301.5 ft: mid-runway before that is an abort (AIM 7-6-8)."""
    flown = fly(takeoff().between(5.0, 24.0), STOPS, Options(runway_length_ft=length_ft))
    assert flown.warnings == ([("abort", "acceleration-low")] if low else [])
    assert len(flown.all("callout", "acceleration")) == (0 if low else 1)


def test_acceleration_is_called_silently_at_mid_runway() -> None:
    """Fast enough by the middle of 720 ft (half a t squared: 21.327 s), the call is there without a word."""
    event = fly(takeoff().between(5.0, 24.0), STOPS, Options(runway_length_ft=720.0)).one("callout", "acceleration")
    assert event.say is None
    assert event.t_s == pytest.approx(11.0 + (2.0 * 360.0 / (4.0 * 1.687810)) ** 0.5, abs=0.25)


@pytest.mark.parametrize("cue", ["engine-failure", "power-loss", "directional-control", "oil-pressure-low", "flaps"])
@pytest.mark.parametrize("due_s", [24.4, 24.85, 25.3, 26.5])
@pytest.mark.parametrize("without", [(), ("on_ground",)])
def test_a_gap_in_the_data_around_lift_off_brings_no_abort_in_the_air(
    cue: str, due_s: float, without: tuple[str, ...]
) -> None:
    """Samples lost from 24.8 s to 27.3, a fault that falls due about then: an abort only with the wheels on the
    ground."""
    samples = [s for s in CUES[cue](due_s).without(*without).between(5.0, 40.0).samples() if not 24.8 < at(s) < 27.3]
    for event in fly(samples).all("warning"):
        if event.id == "abort":
            assert event.phase in ("takeoff-roll", "rotation"), event
            assert event.t_s is not None
            assert event.t_s <= 25.05


# ---- the abort point ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("point_ft", "aborts"), [(300.0, True), (900.0, False)])
def test_passing_the_abort_point_on_the_wheels_is_an_abort(point_ft: float, aborts: bool) -> None:
    """Not airborne at the briefed abort point: an abort there; one that is passed in the air is none.

    300 ft are rolled after (2 x 300 / 6.751)^(1/2) = 9.427 s at 4 kt/s (6.751 ft/s2); lift-off comes after 662 ft.
    """
    flown = fly(takeoff().between(5.0, 40.0), options=Options(abort_point_ft=point_ft))
    assert flown.warnings == ([("abort", "abort-point")] if aborts else [])
    if aborts:
        assert flown.t("warning", "abort") == pytest.approx(11.0 + 9.427, abs=0.15)
