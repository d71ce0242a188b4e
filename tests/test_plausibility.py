"""What is not believed: a channel that jumps, falls silent, freezes or contradicts others is named once and set aside.

No aeroplane of this class changes its airspeed by 20 kt, its height by 120 ft or its rpm by 300 from one sample to the
next at 20 Hz. All numbers: common practice, no source.
"""

from __future__ import annotations

import random

import msgspec
import pytest

from monitor.plausibility import JUMPS, Plausibility
from monitor.sample import CHANNELS, Sample
from tests.synthetic import GOVERNED, Flight, Flown, Points, Value, at, fly, governed, takeoff

ROLL = (5.0, 24.8)
WILD = {
    "ias_kt": (0.0, 160.0), "groundspeed_kt": (0.0, 200.0), "altitude_ft": (-1500.0, 30000.0),
    "height_ft": (-400.0, 9000.0),
    "vertical_speed_fpm": (-9000.0, 9000.0), "pitch_deg": (-80.0, 80.0), "bank_deg": (-170.0, 170.0),
    "rpm": (0.0, 4900.0), "oil_pressure_psi": (0.0, 390.0), "oil_temperature_degf": (-70.0, 590.0),
}  # fmt: skip


def _told(flown: Flown) -> list[tuple[str, str]]:
    return [(e.id, e.more["channel"]) for e in flown.all("feed") if e.id.startswith("channel")]


@pytest.mark.parametrize("channel", sorted(WILD))
@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize("at_s", [14.0, 19.0, 23.0, 30.0])
def test_one_damaged_number_is_no_event(channel: str, which: int, at_s: float) -> None:
    """A single wild value in any channel, on the roll and in the climb, changes no call and brings no remark."""
    clean, bent = (
        fly(flight.between(5.0, 40.0))
        for flight in (takeoff(), takeoff().bend(channel, at_s, at_s + 0.04, WILD[channel][which]))
    )
    bent.calm()
    assert bent.ids("callout", "phase") == clean.ids("callout", "phase")
    for id_ in clean.ids("callout"):
        assert bent.t("callout", id_) == pytest.approx(clean.t("callout", id_), abs=0.12), id_


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_damaged_numbers_now_and_then_bring_no_warning(seed: int) -> None:
    """One sample in fifty with one wild channel, all the flight: no warning, no caution, and Rotate once."""
    chance, samples = random.Random(seed), takeoff().between(5.0, 60.0).samples()
    names = sorted(WILD)
    for n in range(10, len(samples) - 1):
        if n % 50 == 0:
            channel = chance.choice(names)
            wild = chance.choice(WILD[channel])
            samples[n] = msgspec.structs.replace(samples[n], **{channel: wild})
    flown = fly(samples)
    assert flown.ids("warning", "caution") == []
    assert flown.ids("callout").count("rotate") == 1


def test_a_real_step_counts_from_its_second_sample() -> None:
    """Oil pressure gone from 75 to 5 between two samples is believed when the next says the same."""
    flown = fly(takeoff(oil_pressure_psi=((13.999, 75.0), (14.0, 5.0))).between(5.0, 17.0))
    assert flown.warnings == [("abort", "oil-pressure-low")]
    assert flown.t("warning", "abort") == pytest.approx(14.0 + 1.5, abs=0.06)


@pytest.mark.parametrize(("gone_s", "lost"), [(1.8, False), (2.3, True)])
def test_a_channel_silent_for_two_seconds_is_named_once_and_named_when_back(gone_s: float, lost: bool) -> None:
    """Oil pressure missing for 2.3 s: `channel-lost` at 2 s, `channel-back` when it returns; for 1.8 s: neither."""
    flown = fly(takeoff().bend("oil_pressure_psi", 14.0, 14.0 + gone_s, None).between(5.0, 20.0))
    assert _told(flown) == (
        [("channel-lost", "oil_pressure_psi"), ("channel-back", "oil_pressure_psi")] if lost else []
    )
    if lost:
        assert flown.one("feed", "channel-lost").t_s == pytest.approx(13.95 + 2.0, abs=1e-3)
    flown.calm()


