"""Feed time: which samples belong to the flight's time line, and the events about the data itself.

The rules, each with its reason:

* The feed's own `time_s` is the time when it supplies one; else seconds since the first sample arrived. Which of the
  two is decided by the first sample and holds to the end, because mixing two clocks is worse than missing a sample.
* Time that stands still while packets arrive for `pause_s`: `paused`, later `resumed`. Repeated samples are not
  judged, so nothing falls due.
* The same where time goes on and nothing else does, though the aeroplane moves (`monitor.frozen`).
* Back by 1 s or less: a late packet, dropped and counted. Back by more, or forward by more than 10 s, is a jump. One
  sample alone can be a damaged number, so a jump counts once the next sample confirms it; then `restarted`.
* Of a stream faster than 40 Hz 20 to 30 samples a second are judged, as nearly as its usual step allows: nothing a
  pilot can use comes sooner from more, and the rest of the machine is the simulator's. The first after a pause or a
  jump always is.
* The aeroplane put elsewhere while time goes on is `restarted` as well (`monitor.relocation`).
* No valid sample for max(2 s, 3 usual intervals) of wall clock: `lost`; the next sample: `back`.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf

from monitor.frozen import Frozen
from monitor.relocation import STOPS_KT, Relocation
from monitor.sample import Sample

ENOUGH_S = 0.05
"""Samples closer together than this tell the pilot nothing sooner: of faster streams so many a second are judged."""
OFTEN_S = 0.08
"""What must last for seconds before it counts is looked at in the climb as often as this, not with every sample."""
CARRIED_PART = 0.999  # of an interval: what falls due with the next sample is judged by that one
LATE_S = 1.0
JUMP_S = 10.0
LOST_S = 2.0
LOST_INTERVALS = 3.0
PAUSE_S = 1.5
PAUSE_ROWS = 30  # in a log there is no arrival time to tell a pause by; 30 equal rows are more than any burst of copies


class Timeline:
    """The feed's clock. `offer` gives the samples to judge, in order; `emit(id, t)` is called for feed events,
    `restart(t)` after a jump, `carry_on(seconds)` after a pause in which time went on.

    `every`: all samples are let through, however fast they come.
    """

    __slots__ = (
        "_advance_arrival", "_before", "_before_t", "_carry_on", "_emit", "_enough_s", "_first_arrival", "_frozen",
        "_held", "_look_in", "_odd", "_recent", "_relocation", "_repeated_t", "_repeats", "_restart", "_skip_s",
        "_stood", "arrival_s", "carry_s", "dropped_jump", "dropped_late", "dropped_no_time", "dropped_repeat",
        "interval_s", "judged_arrival_s", "judged_t", "own_time", "skip_until", "state", "t",
    )  # fmt: skip

    def __init__(
        self,
        emit: Callable[[str, float], None],
        restart: Callable[[float], None],
        carry_on: Callable[[float], None],
        every: bool = False,
    ) -> None:
        self._emit = emit
        self._restart = restart
        self._carry_on = carry_on
        self._enough_s = 0.0 if every else ENOUGH_S
        self.t: float | None = None  # of the last sample
        self.arrival_s = 0.0  # when the last packet came
        self.judged_t = 0.0  # of the last sample let through, and when it arrived
        self.judged_arrival_s = 0.0
        self.interval_s = 0.0  # the usual one between samples let through
        self.carry_s = 0.0  # so long a sample speaks for what follows: the shortest one, lest time runs past the next
        self.own_time: bool | None = None  # the feed supplies time_s
        self.state = "waiting"
        self.dropped_late = 0
        self.dropped_repeat = 0
        self.dropped_jump = 0
        self.dropped_no_time = 0
        self._first_arrival = 0.0
        self._advance_arrival = 0.0
        self._repeats = 0
        self._repeated_t: float | None = None
        self._odd = False  # since the last sample time stood still, jumped, or the feed was silent
        self._look_in = 0
        self._held: tuple[float, Sample] | None = None
        self._recent: list[float] = []
        self.skip_until = -inf  # samples before are passed over; those with a time of their own need not be offered
        self._skip_s = 0.0
        self._before: Sample | None = None  # the last looked at, and its time
        self._before_t = 0.0
        self._relocation = Relocation()
        self._frozen = Frozen()
        self._stood = False  # the samples were all the same, and none was judged

    def feed_time(self, arrival_s: float) -> float | None:
        """Feed time at an arrival time: the last judged sample's, carried on by at most `carry_s`."""
        if self.t is None:
            return None
        return self.judged_t + min(max(arrival_s - self.judged_arrival_s, 0.0), self.carry_s)

    def lost_at(self) -> float:
        """Arrival time at which the feed counts as lost; infinite when it is not running."""
        if self.t is None or self.state == "lost":
            return inf
        return self.arrival_s + max(LOST_S, LOST_INTERVALS * self.interval_s)

    def check_lost(self, arrival_s: float) -> None:
        """Say `lost` when that fell due by `arrival_s`."""
        if arrival_s - self.arrival_s < LOST_S:
            return
        due = self.lost_at()
        if arrival_s >= due and self.t is not None:
            self.state = "lost"
            self._odd = True
            self.skip_until = -inf
            self._emit("lost", self.t + (due - self.arrival_s))

    def offer(self, sample: Sample, arrival_s: float) -> tuple[tuple[float, Sample], ...]:
        """The samples that `sample` lets through, each with its feed time; mostly the one, sometimes none or two."""
        t = sample.time_s
        last = self.t
        if last is None:
            return self._first(sample, arrival_s)
        if not self.own_time:
            t = arrival_s - self._first_arrival
        elif t is None:
            self.dropped_no_time += 1
            return ()
        dt = t - last
        if 0.0 < dt <= JUMP_S:
            if self._odd:
                self._go_on(arrival_s, t)
            self.t = t
            self.arrival_s = arrival_s
            if t < self.skip_until:
                return ()
            self._look_in -= 1
            if self._look_in <= 0:
                self._learn_interval(dt)
            self.skip_until = t + self._skip_s
            before, before_t = self._before, self._before_t
            self._before, self._before_t = sample, t
            if before is None:
                self.judged_t, self.judged_arrival_s = t, arrival_s
                return ((t, sample),)
            ias, ias_before = sample.ias_kt, before.ias_kt
            if ias == ias_before and self._frozen.stands(t, sample, before, before_t, self.interval_s):
                return self._stands_still(t)
            if self._stood:
                self._moves_again(t)
            self.judged_t, self.judged_arrival_s = t, arrival_s
            where = self._relocation
            looks = ias is None or ias_before is None or ias_before - ias > STOPS_KT or where.pending_kt is not None
            if looks and where.moved(sample, before, t - before_t):
                self._restart(t)
                self._emit("restarted", t)
            return ((t, sample),)
        return self._irregular(t, dt, sample, arrival_s)

    def _stands_still(self, t: float) -> tuple[tuple[float, Sample], ...]:
        self._stood = True
        if self.state == "on":
            self.state = "paused"
            self._emit("paused", t)
        return ()

    def _moves_again(self, t: float) -> None:
        """What was learned before the pause is carried over it."""
        self._stood = False
        self._carry_on(max(t - self.judged_t - self.interval_s, 0.0))
        if self.state == "paused":
            self._returned(self.arrival_s, t)

    def _judged(self, t: float, arrival_s: float) -> None:
        self.skip_until = t + self._skip_s
        self.judged_t, self.judged_arrival_s = t, arrival_s

    def _first(self, sample: Sample, arrival_s: float) -> tuple[tuple[float, Sample], ...]:
        self.own_time = sample.time_s is not None
        self._first_arrival = self.arrival_s = arrival_s
        self.t = sample.time_s if sample.time_s is not None else 0.0
        self.state = "on"
        self._judged(self.t, arrival_s)
        self._emit("started", self.t)
        return ((self.t, sample),)

    def _go_on(self, arrival_s: float, t: float) -> None:
        """Time goes on after something odd; after a pause or a loss this sample is judged."""
        self._odd = False
        self._held = None
        if self.state != "on":
            self._returned(arrival_s, t)

    def _learn_interval(self, dt: float) -> None:
        """The usual step of the last nine; once there are so many, a look now and then is enough."""
        recent = self._recent
        if len(recent) == 9:
            recent.pop(0)
        recent.append(dt)
        usual = sorted(recent)[len(recent) // 2]
        steps = max(1, int(self._enough_s / usual + 0.1))  # of which one is judged
        self._look_in = 8 if len(recent) == 9 else 1
        self.interval_s = usual * steps
        self.carry_s = CARRIED_PART * min(recent)
        self._skip_s = 0.0
        if steps > 1:
            self.carry_s = self._skip_s = (steps - 0.5) * usual

    def _returned(self, arrival_s: float, t: float) -> None:
        event = "back" if self.state == "lost" else "resumed"
        self.state = "on"
        self._emit(event, t)

    def _irregular(self, t: float, dt: float, sample: Sample, arrival_s: float) -> tuple[tuple[float, Sample], ...]:
        self._odd = True
        if self._held is not None and 0.0 <= t - self._held[0] <= JUMP_S:
            return self._jumped(t, sample, arrival_s)
        if -LATE_S <= dt < 0.0:
            self.dropped_late += 1
            return ()
        if dt == 0.0:
            self._repeat(arrival_s)
            return ()
        self._held = (t, sample)
        self.skip_until = -inf
        self.dropped_jump += 1
        return ()

    def _jumped(self, t: float, sample: Sample, arrival_s: float) -> tuple[tuple[float, Sample], ...]:
        assert self._held is not None
        held_t, held = self._held
        self._held = None
        self.dropped_jump -= 1
        if self.state != "on":
            self._returned(arrival_s, held_t)
        self.t = held_t
        self.arrival_s = arrival_s
        self._recent.clear()
        self._look_in = 0
        self._judged(t, arrival_s)
        self._before = None
        self._relocation = Relocation()
        self._restart(held_t)
        self._emit("restarted", held_t)
        if t == held_t:
            return ((held_t, held),)
        self.t = t
        self._learn_interval(t - held_t)
        return ((held_t, held), (t, sample))

    def _repeat(self, arrival_s: float) -> None:
        assert self.t is not None
        self.dropped_repeat += 1
        if self.t != self._repeated_t:
            self._repeated_t, self._repeats = self.t, 0
            self._advance_arrival = self.arrival_s
        self._repeats += 1
        was_lost = self.state == "lost"
        self.arrival_s = self.judged_arrival_s = arrival_s
        still_s = arrival_s - self._advance_arrival
        wait_s = max(PAUSE_S, LOST_INTERVALS * self.interval_s)
        if was_lost:
            self._returned(arrival_s, self.t)
        if self.state == "on" and (still_s >= wait_s or (still_s == 0.0 and self._repeats >= PAUSE_ROWS)):
            self.state = "paused"
            self.skip_until = -inf
            self._emit("paused", self.t)
