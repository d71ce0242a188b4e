"""Found by reading the coach against its rules, by every cell of the abort table, and by whole sessions at home."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest
from msgspec.structs import replace

from monitor.coach import Coach
from monitor.judge import Judge
from monitor.options import Options
from monitor.sample import Sample
from monitor.state import State
from tests.synthetic import (
    FIELD_FT,
    FIXED,
    GOVERNED,
    Flight,
    Flown,
    Points,
    at,
    changed,
    fly,
    governed,
    joined,
    procedure,
    rejected,
    step,
    takeoff,
    touch_and_go,
)

RATES = pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])
CALLS = ("power-set", "rotate", "flaps-up", "turn")


def _all_called(flown: Flown) -> None:
    flown.calm()
    assert [id_ for id_ in CALLS if not flown.all("callout", id_)] == []


def _up(line: Points, from_s: float, feet: float, over_s: float = 20.0) -> Points:
    """A line that lies so much higher from a time on, reached at a steady rate."""
    times = sorted({t for t, _ in line} | {from_s, from_s + over_s})
    more = {t: feet * min(max((t - from_s) / over_s, 0.0), 1.0) for t in times}

    def value(t: float) -> float:
        for (a, low), (b, high) in pairwise(line):
            if a <= t <= b:
                return low + (high - low) * (t - a) / (b - a)
        return line[0][1] if t < line[0][0] else line[-1][1]

    return tuple((t, value(t) + more[t]) for t in times)


def _altitude(flight: Flight) -> Points:
    line = flight.lines["altitude_ft"]
    assert isinstance(line, tuple)
    return line


# ---- before the roll -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 2.0])
@pytest.mark.parametrize("given", [None, 80.0])
@pytest.mark.parametrize("shown_deg", [50.0, 104.0, 112.0])
def test_one_damaged_heading_becomes_no_runway(rate_hz: float, given: float | None, shown_deg: float) -> None:
    """The last heading below 15 kt is 24 to 32 degrees off: the runway's stays what it was, and nobody is stopped."""
    flight = takeoff(rate_hz).bend("heading_deg", 14.7 - 1.0 / rate_hz, 14.7, shown_deg)
    flown = fly(flight, options=Options(runway_heading_deg=given))
    assert flown.warnings == []
    assert flown.said("rotate") == "Rotate"


@RATES
@pytest.mark.parametrize("from_kt", [6.0, 10.0, 14.0])
def test_a_swerve_from_a_slow_start_along_the_given_heading(rate_hz: float, from_kt: float) -> None:
    """Lined up along the given heading, an aeroplane that swings 22 degrees aside while it is slow is stopped."""
    from_s = 11.0 + from_kt / 4.0
    swung = ((from_s, 80.0), (from_s + 0.8, 102.0))
    flown = fly(takeoff(rate_hz, heading_deg=swung, track_deg=swung), options=Options(runway_heading_deg=80.0))
    assert flown.warnings[:1] == [("abort", "directional-control")]


def test_the_runway_of_an_earlier_takeoff_is_forgotten() -> None:
    """After a takeoff on 260, given 080, the one on 080 is judged by the given heading again."""
    other = rejected(heading_deg=260.0, track_deg=260.0)
    flown = fly(joined(other.samples(), takeoff().samples()), options=Options(runway_heading_deg=80.0))
    assert [e.more.get("runway_heading_deg") for e in flown.all("phase", "lined-up")] == [260.0, 80.0]


@pytest.mark.parametrize("change_ft", [120.0, -120.0])
def test_the_subscale_turned_on_the_ramp_takes_no_channel_away(change_ft: float) -> None:
    """An altimeter that is set while the aeroplane stands is no climb against a height of 0."""
    turned: Points = ((0.0, FIELD_FT - change_ft), (4.0, FIELD_FT), (25.0, FIELD_FT), (116.0, FIELD_FT + 1092.0))
    flown = fly(takeoff(altitude_ft=turned))
    assert flown.all("feed", "channel-lost") == []
    _all_called(flown)