def test_a_channel_that_goes_for_good_is_named_once() -> None:
    """Named once, however long it stays away, and its checks are silent meanwhile."""
    flown = fly(takeoff(oil_pressure_psi=((12.0, 75.0), (13.9, 30.0))).bend("oil_pressure_psi", 14.0, 999.0, None))
    assert _told(flown) == [("channel-lost", "oil_pressure_psi")]
    assert flown.warnings == []


def test_a_channel_never_supplied_is_not_lost() -> None:
    """What never came is missing, not lost."""
    assert _told(fly(takeoff().without("oil_pressure_psi").between(5.0, 30.0))) == []


@pytest.mark.parametrize("channel", ["throttle", "rpm", "on_ground", "heading_deg", "groundspeed_kt", "pitch_deg"])
def test_a_moments_gap_changes_nothing(channel: str) -> None:
    """Half a second without one channel, on the roll: the same calls, no remark."""
    flown = fly(takeoff().bend(channel, 18.0, 18.5, None).between(5.0, 40.0))
    flown.calm()
    assert flown.ids("callout") == fly(takeoff().between(5.0, 40.0)).ids("callout")


def _stuck_altitude(vertical: Value) -> Flown:
    flight = takeoff(vertical_speed_fpm=vertical).without("height_ft")
    held = 400.0 + 12.0 * 20.0
    return fly(flight.bend("altitude_ft", 45.0, 999.0, held).between(5.0, 70.0))


def test_an_altitude_that_stands_still_against_vertical_speed_is_set_aside() -> None:
    """Altitude frozen at 640 ft while vertical speed says 720 ft/min: named within 5 s, and no height call from it."""
    flown = _stuck_altitude(((24.999, 0.0), (25.0, 720.0)))
    assert _told(flown) == [("channel-lost", "altitude_ft")]
    assert 48.0 <= flown.t("feed", "channel-lost") <= 50.0
    assert "flaps-up" not in flown.ids("callout")


def test_level_flight_is_no_frozen_altitude() -> None:
    """Altitude that stands still with no vertical speed is level flight."""
    assert _told(_stuck_altitude(((24.999, 0.0), (25.0, 720.0), (44.999, 720.0), (45.0, 0.0)))) == []


def _blocked(ias: Points) -> Flown:
    """The static source blocked at 45 s, 240 ft: altitude stands still, vertical speed dies away, airspeed falls."""
    vertical = ((24.999, 0.0), (25.0, 720.0), (45.0, 720.0), (46.5, 0.0))
    flight = takeoff(ias_kt=ias, vertical_speed_fpm=vertical).without("height_ft")
    return fly(flight.bend("altitude_ft", 45.0, 999.0, 640.0).between(5.0, 65.0))


def test_a_blocked_static_source_is_named_and_its_three_instruments_set_aside() -> None:
    """Airspeed down 20 kt at steady groundspeed while altitude stands still: airspeed, altitude, vertical speed set
    aside."""
    flown = _blocked(((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (45.0, 70.0), (55.0, 50.0)))
    assert {channel for id_, channel in _told(flown) if id_ == "channel-lost"} == {
        "ias_kt", "altitude_ft", "vertical_speed_fpm",
    }  # fmt: skip
    assert all(event.more["why"] == "static source blocked" for event in flown.all("feed", "channel-lost"))


def test_a_source_that_blocks_is_no_loss_of_power() -> None:
    """With a governed propeller, where only the climb may show a loss: altitude that stands still, airspeed that creeps
    down by 0.5 kt/s, and a nose lowered for it, bring no warning in 15 s."""
    vertical = ((24.999, 0.0), (25.0, 720.0), (85.0, 720.0), (86.5, 0.0))
    ias = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (85.0, 70.0), (101.0, 62.0))
    pitch = ((23.7, 0.0), (26.7, 9.0), (85.0, 9.0), (88.0, 4.0))
    flight = governed(ias_kt=ias, vertical_speed_fpm=vertical, pitch_deg=pitch)
    flight = flight.without("height_ft", "manifold_pressure_inhg")
    flown = fly(flight.bend("altitude_ft", 85.0, 999.0, 400.0 + 12.0 * 60.0).between(5.0, 100.0), GOVERNED)
    assert flown.warnings == []


