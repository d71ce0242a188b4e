"""The airspeed indicator: alive, dead or stuck, told by the speed over the ground and the wind that is known.

Recorded training flights: airspeeds come alive at 19 kt of groundspeed in the median, 30 at most; 20 kt comes
1.8 to 6.3 s after the throttle. The thresholds are made from that; no published source.
"""

from __future__ import annotations

import msgspec
import numpy as np
import pytest

from monitor.options import Options
from monitor.sample import Sample
from tests.synthetic import FIXED, Flown, Points, Value, at, changed, fly, position_lines, takeoff

# Groundspeed is 30 kt at 18.5 s, 35 at 19.75.


def _rolled(options: Options | None = None, without: tuple[str, ...] = (), **lines: Value) -> Flown:
    return fly(takeoff(**lines).without(*without).between(5.0, 24.8), options=options)


@pytest.mark.parametrize(
    ("options", "known_s"),
    [
        (Options(), 19.75),
        (Options(headwind_kt=0.0), 18.5),
        (Options(headwind_kt=-5.0), 19.75),
        (Options(headwind_kt=8.0), 18.5),
    ],
)
def test_a_dead_airspeed_is_told_at_35_kt_or_at_30_with_the_wind_known(options: Options, known_s: float) -> None:
    """Zero all the way: an abort at 35 kt of groundspeed, at 30 with the wind known, 35 in a known tailwind of 5; +
    0.5 s."""
    flown = _rolled(options, ias_kt=0.0)
    assert flown.warnings == [("abort", "airspeed-not-alive")]
    assert flown.t("warning", "abort") == pytest.approx(known_s + 0.5, abs=1e-3)


@pytest.mark.parametrize(("ias_kt", "dead"), [(19.5, True), (20.5, False)])
def test_dead_is_under_20_kt(ias_kt: float, dead: bool) -> None:
    """At 36 kt over the ground 19.5 kt of airspeed is dead; 20.5 is not yet known to be."""
    flown = fly(
        takeoff(ias_kt=((11.0, 0.0), (16.0, ias_kt), (26.0, ias_kt + (0.0 if dead else 16.0)))).between(5.0, 20.5)
    )
    assert bool(flown.warnings) == dead


@pytest.mark.parametrize(("lasts_s", "dead"), [(0.4, False), (0.6, True)])
def test_dead_for_half_a_second(lasts_s: float, dead: bool) -> None:
    """A needle that drops out for 0.4 s is no event; for 0.6 s it is dead."""
    flown = fly(takeoff().bend("ias_kt", 20.2, 20.2 + lasts_s, 10.0).between(5.0, 21.4))
    assert bool(flown.warnings) == dead


def _stuck(at_kt: float, creep_kt_s: float = 0.0) -> Points:
    t = 11.0 + at_kt / 4.0
    return ((11.0, 0.0), (t, at_kt), (t + 20.0, at_kt + 20.0 * creep_kt_s))


@pytest.mark.parametrize(("creep_kt_s", "stuck"), [(0.0, True), (0.5, True), (1.6, False)])
def test_a_needle_that_rises_less_than_5_kt_while_groundspeed_gains_15_is_stuck(creep_kt_s: float, stuck: bool) -> None:
    """Stuck at 22 kt, or 3.6 kt gained from 20 on while groundspeed gains 15: dead; 7 kt gained: slow, but alive."""
    flown = fly(takeoff(ias_kt=_stuck(22.0, creep_kt_s)).between(5.0, 21.4))
    assert flown.warnings == ([("abort", "airspeed-not-alive")] if stuck else [])
    if stuck and creep_kt_s == 0.0:
        assert flown.t("warning", "abort") == pytest.approx(16.0 + 15.0 / 4.0 + 0.5, abs=0.12)


