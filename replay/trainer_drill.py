"""One takeoff of an abort-cue drill: the trainer flown through a session that keeps quiet and measures.

The frame of the cue's moment carries a marker, so that the reaction is measured from when the screen showed it. Until
it is decided nothing that the coach finds wrong is spoken or shown: the gauge is the cue.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import msgspec
from msgspec.structs import asdict

from adapters.description import FeedDescription
from adapters.ports import Packet
from adapters.session import MakeCoach, Session, real_coach
from monitor import practice
from monitor.aircraft import Aircraft
from monitor.events import Event
from monitor.options import Options
from monitor.practice import Outcome, Summary
from monitor.procedure import Procedure
from monitor.snapshot import Snapshot
from replay.trainer_airframe import FT
from replay.trainer_flight import TrainerFlight
from replay.trainer_trial import Prepared

AFTER_LIFT_OFF_S = 4.0
"""A takeoff that is continued ends this long after lift-off."""
TOO_LATE_S = 5.0
"""A takeoff that should be aborted and is not, and cannot fly either, ends this long after the cue."""
AFTER_STOP_S = 1.5
_ALARMS = ("warning", "caution", "advisory")


class Times(msgspec.Struct):
    """What was measured: seconds of the takeoff's own time, None until it happens; ns on the monotonic clock.

    cued, key, coach (would have said abort), closed (throttle), brakes, stopped, lifted (off the ground).
    """

    cued_s: float | None = None
    cued_ns: int | None = None
    key_s: float | None = None
    key_ns: int | None = None
    key_ias_kt: float | None = None
    key_along_m: float = 0.0
    coach_s: float | None = None
    closed_s: float | None = None
    brakes_s: float | None = None
    stopped_s: float | None = None
    lifted_s: float | None = None

    @property
    def decided(self) -> bool:
        """Whether the user has answered, or can no more."""
        return self.key_s is not None or self.lifted_s is not None


class DrillSession(Session):
    """The session of one drilled takeoff: the coach's alarms kept quiet, drill events added, the outcome measured."""

    def __init__(
        self,
        feed: FeedDescription,
        aircraft: Aircraft,
        procedure: Procedure,
        options: Options,
        *,
        prepared: Prepared,
        trials: int,
        mark: Callable[[str], None] = lambda _marker: None,
        frame_shown: Callable[[str], int | None] | None = None,
        make_coach: MakeCoach = real_coach,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        """mark, frame_shown: the screen's, when one shows the cue; else the cue is shown when its event is made."""
        super().__init__(feed, aircraft, procedure, options, make_coach=make_coach)
        self.prepared = prepared
        self.flight = TrainerFlight(aircraft, prepared.scenario)
        self.outcome: Outcome | None = None
        self.cancelled = False
        self._trials = trials
        self._rotate_kt = aircraft.speeds_kias.rotate
        self._mark, self._frame_shown, self._now_ns = mark, frame_shown, now_ns
        self._words = procedure.words
        self._armed = False
        self._times = Times()

    @property
    def marker(self) -> str:
        """The marker of the frame that shows the cue."""
        return f"cue {self.prepared.trial.number}"

    # What the user does.

    def press(self, at_ns: int | None) -> None:
        """The user's abort key: the throttle closes. at_ns: when, on the monotonic clock; None in flight time only."""
        if self._times.key_s is None and self._times.lifted_s is None:
            trainer = self.flight.trainer
            self._times.key_s, self._times.key_ns, self._times.key_ias_kt = trainer.t_s, at_ns, trainer.calibrated_kt
            self._times.key_along_m = trainer.along_m
            trainer.close_throttle()

    def cancel(self) -> None:
        """The exercise ends here."""
        self.cancelled = True

    def done(self) -> bool:
        """Whether this takeoff is over."""
        now = self.flight.trainer.t_s
        if self.cancelled:
            return True
        if self._times.stopped_s is not None:
            return now >= self._times.stopped_s + AFTER_STOP_S
        if self._times.lifted_s is not None:
            return now >= self._times.lifted_s + AFTER_LIFT_OFF_S
        cannot_fly = self.flight.trainer.engine.power < 0.1
        return (
            self._times.key_s is None
            and self._times.cued_s is not None
            and now >= self._times.cued_s + TOO_LATE_S
            and cannot_fly
        )

    # What the player calls.

    def settled(self, packet: Packet) -> list[Event]:
        """One moment: the coach's events, its alarms quiet, and the drill's own."""
        events = [self._quiet(event) for event in super().settled(packet)]
        return [*self._arm(), *events, *self._cue(), *self._actions()]

    def tick(self, arrival_ns: int) -> list[Event]:
        """Let time pass, as quietly."""
        return [self._quiet(event) for event in super().tick(arrival_ns)]

    def end(self, arrival_ns: int) -> list[Event]:
        """The takeoff is over: the result is the last event."""
        events = [self._quiet(event) for event in super().end(arrival_ns)]
        self.outcome = self._outcome()
        return [*events, self._drill("result", None, practice.figures(self.outcome))]

    def summary(self, summary: Summary, seed: int) -> Event:
        """The last event of a drill: its figures, and the words that end the exercise."""
        figures = {
            key: round(value, 3) if isinstance(value, float) else value for key, value in asdict(summary).items()
        }
        return self._drill("summary", self._words.get("drill.complete", "Exercise complete"), {**figures, "seed": seed})

    def snapshot(self) -> Snapshot:
        """What the screen shows: without what the coach found wrong, until it is decided."""
        shot = super().snapshot()
        number = self.prepared.trial.number
        shot = msgspec.structs.replace(shot, takeoff=None if shot.takeoff is None else number)
        if self._times.decided:
            return shot
        said = tuple(one for one in shot.said if one.kind not in _ALARMS)
        ias = self.flight.values.get("ias_kt", shot.ias_kt)  # as the gauge shows it, whatever the coach thinks of it
        shot = msgspec.structs.replace(shot, warning=None, held=(), said=said, ias_kt=ias)
        if shot.next_id != "abort":
            return shot
        return msgspec.structs.replace(shot, next_id="rotate", next_text=f"Rotate at {self._rotate_kt:.0f} kt")

    # Inside.

    def _quiet(self, event: Event) -> Event:
        """Numbered as the drill counts; an alarm before the decision is silent."""
        if event.takeoff is not None:
            event = msgspec.structs.replace(event, takeoff=self.prepared.trial.number)
        if event.kind in _ALARMS and not self._times.decided:
            if event.id == "abort" and event.t_s is not None and self._times.coach_s is None:
                self._times.coach_s = event.t_s - self.prepared.scenario.start_s
            event = msgspec.structs.replace(event, say=None)
        return event

    def _drill(self, what: str, say: str | None, more: dict[str, object]) -> Event:
        trainer = self.flight.trainer
        values = self.flight.values
        return Event(
            self.prepared.scenario.start_s + trainer.t_s,
            "drill",
            what,
            takeoff=self.prepared.trial.number,
            phase=super().snapshot().phase,
            say=say,
            ias_kt=values.get("ias_kt"),
            height_ft=values.get("height_ft"),
            more=more,
        )

    def _arm(self) -> list[Event]:
        if self._armed:
            return []
        self._armed = True
        number = self.prepared.trial.number
        say = self._words.get("drill.start", "Exercise") if number == 1 else None
        return [self._drill("armed", say, {"trial": number, "trials": self._trials})]

    def _cue(self) -> list[Event]:
        trainer, cue = self.flight.trainer, self.prepared.cue_s
        if cue is None or self._times.cued_s is not None or self._times.key_s is not None or trainer.t_s < cue - 1e-6:
            return []
        self._times.cued_s, self._times.cued_ns = trainer.t_s, self._now_ns()
        self._mark(self.marker)
        return [self._drill("cue", None, {"fault": self.prepared.trial.kind, "right": self.prepared.right})]

    def _actions(self) -> list[Event]:
        """Throttle, brakes, stop, in the order they happen; and lift-off, which ends the decision."""
        trainer = self.flight.trainer
        events: list[Event] = []
        if not trainer.on_ground and self._times.lifted_s is None:
            self._times.lifted_s = trainer.t_s
        if self._times.key_s is None:
            return events
        if self._times.closed_s is None and trainer.pilot.hands.throttle <= 0.0:
            self._times.closed_s = trainer.t_s
            events.append(self._drill("throttle-closed", None, self._since()))
        if self._times.brakes_s is None and trainer.pilot.brakes_at_s is not None:
            self._times.brakes_s = trainer.t_s
            events.append(self._drill("brakes-on", None, self._since()))
        if self._times.stopped_s is None and self._times.brakes_s is not None and trainer.groundspeed_m_s < 0.05:
            self._times.stopped_s = trainer.t_s
            events.append(self._drill("stopped", None, {**self._since(), "distance_ft": round(self._distance_ft(), 1)}))
        return events

    def _since(self) -> dict[str, object]:
        """Seconds of flight time since the cue and since the key."""
        now = self.flight.trainer.t_s
        from_cue = None if self._times.cued_s is None else round(now - self._times.cued_s, 3)
        return {"after_cue_s": from_cue, "after_key_s": round(now - (self._times.key_s or now), 3)}

    def _distance_ft(self) -> float:
        return (self.flight.trainer.along_m - self._times.key_along_m) / FT

    def _reaction_s(self) -> float | None:
        """From the frame that showed the cue to the key; in flight time when no clock stamped the key."""
        if self._times.key_s is None or self._times.cued_s is None:
            return None
        if self._times.key_ns is None:
            return self._times.key_s - self._times.cued_s
        shown_ns = self._times.cued_ns if self._frame_shown is None else self._frame_shown(self.marker)
        return None if shown_ns is None else (self._times.key_ns - shown_ns) / 1e9

    def _stream_s(self, own_s: float | None) -> float | None:
        """A moment of this takeoff in the stream's time."""
        return None if own_s is None else self.prepared.scenario.start_s + own_s

    def _outcome(self) -> Outcome:
        prepared, reaction = self.prepared, self._reaction_s()
        cue, key = self._times.cued_s, self._times.key_s
        if key is not None and cue is not None and reaction is not None:
            key = cue + reaction
        result = practice.CANCELLED if self.cancelled else practice.judge(prepared.right, cue, key)
        return Outcome(
            prepared.trial.number,
            prepared.trial.kind if cue is not None else None,
            prepared.right if cue is not None or key is None else practice.CONTINUE,
            result,
            cue_s=self._stream_s(cue),
            key_s=self._stream_s(self._times.key_s),
            reaction_s=reaction if result == practice.HIT or cue is not None else None,
            key_ias_kt=self._times.key_ias_kt,
            late=result == practice.HIT and self._times.key_s is not None and self._times.key_s > prepared.marks.vr_s,
            coach_after_s=None if self._times.coach_s is None or cue is None else self._times.coach_s - cue,
            throttle_closed_s=self._stream_s(self._times.closed_s),
            brakes_s=self._stream_s(self._times.brakes_s),
            stopped_s=self._stream_s(self._times.stopped_s),
            stop_distance_ft=self._distance_ft() if self._times.stopped_s is not None else None,
            why="" if self.cancelled else practice.why(prepared.trial.kind, cue, prepared.marks),
        )