def test_a_damaged_value_that_got_through_is_not_kept() -> None:
    """After a gap of 2 s a value far off may be true; when the next is back near the one before it, that is believed at
    once."""
    plausibility = Plausibility(lambda *told: None)
    seen = []
    for t, rpm in ((0.0, 2700.0), (1.0, 2700.0), (3.0, 4900.0), (4.0, 2700.0)):
        seen.append(plausibility.clean(t, Sample(time_s=t, rpm=rpm), 1.0).rpm)
    assert seen == [2700.0, 2700.0, 4900.0, 2700.0]


def test_levelling_off_and_slowing_is_no_blocked_source() -> None:
    """Level and slower over the ground as well: the pilot's doing."""
    slower = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (45.0, 70.0), (55.0, 56.0))
    vertical = ((24.999, 0.0), (25.0, 720.0), (45.0, 720.0), (46.5, 0.0))
    flight = takeoff(ias_kt=slower, groundspeed_kt=slower, vertical_speed_fpm=vertical).without("height_ft")
    assert _told(fly(flight.bend("altitude_ft", 45.0, 999.0, 640.0).between(5.0, 65.0))) == []


def _level_at_60(ias: Points) -> Flight:
    """Level at 820 ft from 60 s on, airspeed as given, a groundspeed that stays at 70 kt, and no throttle sent."""
    vertical = ((24.999, 0.0), (25.0, 720.0), (60.0, 720.0), (61.5, 0.0))
    level: Points = ((25.0, 400.0), (60.0, 820.0))
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), *ias)
    return (
        takeoff(ias_kt=speed, altitude_ft=level, vertical_speed_fpm=vertical, throttle=None)
        .without("height_ft", "on_ground")
        .between(5.0, 90.0)
    )


SLOWS: Points = ((64.0, 70.0), (74.0, 54.0))
AROUND: Points = ((62.0, 80.0), (76.0, 176.0))
TURNS: dict[str, dict[str, Value]] = {
    "bank": {"bank_deg": ((62.0, 0.0), (63.0, 18.0), (75.0, 18.0), (76.0, 0.0))},
    "heading": {"heading_deg": AROUND},
    "track": {"track_deg": AROUND, "heading_deg": None, "bank_deg": None},
}


@pytest.mark.parametrize("shown_by", TURNS)
@pytest.mark.parametrize("rate_hz", [1.0, 20.0])
def test_slowing_in_a_turn_downwind_is_no_blocked_source(shown_by: str, rate_hz: float) -> None:
    """Level and 16 kt slower in a turn, in which the wind holds the groundspeed: nothing is set aside. The same
    straight on is a blocked source; and so is one that shows after a turn."""
    turning = TURNS[shown_by]
    assert _told(fly(_level_at_60(SLOWS).with_(**turning).at(rate_hz))) == []
    for blocked in (_level_at_60(SLOWS), _level_at_60(((77.0, 70.0), (87.0, 54.0))).with_(**turning)):
        assert ("channel-lost", "ias_kt") in _told(fly(blocked.at(rate_hz)))


@pytest.mark.parametrize(("rpm", "found"), [(2350.0, True), (1900.0, False)])
def test_at_full_power_a_turn_hides_no_blocked_source(rpm: float, found: bool) -> None:
    """Slower and no longer climbing in a turn though the throttle is open and the engine runs as before: the static
    source is blocked. With an engine that runs down it may be true."""
    engine: Points = ((10.0, 700.0), (12.0, 2350.0), (62.0, 2350.0), (63.0, rpm))
    flight = _level_at_60(SLOWS).with_(**TURNS["bank"], throttle=((10.0, 0.0), (12.0, 1.0)), rpm=engine)
    assert (("channel-lost", "ias_kt") in _told(fly(flight))) == found


def test_one_low_airspeed_after_a_gap_is_no_blocked_source() -> None:
    """Level at a steady speed, nothing for 4 s, then one damaged airspeed of 55 kt: nothing is set aside."""
    flight = _level_at_60(()).bend("ias_kt", 64.0, 64.04, 55.0)
    assert _told(fly([s for s in flight.samples() if not 60.0 < at(s) < 63.99])) == []


def test_the_rules_are_about_channels_that_exist() -> None:
    """Each rule names a channel, and its step is well inside the channel's range."""
    for name, base, rate in JUMPS:
        assert name in Sample.__struct_fields__
        assert 0.0 < base < CHANNELS[name].high - CHANNELS[name].low
        assert rate > 0.0
