"""The coach: samples in, events out. It holds no clock, no file, no socket; time is an argument.

The order of the parts, for every sample: what fell due before it; the time line; what is believed of it; the derived
state; the phase; the watchers of that phase; what has fallen due by now. What a phase begins with is in
`monitor.entering`.
"""

from __future__ import annotations

from math import inf

from monitor.agenda import Agenda
from monitor.aircraft import Aircraft
from monitor.airspeed import ALIVE_AT_MOST_KT, Airspeed
from monitor.airspeed_data import AirspeedData
from monitor.checklist import after_takeoff
from monitor.climb_power import ClimbPower
from monitor.conditions import Conditions
from monitor.configuration import Configuration
from monitor.deadlines import Deadlines
from monitor.deviations import Deviations
from monitor.direction import Direction
from monitor.entering import Entering
from monitor.events import Event
from monitor.judge import Judge
from monitor.limits import Limits
from monitor.options import Options
from monitor.phases import IN_THE_CLIMB, NOT_ON_WHEELS, ON_THE_ROLL, Phases
from monitor.plausibility import Plausibility
from monitor.power import Power
from monitor.procedure import Procedure
from monitor.routine import Routine
from monitor.sample import Sample
from monitor.snapshot import Snapshot
from monitor.state import State
from monitor.teller import Teller
from monitor.timeline import OFTEN_S, Timeline
from monitor.view import View
from monitor.words import Words

WITH_A_SAMPLE = frozenset({"started", "back", "resumed", "restarted"})


