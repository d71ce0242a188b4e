"""Full power and no acceleration on the roll: the engine, whatever its gauges read."""

from __future__ import annotations

from collections.abc import Callable

from monitor.agenda import Agenda, Hold
from monitor.aircraft import Aircraft
from monitor.settings import Settings
from monitor.state import State

ACCELERATED_KT_S = 1.2  # a roll that never gained so much is a weak one, not a failing one (common practice, no source)
GAINS_KT_S = 0.8  # of airspeed: more than a gust makes of a roll that has ended (common practice, no source)


class Acceleration:
    """Watches the speed over the ground; `failed(t)` when it has stood still for too long."""

    __slots__ = ("_accelerated", "_hold", "_rotate_kt", "_s", "_set")

    def __init__(
        self, state: State, aircraft: Aircraft, settings: Settings, agenda: Agenda, failed: Callable[[float], None]
    ) -> None:
        self._s = state
        self._set = settings
        self._rotate_kt = aircraft.speeds_kias.rotate
        self._hold = Hold(agenda, settings.no_acceleration_hold_s, failed)
        self._accelerated = False

    def begin(self) -> None:
        """A takeoff begins."""
        self._hold.clear()
        self._accelerated = False

    def end(self) -> None:
        """The wheels are off the ground."""
        self._hold.clear()

    def roll(self, power_is_set: bool, maybe_off: bool) -> None:
        """One sample of the roll."""
        s = self._s
        rate = s.v_trend.rate
        if rate > ACCELERATED_KT_S:
            self._accelerated = True
        slack = self._accelerated and power_is_set and not maybe_off and rate < self._set.no_acceleration_kt_s
        self._hold.update_agreed(slack and self._can_be_told(), s.t, s.t, s.dt)

    def _can_be_told(self) -> bool:
        s = self._s
        sample, v = s.sample, s.v or 0.0
        if not s.v_measured:
            return False  # an airspeed that stands still may be a gust, or a stuck needle
        if s.ias is not None and s.ias_trend.rate > GAINS_KT_S:
            return False  # the groundspeed stands still, the aeroplane does not
        if sample.on_ground is None and (s.ias if s.ias is not None else v) >= self._rotate_kt:
            return False  # it may float in ground effect, where it gains nothing for seconds
        full = sample.throttle is not None and sample.throttle >= self._set.full_throttle
        return full and (sample.brake or 0.0) <= 0.05 and v > 10.0
