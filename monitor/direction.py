"""Direction on the roll: off the runway heading so far that the takeoff must end."""

from __future__ import annotations

from monitor.agenda import Agenda, Hold
from monitor.conditions import Conditions
from monitor.geo import turn
from monitor.judge import Judge
from monitor.settings import Settings
from monitor.state import State


class Direction:
    """Keeps the runway heading and how far off it the aeroplane points."""

    def __init__(
        self,
        state: State,
        conditions: Conditions,
        settings: Settings,
        agenda: Agenda,
        judge: Judge,
        given: float | None,
    ) -> None:
        self._s = state
        self._conditions = conditions
        self._set = settings
        self._judge = judge
        self._given = given
        self._hold = Hold(agenda, settings.direction_hold_s, self._lost)
        self.maybe_off = False
        self.begin()

    def begin(self) -> None:
        """A takeoff begins."""
        self._hold.clear()
        self.off_deg: float | None = None  # right of the runway heading is positive
        self._mean_off = 0.0
        self._mean_n = 0

    def line_up(self) -> None:
        """Lined up: the heading is the runway's, unless that was given."""
        heading = self._s.sample.heading_deg
        given = self._given
        if heading is None:
            return
        # A given heading more than 20 degrees off (true for magnetic, or the wrong runway) would read as a swerve.
        if given is None or abs(turn(given, heading)) > self._set.runway_check_deg:
            self._conditions.runway_heading = heading
            self._mean_off, self._mean_n = 0.0, 0

    def roll(self) -> None:
        """One sample of the roll."""
        s = self._s
        heading, runway = s.sample.heading_deg, self._conditions.runway_heading
        if heading is None:
            self.off_deg = None
            return
        v = s.v or 0.0
        if runway is None or v < self._set.direction_from_kt:
            # Still lining up, perhaps in a rolling turn onto the runway.
            self.line_up()
            runway = self._conditions.runway_heading
            if runway is None:
                return
        off = self.off_deg = turn(runway, heading)
        swerving = abs(off) > self._set.direction_abort_deg and v > self._set.direction_from_kt
        self._hold.update(swerving, s.t)
        if not swerving and v > 20.0 and not self.maybe_off:
            self._mean_n += 1
            self._mean_off += (off - self._mean_off) / self._mean_n

    def lifted_off(self) -> None:
        """Off the ground: where no heading was given, the mean of the roll is the runway's."""
        runway = self._conditions.runway_heading
        if self._given is None and runway is not None and self._mean_n > 2 and abs(self._mean_off) < 8.0:
            self._conditions.runway_heading = (runway + self._mean_off) % 360.0

    def _lost(self, t: float) -> None:
        self._judge.cue("directional-control", t, self._still_off, self.maybe_off)

    def _still_off(self) -> bool:
        return self.off_deg is not None and abs(self.off_deg) > self._set.direction_abort_deg