@RATES
def test_a_lever_left_forward_with_the_engine_off(rate_hz: float) -> None:
    """A session that begins with a stopped engine and the throttle open: the lever is believed, and a failure told."""
    lever = ((0.0, 1.0), (5.0, 1.0), (5.2, 0.0), (10.0, 0.0), (12.0, 1.0))
    rpm = ((0.0, 0.0), (6.0, 0.0), (7.0, 700.0), (10.0, 700.0), (12.0, 2350.0), (19.0, 2350.0), (19.3, 900.0))
    flown = fly(takeoff(rate_hz, throttle=lever, rpm=rpm))
    assert flown.warnings[:1] == [("abort", "engine-failure")]


@pytest.mark.parametrize("hold_s", [2.0, 5.0, 9.0])
def test_the_lever_moved_with_the_engine_off_is_no_takeoff(hold_s: float) -> None:
    """Throttle checked for free movement before the start: no line-up, no "Clock", no abort for low rpm."""
    lever = ((0.0, 0.0), (1.0, 0.0), (1.5, 1.0), (1.5 + hold_s, 1.0), (2.0 + hold_s, 0.0))
    stood = takeoff(throttle=lever, rpm=0.0, oil_pressure_psi=0.0).between(0.0, 10.9)
    flown = fly(joined(stood.samples(), takeoff().samples()))
    _all_called(flown)
    assert flown.one("phase", "lined-up").takeoff == 1
    assert flown.t("callout", "clock") > 20.0


def test_a_stand_along_the_runway_is_no_line_up() -> None:
    """Parked along the given heading with the engine off, nothing is said."""
    parked = takeoff(throttle=0.0, rpm=0.0, oil_pressure_psi=0.0, parking_brake=1.0).between(0.0, 9.0)
    assert fly(parked, options=Options(runway_heading_deg=80.0)).spoken == []


@pytest.mark.parametrize("channel", ["flaps_deg", "parking_brake"])
def test_a_wrong_configuration_after_the_clock_went_back(channel: str) -> None:
    """What was wrong, or moved, before the simulator began anew hides nothing after it."""
    wrong = 30.0 if channel == "flaps_deg" else 1.0
    before = wrong if channel == "parking_brake" else ((0.0, 10.0), (40.0, 10.0), (43.0, 0.0))
    first = [replace(s, time_s=at(s) + 200.0) for s in rejected(**{channel: before}).samples()]
    second = takeoff(**{channel: wrong}).between(0.0, 24.0).samples()
    flown = fly([*first, *second], arrive_every_s=0.05)
    assert ("abort", "configuration") in [(e.id, e.reason) for e in flown.all("warning") if e.takeoff == 2]


# ---- the silence around rotation -------------------------------------------------------------------------------------

SLOW: Points = ((11.0, 0.0), (25.0, 56.0), (26.0, 45.0), (36.0, 45.0), (50.0, 70.0))
LASTING: dict[str, tuple[Callable[[Flight], Flight], str]] = {
    "speed-low": (lambda f: f.with_(ias_kt=SLOW), "Speed, nose down"),
    "pitch": (lambda f: f.with_(pitch_deg=((23.7, 0.0), (25.9, 13.0))), "Nose down, tail"),
    "bank": (lambda f: f.with_(bank_deg=((26.0, 0.0), (26.1, 40.0), (40.0, 40.0), (41.0, 0.0))), "Bank"),
    "data-lost": (lambda f: f.bend("ias_kt", 23.0, 60.0, None), "Data lost"),
    "power-reduced": (lambda f: f.with_(throttle=((10.0, 0.0), (12.0, 1.0), (21.0, 1.0), (22.0, 0.8))), "Keep power"),
}


@pytest.mark.parametrize("id_", LASTING)
def test_what_lasts_through_the_silence_is_said_after_it(id_: str) -> None:
    """Wrong from before 2 s after lift-off and still wrong then: silent until 27 s, said within a second or two of it,
    once."""
    bent, words = LASTING[id_]
    said = [e for e in fly(bent(takeoff()).between(0.0, 35.0)).all("caution", id_) if e.say]
    assert [e.say for e in said] == [words]
    assert 27.0 <= (said[0].t_s or 0.0) <= 28.5