@pytest.mark.parametrize(("tailwind_kt", "said"), [(0.0, False), (12.0, True)])
def test_a_needle_stuck_in_a_tailwind_has_shown_how_far_vr_is(tailwind_kt: float, said: bool) -> None:
    """Stuck at 22 kt, told when the groundspeed has gained 15: in 12 kt of tailwind that is 49 kt of groundspeed and 37
    of airspeed, 4 s before VR, and an abort; a needle that stuck at 40 is told within the last 2 s, and held."""
    at_kt = 22.0 if said else 40.0
    ground: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0))
    air: Points = ((11.0 + tailwind_kt / 4.0, 0.0), (11.0 + (tailwind_kt + at_kt) / 4.0, at_kt), (40.0, at_kt))
    flown = fly(takeoff(ias_kt=air, groundspeed_kt=ground).between(5.0, 25.0))
    assert flown.warnings == ([("abort", "airspeed-not-alive")] if said else [])


def test_a_needle_stuck_in_a_headwind_is_told_by_the_15_kt_all_the_same() -> None:
    """In 11 kt of headwind a needle that reads 11 at rest and sticks at 25 kt, groundspeed 14, is told once that has
    gained 15 since the needle came within 3 kt of there, at 11.4: at 26.4, not from 20 to 35."""
    flown = fly(takeoff(ias_kt=((11.0, 11.0), (14.5, 25.0), (26.0, 25.0))).between(5.0, 21.4))
    assert flown.warnings == [("abort", "airspeed-not-alive")]
    assert flown.t("warning", "abort") == pytest.approx(11.0 + 26.4 / 4.0 + 0.5, abs=0.3)


@pytest.mark.parametrize("at_kt", [24.0, 26.0])
def test_a_noisy_needle_is_told_by_all_of_the_time_that_it_stood(at_kt: float) -> None:
    """Stuck at 24 or 26 kt with noise of 0.4 kt: told when the groundspeed has gained 15 since the needle came within 5
    of there, wherever in the noise that began."""
    noise = np.random.default_rng(4)
    stuck_s = 11.0 + at_kt / 4.0
    samples = takeoff(ias_kt=((11.0, 0.0), (stuck_s, at_kt), (30.0, at_kt))).between(5.0, 23.4).samples()
    noisy = [msgspec.structs.replace(s, ias_kt=max((s.ias_kt or 0.0) + noise.normal(0.0, 0.4), 0.0)) for s in samples]
    flown = fly(noisy)
    assert flown.t("warning", "abort") <= stuck_s + 15.0 / 4.0 + 0.6


@pytest.mark.parametrize("wind_kt", [15.0, 22.0, 25.0])
def test_a_strong_headwind_hides_no_stuck_needle(wind_kt: float) -> None:
    """It sticks 6 kt above what it reads at rest, at 6 kt of groundspeed: found by 26 kt of it, not by wind and 15 (and
    held, for with the wind VR is near by then)."""
    stuck_kt = wind_kt + 6.0
    flown = fly(takeoff(ias_kt=((11.0, wind_kt), (12.5, stuck_kt), (26.0, stuck_kt))).between(5.0, 21.4))
    found = flown.all("warning", "abort") + flown.all("caution", "airspeed-not-alive")
    assert [event.more["reason"] for event in found] == ["airspeed-not-alive"]
    assert (found[0].t_s or 99.0) <= 11.0 + 26.0 / 4.0 + 0.5


@pytest.mark.parametrize("wind_kt", [18.0, 22.0, 25.0])
def test_a_needle_that_the_wind_holds_up_comes_alive_when_it_rises(wind_kt: float) -> None:
    """More wind than 20 kt at rest: "Airspeed alive" as it rises on the roll, not of a time before it."""
    flown = fly(takeoff(ias_kt=((11.0, wind_kt), (25.0, wind_kt + 56.0))).between(5.0, 20.0))
    alive = flown.one("callout", "airspeed-alive")
    assert alive.say == "Airspeed alive"
    assert 11.0 < (alive.t_s or 0.0) < 13.0


