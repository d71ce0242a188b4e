"""The debrief against flights whose figures are known: a made-up one in closed form, and outside references."""

from __future__ import annotations

import math
from collections.abc import Callable

import msgspec
import numpy as np
import pytest

from adapters import library
from monitor.aircraft import Aircraft
from monitor.events import Event
from monitor.options import Options
from monitor.sample import Sample
from replay.debrief import Debrief, as_dict, debrief
from replay.ground_track import FEET_PER_METRE, centreline_ft, geodesic, position
from replay.items import Item
from replay.series import Column, NotMeasured, Series, deviation_of, mean_of, share_inside
from tests import made_flight as made

NORMAL = library.open_procedure("normal")
TRAINER = msgspec.structs.replace(
    library.open_aircraft("sedge"),
    speeds_kias=msgspec.structs.replace(
        library.open_aircraft("sedge").speeds_kias, rotate=52, lift_off=58, best_rate=72, stall_clean=45
    ),
    ground_roll_ft=900.0,
)


def _of(
    rows: list[tuple[float, Sample]],
    events: list[Event] | None = None,
    aircraft: Aircraft = TRAINER,
    options: Options | None = None,
) -> Debrief:
    return debrief([rows], made.events() if events is None else events, aircraft, NORMAL, options or Options())


def _item(result: Debrief, id_: str) -> Item:
    return next(item for item in result.takeoffs[0].items if item.id == id_)


EXPECTED = {
    "roll_start_s": (made.ROLL_S, 1e-9),
    "rotation_s": (made.ROTATE_S, 1e-9),
    "rotation_ias_kt": (made.speed_kt(made.ROTATE_S), 0.01),
    "liftoff_s": (made.LIFTOFF_S, 1e-9),
    "liftoff_ias_kt": (made.LIFTOFF_KT, 0.01),
    "height_200_s": (46.0, 0.001),
    "height_300_s": (56.0, 0.001),
    "height_500_s": (76.0, 0.001),
    "height_1000_s": (126.0, 0.001),
    "climb_ias_mean_kt": (72.0, 0.001),
    "climb_ias_std_kt": (0.0, 0.001),
    "max_pitch_deg_on_wheels": (4.5, 0.001),
    "max_pitch_deg_below_50_ft": (9.0, 0.001),
    "max_bank_deg_below_500_ft": (2.0, 0.002),
    "max_heading_deviation_roll_deg": (0.0, 0.001),
    "max_centreline_deviation_ft": (0.0, 0.05),
    "ground_roll_ft": (0.5 * 2.0 * 16.0**2 * FEET_PER_METRE, 0.2),  # half a t squared, 839.9 ft
}


@pytest.mark.parametrize("hz", [60.0, 20.0, 5.0, 1.0])
def test_every_figure_of_a_known_flight(hz: float) -> None:
    """At 60, 20, 5 and 1 samples a second every figure is the one worked out by hand."""
    result = _of(made.rows(hz))
    figures = result.takeoffs[0].figures
    for name, (value, tolerance) in EXPECTED.items():
        assert figures[name] == pytest.approx(value, abs=tolerance + 0.005), name
    assert result.takeoffs[0].outcome == "climbed"
    assert figures["throttle_closed_s"] is None
    assert figures["stopped_s"] is None


def test_the_items_of_a_known_flight() -> None:
    """What goes beyond the figures is measured right too: turn, flaps, power, speed, drift."""
    result = _of(made.rows(20.0))
    expected = {
        "full-power-after": 0.9,  # throttle passes 95 % at 10.9 s
        "best-rate-after": 72.0 - made.LIFTOFF_KT,  # 1 kt/s
        "lowest-speed": made.LIFTOFF_KT,
        "first-turn-height": 600.0,  # banked from 86 s
        "bank-in-turn": 18.0,
        "flaps-up-height": 442.5,  # half a degree up at 70.25 s
        "flaps-up-speed": 72.0,
        "power-to-500-ft": 100.0,
        "climb-speed-share": 100.0,
        "drift": 0.0,
        "takeoff-rpm": 2300.0,
    }
    for id_, value in expected.items():
        assert _item(result, id_).actual == pytest.approx(value, abs=0.6 if id_ == "first-turn-height" else 0.06), id_


