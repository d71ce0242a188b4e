"""What a debrief measures of the climb beyond the basic figures: speed, power, drift, the first turn, the flaps."""

from __future__ import annotations

import contextlib

import numpy as np

from monitor.geo import turn
from replay import ground_track
from replay.figures import INSTANT_S, STEADY_S, Measures
from replay.series import Column, NotMeasured, mean_of, share_inside

BAND_PLUS_KT, BAND_MINUS_KT = 10.0, 5.0
"""Climb speed tolerance about VY or VX: FAA-S-ACS-6C PA.IV.A.S11, PA.IV.E.S10 and S11."""
TURNED_DEG = 30.0
"""A change of direction this large is the first turn, not a crab; common practice, no source."""
LEVEL_BANK_DEG = 5.0
STILL = 0.03
"""The elevator control within this of its mean position is not being moved; common practice, no source."""
REACHED_KT = 2.0
"""This close below VY the speed is there to be held; common practice, no source."""
HANDS_OFF_S = 10.0
"""Shorter than this says nothing of the trim; common practice, no source."""
TURN_WITHIN_S = 600.0
"""So long after lift-off the first turn is looked for."""
POWER_FALLS_S = 2.0
"""So long before a warning of lost power the figures stop; common practice, no source."""


def climb_speeds(m: Measures) -> tuple[float, float]:
    """When the climb speed is to be held, in seconds: from the settled climb to its end.

    From the first of VY - 5 kt, 200 ft, or 15 s after lift-off (short-field: the obstacle's height first); to the
    phase after the initial climb, else the end of what was flown. Common practice, no source.
    """
    start = _cleared_s(m) if m.procedure.short_field else m.liftoff_s
    low = m.aircraft.speeds_kias.best_rate - BAND_MINUS_KT
    until = m.takeoff.aloft_until_s
    reached = m.series.column("ias_kt").crossing(low, start, until, INSTANT_S)
    settled = min(reached if reached is not None else until, start + 15.0)
    if not m.procedure.short_field:
        high = m.height.crossing(200.0, start, until, STEADY_S)
        settled = min(settled, until if high is None else high)
    end = min(m.takeoff.begin_of("climb") or until, m.trouble_s())
    if end - settled < 2.0:
        raise NotMeasured("the climb ended before its speed had settled")
    return settled, end


def _cleared_s(m: Measures) -> float:
    return m.height_s(max(m.procedure.settings.obstacle_ft, m.options.obstacle_height_ft or 0.0))


def climb_share_percent(m: Measures) -> float:
    """Share of the climb, in percent of its time, with the airspeed inside VY +10/-5 kt."""
    t, v = m.series.column("ias_kt").between(*climb_speeds(m), STEADY_S)
    target = m.aircraft.speeds_kias.best_rate
    return 100.0 * share_inside(t, v, target - BAND_MINUS_KT, target + BAND_PLUS_KT)


def hands_off_kt(m: Measures) -> float:
    """How far the airspeed strayed from its mean in the longest time that the elevator control was not moved.

    In trim the speed holds by itself; out of trim it wanders off as soon as the hand is still.
    """
    start, end = climb_speeds(m)
    reached = m.series.column("ias_kt").crossing(m.aircraft.speeds_kias.best_rate - REACHED_KT, start, end, INSTANT_S)
    if reached is None:
        raise NotMeasured("the climb speed was not reached")
    still = _longest_still(m.series.column("elevator"), reached, end)  # before that the speed is meant to grow
    _, v = m.series.column("ias_kt").between(*still, STEADY_S)
    return float(np.max(np.abs(v - np.mean(v))))