def test_a_heading_between_remark_and_caution() -> None:
    """7 degrees off, 11 for half a second as the remark falls due, then 9 for good: the remark comes."""
    off = ((15.0, 80.0), (15.5, 87.0), (16.3, 87.0), (16.4, 91.0), (16.9, 91.0), (17.0, 89.0))
    flown = fly(takeoff(heading_deg=off, track_deg=off).between(0.0, 21.0))
    assert flown.one("advisory", "heading").say == "Come left"


def test_silent_advisories_use_none_of_the_three() -> None:
    """Remarks that the level keeps silent leave all three for those that sound."""
    fast: Points = ((11.0, 0.0), (25.0, 56.0), (30.0, 70.0))
    for from_s in (32.0, 50.0, 68.0):
        fast += ((from_s, 70.0), (from_s + 1.0, 85.0), (from_s + 9.0, 85.0), (from_s + 10.0, 70.0))
    slow_climb = ((25.0, 0.0), (116.0, 91.0 * 4.0))
    lines = {
        "ias_kt": fast, "groundspeed_kt": fast, "height_ft": slow_climb, "vertical_speed_fpm": step(25.0, 0.0, 240.0),
        "altitude_ft": tuple((t, h + 400.0) for t, h in slow_climb), "bank_deg": ((98.0, 0.0), (99.0, 15.0)),
    }  # fmt: skip
    flown = fly(takeoff(**lines), options=Options(levels={"climb-fast": "test"}))
    assert len(flown.all("advisory", "climb-fast")) == 3
    assert flown.one("advisory", "bank").say == "Bank"


# ---- after a failure -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("fails_s", "waiting"), [(22.9, "rotate"), (50.5, "flaps-up"), (67.1, "turn")])
def test_no_waiting_call_over_a_dead_engine(fails_s: float, waiting: str) -> None:
    """Where the pilot calls first, what waits when the engine fails is not said: least of all a turn."""
    rpm = ((10.0, 700.0), (12.0, 2350.0), (fails_s, 2350.0), (fails_s + 0.2, 600.0))
    flown = fly(takeoff(rpm=rpm).between(0.0, fails_s + 12.0), using=changed(pilot_calls_first=True))
    assert [e.id for e in flown.spoken if (e.t_s or 0.0) > fails_s and e.kind == "callout"] == []
    assert "engine-failure" in [reason for _, reason in flown.warnings]
    assert all(e.say is None for e in flown.all("callout", waiting))


@pytest.mark.parametrize("reason", ["power-loss", "rpm-low", "manifold-pressure-low"])
@pytest.mark.parametrize("maybe_off", [True, False])
def test_one_engine_one_warning_just_off_the_ground(reason: str, maybe_off: bool) -> None:
    """The engine fails while lift-off is in question: "Land ahead", and no abort for what follows from it."""
    told: list[tuple[str, str]] = []
    judge = Judge(State(Options()), FIXED, procedure().settings, Options())
    judge.connect(lambda id_, why, t: told.append((id_, why)), lambda cue, t: None)
    judge.cue("engine-failure", 25.0, lambda: True, True)
    judge.cue(reason, 25.8, lambda: True, maybe_off)
    judge.settled(26.0)
    assert told == [("engine-failure", "engine-failure")]


def test_low_manifold_pressure_flown_away_with_is_told_again() -> None:
    """An abort for manifold pressure that the pilot flies on with: after lift-off it is a power loss."""
    low = ((10.0, 12.0), (12.0, 24.0), (25.0, 24.0), (125.0, 22.75))
    assert fly(governed(manifold_pressure_inhg=low), GOVERNED).warnings[:2] == [
        ("abort", "manifold-pressure-low"),
        ("power-loss", "manifold-pressure-low"),
    ]


