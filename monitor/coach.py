"""The coach: samples in, events out. It holds no clock, no file, no socket; time is an argument.

The order of the parts, for every sample: what fell due before it; the time line; the derived state; the phase; the
watchers of that phase; what has fallen due by now.
"""

from __future__ import annotations

from collections import deque
from typing import Any

from monitor.agenda import Agenda, Hold
from monitor.aircraft import Aircraft
from monitor.airspeed import Airspeed
from monitor.checklist import after_takeoff, line_up, wrong_configuration
from monitor.conditions import Conditions
from monitor.deviations import Deviations
from monitor.direction import Direction
from monitor.events import Event
from monitor.judge import Judge
from monitor.limits import Limits
from monitor.options import Options
from monitor.phases import IN_THE_CLIMB, ON_THE_ROLL, TAKEOFF_PHASES, Phases
from monitor.plausibility import Plausibility
from monitor.power import Power
from monitor.procedure import Procedure
from monitor.routine import Routine
from monitor.sample import Sample
from monitor.snapshot import Snapshot
from monitor.state import State
from monitor.timeline import Timeline
from monitor.view import View
from monitor.words import Words

AIR_KEYS = {"rpm-low": "power-loss", "manifold-pressure-low": "power-loss"}


class Coach:
    """One stream's coach. `feed` every sample, `tick` whenever convenient, `end` once; each gives the new events."""

    def __init__(self, aircraft: Aircraft, procedure: Procedure, options: Options | None = None) -> None:
        self.aircraft = aircraft
        self.procedure = procedure
        self.options = options = options if options is not None else Options()
        settings = procedure.settings
        self._set = settings
        self._words = Words(procedure, aircraft)
        self._level = options.level if options.level is not None else procedure.level
        self._events: list[Event] = []
        self.said: deque[Event] = deque(maxlen=12)
        self.takeoff: int | None = None
        self._takeoffs = 0
        self._lined_up_for = 0
        self._quiet_until = 0.0
        self._ever: set[str] = set()  # channels supplied at least once
        self._with_sample: list[tuple[str, float]] = []  # feed events that come with a sample, once its values are in
        agenda = self._agenda = Agenda()
        self._timeline = Timeline(self._feed_event, self._restart)
        s = self.state = State(options)
        self._conditions = Conditions(s, aircraft, settings, options)
        self._phases = Phases(self._conditions)
        self.judge = Judge(s, aircraft, settings, options, self._warn, self._show_held)
        self.routine = Routine(s, self._conditions, aircraft, procedure, options, agenda, self.judge, self._callout)
        self._power = Power(s, aircraft, settings, agenda, self.judge, self.routine.power_set)
        self._limits = Limits(s, aircraft, settings, agenda, self.judge, self._gauge_caution)
        self._airspeed = Airspeed(
            s, aircraft, settings, options, agenda, self.judge, self.routine.alive, self._check_airspeed
        )
        heading = options.runway_heading_deg
        self._direction = Direction(s, self._conditions, settings, agenda, self.judge, heading)
        self._deviations = Deviations(
            s, self._conditions, self._direction, self.routine, aircraft, procedure, agenda, self.judge, self._remark
        )
        self._power.on_brakes = procedure.short_field
        self._watchers = (self._power, self._limits, self._airspeed, self._direction, self._deviations)
        self._plausibility = Plausibility(self._channel)
        self._data_hold = Hold(agenda, settings.data_lost_s, self._data_lost)
        self._configuration_hold = Hold(agenda, settings.configuration_hold_s, self._configuration)
        self._wrong: str | None = None
        self._advisories = 0
        self._view = View(self)

    # ---- the outside -----------------------------------------------------------------------------------------------

    @property
    def phase(self) -> str | None:
        """The phase now, None before any is known."""
        return self._phases.phase

    @property
    def timeline(self) -> Timeline:
        """The feed's clock and what it counted."""
        return self._timeline

    @property
    def runway_heading_deg(self) -> float | None:
        """Given, or taken at line-up."""
        return self._conditions.runway_heading

    def feed(self, sample: Sample, arrival_s: float) -> list[Event]:
        """Take in a sample that arrived at `arrival_s` (any clock that only goes forward); the events it brought."""
        timeline = self._timeline
        self._run_due(arrival_s)
        for t, admitted in timeline.offer(sample, arrival_s):
            # What fell due before this sample comes first, but no further than the old samples carry.
            last = self.state.t
            self._agenda.run(min(t, last + timeline.interval_s))
            self._judge_sample(t, admitted)
        self._tell_feed()
        return self._take()

    def tick(self, arrival_s: float) -> list[Event]:
        """Let time pass without a sample; what fell due by then. It never changes what the samples will bring."""
        self._run_due(arrival_s)
        return self._take()

    def end(self, arrival_s: float) -> list[Event]:
        """The stream ends at `arrival_s`."""
        return self.tick(arrival_s)

    def next_deadline(self) -> float | None:
        """The arrival time at which a tick is worth making; None when nothing waits."""
        timeline = self._timeline
        lost = timeline.lost_at()
        if timeline.t is None:
            return None
        due = self._agenda.next_due
        if due <= timeline.t + timeline.interval_s:
            at = timeline.arrival_s + max(due - timeline.t, 0.0)
            return at if lost is None else min(at, lost)
        return lost

    def set_voice_latency(self, latency_s: float) -> None:
        """What the voice measured from call to first sound; used from now on."""
        if 0.0 <= latency_s < 2.0:
            self.routine.voice_latency_s = latency_s

    def snapshot(self) -> Snapshot:
        """What the screens show of this moment."""
        return self._view.snapshot()

    # ---- time ------------------------------------------------------------------------------------------------------

    def _run_due(self, arrival_s: float) -> None:
        now = self._timeline.feed_time(arrival_s)
        if now is not None:
            if self._agenda.next_due <= now:
                self._agenda.run(now)
            self._timeline.check_lost(arrival_s)

    def _restart(self, t: float) -> None:
        """The clock jumped: nothing that waited falls due, and the flight is looked at afresh."""
        self._agenda.clear()
        self.state.restart()
        self._plausibility.restart()
        self._conditions.restart()
        self._phases.enter(None, t)
        self.takeoff = None
        self._begin_takeoff()

    def _take(self) -> list[Event]:
        events, self._events = self._events, []
        return events

    # ---- one sample ------------------------------------------------------------------------------------------------

    def _judge_sample(self, t: float, sample: Sample) -> None:
        s = self.state
        sample = self._plausibility.clean(t, sample, self._timeline.interval_s)
        s.update(t, sample)
        if sample.ias_kt is not None:
            self._ever.add("ias_kt")
        if self._with_sample:
            self._tell_feed()
        phase = self._phases.phase
        self._conditions.update(self._timeline.interval_s, phase not in _NOT_ON_WHEELS)
        for _ in range(4):  # one sample of slow data can end several phases
            due = self._phases.due()
            if due is None:
                break
            self._enter(*due)
        phase = self._phases.phase
        if phase in ON_THE_ROLL:
            self._roll()
        elif phase in IN_THE_CLIMB:
            self._climb()
        elif phase == "lined-up":
            self._lined_up()
        if self._agenda.next_due <= t:
            self._agenda.run(t)

    def _lined_up(self) -> None:
        self._power.lined_up()
        self._airspeed.standing_with_power(self._power.full_since is not None)
        throttle = self.state.sample.throttle
        if throttle is not None and throttle >= self._set.full_throttle and not self.procedure.short_field:
            self._watch_configuration()

    def _watch_configuration(self) -> None:
        routine = self.routine
        self._wrong = wrong_configuration(self.state.sample, self._set, routine.takeoff_flaps_deg, routine.lean_ft)
        self._configuration_hold.update(self._wrong is not None, self.state.t)

    def _roll(self) -> None:
        maybe_off = self._conditions.liftoff.possible
        if maybe_off != self._power.maybe_off:
            for watcher in self._watchers:
                watcher.maybe_off = maybe_off
            if not maybe_off:
                self.judge.settled(self.state.t)
        self.judge.on_the_roll()
        self._direction.roll()
        self._power.roll()
        self._airspeed.roll()
        self._limits.update()
        self.routine.roll()
        self._deviations.roll()
        self._data_hold.update(self.state.ias is None and "ias_kt" in self._ever, self.state.t)
        if self.judge.zone in ("early", "mid"):
            self._watch_configuration()

    def _climb(self) -> None:
        self._power.climb()
        self._airspeed.climb()
        self._limits.update()
        self._plausibility.climb(self.state.t, self.state.sample)
        self._data_hold.update(self.state.ias is None and "ias_kt" in self._ever, self.state.t)
        if self.judge.engine_failed:
            return
        self.routine.climb()
        self._deviations.climb()
        height = self.state.height
        if self.judge.held and height is not None and height >= self._set.turn_height_ft:
            self.judge.high_enough(self.state.t)

    # ---- phases ----------------------------------------------------------------------------------------------------

    def _enter(self, phase: str, t: float) -> None:
        before = self._phases.phase
        self._phases.enter(phase, t)
        more = getattr(self, "_enter_" + phase.replace("-", "_"), _nothing)(before, t)
        self._emit("phase", phase, t, None, more)
        if phase == "lined-up" or (phase == "takeoff-roll" and before != "lined-up"):
            self.routine.give("clock", t)
            self._check_line_up(t)
        if phase not in TAKEOFF_PHASES:
            self.takeoff = None

    def _begin_takeoff(self) -> None:
        self.judge.begin()
        self.routine.begin()
        for watcher in self._watchers:
            watcher.begin()
            watcher.maybe_off = False
        self._data_hold.clear()
        self._configuration_hold.clear()
        self._advisories = 0

    def _enter_lined_up(self, before: str | None, t: float) -> dict[str, Any]:
        self._count_takeoff()
        self._direction.line_up()
        heading = self._conditions.runway_heading
        return {} if heading is None else {"runway_heading_deg": round(heading, 1)}

    def _check_line_up(self, t: float) -> None:
        routine = self.routine
        for item, state in line_up(
            self.state, self.aircraft, self._set, self.options, routine.takeoff_flaps_deg, routine.lean_ft
        ):
            self._check("line-up", item, state, t)

    def _check_after_takeoff(self, t: float) -> None:
        for item, state in after_takeoff(self.state, self.aircraft, self._set, self.routine):
            self._check("after-takeoff", item, state, t)

    def _check(self, list_: str, item: str, state: str, t: float) -> None:
        """Only what is wrong is said; what cannot be seen is asked on the screen."""
        id_ = f"{list_}.{item}"
        sounds = state == "not-ok" and self._level_of(id_) != "test" and not self._quiet(t)
        self._emit("check", id_, t, self._words.say(id_) if sounds else None, {"state": state})

    def _configuration(self, t: float) -> None:
        cue = "configuration-flaps" if self._wrong == "flaps" else "configuration"
        self.judge.cue(cue, t, lambda: self._wrong is not None, self._power.maybe_off)

    def _count_takeoff(self) -> None:
        again = self._lined_up_for == self._takeoffs + 1  # lined up before, and no roll came of it
        self.takeoff = self._lined_up_for = self._takeoffs + 1
        self._begin_takeoff()
        if again:
            self.routine.done.add("clock")
        sample = self.state.sample
        self.routine.field_altitude_ft = sample.altitude_ft

    def _enter_takeoff_roll(self, before: str | None, t: float) -> dict[str, Any]:
        if before != "lined-up":  # a touch-and-go: configuration, power, rotate and the climb
            self._count_takeoff()
            self._direction.line_up()
            self.routine.done.update(("clock", "airspeed-alive"))
        self._takeoffs += 1
        self._conditions.begin_roll()
        return {}

    def _enter_initial_climb(self, before: str | None, t: float) -> dict[str, Any]:
        self._conditions.begin_flight()
        self._quiet_until = t + self._set.quiet_after_s
        for watcher in self._watchers:
            watcher.maybe_off = False
        self.judge.closed = False
        self.routine.lifted_off(t)
        self._direction.lifted_off()
        self._agenda.run(self.state.t)
        self.judge.lifted_off(self.state.t)
        return {}

    def _enter_climb(self, before: str | None, t: float) -> dict[str, Any]:
        height = self.state.height
        if height is not None and height < 990.0 and abs(self.state.climb_fpm or 0.0) <= 150.0:
            self.routine.levelled(t)
        return {}

    def _enter_airborne(self, before: str | None, t: float) -> dict[str, Any]:
        if before == "climb" and (self.state.climb_fpm or 0.0) > -300.0:
            self.routine.levelled(t)
        self._conditions.begin_flight()
        return {}

    def _enter_landing_roll(self, before: str | None, t: float) -> dict[str, Any]:
        self._conditions.begin_landing_roll(t)
        return {}

    def _enter_rejected_takeoff(self, before: str | None, t: float) -> dict[str, Any]:
        self.judge.closed = True
        self._agenda.clear()
        return {}

    # ---- events ----------------------------------------------------------------------------------------------------

    def _emit(self, kind: str, id_: str, t: float, say: str | None, more: dict[str, Any] | None = None) -> None:
        ias, height = self.state.values_at(t)
        event = Event(t, kind, id_, self.takeoff, self._phases.phase, say, ias, height, more if more else {})
        self._events.append(event)
        if kind not in ("phase", "check"):
            self.said.append(event)

    def _quiet(self, t: float) -> bool:
        """Nothing but a warning and "Rotate" sounds from 2 s before VR to 2 s after lift-off."""
        phase = self._phases.phase
        if phase in ON_THE_ROLL:
            return self.judge.zone == "late"
        return phase == "initial-climb" and t < self._quiet_until

    def _level_of(self, id_: str) -> str:
        return self.procedure.levels.get(id_, self._level)

    def _callout(self, id_: str, t: float, key: str) -> None:
        if id_ == "re-lean":
            self._advise("advisory", id_, t, key)
            return
        sounds = self._level_of(id_) in ("prompt", "auto") and bool(key)
        if id_ != "rotate" and self._quiet(t):
            sounds = False
        self._emit("callout", id_, t, self._words.say(key) if sounds else None)
        if id_ == "after-takeoff":
            self._check_after_takeoff(t)

    def _remark(self, kind: str, id_: str, t: float, key: str) -> None:
        """A deviation: said, unless it is one advisory too many, or there is something graver to attend to."""
        if self.judge.closed or self.judge.engine_failed:
            return
        if kind == "advisory":
            self._advisories += 1
            if self._advisories > self._set.advisories_most:
                self._emit(kind, id_, t, None)
                return
        self._advise(kind, id_, t, key)

    def _channel(self, id_: str, channel: str, why: str, t: float) -> None:
        self._emit("feed", id_, t, None, {"channel": channel, "why": why})

    def _advise(self, kind: str, id_: str, t: float, key: str, more: dict[str, Any] | None = None) -> None:
        sounds = self._level_of(id_) != "test" and not self._quiet(t) and self.judge.aborted is None
        self._emit(kind, id_, t, self._words.say(key, id_) if sounds else None, more)

    def _warn(self, id_: str, reason: str, t: float) -> None:
        key = f"{id_}.{reason}"
        others: tuple[str, ...] = (id_,)
        if id_ == "engine-failure":
            key, others = f"engine-failure.{self._height_band(t)}", ()
        elif id_ == "power-loss" and self._cannot_climb():
            key, others = "power-loss.cannot-climb", (id_,)
        self._emit("warning", id_, t, self._words.say(key, *others), {"reason": reason})

    def _height_band(self, t: float) -> str:
        height = self.state.values_at(t)[1]
        if height is None or height < self._set.land_ahead_low_ft:
            return "low"
        return "middle" if height < self._set.land_ahead_high_ft else "high"

    def _cannot_climb(self) -> bool:
        climb = self.state.climb_fpm
        return climb is not None and climb < self._set.cannot_climb_fpm

    def _show_held(self, cue: str, t: float) -> None:
        id_ = _HELD_AS.get(cue, cue)
        self._emit("caution", id_, t, None, {"reason": cue, "held": True})

    def _gauge_caution(self, id_: str, channel: str, t: float) -> None:
        """An instrument outside its band: early on it is said, later it waits until 500 ft."""
        if self.judge.closed or self.judge.engine_failed or self.judge.aborted is not None:
            return
        value = getattr(self.state.sample, channel)
        more = {"value": None if value is None else round(value, 1)}
        key = {"rpm-high": "rpm-high.caution"}.get(id_, id_)
        say = self._words.say(key, "gauge")
        low = self.state.height is None or self.state.height < self._set.turn_height_ft
        hidden = self.judge.zone in ("mid", "late") or (self.judge.zone == "air" and low)
        sounds = not hidden and self._level_of(id_) != "test" and not self._quiet(t)
        self._emit("caution", id_, t, say if sounds else None, more)

    def _check_airspeed(self, t: float) -> None:
        self._advise("caution", "airspeed", t, "airspeed")

    def _data_lost(self, t: float) -> None:
        self._advise("caution", "data-lost", t, "data-lost")

    def _tell_feed(self) -> None:
        events, self._with_sample = self._with_sample, []
        for id_, t in events:
            self._emit("feed", id_, t, None)

    def _feed_event(self, id_: str, t: float) -> None:
        if id_ in ("started", "back", "resumed", "restarted"):
            self._with_sample.append((id_, t))
            return
        say = None
        if id_ == "lost" and self._phases.phase in _FLYING_OR_ROLLING:
            say = self._words.say("data-lost")
        self._emit("feed", id_, t, say)


_NOT_ON_WHEELS = frozenset({"initial-climb", "climb", "airborne"})
_FLYING_OR_ROLLING = ON_THE_ROLL | IN_THE_CLIMB
_HELD_AS = {"oil-pressure-low": "oil-pressure", "oil-temperature-high": "oil-temperature"}


def _nothing(before: str | None, t: float) -> dict[str, Any]:
    return {}
