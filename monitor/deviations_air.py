"""Deviations in the air: pitch near the tail's limit, bank, track, sink, speed, and levers moved too early or too late.

The rules of all remarks are on top of `monitor.deviations`.
"""

from __future__ import annotations

from monitor.agenda import Agenda
from monitor.aircraft import Aircraft
from monitor.conditions import Conditions
from monitor.direction import Direction
from monitor.geo import turn
from monitor.judge import Judge
from monitor.procedure import Procedure
from monitor.remarks import Remarks
from monitor.routine import Routine
from monitor.state import State
from monitor.teller import Teller

LEAP_FT = 50.0  # so much is lost in no step, nor in a second of one (common practice, no source)
GAINS_FT = 5.0  # within the hold: a climb of 300 ft/min, whatever vertical speed says (common practice, no source)
SPEED_LEAST_KT = 0.3  # in half of the hold: a weak aeroplane gains speed slowly (common practice, no source)


class AirDeviations(Remarks):
    """Watches the climb for what the pilot should correct."""

    __slots__ = (
        "_aircraft", "_armed", "_bank", "_below_angle", "_climb_fast", "_climb_slow", "_conditions", "_direction",
        "_drift", "_early_flaps", "_early_turn", "_flaps_fast", "_flaps_late", "_flaps_takeoff", "_highest", "_judge",
        "_looked_t", "_mean_ias", "_noise_ft", "_pitch", "_power", "_procedure", "_routine", "_side", "_sink",
        "_sink_from_ft", "_slow", "_stall_far_kt", "_steep", "_throttle_best",
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
        super().__init__(state, procedure.settings, agenda, teller)
        self._judge = judge
        self._conditions = conditions
        self._direction = direction
        self._routine = routine
        self._aircraft = aircraft
        self._procedure = procedure
        self._side = "right"
        speeds = aircraft.speeds_kias
        self._stall_far_kt = procedure.settings.stall_margin_part * max(
            speeds.stall_clean or 0.0, speeds.stall_flaps or 0.0
        )
        set_ = self._set
        self._pitch = self._hold(0.2, lambda t: self._say("caution", "pitch", t))
        self._drift = self._correctable(set_.drift_hold_s, 0.4, lambda t: self._say("caution", "drift", t, self._side))
        self._bank = self._correctable(set_.bank_hold_s, 0.5, lambda t: self._say("advisory", "bank", t))
        self._steep = self._hold(0.5, lambda t: self._say("caution", "bank", t))
        self._sink = self._hold(set_.sink_hold_s, self._sinking)
        self._slow = self._hold(0.0, lambda t: self._say("caution", "speed-low", t))
        self._below_angle = self._hold(set_.below_angle_hold_s, lambda t: self._say("caution", "speed-low", t))
        self._climb_fast = self._correctable(
            set_.climb_hold_s, SPEED_LEAST_KT, lambda t: self._say("advisory", "climb-fast", t), set_.climb_hold_s
        )
        self._climb_slow = self._correctable(
            set_.climb_hold_s, SPEED_LEAST_KT, lambda t: self._say("advisory", "climb-slow", t), set_.climb_hold_s
        )
        self._early_turn = self._hold(1.0, self._turning)
        self._early_flaps = self._hold(0.0, lambda t: self._say("caution", "early-flaps", t))
        self._power = self._hold(1.0, lambda t: self._say("caution", "power-reduced", t))
        self._flaps_fast = self._hold(1.0, lambda t: self._say("caution", "flaps-overspeed", t))
        self._flaps_late = self._hold(set_.late_flaps_s, lambda t: self._say("advisory", "late-flaps", t))
        self.begin_air()

    def begin_air(self) -> None:
        """A takeoff begins."""
        self.begin_remarks()
        self._looked_t = 0.0
        self._mean_ias: float | None = None
        self._armed = False
        self._highest: float | None = None
        self._sink_from_ft = self._noise_ft = 0.0
        self._flaps_takeoff: float | None = None
        self._throttle_best = 0.0

    def climb(self, altitude_stands: bool, often: bool) -> None:
        """One sample of the climb; altitude_stands: its source may be blocked, and the airspeed's with it; often: it is
        time to look at what must last for seconds as well."""
        s = self._s
        height = s.height
        if height is not None and height < 50.0:
            self._watch_pitch()
        elif self._pitch.since is not None:
            self._pitch.clear()
        ias = s.ias
        if ias is None or (ias < 20.0 and (s.v or 0.0) > 2.0 * ias):
            # No airspeed, or one about to be called dead: no word about speed.
            for hold in (self._slow, self._below_angle, self._climb_fast, self._climb_slow, self._flaps_fast):
                hold.clear()
            ias = None
        else:
            shown_kt = ias + s.ias_behind_kt
            if shown_kt < self._stall_far_kt or self._slow.since is not None:  # as at few samples
                self._watch_stall(shown_kt, height)
        if often:
            self._watch_way(height)
            if ias is not None:
                self._watch_speed(ias, height, altitude_stands)
            self._watch_levers(height)
            self._looked_t = s.t

    def _watch_way(self, height: float | None) -> None:
        """Where the aeroplane goes: bank, track, and down."""
        turned = "turn" in self._routine.done or height is None or height >= self._routine.turn_height_ft
        self._watch_bank(height, turned)
        if turned:
            self._drift.clear()
            self._early_turn.clear()
        else:
            self._watch_track(height)
        self._watch_sink(height)

    def glide(self) -> None:
        """One sample with the engine dead: what kills there is a stall, and a steep turn back."""
        s = self._s
        height, bank = s.height, s.sample.bank_deg
        if s.ias is not None:
            self._watch_stall(s.ias, height)
        if bank is not None:
            self._watch_steep(bank, height)

    def _watch_pitch(self) -> None:
        """Close to the tail's limit, from the roll to 50 ft."""
        pitch, limit = self._s.sample.pitch_deg, self._aircraft.pitch_max_deg
        if pitch is None or limit is None or self._aircraft.gear == "tailwheel":
            return
        threshold = limit - self._set.tail_margin_deg
        if pitch > threshold:
            s = self._s
            self._pitch.begin_agreed(s.crossing(s.prev.pitch_deg, pitch, threshold), s.t, s.dt)
        elif self._pitch.since is not None:
            self._pitch.clear()

    def _watch_bank(self, height: float | None, turned: bool) -> None:
        s, set_ = self._s, self._set
        bank = s.sample.bank_deg
        if bank is None:
            return
        limit = set_.bank_in_turn_deg if turned else set_.bank_deg
        self._bank.watch(s.t, abs(bank), limit, limit)
        self._watch_steep(bank, height)

    def _watch_steep(self, bank: float, height: float | None) -> None:
        s = self._s
        low = height is not None and height < 1000.0
        self._steep.update_agreed(low and abs(bank) > self._set.bank_steep_deg, s.t, s.t, s.dt)

    def _watch_track(self, height: float | None) -> None:
        s, set_ = self._s, self._set
        runway = self._conditions.runway_heading
        heading, track, bank = s.sample.heading_deg, s.track, s.sample.bank_deg
        if runway is None:
            return
        level = bank is None or abs(bank) < 8.0
        if track is not None and height is not None and height > set_.drift_from_ft:
            shift = self._direction.track_shift_deg
            off = 0.0 if shift is None or not level else turn(runway + shift, track)
            self._side = "right" if off > 0.0 else "left"
            self._drift.watch(s.t, abs(off), set_.drift_deg, set_.drift_deg)
        turning = heading is not None and abs(turn(runway, heading)) > set_.early_turn_deg and not level
        self._early_turn.update(turning, s.t)

    def _turning(self, t: float) -> None:
        height = self._s.height
        low = height is not None and height < self._set.early_turn_caution_ft
        self._say("caution" if low else "advisory", "early-turn", t)

    def _watch_sink(self, height: float | None) -> None:
        s, set_ = self._s, self._set
        climb = s.climb_fpm
        if climb is None or height is None or height > set_.sink_below_ft or height < set_.ground_effect_ft:
            self._sink.clear()
            self._highest = height
            return
        zero = s.zero_ft or 0.0
        height = s.level_now - zero  # one reading that is off, or noise, is no sink
        self._highest = height if self._highest is None else max(self._highest, height)
        if self._highest - height > LEAP_FT + s.dt * LEAP_FT:
            self._highest = height  # it is measured from another level now
        if climb > set_.positive_rate_fpm:
            self._highest = height
        elif self._highest - max(height, (s.level or 0.0) - zero) >= set_.sink_ft:  # the smooth one leans on the climb
            self._highest = height
            self._sinking(s.t)
        falls = climb < -set_.sink_fpm
        if not falls:
            self._noise_ft = s.level_noise  # as it was by then: the two that differ seem noise as well
        self._sink.update_agreed(falls and not self._gains_height(), s.t, s.t, s.dt)

    def _gains_height(self) -> bool:
        """The level has risen since vertical speed began to say that it falls."""
        level = self._s.level or 0.0
        if self._sink.since is None:
            self._sink_from_ft = level
        return level > self._sink_from_ft + GAINS_FT + 2.0 * self._noise_ft

    def _sinking(self, t: float) -> None:
        best_angle, ias = self._aircraft.speeds_kias.best_angle, self._s.ias
        slow = best_angle is not None and ias is not None and ias + self._s.ias_behind_kt < best_angle
        self._say("caution", "sink", t, "slow" if slow else "")

    def _watch_speed(self, ias: float, height: float | None, altitude_stands: bool) -> None:
        s, set_, speeds = self._s, self._set, self._aircraft.speeds_kias
        high = height is not None and height > 50.0
        if speeds.best_angle is not None:
            least = speeds.best_angle - set_.climb_slow_kt
            slow = high and not altitude_stands and ias + s.ias_behind_kt < least
            if slow or self._below_angle.since is not None:
                self._below_angle.update(slow, s.t)
        limit = speeds.flaps_extended_max
        if limit is not None:
            fast = ias > limit and self._flaps_out()
            if fast or self._flaps_fast.since is not None:
                self._flaps_fast.update(fast, s.t)
        # Once the climb-out is over the pilot chooses the speed.
        chosen = "after-takeoff" in self._routine.done or self._conditions.power_reduced() is not None
        chosen = chosen or self._conditions.level_since is not None
        if not chosen and not altitude_stands:
            self._watch_climb_speed(ias, height)
        else:
            self._climb_fast.clear()
            self._climb_slow.clear()

    def _power_reduced(self, throttle: float | None) -> bool:
        """By the lever; without one by what the engine shows, whoever reduced it, unless it has been told as a loss."""
        if throttle is None:
            return self._conditions.power_reduced() is not None and not self._judge.told("power-loss")
        self._throttle_best = max(throttle, self._throttle_best)
        return throttle < self._throttle_best - self._set.power_reduced_part

    def _flaps_out(self) -> bool:
        flaps = self._s.sample.flaps_deg
        return flaps is not None and flaps > self._set.flaps_up_deg

    def _watch_stall(self, ias: float, height: float | None) -> None:
        """Near the stall with the flaps as they are."""
        s, speeds = self._s, self._aircraft.speeds_kias
        stall = speeds.stall_flaps if speeds.stall_flaps is not None and self._flaps_out() else speeds.stall_clean
        if stall is None:
            return
        threshold = self._set.stall_margin_part * stall
        if ias < threshold and height is not None and height >= self._set.ground_effect_ft:
            self._slow.begin(s.crossing(s.prev.ias_kt, ias, threshold))
        elif self._slow.since is not None:
            self._slow.clear()

    def _watch_climb_speed(self, ias: float, height: float | None) -> None:
        """Outside +10/-5 kt of the climb speed in the mean of 3 s, for 3 s; over again inside +8/-3."""
        s, set_ = self._s, self._set
        if self._procedure.short_field and "obstacle-clear" not in self._routine.done:
            return
        target = self._aircraft.speeds_kias.best_rate
        mean = self._mean_ias  # exponential: as old as a plain mean with half its time constant
        since_s = s.t - self._looked_t
        mean = ias if mean is None else mean + min(1.0, since_s / (0.5 * set_.climb_mean_s)) * (ias - mean)
        self._mean_ias = mean
        since = self._routine.liftoff_t
        if not self._armed:
            late = since is not None and s.t - since > set_.climb_armed_s
            self._armed = mean >= target - set_.climb_slow_kt or (height or 0.0) > set_.climb_armed_ft or late
            return
        fast, slow = self._climb_fast, self._climb_slow
        fast.watch(s.t, mean - target, set_.climb_fast_kt, set_.climb_fast_clear_kt, ias - target)
        slow.watch(s.t, target - mean, set_.climb_slow_kt, set_.climb_slow_clear_kt, target - ias)

    def _watch_levers(self, height: float | None) -> None:
        s, set_ = self._s, self._set
        throttle, flaps = s.sample.throttle, s.sample.flaps_deg
        if height is not None and height < set_.turn_height_ft:
            reduced = self._power_reduced(throttle)
            reduced = reduced and "level-off" not in self._routine.done and self._conditions.level_since is None
            self._power.update_agreed(reduced, s.t, s.t, s.dt)
        elif self._power.since is not None:
            self._power.clear()
        started = self._flaps_takeoff
        if flaps is None or (flaps <= set_.flaps_up_deg and (started is None or started <= set_.flaps_up_deg)):
            if self._early_flaps.since is not None:
                self._early_flaps.clear()
            if self._flaps_late.since is not None:
                self._flaps_late.clear()
            return
        if started is not None and started > set_.flaps_up_deg and height is not None:
            early = flaps < started - 1.0 and height < set_.early_flaps_ft
            self._early_flaps.update(early, s.t)
        late = (
            "flaps-up" in self._routine.done
            and (s.climb_fpm is None or s.climb_fpm > 0.0)  # who sinks keeps them
            and flaps > set_.flaps_up_deg
            and (started is None or flaps >= started - 1.0)
        )
        self._flaps_late.update(late, s.t)
