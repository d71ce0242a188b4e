"""The measured figures of one takeoff. Each function returns a number or raises `NotMeasured` with the reason.

How slow the data may be for a figure: `INSTANT_S` for values at a moment and for peaks, `STEADY_S` for what changes
slowly (heights in a steady climb, means). Both: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property

import numpy as np

from monitor.aircraft import Aircraft
from monitor.centreline import Centreline
from monitor.geo import turn
from monitor.options import Options
from monitor.procedure import Procedure
from replay import ground_track
from replay.series import Array, Column, NotMeasured, deviation_of, mean_of
from replay.takeoffs import Takeoff, begins_in_the_data, height_above_field

INSTANT_S = 2.5
STEADY_S = 6.0
CLOSED = 0.10
"""Throttle below which it counts as closed; common practice, no source."""
STOP_WITHIN_S = 300.0
"""So long after a rejection or touchdown a stop is looked for."""
STOPPED_KT = 2.0
"""Groundspeed below which it counts as stopped; common practice, no source."""
POWER_WARNINGS = ("engine-failure", "power-loss", "rpm-low", "manifold-pressure-low")
MEAN_FROM_FT, MEAN_TO_FT = 300.0, 1000.0


class Measures:
    """One takeoff with what is needed to judge it. Times are feed seconds."""

    def __init__(
        self, takeoff: Takeoff, aircraft: Aircraft, procedure: Procedure, options: Options, zero_ft: float | None
    ) -> None:
        """`zero_ft`: what height or altitude read on the wheels at an earlier takeoff, None at the first."""
        self.takeoff = takeoff
        self.series = takeoff.series
        self.aircraft = aircraft
        self.procedure = procedure
        self.options = options
        self._earlier_zero_ft = zero_ft

    @cached_property
    def height(self) -> Column:
        """Height above the field in feet."""
        return height_above_field(self.takeoff, self.options, self._earlier_zero_ft)[0]

    @property
    def zero_ft(self) -> float | None:
        """What height or altitude read on the wheels here; None when neither was supplied."""
        try:
            return height_above_field(self.takeoff, self.options, self._earlier_zero_ft)[1]
        except NotMeasured:
            return self._earlier_zero_ft

    @property
    def liftoff_s(self) -> float:
        """When the wheels left the ground for good."""
        return _happened(self.takeoff.liftoff_s, "there was no lift-off")

    @property
    def roll_end_s(self) -> float:
        """The end of the roll on the wheels: lift-off, or the closed throttle, or the rejection, or the last sample."""
        if self.takeoff.liftoff_s is not None:
            return self.takeoff.liftoff_s
        rejected = self.takeoff.begin_of("rejected-takeoff")
        return self.takeoff.end_s if rejected is None else rejected

    @property
    def wheels_end_s(self) -> float:
        """The end of the time on the wheels: lift-off, or the stop after a rejection, or the last sample."""
        if self.takeoff.liftoff_s is not None:
            return self.takeoff.liftoff_s
        after = [t for t, name in self.takeoff.phases if name in ("taxi", "standing", "lined-up")]
        return next((t for t in after if t > self.roll_end_s), self.takeoff.end_s)

    def rotation_s(self) -> float:
        """When the nose began its rise, as the coach saw it; needs the pitch attitude."""
        start = self.takeoff.begin_of("rotation")
        self.series.column("pitch_deg").at(self.roll_end_s if start is None else start, INSTANT_S)
        return _happened(start, "no rise of the nose was seen")

    def rotation_ias_kt(self) -> float:
        """Indicated airspeed at that moment."""
        return self.ias_at(self.rotation_s())

    def liftoff_at_s(self) -> float:
        """Lift-off, when the data is fast enough to tell it."""
        column = next((c for c in ("on_ground", "height_ft", "altitude_ft") if self.series.has(c)), "on_ground")
        self.series.column(column).at(self.liftoff_s, INSTANT_S)
        return self.liftoff_s

    def liftoff_ias_kt(self) -> float:
        """Indicated airspeed at lift-off."""
        return self.ias_at(self.liftoff_at_s())

    def ias_at(self, t: float) -> float:
        """Indicated airspeed at a time."""
        return self.series.column("ias_kt").at(t, INSTANT_S)

    def height_s(self, height_ft: float) -> float:
        """When the climb first reached a height above the field."""
        found = self.height.crossing(height_ft, self.liftoff_s, self.takeoff.aloft_until_s, STEADY_S)
        return _happened(found, f"{height_ft:,.0f} ft was not reached")

    def until_height(self, height_ft: float) -> float:
        """When the climb reached a height, or the end of what was flown when it did not."""
        found = self.height.crossing(height_ft, self.liftoff_s, self.takeoff.aloft_until_s, STEADY_S)
        return self.takeoff.aloft_until_s if found is None else found

    def trouble_s(self) -> float:
        """When the power failed in the air, as the coach warned; infinity when it did not.

        What the pilot does then is another exercise than the climb.
        """
        failed = [e.t_s for e in self.takeoff.events if e.kind == "warning" and e.id in POWER_WARNINGS and e.t_s]
        return min((t for t in failed if t >= self.liftoff_s), default=float("inf"))

    def climb_window(self) -> tuple[Array, Array]:
        """Times and airspeeds from 300 to 1,000 ft."""
        start, end = self.height_s(MEAN_FROM_FT), self.height_s(MEAN_TO_FT)
        return self.series.column("ias_kt").between(start, end, STEADY_S)

    def climb_ias_mean_kt(self) -> float:
        """Mean over time of the indicated airspeed from 300 to 1,000 ft."""
        return mean_of(*self.climb_window())

    def climb_ias_std_kt(self) -> float:
        """Its standard deviation over time."""
        return deviation_of(*self.climb_window())

    def peak(self, channel: str, start: float, end: float) -> float:
        """The largest value of a channel between two times."""
        column = self.series.column(channel)
        return float(np.max(column.between(start, min(end, column.t[-1]), INSTANT_S)[1]))

    def peak_either_way(self, channel: str, start: float, end: float) -> float:
        """The largest value of a channel between two times, whatever its sign."""
        column = self.series.column(channel)
        return float(np.max(np.abs(column.between(start, min(end, column.t[-1]), INSTANT_S)[1])))

    def max_pitch_deg_on_wheels(self) -> float:
        """Highest pitch attitude from the start of the roll to lift-off (or the end of the roll)."""
        return self.peak("pitch_deg", self._nose_may_rise_s(), self.roll_end_s)

    def max_pitch_deg_below_50_ft(self) -> float:
        """Highest pitch attitude from the start of the roll to 50 ft."""
        return self.peak("pitch_deg", self._nose_may_rise_s(), self.until_height(50.0))

    def _nose_may_rise_s(self) -> float:
        """The start of the roll; with a tailwheel, which stands nose up, when the tail was highest."""
        start = self.takeoff.roll_start_s
        if self.aircraft.gear != "tailwheel":
            return start
        t, pitch = self.series.column("pitch_deg").between(start, self.roll_end_s, INSTANT_S)
        return float(t[int(np.argmin(pitch))])

    def max_bank_deg_below_500_ft(self) -> float:
        """Largest bank from lift-off to 500 ft."""
        return self.peak_either_way("bank_deg", self.liftoff_s, self.until_height(500.0))

    def runway_heading_deg(self) -> float:
        """The runway's heading: given, else as the coach took it at line-up, else read around the start of the roll."""
        if self.options.runway_heading_deg is not None:
            return self.options.runway_heading_deg
        if self.takeoff.runway_heading_deg is not None:
            return self.takeoff.runway_heading_deg
        column = self.series.column("heading_deg")
        start = self.takeoff.roll_start_s
        first = max(start - 2.0, self.takeoff.lined_up_s or start, column.t[0])
        near = column.v[(column.t >= first) & (column.t <= start + 1.0)]
        return float(np.mean(near)) % 360.0 if len(near) else column.at(start, INSTANT_S) % 360.0

    def max_heading_deviation_roll_deg(self) -> float:
        """Largest difference of heading from the runway's while on the wheels, after a rejection to its end."""
        return self.heading_off(self.takeoff.roll_start_s, self.wheels_end_s)

    def heading_off(self, start: float, end: float) -> float:
        """Largest difference of heading from the runway's between two times."""
        runway = self.runway_heading_deg()
        column = self.series.column("heading_deg")
        _, headings = column.between(max(start, column.t[0]), min(end, column.t[-1]), INSTANT_S)
        return float(max(abs(turn(runway, heading)) for heading in headings))

    def max_centreline_deviation_ft(self) -> float:
        """Largest distance from the centreline between the surveyed thresholds, when those were given.

        Else from the line that runs through where the roll began, in the runway's direction.
        """
        start, end = self.takeoff.roll_start_s, self.wheels_end_s
        surveyed = self.surveyed
        if surveyed is not None:
            offsets = ground_track.offsets_ft(self.series, start, end, surveyed, INSTANT_S)
        else:
            offsets = ground_track.centreline_ft(self.series, start, end, self.runway_heading_deg(), INSTANT_S)
        return float(np.max(np.abs(offsets)))

    @property
    def surveyed(self) -> Centreline | None:
        """The centreline between the runway's surveyed thresholds, when those were given."""
        return Centreline.between(self.options.runway_start, self.options.runway_end)

    def roll_start_s(self) -> float:
        """When the roll began, where the data shows it."""
        if not begins_in_the_data(self.takeoff):
            raise NotMeasured("the data begins on the roll")
        return self.takeoff.roll_start_s

    def ground_roll_ft(self) -> float:
        """Distance over the ground from the start of the roll to lift-off."""
        return ground_track.distance_ft(self.series, self.roll_start_s(), self.liftoff_at_s(), INSTANT_S)

    def throttle_closed_s(self) -> float:
        """When the throttle was closed, on the roll or before a landing straight ahead."""
        if self.takeoff.outcome == "climbed":
            raise NotMeasured("the takeoff was neither rejected nor ended in a landing ahead")
        end = self.takeoff.aloft_until_s if self.takeoff.liftoff_s is not None else self.takeoff.end_s
        found = self.series.column("throttle").crossing(CLOSED, self.open_s(), end, INSTANT_S, down=True)
        return _happened(found, "the throttle was not closed")

    def open_s(self) -> float:
        """When the throttle was first beyond half on this roll; the roll's start when it was so already."""
        start = self.takeoff.roll_start_s
        found = self.series.column("throttle").crossing(0.5, start, self.roll_end_s, STEADY_S)
        return start if found is None else found

    def stopped_s(self) -> float:
        """When it stood still after a rejection or a landing straight ahead."""
        if self.takeoff.outcome == "climbed":
            raise NotMeasured("the takeoff was neither rejected nor ended in a landing ahead")
        start = self.roll_end_s if self.takeoff.liftoff_s is None else self.takeoff.touchdown_s
        after = _happened(start, "there was no touchdown")
        speed = ground_track.speed_over_ground(self.series, after, min(self.takeoff.end_s, after + STOP_WITHIN_S))
        found = speed.crossing(STOPPED_KT, after, self.takeoff.end_s, INSTANT_S, down=True)
        return _happened(found, "it did not stop before the end")