def test_low_rpm_of_the_last_two_seconds_is_a_power_loss_aloft() -> None:
    """Rpm just under the least from 22 s on: no abort so near VR, but a word after lift-off while it lasts."""
    aircraft = replace(FIXED, rpm_takeoff_min=2300.0)
    rpm = ((10.0, 700.0), (12.0, 2350.0), (22.0, 2350.0), (22.2, 2280.0))
    assert fly(takeoff(rpm=rpm), aircraft).warnings == [("power-loss", "rpm-low")]


@RATES
def test_an_engine_without_gauges_fails_by_its_acceleration(rate_hz: float) -> None:
    """Neither rpm nor manifold pressure: full throttle and no acceleration is an engine failure."""
    speed = ((11.0, 0.0), (19.0, 32.0), (30.0, 26.0))
    flight = takeoff(rate_hz, ias_kt=speed, groundspeed_kt=speed, pitch_deg=0.0, on_ground=1.0, height_ft=0.0)
    flight = flight.with_(altitude_ft=400.0, vertical_speed_fpm=0.0).without("rpm").between(0.0, 26.0)
    assert fly(flight).warnings == [("abort", "engine-failure")]


@pytest.mark.parametrize(("from_s", "stuck_kt"), [(19.25, 33.0), (22.2, 0.0)])
def test_a_needle_that_stands_is_no_low_acceleration(from_s: float, stuck_kt: float) -> None:
    """The airspeed stands as mid-runway is passed at 22.5 s, while the aeroplane gathers speed: whatever is told, it
    is the airspeed."""
    needle = ((11.0, 0.0), (from_s, 4.0 * (from_s - 11.0)), (from_s + 0.05, stuck_kt))
    flown = fly(takeoff(ias_kt=needle).between(0.0, 27.0), options=Options(runway_length_ft=900.0))
    assert {reason for _, reason in flown.warnings} <= {"airspeed-not-alive"}
    assert [e.reason for e in flown.all("caution") if e.reason == "acceleration-low"] == []


def test_beyond_a_red_line_from_the_start_it_is_return_at_500_ft() -> None:
    """A gauge beyond its red line below half VR, told then, is told with what to do at 500 ft where it lasts."""
    flown = fly(takeoff(bus_v=((13.0, 14.0), (13.2, 11.0))))
    assert [e.say for e in flown.all("caution", "bus-low") if e.say][-1] == "Electrical. Return and land"


# ---- the data --------------------------------------------------------------------------------------------------------


@RATES
@pytest.mark.parametrize("paused_s", [15.0, 60.0])
@pytest.mark.parametrize("at_s", [17.3, 21.1, 23.9])
def test_a_pause_that_shows_in_no_clock(rate_hz: float, paused_s: float, at_s: float) -> None:
    """The simulator stands still on the roll and sends the same again and again, with time going on: `paused`, then
    `resumed`, and the takeoff goes on where it was."""
    samples = takeoff(rate_hz).samples()
    n = next(n for n, sample in enumerate(samples) if at(sample) >= at_s)
    copies = [replace(samples[n], time_s=at(samples[n]) + k / rate_hz) for k in range(1, round(paused_s * rate_hz) + 1)]
    after = [replace(sample, time_s=at(sample) + paused_s) for sample in samples[n + 1 :]]
    flown = fly([*samples[: n + 1], *copies, *after])
    assert flown.warnings == []
    assert flown.ids("feed") == ["started", "paused", "resumed"]
    assert [flown.said("rotate"), flown.said("turn")] == ["Rotate", "Turn altitude. Look first"]
    assert flown.t("callout", "turn") == pytest.approx(66.667 + paused_s, abs=0.1)


def test_what_waits_is_no_older_for_a_pause() -> None:
    """Oil pressure reads low for 0.3 s about a pause of 15 s: in the time that was flown that is no 1.5 s."""
    samples = takeoff().bend("oil_pressure_psi", 18.9, 19.2, 10.0).samples()
    n = next(n for n, sample in enumerate(samples) if at(sample) >= 19.0 - 1e-6)
    copies = [replace(samples[n], time_s=at(samples[n]) + k / 20.0) for k in range(1, 301)]
    after = [replace(sample, time_s=at(sample) + 15.0) for sample in samples[n + 1 :]]
    flown = fly([*samples[: n + 1], *copies, *after])
    assert flown.ids("feed") == ["started", "paused", "resumed"]
    assert flown.warnings == []


