"""What each phase begins with: the number of a takeoff, its watchers afresh, the first call and checks."""

from __future__ import annotations

from typing import Any

import msgspec

from monitor.agenda import Agenda
from monitor.aircraft import Aircraft
from monitor.airspeed import Airspeed
from monitor.airspeed_data import AirspeedData
from monitor.checklist import line_up
from monitor.climb_power import ClimbPower
from monitor.conditions import Conditions
from monitor.configuration import Configuration
from monitor.deviations import Deviations
from monitor.direction import Direction
from monitor.judge import Judge
from monitor.limits import Limits
from monitor.options import Options
from monitor.phases import TAKEOFF_PHASES, Phases
from monitor.plausibility import Plausibility
from monitor.power import Power
from monitor.routine import Routine
from monitor.settings import Settings
from monitor.state import State
from monitor.teller import Teller


class Entering:
    """The coach's part that enters phases; `monitor.coach.Coach` makes what is only named here."""

    __slots__ = ("_aborted_in", "_takeoffs")

    aircraft: Aircraft
    options: Options
    state: State
    judge: Judge
    teller: Teller
    routine: Routine
    _set: Settings
    _agenda: Agenda
    _conditions: Conditions
    _phases: Phases
    _power: Power
    _climb_power: ClimbPower
    _direction: Direction
    _deviations: Deviations
    _watchers: tuple[Power, Limits, Airspeed, Direction, Deviations]
    _plausibility: Plausibility
    _airspeed_data: AirspeedData
    _configuration: Configuration
    _takeoffs: int
    _aborted_in: int | None

    def _enter(self, phase: str, t: float) -> None:
        before = self._phases.phase
        if phase == "rejected-takeoff":
            self._power.slows()
        if phase in ("standing", "taxi", "landing-roll", "airborne"):
            self._agenda.clear()  # what waited belonged to a takeoff, or a climb, that is no more
            if phase != "airborne":
                self._plausibility.on_the_ground(t)
        if phase != "initial-climb":  # a lift-off may be known to be earlier than the nose's rise
            t = max(t, self._phases.since)
        self._phases.enter(phase, t)
        more = getattr(self, "_enter_" + phase.replace("-", "_"), _nothing)(before, t)
        if phase not in TAKEOFF_PHASES:
            self.teller.takeoff = None
        self.teller.emit("phase", phase, t, None, more)
        if phase == "lined-up" or (phase == "takeoff-roll" and before != "lined-up"):
            self.judge.find_zone()  # a stream that begins on the roll, or a touch-and-go: it may be late already
            self.routine.give("clock", t)
            self._check_line_up(t)
        elif phase == "initial-climb":
            # In the air first: what fell due while samples were missing must not be an abort any more.
            self.judge.lifted_off(self.state.t)
            self._agenda.run(self.state.t)

    def _begin_takeoff(self) -> None:
        self.judge.begin()
        self.routine.begin()
        self.teller.begin()
        self._climb_power.begin()
        for watcher in self._watchers:
            watcher.begin()
            watcher.maybe_off = False
        self._airspeed_data.begin()
        self._configuration.begin()

    def _count_takeoff(self, landed: bool = False) -> None:
        if self._aborted_in == self._takeoffs + 1:
            self._takeoffs += 1  # an abort before the roll has used up the number
        self.teller.number(self._takeoffs + 1)
        self._begin_takeoff()
        self.routine.done.update(self.teller.called)  # lined up before, and no roll came of it
        altitude = self.state.sample.altitude_ft
        self.routine.field_altitude_ft = altitude if altitude is not None else self.options.field_elevation_ft
        self._direction.line_up(landed)

    def _enter_lined_up(self, before: str | None, t: float) -> dict[str, Any]:
        self._count_takeoff()
        heading = self._conditions.runway_heading
        return {} if heading is None else {"runway_heading_deg": round(heading, 1)}

    def _enter_takeoff_roll(self, before: str | None, t: float) -> dict[str, Any]:
        landed = before == "landing-roll"
        rolled_ft = self.judge.roll_ft if landed else None
        if before != "lined-up":  # a touch-and-go: configuration, power, rotate and the climb
            self._count_takeoff(landed)
            self.routine.done.update(("clock", "airspeed-alive"))
        self._takeoffs += 1
        self._conditions.begin_roll(landed)
        self.judge.begin_roll(t, rolled_ft)
        return {}

    def _enter_rotation(self, before: str | None, t: float) -> dict[str, Any]:
        self.state.allow_for_wind()
        return {}

    def _enter_initial_climb(self, before: str | None, t: float) -> dict[str, Any]:
        if self.state.zero_ft is None:  # the stream began on the roll: its lowest level is the best there is
            self.state.zero_ft = self._conditions.liftoff.ground_ft
        self._conditions.begin_flight()
        self._conditions.touchdown.switch_dead = self._conditions.liftoff.switch_dead
        self.teller.quiet_until = t + self._set.quiet_after_s
        for watcher in self._watchers:
            watcher.maybe_off = False
        self.judge.closed = False
        self.routine.lifted_off(t)
        self._direction.lifted_off()
        return {}

    def _enter_airborne(self, before: str | None, t: float) -> dict[str, Any]:
        if before == "climb" and (self.state.climb_fpm or 0.0) > -300.0:
            self.routine.levelled(t)
        self._conditions.begin_flight()
        return {}

    def _enter_landing_roll(self, before: str | None, t: float) -> dict[str, Any]:
        self._conditions.begin_landing_roll(t, self.judge.engine_failed)
        self.state.landed()
        self.judge.landed(t)
        self._direction.lands()
        return {}

    def _enter_rejected_takeoff(self, before: str | None, t: float) -> dict[str, Any]:
        self.judge.closed = True
        self._conditions.begin_rejection(t)
        self._agenda.clear()
        return {}

    def _check_line_up(self, t: float) -> None:
        routine, sample = self.routine, self.state.sample
        if self._configuration.flaps_run_up:  # a touch-and-go: it cannot be seen yet where they will end
            sample = msgspec.structs.replace(sample, flaps_deg=None)
        for item, state in line_up(
            sample, self.aircraft, self._set, self.options, routine.takeoff_flaps_deg, routine.above_lean_height()
        ):
            self.teller.check("line-up", item, state, t)


def _nothing(before: str | None, t: float) -> dict[str, Any]:
    return {}