@pytest.mark.parametrize(("comes_back", "warned"), [(True, False), (False, True)])
def test_an_airspeed_that_comes_back_is_believed_again(comes_back: bool, warned: bool) -> None:
    """Stuck at 38 kt in the last seconds of the roll it is only shown; when it is back at the groundspeed's side for a
    second before it would be said aloft, nothing is said and the speed calls go on."""
    stuck = ((11.0, 0.0), (20.5, 38.0), (24.6, 38.0))
    after = ((25.0, 56.0), (39.0, 70.0)) if comes_back else ((60.0, 38.0),)
    flown = fly(takeoff(ias_kt=stuck + after).between(5.0, 60.0))
    assert (("airspeed-not-alive", "airspeed-not-alive") in flown.warnings) == warned
    assert ("climb-speed" in flown.ids("callout")) == comes_back


def test_a_dead_airspeed_is_told_by_position_too() -> None:
    """Groundspeed derived from latitude and longitude tells it as well, as soon as that is known (within 2.5 s)."""
    latitude, longitude = position_lines()
    flown = _rolled(without=("groundspeed_kt",), ias_kt=0.0, latitude_deg=latitude, longitude_deg=longitude)
    assert flown.warnings == [("abort", "airspeed-not-alive")]
    assert 20.2 <= flown.t("warning", "abort") <= 22.75


def test_with_nothing_to_compare_it_is_a_caution_ten_seconds_after_power() -> None:
    """No groundspeed and an airspeed at zero: no abort; "Check airspeed" ten seconds after the throttle (11.8 s)."""
    flown = _rolled(without=("groundspeed_kt", "track_deg"), ias_kt=0.0)
    assert flown.warnings == []
    event = flown.one("caution", "airspeed")
    assert event.t_s == pytest.approx(21.8, abs=0.06)


@pytest.mark.parametrize("after_s", [6.0, 9.0])
def test_when_to_check_is_a_setting(after_s: float) -> None:
    """The ten seconds are a setting of the procedure, though never under half the expected roll (13 s)."""
    flight = takeoff(ias_kt=0.0).without("groundspeed_kt").between(5.0, 24.0)
    event = fly(flight, using=changed(airspeed_check_s=after_s)).one("caution", "airspeed")
    assert event.t_s == pytest.approx(11.8 + max(after_s, 6.5), abs=0.06)


@pytest.mark.parametrize("stops_kt", [None, 15.0])
def test_a_slow_roll_is_no_airspeed_to_check(stops_kt: float | None) -> None:
    """No groundspeed, and an airspeed that gains 1.2 kt/s and shows 13 kt ten seconds after power: it is alive, and not
    a word; one that stops at 15 kt is told once it has stopped."""
    end: Points = ((11.0 + stops_kt / 1.2, stops_kt), (60.0, stops_kt)) if stops_kt else ((60.0, 58.8),)
    flight = takeoff(ias_kt=((11.0, 0.0), *end), pitch_deg=0.0, on_ground=1.0, height_ft=0.0, altitude_ft=400.0)
    flown = fly(flight.with_(vertical_speed_fpm=0.0).without("groundspeed_kt", "track_deg").between(5.0, 50.0))
    assert flown.warnings == []
    told = [event.t_s for event in flown.all("caution", "airspeed")]
    assert told == ([pytest.approx(25.0, abs=2.0)] if stops_kt else [])


@pytest.mark.parametrize(("then_kt", "dead"), [(57.0, False), (51.0, True)])
def test_a_lull_that_ends_before_lift_off_is_no_stuck_needle(then_kt: float, dead: bool) -> None:
    """Floating, lift-off not yet known: within 2 kt while the groundspeed gained 15, and then 7 kt more in a second, it
    was the wind; one that stays is "Airspeed dead" once it flies."""
    ias: Points = ((11.0, 0.0), (23.0, 48.0), (27.4, 50.0), (28.4, then_kt), (40.0, then_kt + (1.0 if dead else 13.0)))
    height: Points = ((25.5, 0.0), (29.0, 0.8), (30.0, 0.8), (40.0, 84.0), (116.0, 700.0))
    flight = takeoff(
        20.0,
        ias_kt=ias,
        groundspeed_kt=((11.0, 0.0), (23.0, 40.0), (27.0, 56.0), (40.0, 72.0)),
        vertical_speed_fpm=((25.5, 0.0), (25.6, 130.0), (28.9, 130.0), (29.0, 20.0), (30.0, 20.0), (30.1, 500.0)),
        height_ft=height,
        altitude_ft=tuple((t, 400.0 + h) for t, h in height),
    )
    flown = fly(flight.without("on_ground").between(5.0, 60.0))
    assert [reason for _, reason in flown.warnings] == (["airspeed-not-alive"] if dead else [])