def test_a_wind_that_changes_in_the_climb_out_is_no_stuck_needle() -> None:
    """Airspeed to and fro within 4 kt while the groundspeed gains 17 in twelve seconds aloft: it is the wind."""
    air = ((11.0, 0.0), (25.0, 56.0), (29.0, 61.5), (32.0, 58.0), (35.0, 61.5), (38.0, 58.2), (41.0, 61.5),
           (43.0, 60.0), (55.0, 70.0))  # fmt: skip
    ground = ((11.0, 0.0), (25.0, 50.0), (31.0, 55.0), (43.0, 72.0), (55.0, 76.0))
    assert fly(takeoff(ias_kt=air, groundspeed_kt=ground)).warnings == []


def test_a_needle_that_sticks_in_the_climb_out() -> None:
    """Airspeed that stands at 60 from 28 s on, while the groundspeed gains 18 in the next 14 s, is told."""
    air = ((11.0, 0.0), (25.0, 56.0), (28.0, 60.0))
    ground = ((11.0, 0.0), (25.0, 50.0), (28.0, 52.0), (42.0, 70.0), (55.0, 76.0))
    assert ("airspeed-not-alive", "airspeed-not-alive") in fly(takeoff(ias_kt=air, groundspeed_kt=ground)).warnings


def test_height_sent_no_more_is_taken_from_the_altimeter() -> None:
    """Height is lost at 200 ft while altitude goes on: the calls come at their heights all the same."""
    flown = fly(takeoff().bend("height_ft", 41.5, 200.0, None))
    assert flown.t("callout", "flaps-up") == pytest.approx(50.0, abs=0.1)
    assert flown.t("callout", "turn") == pytest.approx(66.667, abs=0.1)


@pytest.mark.parametrize(("rises_ft", "by_s"), [(300.0, 80.0), (-400.0, 44.0)])
@pytest.mark.parametrize("left_out", [(), ("vertical_speed_fpm",)])
def test_heights_are_above_the_field_not_the_ground_below(
    rises_ft: float, by_s: float, left_out: tuple[str, ...]
) -> None:
    """The ground falls away by 400 ft, or rises by 300, soon after the runway: turn and checks come at their heights
    above the field, which the altimeter shows."""
    ground = ((0.0, 0.0), (25.0, 0.0), (32.0, 0.0), (by_s, rises_ft), (116.0, rises_ft))
    height = tuple((t, 12.0 * max(t - 25.0, 0.0) - g) for t, g in ground)
    flown = fly(takeoff(height_ft=height).without(*left_out))
    flown.calm()
    assert flown.t("callout", "turn") == pytest.approx(66.667, abs=0.2)
    assert flown.t("phase", "climb") == pytest.approx(108.333, abs=0.2)


def test_one_vertical_speed_that_is_missing_is_no_level_flight() -> None:
    """A single sample without vertical speed leaves the climb what it was, and "Positive rate" at its time."""
    flown = fly(takeoff().bend("vertical_speed_fpm", 26.8, 26.84, None))
    assert flown.t("callout", "positive-rate") == pytest.approx(27.9167, abs=0.05)


@pytest.mark.parametrize("rate_hz", [1.0, 0.5])
@pytest.mark.parametrize(("channel", "value"), [("bank_deg", 60.0), ("oil_pressure_psi", 0.0), ("throttle", 0.5)])
@pytest.mark.parametrize("near_s", [17.0, 41.0])
def test_one_damaged_value_of_slow_data_is_not_told(rate_hz: float, channel: str, value: float, near_s: float) -> None:
    """One sample a second or in two: what a single one shows, and the next does not, is no remark."""
    flight = takeoff(rate_hz).bend(channel, near_s, near_s + 1.0 / rate_hz, value)
    flown = fly(flight)
    assert [e for e in flown.spoken if e.kind in ("warning", "caution", "advisory")] == []


