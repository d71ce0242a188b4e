"""Runs the coach over a flight and holds its events against the truth and what is expected.

The coach is fed as live: each sample at its own time, with ticks at the deadlines it names in between. `Heard`
keeps, beside each event, the feed time at which it came out, for the delays."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import inf

import msgspec

from monitor.events import Event
from monitor.sample import Sample
from tests.flights_jsbsim.expected import Expected
from tests.flights_jsbsim.flight import Truth

FIELDS = tuple(f.name for f in msgspec.structs.fields(Sample))


@dataclass(frozen=True)
class Heard:
    """One event and the feed time at which it came out of the coach (s)."""

    event: Event
    out_s: float


def run(coach: object, samples: Iterable[Sample], start_s: float | None = None) -> list[Heard]:
    """Every event of the flight in the order noticed; `coach` as monitor.coach.Coach."""
    heard: list[Heard] = []
    first: float | None = start_s
    last = 0.0
    for sample in samples:
        now = sample.time_s or 0.0
        first = now if first is None else first
        deadline = coach.next_deadline()  # type: ignore[attr-defined]
        if deadline is not None and deadline < now - first:
            tick = max(deadline, last)
            heard += [Heard(e, tick + first) for e in coach.tick(tick)]  # type: ignore[attr-defined]
        last = now - first
        heard += [Heard(e, now) for e in coach.feed(sample, last)]  # type: ignore[attr-defined]
    heard += [Heard(e, last + (first or 0.0)) for e in coach.end(last)]  # type: ignore[attr-defined]
    return heard


def samples_of(rows: Iterable[dict[str, float]]) -> list[Sample]:
    """Dicts to samples."""
    return [Sample(**row) for row in rows]


@dataclass
class Verdict:
    """What was wrong with the coach's warnings on one flight, and the delay (s) of the right one.

    false, wrong_reason: lines for a person. missed, late: the required warning did not come, or came after the last
    moment that counts. rules: broken absolute rules (two aborts, abort in the air, Rotate after an abort)."""

    false: list[str] = field(default_factory=list)
    wrong_reason: list[str] = field(default_factory=list)
    rules: list[str] = field(default_factory=list)
    missed: bool = False
    late: bool = False
    delay_s: float | None = None
    outcome: str = ""

    @property
    def good(self) -> bool:
        """Nothing wrong at all."""
        return not (self.false or self.wrong_reason or self.rules or self.missed or self.late)


def _line(h: Heard, start_s: float) -> str:
    e = h.event
    t = None if e.t_s is None else round(e.t_s - start_s, 2)
    state = f"phase {e.phase} ias {e.ias_kt} h {e.height_ft}"
    return f"{e.kind} {e.id} {e.reason or ''} at {t} (out {h.out_s - start_s:.2f}) {state}"


def judge(heard: Sequence[Heard], want: Expected, start_s: float, truth: Truth, slack_s: float = 0.05) -> Verdict:
    """Hold the events against what is expected.

    start_s: feed time of the flight's first step. truth: for when the wheels were off the ground. slack_s: what the
    feed's own interval adds to the last moment that counts."""
    v = Verdict()
    warnings = [h for h in heard if h.event.kind == "warning"]
    _absolute_rules(v, heard, warnings, start_s, truth, slack_s)
    right = None
    for h in warnings:
        when = h.out_s - start_s
        reasons_ok = not want.reasons or h.event.reason in want.reasons
        allowed = ("abort" if h.event.id == "abort" else "air") in want.outcomes
        # Between two samples a crossing is found by a straight line, to about half of their interval.
        if want.outcomes <= {"quiet", "caution", "lost"} or when < want.earliest - 0.5 * slack_s:
            if want.reasons and h.event.reason in want.reasons and when >= want.earliest and not want.required:
                continue
            v.false.append(_line(h, start_s))
        elif not reasons_ok:
            (v.wrong_reason if right is None else v.false).append(_line(h, start_s))
        elif not allowed and right is not None:
            continue  # said again after lift-off to a pilot who flew on
        elif not allowed:
            v.false.append(_line(h, start_s) + f" (wanted {'/'.join(sorted(want.outcomes))})")
        elif right is None:
            right = h
    _timing(v, right, heard, want, start_s, slack_s)
    return v


def _timing(
    v: Verdict, right: Heard | None, heard: Sequence[Heard], want: Expected, start_s: float, slack_s: float
) -> None:
    if right is None and want.outcomes & {"caution", "lost"}:
        right = next((h for h in heard if _is_caution(h, want, start_s)), None)
    if right is None:
        v.missed = want.required and not v.wrong_reason
        v.outcome = "none"
        return
    v.outcome = right.event.id
    if want.due is None or want.latest is None:
        return
    v.delay_s = right.out_s - start_s - want.due
    last = want.latest if right.event.id == "abort" else max(want.latest, want.late_air or 0.0)
    v.late = want.required and right.out_s - start_s > last + slack_s
    if right.event.id != "abort" and want.late_air is not None and want.late_air > want.latest + 0.01:
        v.delay_s = None  # held until after lift-off: its delay is not one of detection


def _is_caution(h: Heard, want: Expected, start_s: float) -> bool:
    e = h.event
    if h.out_s - start_s < want.earliest:
        return False
    if "lost" in want.outcomes and e.kind == "feed" and e.id == "lost":
        return True
    return e.kind in ("caution", "advisory") and (not want.ids or e.id in want.ids)


def _absolute_rules(
    v: Verdict, heard: Sequence[Heard], warnings: Sequence[Heard], start_s: float, truth: Truth, slack_s: float
) -> None:
    off_s = inf if truth.wheels_off is None else truth.wheels_off + slack_s + 0.1
    down_s = inf if truth.wheels_down is None else truth.wheels_down
    aborts = [h for h in warnings if h.event.id == "abort"]
    by_takeoff: dict[int | None, int] = {}
    for h in aborts:
        by_takeoff[h.event.takeoff] = by_takeoff.get(h.event.takeoff, 0) + 1
        if h.event.t_s is not None and off_s < h.event.t_s < down_s:
            v.rules.append("abort in the air: " + _line(h, start_s))
    v.rules += [f"{n} aborts in takeoff {k}" for k, n in by_takeoff.items() if n > 1]
    for abort in aborts:
        for h in heard[heard.index(abort) :]:
            if h.event.id == "rotate" and h.event.takeoff == abort.event.takeoff:
                v.rules.append("Rotate after an abort: " + _line(h, start_s))
    v.rules += [f"warning without a reason: {_line(h, start_s)}" for h in warnings if not h.event.reason]
    counts: dict[tuple[int | None, str], int] = {}
    for h in heard:
        if h.event.kind == "callout":
            key = (h.event.takeoff, h.event.id)
            counts[key] = counts.get(key, 0) + 1
    v.rules += [f"callout {k[1]} came {n} times in takeoff {k[0]}" for k, n in counts.items() if n > 1]
