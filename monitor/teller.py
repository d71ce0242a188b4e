"""From what is due to what is told: every event is made here, with its words, or silent.

What decides whether an event sounds: the coaching level of its item; the silence around rotation, in which nothing but
a warning and "Rotate" sounds (from 2 s before VR to 2 s after lift-off); an abort, after which only warnings count; and
the most advisories that a takeoff bears.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from math import inf
from typing import Any

from monitor.agenda import Agenda, Hold
from monitor.callouts import worth_s
from monitor.events import Event
from monitor.judge import Judge
from monitor.options import Options
from monitor.phases import ON_THE_ROLL, Phases
from monitor.procedure import Procedure
from monitor.state import State
from monitor.words import Words

ASK_AGAIN_S = 0.5
ROTATE = frozenset({"rotate", "late-rotate"})
GRAVER = {"oil-pressure": "oil-pressure-low", "oil-temperature": "oil-temperature-high", "rpm-high": "rpm-high"}
HELD_AS = {"oil-pressure-low": "oil-pressure", "oil-temperature-high": "oil-temperature"}


IN_THE_GLIDE = (("caution", "speed-low"), ("caution", "bank"))
"""With the engine dead there is nothing else to attend to but these."""
BEYOND_RED = {
    **dict.fromkeys(("cht-high", "egt-high", "fuel-pressure-low", "fuel-pressure-high", "oil-pressure-high"), "limit"),
    **dict.fromkeys(("bus-low", "bus-high", "ammeter-low", "ammeter-high"), "limit.electrical"),
    **dict.fromkeys(("suction-low", "suction-high"), "limit.suction"),
}
"""Cautions that tell of a red limit, to their words: aloft they are a reason to return."""


class Teller:
    """Makes the events of one stream. `takeoff` is the number events carry; `take` hands over the new ones."""

    def __init__(
        self,
        state: State,
        phases: Phases,
        judge: Judge,
        procedure: Procedure,
        options: Options,
        words: Words,
        agenda: Agenda,
    ) -> None:
        self._s = state
        self._phases = phases
        self._judge = judge
        self._set = procedure.settings
        self._words = words
        self._agenda = agenda
        self._level = options.level if options.level is not None else procedure.level
        self._levels = {**procedure.levels, **options.levels}
        self._pilot_first = procedure.pilot_calls_first
        self.waiting: dict[str, Hold] = {}  # calls that wait for the pilot
        self.events: list[Event] = []
        self.said: deque[Event] = deque(maxlen=12)
        self.takeoff: int | None = None
        self.quiet_until = 0.0
        self._advisories = 0
        self._gauge_said: dict[str, float] = {}
        self.called: set[str] = set()  # each callout comes once a takeoff, lined up a second time or not
        self._numbered = 0

    def number(self, takeoff: int) -> None:
        """What comes belongs to this takeoff from now on; it may have been lined up for before."""
        if takeoff != self._numbered:
            self.called.clear()
        self.takeoff = self._numbered = takeoff

    def begin(self) -> None:
        """A takeoff begins."""
        self._advisories = 0
        self._land_ahead = False  # said, of a loss of power
        self._gauge_said.clear()
        for hold in self.waiting.values():
            hold.clear()
        self.waiting.clear()

    def take(self) -> list[Event]:
        """The events since the last call."""
        events, self.events = self.events, []
        return events

    def emit(self, kind: str, id_: str, t: float, say: str | None, more: dict[str, Any] | None = None) -> None:
        """Make an event stamped `t`, with the speed and height of that moment."""
        ias, height = self._s.values_at(t)
        event = Event(t, kind, id_, self.takeoff, self._phases.phase, say, ias, height, more if more else {})
        self.events.append(event)
        if kind not in ("phase", "check"):
            self.said.append(event)

    # ---- what sounds -----------------------------------------------------------------------------------------------

    def quiet(self, t: float) -> bool:
        """The silence around rotation."""
        phase = self._phases.phase
        if phase in ON_THE_ROLL or phase == "lined-up":  # a stream may begin on the roll
            return self._judge.zone == "late" or self._near_by_now(t)
        return phase == "initial-climb" and t < self.quiet_until

    def _near_by_now(self, t: float) -> bool:
        """Airspeed, or all data, is missing: going on as before, it is less than 2 s from VR by now."""
        s = self._s
        known_t = s.v_trend.t if s.ias is None and s.v_measured else s.ias_trend.t
        return self._judge.to_rotate_s - (t - known_t) <= self._set.abort_line_s

    def level_of(self, id_: str) -> str:
        """The coaching level of an item: its own, or the procedure's; "auto" prompts until it is told otherwise."""
        return self._levels.get(id_, self._level)

    def words(self, key: str, *others: str) -> str | None:
        """The procedure's words for the first key it has."""
        return self._words.say(key, *others)

    def _sounds(self, id_: str, t: float, levels: tuple[str, ...]) -> bool:
        return self.level_of(id_) in levels and (id_ in ROTATE or not self.quiet(t))

    @property
    def _graver(self) -> bool:
        """There is something graver to attend to than what a routine call asks for."""
        judge = self._judge
        return judge.engine_failed or judge.on_wheels_aborted or judge.closed

    def _in_time(self, kind: str, id_: str, t: float) -> bool:
        """What was noticed too late to use is shown, not said; slow data is a sample late by its nature."""
        return self._s.t - t <= worth_s(kind, id_) + self._s.dt

    # ---- the kinds -------------------------------------------------------------------------------------------------

    def callout(self, id_: str, t: float, key: str) -> None:
        """A routine call fell due."""
        self.called.add(id_)
        if self._pilot_first and key and self.level_of(id_) in ("prompt", "auto"):
            self._wait_for_pilot(id_, t, key)
            return
        sounds = bool(key) and self._calls(id_, t) and self._in_time("callout", id_, t)
        self.emit("callout", id_, t, self._words.say(key) if sounds else None)

    def _calls(self, id_: str, t: float) -> bool:
        return not self._graver and self._sounds(id_, t, ("prompt", "auto"))

    def _wait_for_pilot(self, id_: str, t: float, key: str) -> None:
        """Pilot calls first: the coach waits for the pilot's own action, and speaks only when there was none."""
        wait_s = self._set.pilot_first_rotate_s if id_ in ROTATE else self._set.pilot_first_s

        def speak(due: float) -> None:
            self.waiting.pop(id_, None)
            self.emit("callout", id_, t, self._words.say(key) if self._calls(id_, due) else None, {"pilot": "waited"})

        hold = self.waiting[id_] = Hold(self._agenda, wait_s, speak)
        hold.begin(t)

    def acted(self, id_: str, t: float) -> None:
        """The pilot did at `t` what call `id_` asks for: if it waits, it stays silent."""
        hold = self.waiting.pop(id_, None)
        if hold is not None and hold.since is not None:
            due = hold.since
            hold.clear()
            self.emit("callout", id_, due, None, {"pilot": "acted", "acted_s": round(t - due, 2)})

    def check(self, list_: str, item: str, state: str, t: float, matters: bool = False) -> None:
        """One item of a checklist: said when wrong, or unseen where that matters; else it is asked on the screen."""
        id_ = f"{list_}.{item}"
        wrong = state == "not-ok" or matters
        sounds = wrong and self._sounds(id_, t, ("prompt", "correct", "auto")) and self._in_time("check", id_, t)
        self.emit("check", id_, t, self._words.say(id_) if sounds else None, {"state": state})

    def when_heard(self, id_: str, lasts: Callable[[], bool]) -> Callable[[float], None]:
        """What makes this caution: at once, and where that was in the silence around rotation once more after it,
        if it `lasts`."""

        def again(t: float) -> None:
            # On the roll the silence has no end; without the airspeed it may only seem to.
            if self.quiet(t) or self._phases.phase in ON_THE_ROLL:
                hold.again(t + ASK_AGAIN_S)
            elif lasts():
                self.remark("caution", id_, t, id_)

        def first(t: float) -> None:
            self.remark("caution", id_, t, id_)
            if self.quiet(t):
                hold.clear()
                hold.begin(t)

        hold = Hold(self._agenda, ASK_AGAIN_S, again)
        return first

    def remark(self, kind: str, id_: str, t: float, key: str, more: dict[str, Any] | None = None) -> None:
        """A deviation: said, unless it is one advisory too many or there is something graver to attend to."""
        judge = self._judge
        if judge.closed or (judge.engine_failed and (kind, id_) not in IN_THE_GLIDE):
            return
        sounds = judge.on_wheels_aborted is False and self._sounds(id_, t, ("prompt", "correct", "auto"))
        if kind == "advisory":
            sounds = sounds and self._advisories < self._set.advisories_most
            self._advisories += sounds
        self.emit(kind, id_, t, self._words.say(key, id_) if sounds else None, more)

    def warn(self, id_: str, reason: str, t: float) -> None:
        """Act now. Warnings sound at every level and at any moment."""
        key = f"{id_}.{reason}"
        others: tuple[str, ...] = (id_,)
        if id_ == "engine-failure":
            key, others = f"engine-failure.{self._height_band(t)}", ()
        elif id_ == "power-loss" and self._cannot_climb():
            if self._land_ahead:
                return
            self._land_ahead = True
            key, others = "power-loss.cannot-climb", (id_,)
        self.emit("warning", id_, t, self._words.say(key, *others), {"reason": reason})

    def _height_band(self, t: float) -> str:
        height = self._s.values_at(t)[1]
        if height is None or height < self._set.land_ahead_low_ft:
            return "low"
        return "middle" if height < self._set.land_ahead_high_ft else "high"

    def _cannot_climb(self) -> bool:
        """By energy: the climb alone lasts while the speed goes."""
        energy = self._s.energy_fpm
        return energy is not None and energy < self._set.cannot_climb_fpm

    def show_held(self, cue: str, t: float) -> None:
        """A warning that waits until after lift-off is shown at once."""
        cue = cue.removesuffix("-flaps")
        self.emit("caution", HELD_AS.get(cue, cue), t, None, {"reason": cue, "held": True})

    def gauge(self, id_: str, channel: str, t: float) -> None:
        """An instrument outside its band: early on it is said; from half VR on it is shown, and said from 500 ft."""
        judge = self._judge
        if self._graver or judge.told(GRAVER.get(id_, "")):
            return
        value = getattr(self._s.sample, channel)
        more = {"value": None if value is None else round(value, 1)}
        key = "rpm-high.caution" if id_ == "rpm-high" else id_
        height = self._s.height
        low = judge.zone == "air" and (height is None or height < self._set.turn_height_ft)
        hidden = judge.zone in ("mid", "late") or low
        sounds = not hidden and self._sounds(id_, t, ("prompt", "correct", "auto"))
        if judge.zone == "air":
            key = BEYOND_RED.get(id_, key)
        say = self._words.say(key, "gauge") if sounds else None
        if say is not None and t - self._gauge_said.get(say, -inf) < self._set.again_s:
            say = None  # two gauges, one word: the second is shown
        elif say is not None:
            self._gauge_said[say] = t
        self.emit("caution", id_, t, say, more)
