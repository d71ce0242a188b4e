"""The debrief of whole flights of the flight-dynamics library, against what the model knows at 120 Hz.

The library is jsbsim 1.3.3; its truth is read from its own properties, with numpy, never from what was sent.
"""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from monitor.aircraft_file import load_aircraft
from monitor.coach import Coach
from monitor.options import Options
from monitor.sample import Sample
from replay.debrief import TakeoffDebrief, debrief
from replay.ground_track import FEET_PER_METRE, geodesic
from replay.judged import ListenedCoach
from replay.series import Row
from tests.flights_jsbsim.aeroplanes import profile_text
from tests.flights_jsbsim.flight import raw_flight, truth_of
from tests.flights_jsbsim.scenario import Scenario
from tests.flights_jsbsim.sensors import Sensors, as_samples, sent, true_channels
from tests.test_debrief import NORMAL

WINDY = Scenario(aeroplane="c172p", wind_kt=10.0, wind_from_deg=50.0, gust_kt=1.5, seed=21, runway_deg=350.0)
HIGH = Scenario(aeroplane="c182", elevation_ft=5000.0, load=0.4)
REJECTED = Scenario(aeroplane="c172p", kind="rejected", reject_kt=40.0)


TOUCH_AND_GO = Scenario(aeroplane="c172p", kind="touch-and-go", longest_s=300.0)


def _debriefed(scenario: Scenario, sensors: Sensors) -> TakeoffDebrief:
    (takeoff,) = _all_debriefed(scenario, sensors)
    return takeoff


def _all_debriefed(scenario: Scenario, sensors: Sensors, options: Options | None = None) -> list[TakeoffDebrief]:
    aircraft = load_aircraft(profile_text(scenario.aeroplane), "aircraft")
    options = options or Options(field_elevation_ft=scenario.elevation_ft)
    stretches: list[list[Row]] = []
    coach = ListenedCoach(Coach(aircraft, NORMAL, options), stretches)
    events = []
    for values in as_samples(sent(raw_flight(scenario), sensors)):
        events += coach.feed(Sample(**values), values["time_s"])
    events += coach.end(values["time_s"])
    return debrief(stretches, events, aircraft, NORMAL, options).takeoffs


def _true_roll_ft(scenario: Scenario, start_s: float, end_s: float) -> float:
    c = true_channels(raw_flight(scenario))
    places = [
        (np.interp(t, c["t"], c["latitude_deg"]), np.interp(t, c["t"], c["longitude_deg"])) for t in (start_s, end_s)
    ]
    return geodesic(*places)[0]


@pytest.mark.parametrize("scenario", [WINDY, HIGH], ids=["fixed pitch, gusts", "constant speed, 5,000 ft"])
@pytest.mark.parametrize("sensors", [Sensors(), Sensors(rate_hz=5.0), Sensors(rate_hz=1.0)], ids=["20", "5", "1 Hz"])
def test_figures_against_the_model(scenario: Scenario, sensors: Sensors) -> None:
    """Moments, speeds, peaks and distances agree with the model's own, from 20 samples a second to one."""
    figures = _debriefed(scenario, sensors).figures
    truth = truth_of(raw_flight(scenario), sensors.start_s, sensors)
    c = true_channels(raw_flight(scenario))
    t = c["t"] + sensors.start_s
    step = 1.0 / sensors.rate_hz
    assert figures["liftoff_s"] == pytest.approx(truth.wheels_off, abs=0.1 + step)
    for height in (200.0, 300.0, 500.0, 1000.0):
        assert figures[f"height_{height:.0f}_s"] == pytest.approx(truth.heights[height], abs=0.1 + step / 4)
    on_roll = (t >= figures["roll_start_s"]) & (t <= truth.wheels_off)
    climb = (t >= truth.heights[300.0]) & (t <= truth.heights[1000.0])
    low = (t >= truth.wheels_off) & (t <= truth.heights[500.0])
    below_50 = (t >= figures["roll_start_s"]) & (t <= truth.heights[50.0])
    lift_off_kt = np.interp(figures["liftoff_s"], t, c["ias_kt"])
    assert figures["liftoff_ias_kt"] == pytest.approx(lift_off_kt, abs=0.3 + 2 * step)
    assert figures["climb_ias_mean_kt"] == pytest.approx(c["ias_kt"][climb].mean(), abs=0.1 + step / 5)
    assert figures["climb_ias_std_kt"] == pytest.approx(c["ias_kt"][climb].std(), abs=0.1 + step / 3)
    assert figures["max_pitch_deg_below_50_ft"] == pytest.approx(c["pitch_deg"][below_50].max(), abs=0.3 + 2 * step)
    assert figures["max_bank_deg_below_500_ft"] == pytest.approx(np.abs(c["bank_deg"][low]).max(), abs=0.3 + 2 * step)
    straight = c["heading_deg"][np.searchsorted(t, figures["roll_start_s"])]
    off = (c["heading_deg"][on_roll] - straight + 180.0) % 360.0 - 180.0
    assert figures["max_heading_deviation_roll_deg"] == pytest.approx(np.abs(off).max(), abs=0.5 + step)
    roll_ft = _true_roll_ft(scenario, figures["roll_start_s"] - sensors.start_s, truth.wheels_off - sensors.start_s)
    assert figures["ground_roll_ft"] == pytest.approx(roll_ft, abs=15.0 + 110.0 * step)