def test_the_climb_band_is_that_of_the_standard() -> None:
    """Climb speed: VY +10/-5 kt (FAA-S-ACS-6C PA.IV.A.S11); 67 and 82 for a VY of 72."""
    item = _item(_of(made.rows(5.0)), "climb-speed")
    assert (item.target, item.low, item.high, item.verdict) == (72, 67, 82, "within")
    assert "FAA-S-ACS-6C" in item.source


@pytest.mark.parametrize(("vy", "verdict"), [(76, "within"), (78, "outside"), (62, "within"), (61.5, "outside")])
def test_a_climb_outside_the_band_is_told(vy: float, verdict: str) -> None:
    """The same 72 kt is outside as soon as it is more than 10 kt above or 5 kt below VY."""
    speeds = msgspec.structs.replace(TRAINER.speeds_kias, best_rate=vy)
    item = _item(_of(made.rows(5.0), aircraft=msgspec.structs.replace(TRAINER, speeds_kias=speeds)), "climb-speed")
    assert item.verdict == verdict
    assert (item.why is None) == (verdict == "within")


@pytest.mark.parametrize(
    ("channel", "figures"),
    [
        ("pitch_deg", ("rotation_s", "rotation_ias_kt", "max_pitch_deg_on_wheels", "max_pitch_deg_below_50_ft")),
        ("bank_deg", ("max_bank_deg_below_500_ft",)),
        ("heading_deg", ("max_heading_deviation_roll_deg", "max_centreline_deviation_ft")),
        ("latitude_deg", ("max_centreline_deviation_ft",)),
        ("ias_kt", ("rotation_ias_kt", "liftoff_ias_kt", "climb_ias_mean_kt", "climb_ias_std_kt")),
    ],
)
def test_a_missing_channel_takes_away_only_what_needs_it(channel: str, figures: tuple[str, ...]) -> None:
    """Without a channel its figures are null, with a reason that names it; all others stay as they are."""
    whole, part = _of(made.rows(20.0)).takeoffs[0], _of(made.rows(20.0, without=(channel,))).takeoffs[0]
    for name, value in whole.figures.items():
        if name in figures:
            assert part.figures[name] is None, name
            assert channel in part.why[name] or (channel == "latitude_deg"), name
        elif value is not None:
            assert part.figures[name] == pytest.approx(value, abs=0.2), name


def test_without_positions_distance_is_groundspeed_over_time() -> None:
    """The ground roll from groundspeed alone agrees with the geodesic within a foot."""
    part = _of(made.rows(20.0, without=("latitude_deg", "longitude_deg"))).takeoffs[0]
    assert part.figures["ground_roll_ft"] == pytest.approx(256.0 * FEET_PER_METRE, abs=1.0)


def test_a_log_that_begins_on_the_roll_has_no_start_of_it() -> None:
    """Rolling at 20 kt at the first sample: where the roll began, and how long it was, is null, with the reason."""
    whole = _of(made.rows(20.0)).takeoffs[0]
    start_s = (whole.figures["roll_start_s"] or 0.0) + 5.2
    part = _of([row for row in made.rows(20.0) if row[0] >= start_s]).takeoffs[0]
    for name in ("roll_start_s", "ground_roll_ft"):
        assert (part.figures[name], part.why[name]) == (None, "the data begins on the roll")
    assert part.figures["liftoff_s"] == pytest.approx(whole.figures["liftoff_s"], abs=0.01)


def test_without_position_and_groundspeed_there_is_no_distance() -> None:
    """Airspeed is no groundspeed: the distance is null then, and the reason names both channels."""
    part = _of(made.rows(20.0, without=("latitude_deg", "longitude_deg", "groundspeed_kt"))).takeoffs[0]
    assert part.figures["ground_roll_ft"] is None
    assert part.why["ground_roll_ft"] == "neither position nor groundspeed_kt was supplied"


def test_height_from_altitude_alone() -> None:
    """Without height the altitude less its reading before the roll gives the same heights."""
    figures = _of(made.rows(20.0, without=("height_ft",))).takeoffs[0].figures
    assert figures["height_500_s"] == pytest.approx(76.0, abs=0.01)
    assert figures["height_1000_s"] == pytest.approx(126.0, abs=0.01)


def test_a_given_field_elevation_counts() -> None:
    """A field given 20 ft lower than the altitude reads puts every height crossing 2 s earlier at 10 ft/s."""
    figures = _of(
        made.rows(20.0, without=("height_ft",)), options=Options(field_elevation_ft=made.FIELD_FT - 20)
    ).takeoffs[0].figures  # fmt: skip
    assert figures["height_500_s"] == pytest.approx(74.0, abs=0.01)


