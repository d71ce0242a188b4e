"""The airspeed that is no longer in the data: told as lost, as a feed that fell silent is."""

from __future__ import annotations

from collections.abc import Callable

from monitor.agenda import Agenda, Hold
from monitor.settings import Settings
from monitor.state import State


class AirspeedData:
    """The airspeed missing from the data in the roll or the climb; `lost(t)` is called once a takeoff."""

    def __init__(self, state: State, settings: Settings, agenda: Agenda, lost: Callable[[float], None]) -> None:
        self._s = state
        self._hold = Hold(agenda, settings.data_lost_s, self._missed)
        self._lost = lost
        self.said = False  # in this takeoff; of a feed that fell silent as well

    def begin(self) -> None:
        """A takeoff begins."""
        self._hold.clear()
        self.said = False

    def update(self) -> None:
        """One sample of the roll or the climb."""
        s = self._s
        missing = s.sample.ias_kt is None and s.ias_trend.ready and not s.ias_set_aside
        if missing or self._hold.since is not None:
            self._hold.update_agreed(missing, s.ias_trend.t, s.t, s.dt)  # one value doubted is not lost

    def _missed(self, t: float) -> None:
        if not self.said:
            self.said = True
            self._lost(t)