def test_a_hop_seen_by_one_slow_sample_is_over() -> None:
    """At 1 Hz without a switch: 3 ft high in one sample, down in the next; the takeoff given up after it is seen."""
    flight = rejected(24.0).at(1.0).without("on_ground").bend("height_ft", 22.0, 22.9, 3.0)
    assert "rejected-takeoff" in fly(flight.bend("altitude_ft", 22.0, 22.9, 403.0)).phases


# ---- the second takeoff ----------------------------------------------------------------------------------------------


def test_a_field_higher_up_is_landed_on() -> None:
    """By altitude and switch alone: 300 ft above the first field the touchdown is believed, and the next takeoff's
    heights count from there."""
    flight = touch_and_go().without("height_ft")
    flown = fly(flight.with_(altitude_ft=_up(_altitude(flight), 130.0, 300.0)))
    assert len(flown.all("phase", "takeoff-roll")) == 2
    (second,) = [e for e in flown.all("callout", "flaps-up") if e.takeoff == 2]
    assert second.t_s == pytest.approx(228.0, abs=0.3)


def test_a_blocked_source_is_believed_again_on_the_ground() -> None:
    """A static source blocked in the first climb, and healthy since: the second takeoff has its "Rotate"."""
    blocked = ((60.0, 70.0), (70.0, 50.0), (150.0, 50.0))
    flight = touch_and_go().bend("altitude_ft", 60.0, 150.0, 820.0).bend("vertical_speed_fpm", 60.0, 150.0, 0.0)
    flown = fly(flight.bend("ias_kt", 60.0, 150.0, blocked))
    assert "ias_kt" in [e.more.get("channel") for e in flown.all("feed", "channel-lost")]
    assert [e.say for e in flown.all("callout", "rotate") if e.takeoff == 2] == ["Rotate"]


@pytest.mark.parametrize("left_out", [("on_ground",), ("on_ground", "height_ft")])
@pytest.mark.parametrize("wind_kt", [8.0, 14.0])
def test_a_touch_and_go_with_a_tailwind_and_no_switch(left_out: tuple[str, ...], wind_kt: float) -> None:
    """Groundspeed far above VR while the wheels are down: by airspeed the landing is seen, and the takeoff after it."""
    flight = touch_and_go().without(*left_out).bend("on_ground", 0.0, 240.0, None)
    ground = flight.lines["ias_kt"]
    assert isinstance(ground, tuple)
    faster = tuple((t, 0.0 if v == 0.0 else v + wind_kt) for t, v in ground)
    assert [e.takeoff for e in fly(flight.with_(groundspeed_kt=faster)).all("phase", "takeoff-roll")] == [1, 2]


SPEED_TO_193: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (170.0, 70.0))


def test_the_distance_of_a_touch_and_go_counts_from_the_wheels() -> None:
    """Oil pressure gone in the second roll, 680 ft from the touchdown and 170 from where the power came: where 400 ft
    of stop fit after the one and not after the other, there is no abort."""
    speed = (*SPEED_TO_193, (193.0, 58.0), (199.0, 36.0), (200.0, 36.0), (208.0, 60.0))
    levers = ((10.0, 0.0), (12.0, 1.0), (94.0, 1.0), (96.0, 0.6), (109.0, 0.6), (110.0, 0.2), (193.0, 0.2),
              (194.0, 0.0), (198.0, 0.0), (199.5, 1.0))  # fmt: skip
    flight = touch_and_go(
        ias_kt=speed, groundspeed_kt=speed, throttle=levers, rpm=tuple((t, 700.0 + 1650.0 * x) for t, x in levers)
    ).bend("oil_pressure_psi", 200.6, 300.0, 10.0).between(0.0, 203.0)  # fmt: skip
    for channel, value in (("on_ground", 1.0), ("vertical_speed_fpm", 0.0), ("height_ft", 0.0), ("altitude_ft", 400.0)):
        flight = flight.bend(channel, 193.0, 300.0, value)
    found = {}
    for length_ft in (1000.0, 1300.0):
        flown = fly(flight.bend("pitch_deg", 195.0, 300.0, 0.0), options=Options(runway_length_ft=length_ft))
        found[length_ft] = [e.id for e in flown.all("warning") if e.takeoff == 2 and e.reason == "oil-pressure-low"]
    assert found == {1000.0: [], 1300.0: ["abort"]}