def test_groundspeed_alone_gives_the_distance_too() -> None:
    """Without positions the ground roll from groundspeed is within 1 % of the model's."""
    whole = _debriefed(WINDY, Sensors()).figures["ground_roll_ft"]
    part = _debriefed(WINDY, Sensors(missing=frozenset({"latitude_deg", "longitude_deg"}))).figures["ground_roll_ft"]
    assert part == pytest.approx(whole, rel=0.01)


def _sideways_ft(takeoff: TakeoffDebrief) -> np.ndarray:
    """Feet right of the model runway's line through the start of the flight, by plane geometry on the spot."""
    c = true_channels(raw_flight(WINDY))
    t = c["t"] + Sensors().start_s
    on_roll = (t >= takeoff.figures["roll_start_s"]) & (t <= takeoff.figures["liftoff_s"])
    north = (c["latitude_deg"] - c["latitude_deg"][0])[on_roll] * 60.0 * 1852.0 * FEET_PER_METRE
    shrink = np.cos(np.radians(c["latitude_deg"][0]))
    east = (c["longitude_deg"] - c["longitude_deg"][0])[on_roll] * 60.0 * 1852.0 * FEET_PER_METRE * shrink
    runway = np.radians(WINDY.runway_deg)
    return east * np.cos(runway) - north * np.sin(runway)


def test_the_centreline_against_the_model() -> None:
    """Without thresholds, the largest distance from the runway's line is that of the model's positions within 5 ft."""
    takeoff = _debriefed(WINDY, Sensors())
    sideways = _sideways_ft(takeoff)
    found = takeoff.figures["max_centreline_deviation_ft"]
    assert found == pytest.approx(np.abs(sideways - sideways[0]).max(), abs=5.0)


def test_a_surveyed_centreline_against_the_model() -> None:
    """With both thresholds given the distance is from the line between them, wherever the roll began."""
    c = true_channels(raw_flight(WINDY))
    start = (float(c["latitude_deg"][0]), float(c["longitude_deg"][0]))
    aside = Geodesic.WGS84.Direct(*start, WINDY.runway_deg - 90.0, 12.0 / FEET_PER_METRE)
    threshold = Geodesic.WGS84.Direct(aside["lat2"], aside["lon2"], WINDY.runway_deg + 180.0, 100.0)
    far = Geodesic.WGS84.Direct(aside["lat2"], aside["lon2"], WINDY.runway_deg, 1000.0)
    ends = ((threshold["lat2"], threshold["lon2"]), (far["lat2"], far["lon2"]))
    options = Options(field_elevation_ft=0.0, runway_start=ends[0], runway_end=ends[1])
    (takeoff,) = _all_debriefed(WINDY, Sensors(), options)
    free = _debriefed(WINDY, Sensors())
    assert takeoff.figures["max_centreline_deviation_ft"] == pytest.approx(12.0 + _sideways_ft(free).max(), abs=0.3)


def test_a_rejected_takeoff_against_the_model() -> None:
    """Throttle and stop of a rejection at 40 kt are when the pilot of the model did them."""
    takeoff = _debriefed(REJECTED, Sensors())
    truth = truth_of(raw_flight(REJECTED), Sensors().start_s, Sensors())
    assert takeoff.outcome == "rejected"
    assert takeoff.figures["throttle_closed_s"] == pytest.approx(truth.throttle_closed, abs=0.6)
    c = true_channels(raw_flight(REJECTED))
    after = c["t"] + Sensors().start_s > truth.throttle_closed
    slow = np.argmax(after & (c["groundspeed_kt"] <= 2.0))
    assert takeoff.figures["stopped_s"] == pytest.approx(c["t"][slow] + Sensors().start_s, abs=0.1)


def test_a_touch_and_go_is_two_takeoffs() -> None:
    """Both takeoffs of a touch-and-go have their own moments, from altitude alone as well."""
    sensors = Sensors(missing=frozenset({"height_ft"}), sag_ft=25.0)
    takeoffs = _all_debriefed(TOUCH_AND_GO, sensors)
    assert [takeoff.outcome for takeoff in takeoffs] == ["climbed", "climbed"]
    for takeoff in takeoffs:
        truth = truth_of(raw_flight(TOUCH_AND_GO), sensors.start_s, sensors, takeoff.takeoff)
        assert takeoff.figures["liftoff_s"] == pytest.approx(truth.wheels_off, abs=0.15)
        assert takeoff.figures["height_500_s"] == pytest.approx(truth.indicated[500.0], abs=0.3)