class Coach(Entering):
    """One stream's coach. `feed` every sample, `tick` whenever convenient, `end` once; each gives the new events."""

    __slots__ = (
        "_agenda", "_airspeed", "_airspeed_data", "_climb_power", "_conditions", "_configuration", "_deadlines",
        "_deviations", "_direction", "_limits", "_looked_t", "_phases", "_plausibility", "_power", "_rolled", "_set",
        "_stands", "_timeline", "_turn_by_distance", "_view", "_watchers", "_with_sample", "aircraft", "judge",
        "options", "procedure", "routine", "state", "teller",
    )  # fmt: skip

    def __init__(self, aircraft: Aircraft, procedure: Procedure, options: Options | None = None) -> None:
        self.aircraft = aircraft
        self.procedure = procedure
        self.options = options = options if options is not None else Options()
        set_ = self._set = procedure.settings
        agenda = self._agenda = Agenda()
        s = self.state = State(options)
        self._conditions = Conditions(s, aircraft, set_, options)
        self._phases = Phases(self._conditions)
        judge = self.judge = Judge(s, aircraft, set_, options)
        tell = self.teller = Teller(s, self._phases, judge, procedure, options, Words(procedure, aircraft), agenda)
        judge.connect(self._warn, tell.show_held)
        self._timeline = Timeline(self._feed_event, self._restart, self._carry_on)
        self.routine = Routine(s, self._conditions, aircraft, procedure, options, agenda, judge, tell)
        self._power = Power(s, aircraft, set_, agenda, judge, self.routine.power_set)
        self._climb_power = ClimbPower(s, aircraft, set_, agenda, judge)
        self._limits = Limits(s, aircraft, set_, agenda, judge, tell.gauge)
        check = tell.when_heard("airspeed", lambda: (s.ias or 0.0) < ALIVE_AT_MOST_KT)
        self._airspeed = Airspeed(s, aircraft, set_, options, agenda, judge, self.routine.alive, check)
        self._direction = Direction(s, self._conditions, set_, agenda, judge, options)
        self._deviations = Deviations(
            s, self._conditions, self._direction, self.routine, aircraft, procedure, agenda, judge, tell
        )
        self._watchers = (self._power, self._limits, self._airspeed, self._direction, self._deviations)
        self._plausibility = Plausibility(self._channel)
        self._airspeed_data = AirspeedData(s, set_, agenda, tell.when_heard("data-lost", lambda: s.ias is None))
        self._deadlines = Deadlines(self._timeline, agenda, self._phases, self._airspeed_data, tell, set_.data_lost_s)
        self._configuration = Configuration(s, set_, agenda, judge, self.routine, self._power)
        self._takeoffs = 0
        self._aborted_in = None
        self._looked_t = -inf
        self._rolled = False  # and has not climbed since
        self._turn_by_distance = procedure.turn_rule == "pattern" and options.runway_length_ft is not None
        self._stands = False
        self._with_sample: list[tuple[str, float]] = []  # feed events that come with a sample, once its values are in
        self.routine.after_takeoff = self._check_after_takeoff
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
        timeline, agenda, deadlines = self._timeline, self._agenda, self._deadlines
        # Time runs on by `carry_s` at most: else nothing can fall due by then.
        if (
            agenda.next_due <= timeline.judged_t + timeline.carry_s
            or arrival_s - timeline.arrival_s >= deadlines.silent_s
        ):
            deadlines.run(arrival_s)
        at = sample.time_s
        if at is not None and at < timeline.skip_until and timeline.own_time and at > (timeline.t or 0.0):
            timeline.t, timeline.arrival_s = at, arrival_s  # of a fast stream, most are passed over
            return self.teller.take() if self.teller.events else []
        for t, admitted in timeline.offer(sample, arrival_s):
            if agenda.next_due <= t:
                # What fell due before this sample comes first, but no further than the old samples carry.
                agenda.run(min(t, self.state.t + timeline.carry_s))
            self._judge_sample(t, admitted)
        if self._with_sample:
            self._tell_feed()
        return self.teller.take() if self.teller.events else []

    def tick(self, arrival_s: float) -> list[Event]:
        """Let time pass without a sample; what fell due by then. It never changes what the samples will bring."""
        self._deadlines.run(arrival_s)
        return self.teller.take()

    end = tick  # the stream ends at `arrival_s`

    def next_deadline(self) -> float | None:
        """The arrival time at which a tick is worth making; None when nothing waits."""
        return self._deadlines.next_s()

    def set_voice_latency(self, latency_s: float) -> None:
        """What the voice measured from call to first sound; used from now on."""
        if 0.0 <= latency_s < 2.0:
            self.routine.voice_latency_s = latency_s

    def snapshot(self) -> Snapshot:
        """What the screens show of this moment."""
        return self._view.snapshot()

    # ---- time ------------------------------------------------------------------------------------------------------

    def _restart(self, t: float) -> None:
        """The clock jumped: nothing that waited falls due, and the flight is looked at afresh."""
        self._agenda.clear()
        self.state.restart()
        self._plausibility.restart()
        self._conditions.restart()
        self._configuration.restart()
        self._direction.restart()
        self._phases.enter(None, t)
        self.teller.takeoff = None
        self._begin_takeoff()
        self._looked_t = -inf

    def _carry_on(self, seconds: float) -> None:
        """The simulator stood still for so long while time went on: what was learned before is as old as it was."""
        self._agenda.shift(seconds)
        self.state.shift(seconds)

    # ---- one sample ------------------------------------------------------------------------------------------------

    def _judge_sample(self, t: float, sample: Sample) -> None:
        sample = self._plausibility.clean(t, sample, self._timeline.interval_s)
        self.state.confirmed = self._plausibility.confirmed
        self.state.update(t, sample)
        if self._with_sample:
            self._tell_feed()
        phases = self._phases
        self._conditions.update(self._timeline.interval_s, phases.phase in NOT_ON_WHEELS)
        changes = 0
        while changes < 4 and (due := phases.due()) is not None:  # one sample of slow data can end several phases
            self._enter(*due)
            changes += 1
        phase = phases.phase
        if phase in ON_THE_ROLL:
            self._roll()
        elif phase in IN_THE_CLIMB:
            self._climb()
        elif phase == "airborne" and self.judge.engine_failed:  # the climb is over, the way down is not
            self._power.climb()
            self._deviations.glide()
        elif phase not in NOT_ON_WHEELS:
            if phase == "landing-roll":
                self.judge.roll_on()
                self._direction.land()
            elif phase == "taxi":
                self._direction.taxi()
            self._configuration.look()
            if phase == "lined-up":
                self._lined_up()
        if self._agenda.next_due <= t:
            self._agenda.run(t)

    def _lined_up(self) -> None:
        self._power.lined_up()
        power_is_on = self._power.full_since is not None
        self._airspeed.standing_with_power(power_is_on)
        if power_is_on:
            self._limits.update()
        throttle = self.state.sample.throttle
        if throttle is not None and throttle >= self._set.full_throttle and not self.procedure.short_field:
            self._configuration.power_is_on(self.state.t)
        else:
            self._configuration.begin()

    def _roll(self) -> None:
        self._rolled = True
        maybe_off = self._conditions.liftoff.possible
        if maybe_off != self._power.maybe_off:
            self._change_maybe_off(maybe_off)
        self.judge.on_the_roll(maybe_off)
        self._direction.roll()
        self._power.roll()
        self._airspeed.roll()
        self._limits.update()
        self.routine.roll()
        self._deviations.roll(self._phases.since)
        self._airspeed_data.update()
        self._configuration.look()
        self._configuration.power_is_on(self._phases.since)

    def _change_maybe_off(self, maybe_off: bool) -> None:
        for watcher in self._watchers:
            watcher.maybe_off = maybe_off
        if not maybe_off:
            self.judge.settled(self.state.t)

    def _climb(self) -> None:
        s, judge = self.state, self.judge
        if self._rolled:
            self._rolled = False
            self._power.end_roll()
            self._deviations.end_roll()
        if self._turn_by_distance:
            judge.roll_on()
        self._power.climb()
        often = s.t - self._looked_t >= OFTEN_S
        if often:
            self._looked_t = s.t
            self._climb_often()
        if judge.engine_failed:
            self._deviations.glide()
            return
        self.routine.climb()
        self._deviations.climb(self._stands, often)
        height = s.height
        if height is not None and height >= self._set.turn_height_ft:
            if judge.held:
                judge.high_enough(s.t)
            if self._limits.shown:
                self._limits.high_enough(s.t)

    def _climb_often(self) -> None:
        """What must last for seconds before it counts."""
        s, believed = self.state, self._plausibility
        sample, ground_kt = s.sample, s.v if s.v_measured else None
        self._stands = believed.altitude_stands(s.t, sample.ias_kt, ground_kt)
        if self._climb_power.looks():
            unknown = self._stands or believed.climb_unknown(s.t, sample)
            self._climb_power.update(unknown, believed.altitude_may_stand(s.t, sample, ground_kt))
        self._airspeed.climb()
        self._limits.update()
        believed.climb(s.t, sample, ground_kt)
        self._airspeed_data.update()

    # ---- events ----------------------------------------------------------------------------------------------------

    def _check_after_takeoff(self, t: float) -> None:
        with_flaps = self.routine.takeoff_flaps_deg > 0.0
        for item, state in after_takeoff(self.state, self.aircraft, self._set, self.routine):
            matters = state == "ask" and item == "flaps" and with_flaps
            self.teller.check("after-takeoff", item, state, t, matters)

    def _warn(self, id_: str, reason: str, t: float) -> None:
        if id_ == "abort":
            self._aborted_in = self.teller.takeoff
        self.teller.warn(id_, reason, t)

    def _channel(self, id_: str, channel: str, why: str, t: float) -> None:
        self.teller.emit("feed", id_, t, None, {"channel": channel, "why": why})

    def _tell_feed(self) -> None:
        events, self._with_sample = self._with_sample, []
        for id_, t in events:
            self.teller.emit("feed", id_, t, None)

    def _feed_event(self, id_: str, t: float) -> None:
        if id_ in WITH_A_SAMPLE:
            self._with_sample.append((id_, t))
            return
        self.teller.emit("feed", id_, t, None)