def test_the_height_of_a_reference_point_is_taken_off() -> None:
    """A height that reads 4.4 ft on the wheels is the reference point's; crossings are those of the wheels."""
    rows = [(t, msgspec.structs.replace(s, height_ft=(s.height_ft or 0.0) + 4.4)) for t, s in made.rows(20.0)]
    assert _of(rows).takeoffs[0].figures["height_300_s"] == pytest.approx(56.0, abs=0.01)


def test_slow_data_is_called_too_slow() -> None:
    """At one sample in 5 s moments and peaks are null and say so; heights in the steady climb are still measured."""
    takeoff = _of(made.rows(0.2)).takeoffs[0]
    for name in ("rotation_ias_kt", "liftoff_ias_kt", "max_pitch_deg_on_wheels", "max_bank_deg_below_500_ft"):
        assert takeoff.figures[name] is None
        assert "too slow: 5.0 s between values" in takeoff.why[name]
    assert takeoff.figures["height_500_s"] == pytest.approx(76.0, abs=0.01)
    assert takeoff.figures["climb_ias_mean_kt"] == pytest.approx(72.0, abs=0.01)


def test_a_gap_takes_away_only_what_lies_in_it() -> None:
    """Four seconds without data around 300 ft leave lift-off and 1,000 ft as they are."""
    rows = [row for row in made.rows(20.0) if not 24.0 < row[0] < 28.5]
    takeoff = _of(rows).takeoffs[0]
    assert takeoff.figures["liftoff_ias_kt"] is None
    assert takeoff.figures["height_1000_s"] == pytest.approx(126.0, abs=0.01)


def test_a_dead_airspeed_is_no_figure() -> None:
    """Once the coach has found the airspeed dead, no speed of that takeoff is given, and the reason says so."""
    abort = Event(t_s=16.0, kind="warning", id="abort", takeoff=1, more={"reason": "airspeed-not-alive"})
    takeoff = _of(made.rows(20.0), [*made.events(), abort]).takeoffs[0]
    for name in ("rotation_ias_kt", "liftoff_ias_kt", "climb_ias_mean_kt", "climb_ias_std_kt"):
        assert takeoff.figures[name] is None
        assert "found dead or stuck" in takeoff.why[name]
    assert takeoff.figures["height_1000_s"] == pytest.approx(126.0, abs=0.01)


def test_a_channel_set_aside_is_not_measured_meanwhile() -> None:
    """From the moment a channel is set aside until it is back its values count as not supplied."""
    more = {"channel": "altitude_ft", "why": "static source blocked"}
    lost = Event(t_s=60.0, kind="feed", id="channel-lost", more=more)
    back = Event(t_s=100.0, kind="feed", id="channel-back", more={"channel": "altitude_ft"})
    rows = made.rows(20.0, without=("height_ft",))
    takeoff = _of(rows, [*made.events(), lost, back]).takeoffs[0]
    assert takeoff.figures["height_500_s"] is None
    assert "static source blocked" in takeoff.why["height_500_s"]
    assert takeoff.figures["height_300_s"] == pytest.approx(56.0, abs=0.01)
    assert takeoff.figures["height_1000_s"] == pytest.approx(126.0, abs=0.01)


def test_nan_never_gets_into_a_figure() -> None:
    """Every figure is a finite number or null, so that the JSON is valid for any reader."""
    for hz in (20.0, 0.2):
        for one in as_dict(_of(made.rows(hz)))["takeoffs"]:
            values = [value for value in one.values() if isinstance(value, float)]
            assert values
            assert all(math.isfinite(value) for value in values)


def test_climb_ias_against_numpy() -> None:
    """Mean and deviation of a noisy climb agree with numpy's over the same samples."""
    noise = np.random.default_rng(20).normal(0.0, 2.0, 3000)

    def noisy(t: float) -> Sample:
        return msgspec.structs.replace(made.sample(t), ias_kt=made.speed_kt(t) + float(noise[int(t * 20)]))

    figures = _of(made.rows(20.0, noisy)).takeoffs[0].figures
    inside = np.array([72.0 + noise[i] for i in range(56 * 20, 126 * 20 + 1)])
    assert figures["climb_ias_mean_kt"] == pytest.approx(inside.mean(), abs=0.05)
    # Lines between white samples have two thirds of their variance: the integral is of the signal, not of the dots.
    assert figures["climb_ias_std_kt"] == pytest.approx(inside.std() * math.sqrt(2 / 3), rel=0.05)