def test_no_rotate_into_a_rotation() -> None:
    """The nose is up already as the speed comes to VR: "Rotate" is in the stream, and not said."""
    flown = fly(takeoff(pitch_deg=((21.0, 0.0), (23.0, 6.0), (26.0, 9.0))))
    assert flown.said("rotate") is None


# ---- the climb and its end -------------------------------------------------------------------------------------------


def test_what_waits_at_the_end_of_the_climb_is_over() -> None:
    """Rpm sags for 0.6 s as `climb` becomes `airborne`: no warning comes of it."""
    height = ((25.0, 0.0), (80.0, 660.0), (200.0, 660.0))
    speed = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (80.0, 70.0), (90.0, 85.0), (200.0, 85.0))
    climb = ((24.999, 0.0), (25.0, 720.0), (80.0, 720.0), (80.2, 0.0))
    flight = takeoff(
        height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height), vertical_speed_fpm=climb,
        ias_kt=speed, groundspeed_kt=speed,
    )  # fmt: skip
    coach = Coach(FIXED, procedure(), Options())
    noticed_s = next(
        at(sample)
        for sample in flight.between(0.0, 130.0).samples()
        if any(event.id == "airborne" for event in coach.feed(sample, at(sample)))
    )
    sag = flight.between(0.0, 130.0).bend("rpm", noticed_s - 0.5, noticed_s + 0.1, 2185.0)
    assert fly(sag).warnings == []


def test_a_turn_before_the_patterns_height_is_early() -> None:
    """By the pattern's rule the turn waits for 700 ft: 60 degrees at 550 ft are remarked on."""
    turned = ((70.0, 80.0), (80.0, 140.0))
    flight = takeoff(bank_deg=((70.0, 0.0), (71.0, 15.0), (80.0, 15.0), (81.0, 0.0)), heading_deg=turned)
    using = changed(turn_rule="pattern", departure="circuit")
    flown = fly(flight.with_(track_deg=turned), using=using, options=Options(runway_length_ft=2000.0))
    assert "early-turn" in flown.ids("advisory")
    assert "early-turn" not in fly(flight.with_(track_deg=turned), options=Options(runway_length_ft=2000.0)).ids(
        "advisory"
    )


def test_an_altitude_missing_at_line_up_leaves_the_mixture_call() -> None:
    """One sample without altitude as the aeroplane lines up: "Mixture" still comes at the lean height."""
    aircraft = replace(FIXED, lean_height_ft=1000.0)
    flown = fly(takeoff().bend("altitude_ft", 11.4, 11.9, None), aircraft, Options(field_elevation_ft=400.0))
    assert flown.said("lean") == "Mixture"


def _circuit() -> list[Sample]:
    """Up to 950 ft at the climb speed, level at that speed, down to the runway; airspeed and altitude only."""
    level = ((25.0, 0.0), (104.17, 950.0), (200.0, 950.0), (320.0, 10.0))
    speed = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (290.0, 70.0), (300.0, 50.0), (320.0, 48.0))
    flight = takeoff(altitude_ft=tuple((t, 400.0 + h) for t, h in level), ias_kt=speed)
    return flight.only("altitude_ft", "ias_kt").between(0.0, 318.0).samples()


def test_no_word_on_base_and_final() -> None:
    """A circuit flown at the climb speed, told by airspeed and altitude alone: on the way down the climb is over."""
    flown = fly(_circuit())
    assert [e.say for e in flown.spoken if (e.t_s or 0.0) > 240.0] == []