def _longest_still(elevator: Column, start: float, end: float) -> tuple[float, float]:
    t, v = elevator.between(start, end, STEADY_S)
    best, first = (start, start), 0
    for last in range(len(t)):
        while np.ptp(v[first : last + 1]) > 2.0 * STILL:
            first += 1
        if t[last] - t[first] > best[1] - best[0]:
            best = float(t[first]), float(t[last])
    if best[1] - best[0] < HANDS_OFF_S:
        raise NotMeasured(f"the elevator control was not still for {HANDS_OFF_S:.0f} s of the climb")
    return best


def obstacle_speed_kt(m: Measures) -> float:
    """Short-field: mean airspeed from lift-off (once at VX - 5 kt) to the obstacle's height."""
    best_angle = m.aircraft.speeds_kias.best_angle
    if best_angle is None:
        raise NotMeasured("the profile has no best_angle")
    end = _cleared_s(m)
    start = m.series.column("ias_kt").crossing(best_angle - BAND_MINUS_KT, m.liftoff_s, end, INSTANT_S)
    if start is None or end - start < 0.2:
        raise NotMeasured("VX was not reached before the obstacle's height")
    return mean_of(*m.series.column("ias_kt").between(start, end, INSTANT_S))


def seconds_to_best_rate(m: Measures) -> float:
    """Seconds from lift-off until the airspeed first reached VY (short-field: from the obstacle's height)."""
    start = _cleared_s(m) if m.procedure.short_field else m.liftoff_s
    target = m.aircraft.speeds_kias.best_rate
    found = m.series.column("ias_kt").crossing(target, start, m.takeoff.aloft_until_s, INSTANT_S)
    if found is None:
        raise NotMeasured("VY was not reached")
    return found - start


def lowest_speed_kt(m: Measures) -> float:
    """Lowest airspeed from lift-off until VY was first reached, or until 500 ft when it never was."""
    start = m.liftoff_s
    target = m.aircraft.speeds_kias.best_rate
    found = m.series.column("ias_kt").crossing(target, start, m.takeoff.aloft_until_s, INSTANT_S)
    end = m.until_height(500.0) if found is None else found
    return float(np.min(m.series.column("ias_kt").between(start, end, INSTANT_S)[1]))


def first_turn(m: Measures) -> tuple[float, float]:
    """When the first turn began and ended, in seconds.

    It is the first change of direction by 30 degrees; it began when the wings were last level before (no bank
    channel: when the direction was last within 5 degrees of the runway's), and ended when they were level for 2 s.
    """
    end = min(m.takeoff.aloft_until_s, m.liftoff_s + TURN_WITHIN_S)
    heading = _direction(m, end)
    at_liftoff = heading.v[(heading.t >= m.liftoff_s - 1.0) & (heading.t <= m.liftoff_s + 5.0)]
    if not len(at_liftoff):
        raise NotMeasured(f"{heading.name} was not supplied around lift-off")
    straight = float(np.median(at_liftoff))
    off = np.abs(heading.v - straight)
    inside = (heading.t >= m.liftoff_s) & (heading.t <= end)
    turned = np.flatnonzero(inside & (off >= TURNED_DEG))
    if not len(turned):
        raise NotMeasured("there was no turn")
    level = _wings_level(m, Column(heading.name, heading.t, off))
    before = level.t[(level.v < 1) & (level.t >= m.liftoff_s) & (level.t < heading.t[turned[0]])]
    start = float(before[-1]) if len(before) else m.liftoff_s
    return start, _level_again(level, float(heading.t[turned[0]]), m.takeoff.aloft_until_s)


def _direction(m: Measures, end: float) -> Column:
    if m.series.has("heading_deg"):
        return m.series.column("heading_deg")
    return ground_track.track(m.series, m.liftoff_s, end)


def _wings_level(m: Measures, off: Column) -> Column:
    """0 where the wings are level (or the direction is the runway's), 1 where they are not."""
    if m.series.has("bank_deg"):
        bank = m.series.column("bank_deg")
        return Column("bank_deg", bank.t, (np.abs(bank.v) >= LEVEL_BANK_DEG).astype(float))
    return Column(off.name, off.t, (off.v >= LEVEL_BANK_DEG).astype(float))


