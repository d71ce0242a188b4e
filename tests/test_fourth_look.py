"""Found where trouble comes twice, ends again, or is only noise: each was a wrong call, or silence for good."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from monitor.options import Options
from monitor.sample import Sample
from tests.synthetic import FIXED, GOVERNED, Flight, Points, Value, fly, governed, step, takeoff
from tests.test_runway_edge import runway


def _noisy(flight: Flight, seed: int, **sigma: float) -> list[Sample]:
    """The flight with white noise of these standard deviations."""
    chance, samples = np.random.default_rng(seed), flight.samples()
    noise = {name: chance.normal(0.0, size, len(samples)).tolist() for name, size in sigma.items()}
    return [
        replace(sample, **{name: getattr(sample, name) + values[n] for name, values in noise.items()})
        for n, sample in enumerate(samples)
    ]


# ---- an engine that comes back, and one that does not ----------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [20.0, 5.0])
@pytest.mark.parametrize("at_s", [30.0, 60.0])
def test_after_a_cough_aloft_the_coach_goes_on(rate_hz: float, at_s: float) -> None:
    """Rpm is gone for half a second and back for good: the calls come again, and low oil pressure at 75 s is told."""
    flown = fly(takeoff(rate_hz).bend("rpm", at_s, at_s + 0.6, 1200.0).bend("oil_pressure_psi", 75.0, 200.0, 5.0))
    assert flown.warnings == [("engine-failure", "engine-failure"), ("oil-pressure-low", "oil-pressure-low")]
    assert flown.said("turn") == "Turn altitude. Look first"


def test_after_a_dip_of_manifold_pressure_the_coach_goes_on() -> None:
    """The same by the manifold pressure of a governed engine."""
    flown = fly(governed().bend("manifold_pressure_inhg", 40.0, 41.0, 14.0), GOVERNED)
    assert flown.warnings == [("engine-failure", "engine-failure")]
    assert flown.said("turn") == "Turn altitude. Look first"


@pytest.mark.parametrize("closes", [False, True])
def test_a_dead_engine_is_not_back_because_the_throttle_was_closed(closes: bool) -> None:
    """Windmilling at 1,000 rev/min, the lever pulled or not: no routine call and no "Keep power" any more."""
    lever: Points = ((10.0, 0.0), (12.0, 1.0), (48.0, 1.0), (48.5, 0.0)) if closes else ((10.0, 0.0), (12.0, 1.0))
    flown = fly(takeoff(throttle=lever).bend("rpm", 40.0, 200.0, 1000.0))
    late = [event for event in flown.spoken if event.t_s is not None and event.t_s > 42.0]
    assert flown.warnings == [("engine-failure", "engine-failure")]
    assert late == []


def test_in_the_glide_the_stall_and_a_steep_bank_are_said() -> None:
    """The engine dead at 50 s, 300 ft: 40 kt (1.1 VS1 is 46.2) and 40 degrees of bank draw a word each, once."""
    slow: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (50.0, 70.0), (60.0, 40.0))
    flown = fly(
        takeoff(
            ias_kt=slow, groundspeed_kt=slow, bank_deg=((53.0, 0.0), (54.5, 40.0)),
            height_ft=((25.0, 0.0), (50.0, 300.0), (80.0, 100.0)), vertical_speed_fpm=step(50.0, 720.0, -400.0),
            altitude_ft=((25.0, 400.0), (50.0, 700.0), (80.0, 500.0)),
        ).bend("rpm", 50.0, 200.0, 900.0).between(0.0, 70.0)
    )  # fmt: skip
    assert flown.warnings == [("engine-failure", "engine-failure")]
    late = [(event.id, event.say) for event in flown.spoken if event.t_s is not None and event.t_s > 51.0]
    assert late == [("bank", "Bank"), ("speed-low", "Speed, nose down")]


def test_no_rotate_where_the_engine_failed_in_a_hop() -> None:
    """Off at 22.8, the engine dead at 23.8, down again at 24.4 above VR: "Land ahead", and no "Rotate" after it."""
    hop = takeoff(
        on_ground=((22.8, 1.0), (22.8001, 0.0), (24.4, 0.0), (24.4001, 1.0)), height_ft=0.0, altitude_ft=400.0
    )
    flown = fly(hop.with_(vertical_speed_fpm=0.0).bend("rpm", 23.8, 200.0, 900.0).between(5.0, 28.0))
    assert "engine-failure" in [reason for _, reason in flown.warnings]
    assert flown.all("callout", "rotate") == []


# ---- a second trouble after an abort ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("channel", "value", "told"),
    [
        ("oil_pressure_psi", 5.0, ("oil-pressure-low", "oil-pressure-low")),
        ("oil_temperature_degf", 260.0, ("oil-temperature-high", "oil-temperature-high")),
        ("ias_kt", 0.0, ("airspeed-not-alive", "airspeed-not-alive")),
    ],
)
def test_who_flies_on_after_an_abort_is_told_of_other_trouble(
    channel: str, value: float, told: tuple[str, str]
) -> None:
    """A swerve is aborted for and mended; what goes wrong at 19 s and stays wrong is told after lift-off."""
    swerve = ((14.9, 80.0), (15.0, 100.0), (16.5, 100.0), (16.6, 80.0))
    flown = fly(takeoff(heading_deg=swerve).bend(channel, 19.0, 200.0, value).between(0.0, 40.0))
    assert flown.warnings == [("abort", "directional-control"), told]


def test_one_trouble_of_the_engine_is_told_once() -> None:
    """Half the manifold pressure gone on the roll is an abort; to a pilot who flies on it is told once more aloft, and
    no other name of it follows."""
    flown = fly(governed().bend("manifold_pressure_inhg", 18.0, 200.0, 14.0), GOVERNED)
    assert flown.warnings == [("abort", "engine-failure"), ("power-loss", "power-loss")]


# ---- noise -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("without", [(), ("height_ft",), ("vertical_speed_fpm",)])
def test_noise_of_the_height_is_no_sink(seed: int, without: tuple[str, ...]) -> None:
    """Five feet of noise (standard deviation) at 20 Hz in a climb of 720 ft/min: not a word of sinking."""
    sigma = {name: 5.0 for name in ("height_ft", "altitude_ft") if name not in without}
    assert fly(_noisy(takeoff().without(*without).between(0.0, 60.0), seed, **sigma)).all("caution", "sink") == []


@pytest.mark.parametrize("seed", range(4))
def test_noise_in_a_weak_climb_is_no_sink(seed: int) -> None:
    """The same noise while it climbs at 80 ft/min, which no vertical speed tells from none: not a word either."""
    height = ((25.0, 0.0), (100.0, 100.0))
    weak = takeoff(
        height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height), on_ground=step(25.0, 1.0, 0.0),
        vertical_speed_fpm=step(25.0, 0.0, 80.0),
    )  # fmt: skip
    assert fly(_noisy(weak.between(0.0, 90.0), seed, height_ft=4.0, altitude_ft=4.0)).all("caution", "sink") == []


def test_one_low_reading_and_rising_ground_are_no_sink() -> None:
    """One height 12 ft low, or 15 ft less over higher ground, while vertical speed and altitude climb on."""
    assert fly(takeoff().bend("height_ft", 30.0, 30.05, 48.0)).all("caution", "sink") == []
    ground = ((25.0, 0.0), (33.0, 96.0), (33.5, 87.0), (125.0, 1185.0))
    assert fly(takeoff(height_ft=ground)).all("caution", "sink") == []


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("sigma_deg", [0.25, 0.5, 1.0])
def test_noise_of_the_pitch_is_no_rotation(seed: int, sigma_deg: float) -> None:
    """White noise of the attitude at 20 Hz: the rotation is found within 0.5 s of its 24.37 s, and no remark made."""
    flown = fly(_noisy(takeoff().between(0.0, 40.0), seed, pitch_deg=sigma_deg))
    assert flown.t("phase", "rotation") == pytest.approx(24.37, abs=0.5)
    assert flown.ids("advisory", "caution") == []


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(("rate_hz", "width_ft"), [(20.0, 75.0), (5.0, 50.0), (1.0, 50.0)])
def test_a_receivers_noise_is_no_drift_over_the_edge(seed: int, rate_hz: float, width_ft: float) -> None:
    """A position with 2 m of noise (standard deviation) along the centreline: no abort for the edge."""
    start, end, latitude, longitude = runway()
    flight = takeoff(rate_hz, latitude_deg=latitude, longitude_deg=longitude).between(5.0, 28.0)
    metre = 1.0 / 111_195.0
    noisy = _noisy(flight, seed, latitude_deg=2.0 * metre, longitude_deg=2.0 * metre / 0.68)
    options = Options(runway_start=start, runway_end=end, runway_width_ft=width_ft)
    assert fly(noisy, FIXED, options).warnings == []


@pytest.mark.parametrize("step_ft", [50.0, 100.0])
def test_an_altitude_in_steps_is_not_stuck(step_ft: float) -> None:
    """An encoder of 50 or 100 ft with vertical speed beside it: believed, and the climb is coached to its end."""
    samples = [
        replace(sample, altitude_ft=round((sample.altitude_ft or 0.0) / step_ft) * step_ft)
        for sample in takeoff().without("height_ft").samples()
    ]
    flown = fly(samples)
    assert flown.all("feed", "channel-lost") == []
    assert {"flaps-up", "turn", "after-takeoff"} <= set(flown.ids("callout"))


def test_a_gauge_that_hovers_at_its_line_is_told_once() -> None:
    """Cylinder heads at 500 degF plus and minus 4 every 6 s, from 30 s on: one caution below 500 ft, one above."""
    hovers: Points = tuple((30.0 + 6.0 * n, 496.0 if n % 2 else 504.0) for n in range(14))
    flown = fly(takeoff(cht_degf=((29.9, 300.0), *hovers)))
    assert len(flown.all("caution", "cht-high")) == 2


# ---- distances and times ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0, 0.5])
def test_the_distance_rolled_is_that_of_the_closed_form(rate_hz: float) -> None:
    """4 kt/s for 14 s are 661.6 ft: an abort point of 680 ft is not reached, at any rate, with a switch or without."""
    for flight in (takeoff(rate_hz), takeoff(rate_hz).without("on_ground")):
        assert fly(flight.between(0.0, 40.0), FIXED, Options(abort_point_ft=680.0)).warnings == []


@pytest.mark.parametrize("rate_hz", [1.0, 0.5])
def test_half_way_is_judged_by_the_distance_there(rate_hz: float) -> None:
    """70 % of lift-off speed is 37.8 kt; a runway of 610 ft is half over at 38.0 kt: no abort for acceleration."""
    assert fly(takeoff(rate_hz).between(0.0, 40.0), FIXED, Options(runway_length_ft=610.0)).warnings == []


@pytest.mark.parametrize("rate_hz", [20.0, 1.0, 0.5])
def test_full_power_is_asked_for_five_seconds_after_the_roll_began(rate_hz: float) -> None:
    """Throttle 0.93: due 5 s after the roll's own beginning, whenever that was noticed."""
    flown = fly(takeoff(rate_hz, throttle=((10.0, 0.0), (12.0, 0.93))).between(0.0, 22.0))
    assert flown.t("advisory", "late-power") == pytest.approx(flown.t("phase", "takeoff-roll") + 5.0, abs=1e-3)