@pytest.mark.parametrize("early", [(2.0, 5.0), (6.0, 9.0)])
@pytest.mark.parametrize("rate_hz", [1.0, 20.0])
@pytest.mark.parametrize("from_s", [15.0, 18.0, 21.0, 24.0, 27.0])
def test_a_speed_made_of_positions_begins_anew_with_each_gap(
    from_s: float, rate_hz: float, early: tuple[float, float]
) -> None:
    """Groundspeed empty for 3 s at rest and for 2 s on the roll, with positions: one takeoff, no warning."""
    latitude, longitude = position_lines()
    flight = takeoff(rate_hz, latitude_deg=latitude, longitude_deg=longitude).without("height_ft", "on_ground")
    for gap in (early, (from_s, from_s + 2.0)):
        flight = flight.bend("groundspeed_kt", gap[0], gap[1] - 0.01, None)
    flown = fly(flight)
    assert flown.warnings == []
    assert flown.phases.count("takeoff-roll") == 1
    assert "rejected-takeoff" not in flown.phases


@pytest.mark.parametrize("stands_s", [0.7, 2.0])
@pytest.mark.parametrize("from_s", [19.0, 22.0, 24.0, 26.0])
@pytest.mark.parametrize("rate_hz", [10.0, 20.0])
def test_rows_sent_again_are_no_stop(rate_hz: float, from_s: float, stands_s: float) -> None:
    """Positions and no groundspeed: the simulator stands still for a while and sends the same row, its time running
    on. The speed made of positions does not fall, and no needle is called dead when it moves again."""
    latitude, longitude = position_lines()
    noise = np.random.default_rng(3)
    samples: list[Sample] = []
    later_s = 0.0
    flight = takeoff(rate_hz, latitude_deg=latitude, longitude_deg=longitude).without("groundspeed_kt")
    for sample in flight.between(5.0, 60.0).samples():
        moved = msgspec.structs.replace(
            sample, ias_kt=max((sample.ias_kt or 0.0) + noise.normal(0.0, 0.3), 0.0), time_s=at(sample) + later_s
        )
        samples.append(moved)
        if not later_s and at(sample) >= from_s:
            for _ in range(int(stands_s * rate_hz)):
                later_s += 1.0 / rate_hz
                samples.append(msgspec.structs.replace(moved, time_s=at(sample) + later_s))
    flown = fly(samples)
    assert flown.warnings == []
    assert "rejected-takeoff" not in flown.phases


@pytest.mark.parametrize("from_s", [20.0, 21.0, 22.0])
def test_a_groundspeed_that_catches_up_makes_no_needle_stuck(from_s: float) -> None:
    """At one sample a second the same groundspeed for 5 or 6 rows about lift-off, and then the true one: no warning."""
    for rows in (5.0, 6.0):
        flight = takeoff(1.0)
        stands_kt = float(np.interp(from_s, *zip(*flight.lines["groundspeed_kt"], strict=True)))  # type: ignore[arg-type]
        assert fly(flight.bend("groundspeed_kt", from_s, from_s + rows - 0.1, stands_kt)).warnings == []


def test_a_healthy_airspeed_without_groundspeed_is_no_caution() -> None:
    """Nothing to compare with and nothing wrong: not a word."""
    fly(takeoff().without("groundspeed_kt").between(5.0, 60.0)).calm()


@pytest.mark.parametrize("wind_kt", [-10.0, -5.0, 8.0, 15.0, 20.0])
def test_wind_alone_makes_no_airspeed_dead(wind_kt: float) -> None:
    """Tailwinds and headwinds within reason: airspeed lags or leads groundspeed, and is not called dead."""
    ias = ((11.0, max(wind_kt, 0.0)), (25.0, 56.0 + wind_kt)) if wind_kt >= 0 else (
        (11.0 - wind_kt / 4.0, 0.0), (25.0, 56.0 + wind_kt)
    )  # fmt: skip
    speed = ((11.0, 0.0), (25.0, 56.0), (31.0, 80.0))
    assert _rolled(ias_kt=(*ias, (31.0, 80.0 + wind_kt)), groundspeed_kt=speed).warnings == []