def _rejected(t: float) -> Sample:
    """The roll to 20 s, then braking at 4 m/s2 to a stop at 25 s; throttle closed from 20.5 to 21, brakes at 21.5."""
    v = 2.0 * max(min(t, 20.0) - 10.0, 0.0) - 4.0 * max(t - 20.0, 0.0)
    return Sample(
        time_s=t,
        ias_kt=max(v, 0.0) / made.KT,
        groundspeed_kt=max(v, 0.0) / made.KT,
        height_ft=0.0,
        heading_deg=358.0 + (0.0 if t < 20 else min(t - 20, 4.0)) if t < 22 else (t - 22.0 if t < 24 else 2.0),
        throttle=0.0 if t < 9 else (1.0 if t < 20.5 else max(1.0 - 2.0 * (t - 20.5), 0.0)),
        brake=0.0 if t < 21.5 else 1.0,
        on_ground=1.0,
    )


def _rejected_events() -> list[Event]:
    abort = Event(t_s=19.5, kind="warning", id="abort", takeoff=1, more={"reason": "rpm-low"})
    end = 25.0 - 15.0 * made.KT / 4.0
    return [made.phase(10.0, "takeoff-roll"), abort, made.phase(20.7, "rejected-takeoff"), made.phase(end, "taxi")]


def test_a_rejected_takeoff() -> None:
    """Throttle, brakes, stop, distance and heading of a rejection are those it was made with."""
    rows = [row for row in made.rows(20.0, _rejected) if row[0] <= 40.0]
    result = _of(rows, _rejected_events(), options=Options(runway_length_ft=1000.0))
    takeoff = result.takeoffs[0]
    assert takeoff.outcome == "rejected"
    assert takeoff.figures["throttle_closed_s"] == pytest.approx(20.95, abs=0.001)  # 10 % on the way down
    stop = 25.0 - 2.0 * made.KT / 4.0  # 2 kt, decelerating at 4 m/s2
    assert takeoff.figures["stopped_s"] == pytest.approx(stop, abs=0.01)
    assert takeoff.figures["liftoff_s"] is None
    assert takeoff.why["liftoff_s"] == "there was no lift-off"
    assert takeoff.figures["max_heading_deviation_roll_deg"] == pytest.approx(3.0, abs=1.2)
    assert _item(result, "cue-to-throttle").actual == pytest.approx(1.45, abs=0.01)
    assert _item(result, "cue-to-brakes").actual == pytest.approx(1.955, abs=0.05)
    feet = 150.0 * FEET_PER_METRE  # 100 m to 20 m/s, 50 m to stop
    assert _item(result, "distance-to-stop").actual == pytest.approx(feet, abs=1.0)
    assert _item(result, "runway-left").actual == pytest.approx(1000.0 - feet, abs=1.0)


def test_a_landing_straight_ahead_and_a_cut_off_flight() -> None:
    """Touchdown before the climb is "landed-ahead"; a stream that ends before either is "incomplete"."""
    begun = made.events()[:-1]
    assert _of(made.rows(5.0), begun).takeoffs[0].outcome == "incomplete"
    landed = [*begun, made.phase(60.0, "landing-roll")]
    takeoff = _of(made.rows(5.0), landed).takeoffs[0]
    assert takeoff.outcome == "landed-ahead"
    assert takeoff.figures["height_300_s"] == pytest.approx(56.0, abs=0.01)
    assert takeoff.why["height_500_s"] == "500 ft was not reached"


def test_two_takeoffs_in_one_stream() -> None:
    """Each takeoff has its own figures, from its own stretch of time."""
    first = [row for row in made.rows(20.0) if row[0] <= 130.0]
    second = [(t + 130.05, msgspec.structs.replace(s, time_s=t + 130.05)) for t, s in first]
    again = [msgspec.structs.replace(e, t_s=e.t_s + 130.05, takeoff=e.takeoff and 2) for e in made.events()]
    result = _of(first + second, [*made.events(), *again])
    assert [one.takeoff for one in result.takeoffs] == [1, 2]
    assert result.takeoffs[1].figures["liftoff_s"] == pytest.approx(made.LIFTOFF_S + 130.05)
    assert result.takeoffs[1].figures["ground_roll_ft"] == result.takeoffs[0].figures["ground_roll_ft"]


