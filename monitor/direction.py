"""Direction on the roll: so far off the runway heading, or so near its edge, that the takeoff must end."""

from __future__ import annotations

from math import inf

from monitor.agenda import Agenda, Hold
from monitor.centreline import Centreline
from monitor.conditions import Conditions
from monitor.conditions_before import LINED_UP_DEG, MOVING_KT
from monitor.geo import turn
from monitor.judge import Judge
from monitor.landing_heading import LandingHeading
from monitor.liftoff import CLIMBS_FPM
from monitor.options import Options
from monitor.settings import Settings
from monitor.state import State
from monitor.timeline import OFTEN_S
from monitor.track_shift import Mean, TrackShift
from monitor.trend import Trend

OFFSET_TAU_S = 0.5
"""Time constant of the drift across the runway: ten samples at 20 Hz; a swerve builds up over a second or more."""
OFFSET_NOISE_S, NOISE_TIMES, OFFSET_CLEAN_FT = 3.0, 2.5, 3.0
"""Over which the offset's scatter is learned, how many times its mean size is no drift, and how much of that is not
counted (common practice, no source)."""
TRACK_AGREES_DEG = 3.0  # common practice, no source
ALONG_DEG = 3.0  # a roll's own wandering about where it began to point (common practice, no source)
KEPT_PART = 0.125  # of the roll (common practice, no source)
ODD_DEG = 8.0  # off the headings before and after, which agree: a damaged value (common practice, no source)
SAME_RUNWAY_DEG = 20.0  # landed so far off the last heading at most, it may be the same runway
OTHER_RUNWAY_DEG = 5.0  # but where the landing roll stays so far off, it is another (both: common practice, no source)
CRAB_PART = 0.5
"""Of what the nose is off, the track of an aeroplane on its wheels is off by more: tyres slide a few degrees aside
(common practice, no source)."""
POSITION_HOLDS_S = 1.5
"""So long the last position counts where samples come without one."""