def test_a_healthy_takeoff_in_gusts_is_not_stuck() -> None:
    """Gusts of 4 kt on the needle about a steady acceleration: alive."""
    points = tuple((11.0 + n * 0.5, max(2.0 * n + (4.0 if n % 4 < 2 else -4.0), 0.0)) for n in range(28))
    assert fly(takeoff(ias_kt=points).between(5.0, 24.0)).warnings == []


def test_a_turn_downwind_in_the_air_is_no_stuck_airspeed() -> None:
    """In the climb groundspeed gains 20 kt in a turn downwind at a steady airspeed: nothing."""
    speed = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (70.0, 70.0), (80.0, 95.0))
    assert fly(takeoff(groundspeed_kt=speed).between(5.0, 95.0)).warnings == []


def test_airspeed_lost_from_the_feed_is_data_lost_not_dead() -> None:
    """The channel missing for 1.5 s in the roll: "Data lost" once, no abort for it."""
    flown = fly(takeoff().bend("ias_kt", 17.0, 99.0, None).between(5.0, 21.4))
    assert flown.warnings == []
    event = flown.one("caution", "data-lost")
    assert event.say == "Data lost"


@pytest.mark.parametrize("gone_s", [20.4, 22.0, 24.0])
@pytest.mark.parametrize("groundspeed", [True, False])
def test_airspeed_lost_close_to_rotation_is_said_after_it(gone_s: float, groundspeed: bool) -> None:
    """Gone where VR is less than 2 s away once 1.5 s are over: an event then, and the words 2 s after lift-off."""
    flight = takeoff() if groundspeed else takeoff().without("groundspeed_kt")
    flown = fly(flight.bend("ias_kt", gone_s, 99.0, None).between(5.0, 40.0))
    first, *later = flown.all("caution", "data-lost")
    assert (first.t_s, first.say) == (pytest.approx(gone_s + 1.5, abs=0.1), None)
    said = [event for event in later if event.say]
    assert [event.say for event in said] == ["Data lost"]
    assert 27.0 <= (said[0].t_s or 0.0) <= 28.0


@pytest.mark.parametrize(("gone_s", "said"), [(1.2, False), (3.4, True)])
def test_a_gap_of_a_second_is_no_loss(gone_s: float, said: bool) -> None:
    """Airspeed missing for 1.2 s is not worth a word; for 3.4 s it is (1.5 s to be given up, 1.5 s more to be told)."""
    flown = fly(takeoff().bend("ias_kt", 16.0, 16.0 + gone_s, None).between(5.0, 21.4))
    assert bool(flown.all("caution", "data-lost")) == said


def test_a_feed_that_never_had_an_airspeed_loses_none() -> None:
    """Without the channel from the start nothing is said of it."""
    assert fly(takeoff().without("ias_kt").between(5.0, 40.0), FIXED).ids("caution", "warning") == []


def test_an_airspeed_that_comes_alive_late_is_not_dead() -> None:
    """An indicator that shows nothing below 20 kt and lags by 1.5 s, with 5 kt of tailwind, reads 12 kt at 35 kt of
    groundspeed and rises: no abort."""
    line: Points = ((18.0, 0.0), (21.0, 20.0), (23.0, 36.0), (26.0, 52.0), (45.0, 70.0))
    assert fly(takeoff(ias_kt=line).between(5.0, 60.0)).warnings == []


def test_an_airspeed_that_comes_alive_and_stops_is_dead() -> None:
    """One that stays at 8 kt is dead at 35 kt of groundspeed as ever."""
    flown = fly(takeoff(ias_kt=((16.0, 0.0), (17.0, 8.0))).between(5.0, 24.0))
    assert flown.warnings == [("abort", "airspeed-not-alive")]
    assert flown.t("warning", "abort") < 19.75 + 1.0
