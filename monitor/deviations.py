"""Deviations from a good takeoff: what is off, by how much, for how long, before it is worth a word.

An instructor who talks all the time is switched off. So each remark has a threshold and a hold, waits while the error
is shrinking, comes again only after it was cleared and 10 s have passed, and at most three advisories sound in a
takeoff. Cautions are not counted among them. Here are those on the wheels; those in the air are in
`monitor.deviations_air`.
"""

from __future__ import annotations

from monitor.agenda import Agenda
from monitor.aircraft import Aircraft
from monitor.conditions import Conditions
from monitor.deviations_air import AirDeviations
from monitor.direction import Direction
from monitor.judge import Judge
from monitor.procedure import Procedure
from monitor.routine import Routine
from monitor.state import State
from monitor.teller import Teller

NOSE_OVER_S = 0.5
NOSE_RISES_DEG_S = 0.8  # beyond what a noisy pitch shows over half a second (common practice, no source)


class Deviations(AirDeviations):
    """Watches the roll and the climb for what the pilot should correct."""

    __slots__ = (
        "_early_rotate", "_full_seen", "_heading", "_late_power", "_late_rotate", "_off_centre", "_roll_t",
        "_rose", "_rotate_t", "_side_of_centre", "_swing", "maybe_off",
    )  # fmt: skip

    def __init__(
        self,
        state: State,
        conditions: Conditions,
        direction: Direction,
        routine: Routine,
        aircraft: Aircraft,
        procedure: Procedure,
        agenda: Agenda,
        judge: Judge,
        teller: Teller,
    ) -> None:
        super().__init__(state, conditions, direction, routine, aircraft, procedure, agenda, judge, teller)
        self._side_of_centre = "right"
        self.maybe_off = False
        set_ = self._set
        self._heading = self._correctable(set_.heading_hold_s, 0.2, self._off_heading)
        self._swing = self._hold(set_.heading_hold_s, lambda t: self._say("caution", "heading", t, self._side))
        self._off_centre = self._correctable(
            set_.centreline_hold_s, 0.5, lambda t: self._say("advisory", "centreline", t, self._side_of_centre)
        )
        self._late_power = self._hold(set_.late_power_s, lambda t: self._say("advisory", "late-power", t))
        self._early_rotate = self._hold(0.2, lambda t: self._say("advisory", "early-rotate", t))
        self._late_rotate = self._hold(0.0, self._late, always_heard=True)
        self.begin()

    def begin(self) -> None:
        """A takeoff begins."""
        self.begin_air()
        self._roll_t: float | None = None
        self._rotate_t: float | None = None
        self._rose = False  # the nose has been up: a hold in ground effect lowers it again
        self._full_seen = False

    # ---- on the wheels -----------------------------------------------------------------------------------------------

    def roll(self, began: float) -> None:
        """One sample of the roll; began: when its phase did."""
        s, set_ = self._s, self._set
        if self._roll_t is None:
            self._roll_t = began
        if self.maybe_off:
            for hold in (self._heading, self._swing, self._off_centre, self._late_rotate, self._early_rotate):
                hold.clear()
        else:
            self._flaps_takeoff = s.sample.flaps_deg  # after a landing they may still run up on the roll
            self._watch_heading()
            self._watch_centreline()
            self._watch_rotation()
        throttle = s.sample.throttle
        if throttle is not None:
            self._throttle_best = max(throttle, self._throttle_best)
            if not self._full_seen:
                self._full_seen = throttle >= set_.full_throttle
                self._late_power.update(not self._full_seen, self._roll_t)
        self._watch_pitch()

    def _watch_heading(self) -> None:
        s, set_ = self._s, self._set
        off = self._direction.off_deg
        if off is None or (s.v or 0.0) < set_.direction_from_kt:
            return
        self._side = "right" if off > 0.0 else "left"
        self._heading.watch(s.t, abs(off), set_.heading_deg, 0.7 * set_.heading_deg)
        self._swing.update_agreed(abs(off) > set_.heading_caution_deg, s.t, s.t, s.dt)

    def _off_heading(self, t: float) -> None:
        """5 degrees for a second; not where the caution is on its way."""
        if abs(self._direction.off_deg or 0.0) <= self._set.heading_caution_deg:
            self._say("advisory", "heading", t, self._side)
        else:
            self._heading.ask_again(t)

    def _watch_centreline(self) -> None:
        """Off the centreline, where both thresholds were surveyed: a runway heading alone does not tell."""
        off_ft = self._direction.offset_ft
        if off_ft is not None:
            self._side_of_centre = "right" if off_ft > 0.0 else "left"
            most = self._set.centreline_ft
            self._off_centre.watch(self._s.t, abs(off_ft), most, most)

    def _watch_rotation(self) -> None:
        s, set_ = self._s, self._set
        ias, rise = s.ias, self._conditions.nose_rise_deg
        vr = self._aircraft.speeds_kias.rotate
        if ias is None or rise is None or self._aircraft.gear == "tailwheel":
            return
        if self._judge.zone != "early":
            early = rise > set_.early_rotate_deg and ias + s.ias_behind_kt < vr - set_.early_rotate_kt
            self._early_rotate.update(early, s.t)
        self._rose = self._rose or (rise >= set_.rotation_rise_deg and ias > vr - set_.early_rotate_kt)
        if "rotate" in self._routine.done and self._rotate_t is None:
            self._rotate_t = s.t
        only_when_late = self._tell.level_of("rotate") == "correct"
        late_kt = set_.late_rotate_uncalled_kt if only_when_late else set_.late_rotate_kt
        late_s = 0.0 if only_when_late else set_.late_rotate_s
        late = (
            self._rotate_t is not None
            and ias > vr + late_kt
            and not self._rose
            and s.t - self._rotate_t > late_s
            and not self._nose_rising()
        )
        self._late_rotate.update(late, s.t)

    def _nose_rising(self) -> bool:
        """The pilot is at it: the nose has risen over the last half second."""
        s, now = self._s, self._s.sample.pitch_deg
        for t, _, _, _, pitch in reversed(s.history):
            if s.t - t >= NOSE_OVER_S and pitch is not None and now is not None:
                return now - pitch > NOSE_RISES_DEG_S * (s.t - t)
        return False

    def _late(self, t: float) -> None:
        self._say("advisory", "late-rotate", t)

    # ---- off the ground ----------------------------------------------------------------------------------------------

    def end_roll(self) -> None:
        """Off the ground: what was wrong on the wheels is over."""
        self._roll_t = None
        for hold in (
            self._heading, self._swing, self._off_centre, self._late_power, self._early_rotate, self._late_rotate,
        ):  # fmt: skip
            hold.clear()