def _level_again(level: Column, after: float, end: float) -> float:
    since: float | None = None
    for t, banked in zip(level.t, level.v, strict=True):
        if t < after or banked:
            since = None
        elif since is None:
            since = float(t)
        elif t - since >= 2.0 or t >= end:
            return since
    return end


def first_turn_height_ft(m: Measures) -> float:
    """Height above the field at which the first turn began."""
    return m.height.at(first_turn(m)[0], STEADY_S)


def bank_in_turn_deg(m: Measures) -> float:
    """Largest bank in the first turn."""
    return m.peak_either_way("bank_deg", *first_turn(m))


def drift_deg(m: Measures) -> float:
    """Largest difference between the track over the ground and the roll's, from 50 ft to 500 ft or the first turn."""
    start = m.until_height(50.0)
    end = m.until_height(500.0)
    with contextlib.suppress(NotMeasured):
        end = min(end, first_turn(m)[0])
    if end - start < 2.0:
        raise NotMeasured("the straight climb was too short to tell drift")
    runway = ground_track.runway_track(m.series, m.takeoff.roll_start_s, m.liftoff_s, INSTANT_S)
    column = ground_track.track(m.series, start, end)
    _, tracks = column.between(max(start, column.t[0]), min(end, column.t[-1]), INSTANT_S)
    return float(max(abs(turn(runway, track)) for track in tracks))


def power_kept_percent(m: Measures) -> float:
    """Least power from lift-off to 500 ft in percent of the roll's: throttle, else rpm (fixed pitch only)."""
    channel = "throttle" if m.series.has("throttle") else "rpm"
    if channel == "rpm" and m.aircraft.propeller != "fixed":
        raise NotMeasured("throttle was not supplied, and a governor holds the rpm")
    column = m.series.column(channel)
    most = float(np.max(column.between(m.takeoff.roll_start_s, m.liftoff_s, INSTANT_S)[1]))
    end = min(m.until_height(500.0), m.trouble_s() - POWER_FALLS_S)
    if end <= m.liftoff_s:
        raise NotMeasured("the power failed right after lift-off")
    least = float(np.min(column.between(m.liftoff_s, end, INSTANT_S)[1]))
    if most <= 0:
        raise NotMeasured(f"{channel} stayed at 0 on the roll")
    return 100.0 * least / most


def flaps_up_s(m: Measures) -> float:
    """When the flaps first began to come up after lift-off."""
    column = m.series.column("flaps_deg")
    out = column.at(m.liftoff_s, STEADY_S)
    if out < 1.0:
        raise NotMeasured("the flaps were up for takeoff")
    found = column.crossing(out - 0.5, m.liftoff_s, m.takeoff.aloft_until_s, STEADY_S, down=True)
    if found is None:
        raise NotMeasured("the flaps stayed out")
    return found


def flaps_up_height_ft(m: Measures) -> float:
    """Height at which the flaps began to come up."""
    return m.height.at(flaps_up_s(m), STEADY_S)


def flaps_up_ias_kt(m: Measures) -> float:
    """Indicated airspeed at that moment."""
    return m.ias_at(flaps_up_s(m))


def seconds_to_full_power(m: Measures) -> float:
    """Seconds from the start of the roll until the throttle reached 95 %; negative when it was full before."""
    start = m.roll_start_s()
    found = m.series.column("throttle").crossing(0.95, start - 10.0, m.roll_end_s, INSTANT_S)
    if found is None:
        raise NotMeasured("the throttle did not reach 95 %")
    return found - start


def takeoff_rpm(m: Measures) -> float:
    """Mean rpm in the last 3 s of the roll."""
    end = m.roll_end_s
    return mean_of(*m.series.column("rpm").between(max(m.takeoff.roll_start_s, end - 3.0), end, INSTANT_S))