class Direction:
    """Keeps the runway heading, how far off it the aeroplane points, and how far off the centreline it is."""

    def __init__(
        self,
        state: State,
        conditions: Conditions,
        settings: Settings,
        agenda: Agenda,
        judge: Judge,
        options: Options,
    ) -> None:
        self._s = state
        self._conditions = conditions
        self._set = settings
        self._judge = judge
        self._given = options.runway_heading_deg
        self._centre = Centreline.between(options.runway_start, options.runway_end)
        width = options.runway_width_ft
        self._edge_ft = None if width is None else 0.5 * width - settings.edge_wheels_ft
        self._hold = Hold(agenda, settings.direction_hold_s, self._lost)
        self._edge_hold = Hold(agenda, settings.direction_hold_s, self._leaving)
        self.maybe_off = False
        self._track_shift = TrackShift(state)
        self._landing = LandingHeading(state, self._track_shift)
        self.taxi = self._track_shift.taxi  # one sample of the taxiing
        self.lands, self.land = self._landing.begin, self._landing.update  # a landing begins; one sample of its roll
        self.begin()

    def restart(self) -> None:
        """Forget what the stream has shown."""
        self._track_shift.restart()

    def begin(self) -> None:
        """A takeoff begins."""
        self._hold.clear()
        self._edge_hold.clear()
        self.off_deg: float | None = None  # right of the runway heading is positive
        self.offset_ft: float | None = None  # right of the centreline is positive; None below the speed to judge from
        self._offset = Trend(OFFSET_TAU_S)
        self._offset_from_s = 0.0
        self._offset_noise_ft = 0.0
        self._was_inside = False
        self._learned_t = -inf
        self._off = Mean()
        self._kept = Mean()  # off it while it was kept to: no more than is remarked on
        self._track_shift.begin()
        self._began_off_deg: float | None = None  # off the runway heading where the roll began
        self._along = Mean()  # off it while the roll went on as it began
        self._doubted_deg: float | None = None  # the roll began so far off the given heading: see `_reference`
        self._runway_before: float | None = None  # what was the runway's heading before the last look below 15 kt
        self._fast_yet = False
        self._stood_along = False  # along the given heading

    def line_up(self, landed: bool = False) -> None:
        """Lined up: the heading is the runway's, unless that was given; or landed, where it is known from before."""
        heading = self._s.sample.heading_deg
        given, before = self._given, self._conditions.runway_heading
        if heading is None:
            return
        if landed and before is not None and abs(turn(before, heading)) <= SAME_RUNWAY_DEG:
            stays_deg = self._landing.deg  # a wheel that touches in a crab, or a swing, shows no other runway
            if stays_deg is not None and abs(turn(before, stays_deg)) > OTHER_RUNWAY_DEG:
                self._conditions.runway_heading = stays_deg
            return
        off_deg = 0.0 if given is None else abs(turn(given, heading))
        self._runway_before = self._conditions.runway_heading
        if off_deg <= LINED_UP_DEG and given is not None and (self._s.v or 0.0) < MOVING_KT:
            self._stood_along = True
        # A given heading more than 20 degrees off (true for magnetic, or the wrong runway) would read as a swerve;
        # but an aeroplane that stood along it swerves.
        if given is None or (off_deg > self._set.runway_check_deg and not self._stood_along):
            self._conditions.runway_heading = heading
            self._off, self._kept = Mean(), Mean()
        else:
            self._conditions.runway_heading = given  # an earlier takeoff may have been on another one

    def roll(self) -> None:
        """One sample of the roll."""
        self._watch_heading()
        if self._centre is not None:
            self._watch_offset(self._centre)

    def _watch_offset(self, centre: Centreline) -> None:
        sample, s = self._s.sample, self._s
        offset, slow = self._offset, (s.v or 0.0) < self._set.direction_from_kt
        if slow or s.t - offset.t > POSITION_HOLDS_S:
            self.offset_ft = None
        if sample.latitude_deg is None or sample.longitude_deg is None:
            return
        off_ft = centre.offset_ft(sample.latitude_deg, sample.longitude_deg)
        if not offset.ready:
            self._offset_from_s = s.t
        else:
            since_s = s.t - offset.t
            scatter_ft = abs(off_ft - offset.value - offset.rate * since_s)
            self._offset_noise_ft += min(1.0, since_s / OFFSET_NOISE_S) * (scatter_ft - self._offset_noise_ft)
        offset.update(s.t, off_ft)
        if not slow:
            self.offset_ft = off_ft
            self._edge_hold.update(self._near_edge() and not self.maybe_off, s.t)

    def _near_edge(self) -> bool:
        """Over the edge within `edge_s` at the drift now, or over it already.

        A roll that was never inside the edges is on another runway than the given one: that says nothing.
        """
        edge_ft, offset = self._edge_ft, self._offset
        if edge_ft is None or self.offset_ft is None:
            return False
        self._was_inside = self._was_inside or abs(self.offset_ft) < edge_ft
        if not self._was_inside or offset.t - self._offset_from_s < 2.0 * OFFSET_TAU_S:
            return False  # a drift told from less time than that is the position's noise
        away = offset.rate if offset.value > 0.0 else -offset.rate
        # A position that scatters shows drifts that are none; some feet of it are a swerve's own beginning.
        sure_ft = max(NOISE_TIMES * self._offset_noise_ft - OFFSET_CLEAN_FT, 0.0)
        return abs(offset.value) + max(away, 0.0) * self._set.edge_s > edge_ft + sure_ft

    def _leaving(self, t: float) -> None:
        self._judge.cue("directional-control", t, self._near_edge, self.maybe_off)

    def _watch_heading(self) -> None:
        s = self._s
        heading, runway = s.sample.heading_deg, self._conditions.runway_heading
        if heading is None:
            self.off_deg = None
            return
        v = s.v or 0.0
        if not self._fast_yet and v >= self._set.direction_from_kt:
            self._fast_yet = True
            runway = self._without_odd(runway, heading)
        if runway is None or v < self._set.direction_from_kt:
            # Still lining up, perhaps in a rolling turn onto the runway.
            self.line_up()
            runway = self._conditions.runway_heading
            if runway is None:
                return
            off = turn(runway, heading)
            self._doubted_deg = off if abs(off) > LINED_UP_DEG and not self._stood_along else None
            self._began_off_deg = 0.0 if self._doubted_deg is not None else off
        elif self._doubted_deg is not None:
            runway = self._reference(runway, heading, self._doubted_deg)
        off = self.off_deg = turn(runway, heading)
        swerving = abs(off) > self._set.direction_abort_deg and v > self._set.direction_from_kt
        swerving = swerving and not self._crabbing(runway, off)
        self._hold.update_agreed(swerving, s.t, s.t, s.dt)
        often = s.t - self._learned_t >= OFTEN_S
        if often and not swerving and v > 20.0 and not self.maybe_off and not self._conditions.nose_up:
            self._learned_t = s.t
            self._learn(off)

    def _learn(self, off_deg: float) -> None:
        """One sample of a straight roll."""
        self._track_shift.roll()
        self._off.add(off_deg)
        if abs(off_deg) <= self._set.heading_deg:
            self._kept.add(off_deg)
        if self._began_off_deg is None:
            self._began_off_deg = off_deg
        if abs(off_deg - self._began_off_deg) <= ALONG_DEG:
            self._along.add(off_deg)

    def _without_odd(self, runway: float | None, heading: float) -> float | None:
        """The runway heading, or the one before it where only the last look at it was damaged."""
        before = self._runway_before
        if runway is None or before is None or abs(turn(runway, heading)) <= ODD_DEG:
            return runway
        if abs(turn(before, heading)) <= self._set.heading_deg:
            self._conditions.runway_heading = runway = before
            self._doubted_deg = None
        return runway

    @property
    def track_shift_deg(self) -> float | None:
        """How far from the runway heading the track along the runway reads; None while that is not known.

        That is the variation, where track and heading count from different norths: on its wheels an aeroplane goes
        where it points. And what a given heading is off (rounded to ten degrees, say): the roll began so and went on
        so; what it swung aside later is the pilot's. 0 where that is no more than a roll's own wandering.
        """
        shift = self._track_shift.deg
        if shift is None:
            return None
        shift += 0.0 if self._given is None else self._along.value
        return shift if abs(shift) >= TRACK_AGREES_DEG else 0.0

    def _reference(self, runway: float, heading: float, doubted_deg: float) -> float:
        """The heading to judge by, where the roll began more than 10 degrees off the given one.

        Either the aeroplane still turned onto the runway, and soon points along it: then the given heading is right.
        Or it is not the runway's (true for magnetic, say), and where the roll began along is.
        """
        if abs(turn(runway, heading)) <= self._set.heading_deg:
            self._doubted_deg = None
            return runway
        return (runway + doubted_deg) % 360.0

    def _crabbing(self, runway_deg: float, off_deg: float) -> bool:
        """Without a ground switch to believe, nose up and the track nearer the runway than it: off in a crosswind.

        With wheels on the ground nothing goes on for long with its nose so far aside of where it goes.
        """
        s, rise = self._s, self._conditions.nose_rise_deg
        if s.track is None or rise is None or rise < self._set.rotation_rise_deg:
            return False
        if s.sample.on_ground is not None and (s.climb_fpm or 0.0) < CLIMBS_FPM:
            return False  # but a switch that says so in a climb is stuck
        return abs(turn(runway_deg, s.track)) < max(self._set.drift_deg, CRAB_PART * abs(off_deg))

    def lifted_off(self) -> None:
        """Off the ground: where no heading was given, the mean of the roll is the runway's, without its swerves."""
        runway = self._conditions.runway_heading
        if runway is None:
            return
        if self._doubted_deg is not None:
            runway = (runway + self._doubted_deg) % 360.0
        elif self._given is not None:
            return
        # What was kept to for a moment only, it still turned onto the runway from.
        kept = self._kept.n > 2 and self._kept.n >= KEPT_PART * self._off.n
        mean = self._kept if kept else self._off
        if mean.n > 2 and abs(mean.value) < 8.0:
            self._conditions.runway_heading = (runway + mean.value) % 360.0

    def _lost(self, t: float) -> None:
        self._judge.cue("directional-control", t, self._still_off, self.maybe_off)

    def _still_off(self) -> bool:
        return self.off_deg is not None and abs(self.off_deg) > self._set.direction_abort_deg