def _happened(value: float | None, why_not: str) -> float:
    if value is None:
        raise NotMeasured(why_not)
    return value


FIGURES: dict[str, tuple[Callable[[Measures], float], int]] = {
    "roll_start_s": (Measures.roll_start_s, 3),
    "rotation_s": (Measures.rotation_s, 3),
    "rotation_ias_kt": (Measures.rotation_ias_kt, 2),
    "liftoff_s": (Measures.liftoff_at_s, 3),
    "liftoff_ias_kt": (Measures.liftoff_ias_kt, 2),
    "height_200_s": (lambda m: m.height_s(200.0), 3),
    "height_300_s": (lambda m: m.height_s(300.0), 3),
    "height_500_s": (lambda m: m.height_s(500.0), 3),
    "height_1000_s": (lambda m: m.height_s(1000.0), 3),
    "climb_ias_mean_kt": (Measures.climb_ias_mean_kt, 2),
    "climb_ias_std_kt": (Measures.climb_ias_std_kt, 2),
    "max_pitch_deg_on_wheels": (Measures.max_pitch_deg_on_wheels, 2),
    "max_pitch_deg_below_50_ft": (Measures.max_pitch_deg_below_50_ft, 2),
    "max_bank_deg_below_500_ft": (Measures.max_bank_deg_below_500_ft, 2),
    "max_heading_deviation_roll_deg": (Measures.max_heading_deviation_roll_deg, 2),
    "max_centreline_deviation_ft": (Measures.max_centreline_deviation_ft, 1),
    "ground_roll_ft": (Measures.ground_roll_ft, 1),
    "throttle_closed_s": (Measures.throttle_closed_s, 3),
    "stopped_s": (Measures.stopped_s, 3),
}
"""Every figure by name, in the order printed: how it is measured, and to how many decimals it is given."""


def measure(function: Callable[[Measures], float], measures: Measures, digits: int) -> tuple[float | None, str | None]:
    """The rounded figure and None, or None and why it could not be measured."""
    try:
        value = function(measures)
    except NotMeasured as reason:
        return None, reason.why
    return (round(value, digits) + 0.0, None) if np.isfinite(value) else (None, "the data gives no finite number")