def test_feed_time_that_starts_anew() -> None:
    """After a restart the same times mean another takeoff; each is measured in its own stretch."""
    rows = made.rows(20.0)
    restart = Event(t_s=0.0, kind="feed", id="restarted")
    again = [msgspec.structs.replace(e, takeoff=e.takeoff and 2) for e in made.events()]
    result = debrief([rows, rows], [*made.events(), restart, *again], TRAINER, NORMAL, Options())
    assert len(result.takeoffs) == 2
    assert result.takeoffs[0].figures == result.takeoffs[1].figures


def test_no_takeoff_is_an_empty_list() -> None:
    """A flight without a takeoff gives an object without one, not an error."""
    assert as_dict(_of(made.rows(1.0), [made.phase(3.0, "standing", None)])) == {"takeoffs": [], "not_measured": []}
    assert as_dict(debrief([[]], [], TRAINER, NORMAL, Options())) == {"takeoffs": [], "not_measured": []}


def _left_alone(t: float, until_s: float) -> Sample:
    """The climb with its speed swinging by 2 kt every 20 s, the stick held still off its middle from 50 s on."""
    stick = 0.2 if 50.0 <= t <= until_s else 0.3 + 0.1 * (round(5.0 * t) % 2)
    speed = made.speed_kt(t) + (2.0 * math.sin(math.pi * t / 10.0) if t > 40.0 else 0.0)
    return msgspec.structs.replace(made.sample(t), elevator=stick, ias_kt=speed)


def test_how_steady_the_speed_holds_hands_off() -> None:
    """With the stick still for 40 s the figure is how far the speed strayed, 2 kt; the growth of speed to
    VY - 2 kt is no straying; still for 9 s it is not measured."""
    item = _item(_of(made.rows(20.0, lambda t: _left_alone(t, 90.0))), "hands-off-speed")
    assert item.actual == pytest.approx(2.0, abs=0.05)
    assert item.verdict == "within"
    quiet = _item(
        _of(made.rows(20.0, lambda t: msgspec.structs.replace(made.sample(t), elevator=0.1))), "hands-off-speed"
    )
    assert quiet.actual == pytest.approx(made.speed_kt(60.0) - (TRAINER.speeds_kias.best_rate - 2.0), abs=0.2)
    short = _item(_of(made.rows(20.0, lambda t: _left_alone(t, 59.0))), "hands-off-speed")
    assert (short.actual, short.verdict) == (None, "not-measured")
    assert short.why == "the elevator control was not still for 10 s of the climb"


def test_the_object_has_every_key() -> None:
    """The JSON object has the documented keys, and each null figure is listed with its reason."""
    result = as_dict(_of(made.rows(5.0, without=("pitch_deg",))))
    one = result["takeoffs"][0]
    assert set(EXPECTED) | {"takeoff", "outcome", "throttle_closed_s", "stopped_s", "items", "heard"} == set(one)
    assert set(one["items"][0]) == {"id", "target", "actual", "unit", "low", "high", "verdict", "why", "source"}
    nulls = {name for name, value in one.items() if value is None}
    assert nulls == {entry["figure"] for entry in result["not_measured"]}
    assert all(entry["why"] for entry in result["not_measured"])


def test_every_verdict_follows_from_its_numbers() -> None:
    """within, outside and not-measured agree with actual, low and high, and what is not within says why."""
    for takeoff in (_of(made.rows(20.0)), _of(made.rows(0.2))):
        for item in takeoff.takeoffs[0].items:
            if item.actual is None or (item.low is None and item.high is None):
                assert item.verdict == "not-measured"
            else:
                low, high = item.low or -math.inf, item.high if item.high is not None else math.inf
                assert item.verdict == ("within" if low <= item.actual <= high else "outside"), item
            assert (item.why is None) == (item.verdict == "within")
            assert item.source


