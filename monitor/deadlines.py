"""What falls due between the samples, by arrival time: holds of the agenda, data that no longer comes, a lost feed."""

from __future__ import annotations

from math import inf

from monitor.agenda import Agenda
from monitor.airspeed_data import AirspeedData
from monitor.levels import TEST
from monitor.phases import FLYING_OR_ROLLING, Phases
from monitor.teller import Teller
from monitor.timeline import Timeline

SILENT_INTERVALS = 3.5  # of a slow feed two samples lost in a row are no silence yet (common practice, no source)
HUSHED_S = 5.0  # the silence around rotation is over by then, for all that is known (common practice, no source)


class Deadlines:
    """Knows when the next thing falls due without a sample, and lets it. `silent_s`: a feed silent for so long in the
    roll or the climb is told, as data lost."""

    def __init__(
        self, timeline: Timeline, agenda: Agenda, phases: Phases, data: AirspeedData, teller: Teller, silent_s: float
    ) -> None:
        self._timeline = timeline
        self._agenda = agenda
        self._phases = phases
        self._data = data
        self._teller = teller
        self.silent_s = silent_s
        self._hushed = -inf, inf  # last arrival before a silence of the feed told without words, and when they are due

    def next_s(self) -> float | None:
        """The arrival time at which `run` is worth calling; None when nothing waits."""
        timeline = self._timeline
        if timeline.t is None:
            return None
        due, at = self._agenda.next_due, min(self._silent_at(), timeline.lost_at())
        if due <= timeline.judged_t + timeline.carry_s:
            due_at = timeline.judged_arrival_s + max(due - timeline.judged_t, 0.0) + 1e-6  # past rounding
            at = min(at, due_at)
        return at if at < inf else None

    def run(self, arrival_s: float) -> None:
        """Let fall due what did by `arrival_s`, in the order of time."""
        now = self._timeline.feed_time(arrival_s)
        if now is None:
            return
        if self._agenda.next_due <= now:
            self._agenda.run(now)
        timeline = self._timeline
        for _ in range(2):  # what was told without words may be due with them by now
            silent_at = self._silent_at()
            if arrival_s < silent_at:
                break
            if timeline.lost_at() < silent_at:
                timeline.check_lost(arrival_s)
            self._tell_silence((timeline.t or 0.0) + silent_at - timeline.arrival_s, silent_at)
        timeline.check_lost(arrival_s)

    def _tell_silence(self, t: float, at_s: float) -> None:
        """In the silence around rotation without words; with them once that is over, if the feed is silent still. When
        lift-off was is not known then, unless it came before."""
        teller, last_s = self._teller, self._timeline.arrival_s
        heard = teller.level_of("data-lost") != TEST
        hushed = heard and self._hushed[0] != last_s and teller.quiet(t)
        if hushed:
            wait_s = teller.quiet_until - t if self._phases.phase == "initial-climb" else HUSHED_S
            self._hushed = last_s, at_s + wait_s
        self._data.said = not hushed
        teller.emit("caution", "data-lost", t, teller.words("data-lost") if heard and not hushed else None)

    def _silent_at(self) -> float:
        """The arrival time at which it is said, in the roll or the climb, that no data comes; infinite where not."""
        timeline = self._timeline
        if self._data.said or timeline.state == "paused" or self._phases.phase not in FLYING_OR_ROLLING:
            return inf
        hushed_s, words_at = self._hushed
        if hushed_s == timeline.arrival_s:
            return words_at
        return timeline.arrival_s + max(self.silent_s, SILENT_INTERVALS * timeline.interval_s)