@pytest.mark.parametrize("rate_hz", [20.0, 1.0, 1.0 / 3.0])
def test_floating_without_gaining_speed_is_no_engine_failure(rate_hz: float) -> None:
    """Heavy, above VR in ground effect at 60 kt for 15 s, no switch and no height: no abort for the engine."""
    speed: Points = ((11.0, 0.0), (26.0, 60.0), (41.0, 60.0), (55.0, 70.0))
    height: Points = ((41.0, 400.0), (120.0, 1000.0))
    flight = takeoff(
        rate_hz, ias_kt=speed, groundspeed_kt=speed, altitude_ft=height,
        vertical_speed_fpm=((40.99, 0.0), (41.0, 456.0)),
    )  # fmt: skip
    assert fly(flight.without("on_ground", "height_ft").between(0.0, 80.0)).warnings == []


# ---- levelling off ---------------------------------------------------------------------------------------------------


def _level(at_ft: float, eased_s: float | None = None, **lines: Value) -> Flight:
    """Climbing at 720 ft/min to a height above the field, then level and 2 kt a second faster."""
    at_s = 25.0 + at_ft / 12.0
    height: Points = ((25.0, 0.0), (at_s, at_ft), (200.0, at_ft))
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (max(at_s, 39.1), 70.0), (max(at_s, 39.1) + 15.0, 100.0))
    lever: Points = ((10.0, 0.0), (12.0, 1.0))
    if eased_s is not None:
        lever = (*lever, (at_s + eased_s, 1.0), (at_s + eased_s + 1.0, 0.7))
    return takeoff(
        height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height), ias_kt=speed, groundspeed_kt=speed,
        vertical_speed_fpm=((24.999, 0.0), (25.0, 720.0), (at_s - 0.001, 720.0), (at_s, 0.0)), throttle=lever, **lines,
    ).between(0.0, at_s + 25.0)  # fmt: skip


@pytest.mark.parametrize("asked", [True, False])
def test_who_levels_off_is_not_told_to_raise_the_nose(asked: bool) -> None:
    """Level at 800 ft and faster: no "Nose up"; the climb's end is stamped where it fell off, at 91.667 s."""
    flown = fly(_level(800.0), FIXED, Options(level_off_ft=1200.0 if asked else None))
    assert flown.ids("advisory", "caution") == []
    assert flown.t("phase", "climb") == pytest.approx(91.667, abs=0.1)


def test_who_levels_off_low_is_not_told_to_keep_power() -> None:
    """Level at 400 ft as asked, power eased 3 s later: no "Keep power"."""
    assert fly(_level(400.0, 3.0), FIXED, Options(level_off_ft=800.0)).ids("caution") == []