def _swerving(t: float, east_deg: float = 0.0) -> Sample:
    """A swerve of 20 ft out and back, somewhere `east_deg` farther east; headings magnetic, positions true."""
    from geographiclib.geodesic import Geodesic

    length_m, peak_m = made.roll_m(made.LIFTOFF_S), 20.0 / FEET_PER_METRE
    sample = made.sample(t)
    along = min(made.roll_m(t), length_m) / length_m * math.pi
    off_m = peak_m * math.sin(along) ** 2
    turned_deg = math.degrees(math.atan(peak_m * math.pi / length_m * math.sin(2 * along)))
    place = Geodesic.WGS84.Direct(sample.latitude_deg, sample.longitude_deg, made.TRUE_DEG + 90.0, off_m)
    return msgspec.structs.replace(
        sample,
        latitude_deg=place["lat2"],
        longitude_deg=(place["lon2"] + east_deg + 180.0) % 360.0 - 180.0,
        heading_deg=(sample.heading_deg or 0.0) + turned_deg,
    )


def _over_the_date_line(t: float) -> Sample:
    """The same with the date line in the middle of the roll."""
    middle = made.sample(0.7 * made.LIFTOFF_S).longitude_deg or 0.0
    return _swerving(t, 180.0 - middle)


@pytest.mark.parametrize("flown", [_swerving, _over_the_date_line])
def test_a_swerve_is_measured_from_the_line_of_the_runway(flown: Callable[[float], Sample]) -> None:
    """A swerve of 20 ft out and back is found as 20 ft, wherever on Earth the runway lies."""
    figures = _of(made.rows(20.0, flown), options=Options(runway_heading_deg=30.0)).takeoffs[0].figures
    assert figures["max_centreline_deviation_ft"] == pytest.approx(20.0, abs=1.0)
    assert figures["max_heading_deviation_roll_deg"] == pytest.approx(4.28, abs=0.05)  # atan(pi x 6.096 / 256)
    plain = _of(made.rows(20.0, _swerving)).takeoffs[0].figures
    assert figures["ground_roll_ft"] == pytest.approx(plain["ground_roll_ft"], abs=0.5)


def test_a_place_between_two_samples_over_the_date_line() -> None:
    """Between 179.9999 east and 179.9999 west lies the date line, not Greenwich."""
    rows = [(t, Sample(latitude_deg=10.0, longitude_deg=lon)) for t, lon in ((0.0, 179.9999), (1.0, -179.9999))]
    start, middle = (position(Series(rows), t, 1.0) for t in (0.0, 0.5))
    assert geodesic(start, middle)[0] == pytest.approx(35.98, abs=0.01)  # 0.0001 degrees at 10 N, 10.97 m (WGS 84)


def test_heights_above_the_field_over_falling_ground() -> None:
    """The ground falls away by 400 ft below the climb: heights come at their times above the field all the same."""

    def falling(t: float) -> Sample:
        sample = made.sample(t)
        falls_ft = min(max((t - made.LIFTOFF_S - 8.0) * 50.0, 0.0), 400.0)
        return msgspec.structs.replace(sample, height_ft=(sample.height_ft or 0.0) + falls_ft)

    plain, found = (_of(made.rows(20.0, flown)).takeoffs[0].figures for flown in (made.sample, falling))
    assert found["height_500_s"] == pytest.approx(plain["height_500_s"], abs=0.1)
    assert found["height_1000_s"] == pytest.approx(plain["height_1000_s"], abs=0.1)


def test_a_tailwheels_attitude_at_rest_is_no_rotation() -> None:
    """Nose up 12 degrees at rest, tail lifted at once, off at 7: the peak on the wheels is 7."""
    tailwheel = msgspec.structs.replace(TRAINER, gear="tailwheel")

    def tail_low(t: float) -> Sample:
        pitch = np.interp(t, (made.ROLL_S, made.ROLL_S + 4.0, made.ROTATE_S, made.LIFTOFF_S), (12.0, 1.0, 1.0, 7.0))
        return msgspec.structs.replace(made.sample(t), pitch_deg=float(pitch))

    figures = _of(made.rows(20.0, tail_low), aircraft=tailwheel).takeoffs[0].figures
    assert figures["max_pitch_deg_below_50_ft"] == pytest.approx(7.0, abs=0.01)


def test_a_roll_that_began_fast_has_no_centreline_without_thresholds() -> None:
    """What headings and positions cannot tell is not measured: it says at what speed the roll began, and what helps."""
    rows = [row for row in made.rows(20.0, _swerving) if (row[1].groundspeed_kt or 0.0) >= 40.0]
    series = Series(rows)
    with pytest.raises(NotMeasured, match=r"began at 4\d kt and the runway's thresholds were not given"):
        centreline_ft(series, rows[0][0], rows[0][0] + 4.0, 30.0, 2.0)


