"""The routine calls of the roll: each once a takeoff, when it is due, in no fixed order among independent ones."""

from __future__ import annotations

from monitor.agenda import Agenda
from monitor.aircraft import Aircraft
from monitor.conditions import Conditions
from monitor.geo import FEET_PER_S_PER_KNOT
from monitor.judge import Judge
from monitor.liftoff import CLIMBS_FPM
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.rotate import RotateCall
from monitor.routine_climb import ClimbRoutine
from monitor.state import State
from monitor.teller import Teller

FOLLOWS_PART = 0.3  # of the speed over the ground's slope: an airspeed that rises less is not believed for the moment


class Routine(ClimbRoutine):
    """Watches for what is due next, from power set to the end of the climb; each call is told once."""

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
        super().__init__(state, conditions, aircraft, procedure, options, agenda, judge, teller)
        self._bands = aircraft.instruments
        self.voice_latency_s = options.voice_latency_s
        self._rotate_call = RotateCall(state, self._set, self._speeds.rotate, agenda, self._rotate)
        self.begin()

    def begin(self) -> None:
        """A takeoff begins."""
        self.begin_climb()
        self._rotate_call.begin()
        self.power_set_t: float | None = None

    # ---- the roll ----------------------------------------------------------------------------------------------------

    def power_set(self, t: float) -> None:
        """The engine has been judged good at takeoff power."""
        self.power_set_t = t
        if self._judge.aborted:
            return
        green = self._oil_green()
        self.give("power-set", t, "power-set.green" if green else "power-set")
        if green:
            self.give("engine-green", t, "")
        elif self._tell.level_of("engine-green") == "correct" and self._oil_supplied():
            self._tell.remark("advisory", "engine-green", t, "engine-green.check")

    def alive(self, t: float) -> None:
        """The airspeed has come alive."""
        if self._judge.aborted:
            return
        self.give("airspeed-alive", t, "airspeed-alive.short" if self._judge.to_rotate_s < 6.0 else "airspeed-alive")

    def _oil_supplied(self) -> bool:
        sample = self._s.sample
        return sample.oil_pressure_psi is not None and sample.oil_temperature_degf is not None

    def _oil_green(self) -> bool:
        """Oil pressure and temperature are both supplied and in their green arcs."""
        sample = self._s.sample
        return self._in_green("oil_pressure_psi", sample.oil_pressure_psi) and self._in_green(
            "oil_temperature_degf", sample.oil_temperature_degf
        )

    def _in_green(self, channel: str, value: float | None) -> bool:
        band = self._bands.get(channel)
        green = band.green if band is not None else None
        return value is not None and green is not None and green[0] <= value <= green[1]

    def roll(self) -> None:
        """One sample of the roll."""
        s, done = self._s, self.done
        self.watch_climb()
        if self._tell.waiting:
            self._watch_pilot()
        if self._judge.aborted or self._judge.engine_failed:
            self._rotate_call.cancel()
            return
        if self.power_set_t is not None and "engine-green" not in done and self._oil_green():
            self.give("engine-green", s.t)
        length = self._options.runway_length_ft
        if length is not None and "acceleration" not in done and self._judge.roll_ft >= 0.5 * length:
            self._mid_runway()
        if "rotate" not in done:
            self._watch_rotate()

    def _mid_runway(self) -> None:
        """70 % of lift-off speed by the runway's midpoint (AIM 7-6-8)."""
        s = self._s
        if s.ias is None or self._needle_lags():
            return
        wanted = self._set.acceleration_part * self._speeds.lift_off
        if s.ias >= wanted:
            past_ft = self._judge.roll_ft - 0.5 * (self._options.runway_length_ft or 0.0)
            late_s = past_ft / (s.v * FEET_PER_S_PER_KNOT) if s.v else 0.0
            self.give("acceleration", s.t - min(max(late_s, 0.0), s.dt))
        else:
            self.done.add("acceleration")
            self._judge.cue("acceleration-low", s.t, lambda: True, self._conditions.liftoff.possible)

    def _needle_lags(self) -> bool:
        """The airspeed does not follow an aeroplane that accelerates: it is that which will be told, if it lasts."""
        s = self._s
        gathers = s.v_measured and s.v_trend.rate > self._set.no_acceleration_kt_s
        return gathers and s.ias_trend.rate < FOLLOWS_PART * s.v_trend.rate

    def _watch_rotate(self) -> None:
        ias = self._s.sample.ias_kt
        if ias is None or self._s.ias_set_aside or self._judge.closed:
            self._rotate_call.cancel()
            return
        self._rotate_call.latency_s = self.voice_latency_s if self._options.voice else 0.0
        self._rotate_call.update(ias, self._conditions.interval_s)

    def _rotate(self, t: float) -> None:
        if self._judge.aborted or self._judge.closed or self._conditions.liftoff.possible:
            return
        if (self._s.climb_fpm or 0.0) > CLIMBS_FPM:
            return  # it has been flying all along, whatever the roll was told by
        lever, before = self._s.sample.throttle, self._s.prev.throttle
        if lever is not None and before is not None and lever < min(before, self._set.roll_throttle):
            return  # the pilot is closing it
        rise = self._conditions.nose_rise_deg
        up = rise is not None and rise >= self._set.rotation_rise_deg
        self.give("rotate", t, "" if up else "rotate")  # the pilot is at it already

    def lifted_off(self, t: float) -> None:
        """Off the ground since `t`."""
        self.liftoff_t = t
        self._rotate_call.cancel()
        self.done.add("rotate")
