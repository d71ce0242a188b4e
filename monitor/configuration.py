"""A configuration unfit for takeoff with the power on: flaps, parking brake, trim, mixture."""

from __future__ import annotations

from math import inf

from monitor.agenda import Agenda, Hold
from monitor.checklist import wrong_configuration
from monitor.judge import Judge
from monitor.power import Power
from monitor.routine import Routine
from monitor.settings import Settings
from monitor.state import State

MOVED_DEG = 0.5  # beyond a sensor's noise (common practice, no source)
RUN_S = 1.0  # flaps on their way move at least so often by a whole degree (common practice, no source)


class Configuration:
    """Watches it on the wheels; what is wrong counts once the power is on, from full throttle or the roll's start."""

    def __init__(
        self, state: State, settings: Settings, agenda: Agenda, judge: Judge, routine: Routine, power: Power
    ) -> None:
        self._s = state
        self._set = settings
        self._judge = judge
        self._routine = routine
        self._power = power
        self._hold = Hold(agenda, settings.configuration_hold_s, self._unfit)
        self._wrong: str | None = None
        self._wrong_t: float | None = None
        self._flaps_deg = 0.0  # as last seen to move
        self._flaps_rose_t = -inf

    def begin(self) -> None:
        """A takeoff begins, or the power is off again."""
        self._hold.clear()

    def restart(self) -> None:
        """The clock jumped: what was seen to move, or wrong since when, was in another time."""
        self._hold.clear()
        self._wrong = self._wrong_t = None
        self._flaps_rose_t = -inf

    @property
    def flaps_run_up(self) -> bool:
        """The flaps are on their way up, as in a touch-and-go: where they will end is not known yet."""
        return self._s.t - self._flaps_rose_t <= RUN_S + self._s.dt

    def look(self) -> None:
        """One sample on the wheels: what is wrong, and since when."""
        routine = self._routine
        high = routine.above_lean_height()
        flaps = self._s.sample.flaps_deg
        if flaps is not None and abs(flaps - self._flaps_deg) >= MOVED_DEG:
            if flaps < self._flaps_deg:
                self._flaps_rose_t = self._s.t
            self._flaps_deg = flaps
        self._wrong = wrong_configuration(self._s.sample, self._set, routine.takeoff_flaps_deg, high)
        if self._wrong == "flaps" and self.flaps_run_up:
            self._wrong = None
        if self._wrong is None or self._wrong_t is None:
            self._wrong_t = None if self._wrong is None else self._s.t

    def power_is_on(self, began: float) -> None:
        """The same sample, with the power on; without a throttle channel, `began`: the start of the roll, which shows
        only some time later."""
        if self._s.sample.throttle is not None and self._power.full_since is not None:
            began = self._power.full_since
        onset = max(self._wrong_t or 0.0, began)
        self._hold.update_agreed(self._wrong is not None, onset, self._s.t, self._s.dt)

    def _unfit(self, t: float) -> None:
        cue = "configuration-flaps" if self._wrong == "flaps" else "configuration"
        self._judge.cue(cue, t, lambda: self._wrong is not None, self._power.maybe_off)