def _degrees(degrees: int, minutes: int, seconds: float) -> float:
    return degrees + minutes / 60.0 + seconds / 3600.0


@pytest.mark.parametrize(
    ("start", "end", "metres", "azimuth", "tolerance_m"),
    [
        # Flinders Peak to Buninyong, the worked example of the Geocentric Datum of Australia's technical manual
        # (ellipsoid GRS 80, which differs from WGS 84 by 0.1 mm in the semi-minor axis); from memory.
        (
            (-_degrees(37, 57, 3.72030), _degrees(144, 25, 29.52440)),
            (-_degrees(37, 39, 10.15610), _degrees(143, 55, 35.38390)),
            54_972.271,
            _degrees(306, 52, 5.37) - 360.0,
            0.002,
        ),
        # GeodSolve0 of GeographicLib's test set; from memory.
        ((40.6, -73.8), (_degrees(49, 1, 0), _degrees(2, 33, 0)), 5_853_226.0, 53.47022, 0.5),
        # The Inverse example of the geographiclib documentation, Wellington to Salamanca; from memory.
        ((-41.32, 174.81), (40.96, -5.50), 19_959_679.267, 161.06766998616, 0.001),
    ],
)
def test_distances_against_published_geodesics(
    start: tuple[float, float], end: tuple[float, float], metres: float, azimuth: float, tolerance_m: float
) -> None:
    """Distance and azimuth between two places are those of three published worked examples."""
    feet, found = geodesic(start, end)
    assert feet / FEET_PER_METRE == pytest.approx(metres, abs=tolerance_m)
    assert found == pytest.approx(azimuth, abs=1e-5)


@pytest.mark.parametrize(
    ("latitude", "metres"),
    [(0.0, 110_574.3), (45.0, 111_131.7), (90.0, 111_693.9)],
)
def test_a_degree_of_latitude_on_the_ellipsoid(latitude: float, metres: float) -> None:
    """The length of one degree centred on a latitude: pi/180 times WGS 84's radius of curvature in the meridian.

    a = 6,378,137 m and f = 1/298.257223563 are WGS 84's defining constants (NIMA TR8350.2); the formula is
    a (1 - e2) / (1 - e2 sin2)^1.5, worked out here beside the figures.
    """
    e2 = (2 - 1 / 298.257223563) / 298.257223563
    radius = 6_378_137.0 * (1 - e2) / (1 - e2 * math.sin(math.radians(latitude)) ** 2) ** 1.5
    assert radius * math.pi / 180 == pytest.approx(metres, abs=1.0)
    step = 0.001
    low = min(latitude, 90.0 - step) - step / 2 if latitude < 90.0 else 90.0 - step
    feet, _ = geodesic((low, 8.0), (low + step, 8.0))
    assert feet / FEET_PER_METRE / step == pytest.approx(metres, rel=2e-5)


def test_means_and_shares_of_straight_lines() -> None:
    """Mean, deviation and share of a ramp from 0 to 12 are 6, 12/sqrt(12) and a third inside 4 to 8."""
    t, v = np.array([0.0, 1.0, 6.0]), np.array([0.0, 2.0, 12.0])
    assert mean_of(t, v) == pytest.approx(6.0)
    assert deviation_of(t, v) == pytest.approx(12.0 / math.sqrt(12.0))
    assert share_inside(t, v, 4.0, 8.0) == pytest.approx(1.0 / 3.0, abs=0.01)


def test_a_column_refuses_what_it_does_not_have() -> None:
    """Before, after and across a long gap there is no value; a crossing is interpolated."""
    column = Column("x", np.array([0.0, 1.0, 9.0]), np.array([0.0, 10.0, 20.0]))
    assert column.at(0.25, 1.0) == 2.5
    for t in (-0.1, 9.1, 5.0):
        with pytest.raises(NotMeasured):
            column.at(t, 1.0)
    assert column.crossing(5.0, 0.0, 9.0, 1.0) == 0.5
    assert column.crossing(50.0, 0.0, 9.0, 1.0) is None
    with pytest.raises(NotMeasured, match="too slow"):
        column.crossing(15.0, 0.0, 9.0, 1.0)
