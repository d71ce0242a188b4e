"""The routine calls of the climb: each once a takeoff, when it is due; and how a call is given.

Where the pilot calls first, on the roll too, what he does by himself is noticed here.
"""

from __future__ import annotations

from collections.abc import Callable

from monitor.agenda import Agenda, Hold
from monitor.aircraft import Aircraft
from monitor.conditions import Conditions
from monitor.geo import turn
from monitor.judge import Judge
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.state import State
from monitor.teller import Teller

NEAR_FT = 100.0  # of a height: further from it, no noise passes it


class ClimbRoutine:
    """Watches the climb for what is due next; each call is told once."""

    def __init__(
        self,
        state: State,
        conditions: Conditions,
        aircraft: Aircraft,
        procedure: Procedure,
        options: Options,
        agenda: Agenda,
        judge: Judge,
        teller: Teller,
    ) -> None:
        self._s = state
        self._conditions = conditions
        self._speeds = aircraft.speeds_kias
        self._set = procedure.settings
        self._procedure = procedure
        self._options = options
        self._judge = judge
        self._tell = teller
        self.after_takeoff: Callable[[float], None] = lambda t: None
        flaps = procedure.flaps_deg if procedure.flaps_deg is not None else aircraft.takeoff_flaps_deg
        self.takeoff_flaps_deg = flaps
        self.lean_ft = aircraft.lean_height_ft if aircraft.lean_height_ft is not None else self._set.lean_height_ft
        self._retractable = aircraft.retractable_gear
        self._rate_hold = Hold(agenda, 0.0, self._positive_rate)
        self._speed_hold = Hold(agenda, 0.0, self._climb_speed)
        self._holds = (self._rate_hold, self._speed_hold)
        self.field_altitude_ft: float | None = None
        self.begin_climb()

    def begin_climb(self) -> None:
        """A takeoff begins."""
        for hold in self._holds:
            hold.clear()
        self.done: set[str] = set()
        self._at_call: dict[str, tuple[float | None, float | None]] = {}  # flaps and mixture when it fell due
        self.liftoff_t: float | None = None
        self._climbing_since: float | None = None
        self._lean_reference: float | None = None
        self._re_lean_ft = 0.0

    def give(self, call: str, t: float, key: str | None = None) -> None:
        """Give a call unless it was given."""
        if call not in self.done:
            self.done.add(call)
            self._tell.callout(call, t, key if key is not None else call)
            sample = self._s.sample
            self._at_call[call] = (sample.flaps_deg, sample.mixture)
            if call == "after-takeoff":
                self.after_takeoff(t)

    def _watch_pilot(self) -> None:
        """Where the pilot calls first: what the pilot does by himself needs no word."""
        s = self._s
        sample = s.sample
        rise = self._conditions.nose_rise_deg
        if self.liftoff_t is not None or (rise is not None and rise >= self._set.rotation_rise_deg):
            self._tell.acted("rotate", s.t)
        flaps = self._at_call.get("flaps-up", (None, None))[0]
        if sample.flaps_deg is not None and flaps is not None and sample.flaps_deg < flaps - 0.5:
            self._tell.acted("flaps-up", s.t)
        if abs(sample.bank_deg or 0.0) > self._set.bank_deg:
            self._tell.acted("turn", s.t)
        mixture = self._at_call.get("lean", (None, None))[1]
        if sample.mixture is not None and mixture is not None and sample.mixture < mixture - 0.02:
            self._tell.acted("lean", s.t)
        if s.climb_fpm is not None and abs(s.climb_fpm) < 150.0:
            self._tell.acted("level-off", s.t)

    # ---- the climb ---------------------------------------------------------------------------------------------------

    def watch_climb(self) -> None:
        """Since when the climb has been over 100 ft/min; kept from before lift-off is certain."""
        s = self._s
        climb = s.climb_fpm
        if climb is None or climb <= self._set.positive_rate_fpm:
            self._climbing_since = None
        elif self._climbing_since is None:
            self._climbing_since = s.crossing(s.prev.vertical_speed_fpm, climb, self._set.positive_rate_fpm)

    def climb(self) -> None:
        """One sample of the climb."""
        s, done = self._s, self.done
        climb, height = s.climb_fpm, s.height
        if self._climbing_since is None or climb is None or climb <= self._set.positive_rate_fpm:  # as at few samples
            self.watch_climb()
        if self._tell.waiting:
            self._watch_pilot()
        if "positive-rate" not in done:
            self._watch_positive_rate()
        if self._procedure.short_field and "obstacle-clear" not in done:
            self._watch_obstacle()
        if "climb-speed" not in done:
            self._watch_climb_speed()
        if "flaps-up" not in done:
            self._watch_flaps()
        elif "turn" not in done:
            self._watch_turn()
        near = height is not None and height > self._set.after_takeoff_ft - NEAR_FT
        if "after-takeoff" not in done and (near or self._conditions.level_since is not None):
            self._watch_after_takeoff()
        if "lean" not in done:
            altitude = self._s.sample.altitude_ft
            if altitude is not None and altitude >= self.lean_ft:
                self._lean(altitude)
        elif self._s.sample.egt_degf is not None:
            self._watch_re_lean(self._s.sample.egt_degf)
        if self._options.level_off_ft is not None:
            self._watch_level_off(self._options.level_off_ft)

    def above_lean_height(self) -> bool | None:
        """Whether the aeroplane, or the field it stands on, is above the lean height; None where neither is known."""
        altitude = self._s.sample.altitude_ft
        altitude = altitude if altitude is not None else self._options.field_elevation_ft
        return None if altitude is None else altitude >= self.lean_ft

    def _passed(self, height_ft: float) -> float | None:
        """When this height above the field was passed; None below it."""
        s = self._s
        if s.height is None or s.zero_ft is None or s.level_now < height_ft + s.zero_ft:
            return None
        return s.rose_through(s.prev_level, s.level_now, height_ft + s.zero_ft)

    def _watch_positive_rate(self) -> None:
        since = self._climbing_since
        passed = self._passed(self._set.positive_rate_ft)
        if since is None or passed is None:
            self._rate_hold.clear()
            return
        if self._rate_hold.since is None:
            self._rate_hold.since = since
            due = max(since + self._set.positive_rate_hold_s, passed)
            if self._retractable and self.liftoff_t is not None:  # it is said: nothing sounds until 2 s after lift-off
                due = max(due, self.liftoff_t + self._set.quiet_after_s)
            self._rate_hold.schedule(due)

    def _positive_rate(self, t: float) -> None:
        self.give("positive-rate", t, "positive-rate.retractable" if self._retractable else "positive-rate")

    def _watch_climb_speed(self) -> None:
        s = self._s
        if s.ias is None or self._speed_hold.since is not None or self.liftoff_t is None:
            return
        if self._procedure.short_field and "obstacle-clear" not in self.done:
            return
        wanted = self._speeds.best_rate - self._set.climb_speed_lead_kt
        if s.ias >= wanted:
            reached = s.crossing(s.prev.ias_kt, s.ias, wanted)
            self._speed_hold.since = reached
            # Nothing sounds until 2 s after lift-off.
            self._speed_hold.schedule(max(reached, self.liftoff_t + self._set.quiet_after_s))

    def _climb_speed(self, t: float) -> None:
        self.give("climb-speed", t)

    def _watch_obstacle(self) -> None:
        passed = self._passed(self._options.obstacle_height_ft or self._set.obstacle_ft)
        if passed is not None:
            self.give("obstacle-clear", passed)

    def flaps_out(self) -> bool | None:
        """The flaps are out; None when that cannot be seen."""
        flaps = self._s.sample.flaps_deg
        return None if flaps is None else flaps > self._set.flaps_up_deg

    def _watch_flaps(self) -> None:
        s, set_ = self._s, self._set
        out = self.flaps_out()
        with_flaps = self.takeoff_flaps_deg > 0.0 or out is True
        passed = self._passed(set_.flaps_height_with_flaps_ft if with_flaps else set_.flaps_height_ft)
        if passed is None or (s.climb_fpm is not None and s.climb_fpm <= 0.0):
            return
        if with_flaps and out is not False:
            if s.ias is not None and s.ias < self._speeds.best_rate - set_.flaps_speed_margin_kt:
                return
            if s.ias is not None:
                fast_enough = self._speeds.best_rate - set_.flaps_speed_margin_kt
                passed = max(passed, s.rose_through(s.prev.ias_kt, s.ias, fast_enough))
        if self._procedure.short_field and "obstacle-clear" not in self.done:
            return
        self.give("flaps-up", passed, "flaps-up.already" if out is False else "flaps-up")

    def _watch_turn(self) -> None:
        s, set_ = self._s, self._set
        passed = self._passed(self.turn_height_ft)
        if passed is None:
            return
        length = self._options.runway_length_ft
        if self._procedure.turn_rule == "pattern" and length is not None and self._judge.roll_ft < length:
            return  # not yet beyond the departure end
        if self.flaps_out() or (s.climb_fpm is not None and s.climb_fpm < 0.0):
            return
        if s.ias is not None and s.ias < self._speeds.best_rate - set_.climb_slow_kt:
            return
        if abs(s.sample.bank_deg or 0.0) > set_.bank_deg:
            return
        heading, runway = s.sample.heading_deg, self._conditions.runway_heading
        if heading is not None and runway is not None and abs(turn(runway, heading)) > 20.0:
            return
        self.give("turn", passed)

    @property
    def turn_height_ft(self) -> float:
        """From which height above the field the first turn may come."""
        if self._procedure.turn_rule != "pattern":
            return self._set.turn_height_ft
        pattern = self._options.pattern_height_ft or self._set.pattern_height_ft
        return max(pattern - self._set.pattern_margin_ft, self._set.turn_height_ft)

    def levelled(self, t: float) -> None:
        """The climb ended in level flight at `t`."""
        self.give("after-takeoff", t)

    def _watch_after_takeoff(self) -> None:
        levelled = self._conditions.levelled() if self._conditions.level_since is not None else None
        if levelled is not None:
            self.give("after-takeoff", levelled)
        if self._procedure.departure == "circuit":
            return
        passed = self._passed(self._set.after_takeoff_ft)
        if passed is not None:
            self.give("after-takeoff", passed)

    def _lean(self, altitude: float) -> None:
        s = self._s
        if self.field_altitude_ft is None or self.field_altitude_ft >= self.lean_ft:
            self.done.add("lean")  # the field is above it: leaned on the ground
            self._re_lean_ft = altitude
            return
        self._re_lean_ft = altitude
        self.give("lean", s.crossing(s.prev.altitude_ft, altitude, self.lean_ft))

    def _watch_re_lean(self, egt: float) -> None:
        """EGT 50 degF under its reference in the climb, at most once in 2,000 ft; less power makes less heat too."""
        altitude, climb = self._s.sample.altitude_ft, self._s.climb_fpm
        if climb is None or climb <= self._set.positive_rate_fpm or self._conditions.power_reduced() is not None:
            return
        if self._lean_reference is None or egt > self._lean_reference:
            self._lean_reference = egt
        if altitude is None or egt > self._lean_reference - self._set.re_lean_egt_degf:
            return
        if altitude >= self._re_lean_ft + self._set.re_lean_every_ft and "lean" in self.done:
            self._re_lean_ft = altitude
            self._lean_reference = egt
            self._tell.remark("advisory", "re-lean", self._s.t, "re-lean")

    def _watch_level_off(self, wanted_ft: float) -> None:
        s = self._s
        altitude, climb = s.sample.altitude_ft, s.climb_fpm
        if altitude is None or climb is None or climb <= 0.0:
            return
        if "level-off" in self.done:
            if (
                "level-off.past" not in self.done
                and altitude > wanted_ft + self._set.level_off_past_ft
                and climb > 100.0
            ):
                self.done.add("level-off.past")
                self._tell.remark("advisory", "level-off", s.t, "level-off.past")
            return
        due_ft = wanted_ft - self._set.level_off_part * climb
        if altitude >= due_ft:
            self.give("level-off", s.crossing(s.prev.altitude_ft, altitude, due_ft))
