"""Abort-cue practice: when to cue, what is right, how it went. Pure: seeds and measured times come in as arguments.

A drill is a row of takeoffs, each with a fault or none. The cue is silent (a gauge moves, nobody speaks), because a
pilot who is cued by the voice learns to wait for the voice. Its moment is random and cannot be known. What is right
depends on the moment: a small fault late in the roll is taken into the air, because a stop from high speed is the
greater risk. What counts is the decision; a figure for speed of reaction alone would breed snap aborts.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Mapping, Sequence
from statistics import NormalDist, median
from typing import Any

import msgspec

from monitor.judge import ABORT_TABLE

ABORT, CONTINUE = "abort", "continue"
HIT, MISS, FALSE_ABORT, CORRECT_CONTINUE = "hit", "miss", "false-abort", "correct-continue"
CANCELLED = "cancelled"

CUES: dict[str, str] = {
    "engine": "engine-failure",
    "power": "power-loss",
    "swing": "directional-control",
    "oil": "oil-pressure-low",
    "airspeed": "airspeed-not-alive",
    "airspeed-stuck": "airspeed-not-alive",
    "rpm-high": "rpm-high",
    "oil-temperature": "oil-temperature-high",
}
"""Each practised fault and the cue of the coach's own abort table that it gives."""

ABORT_UNTIL: dict[str, tuple[bool, ...]] = {
    kind: tuple(action == "abort" for action in ABORT_TABLE[cue]) for kind, cue in CUES.items()
}
"""Is abort right for a fault whose cue comes below half VR, then until 2 s before VR, then in the last 2 s?"""

REASONS: dict[str, str] = {
    "engine": "engine failure",
    "power": "power loss",
    "swing": "directional control",
    "oil": "oil pressure low",
    "airspeed": "airspeed dead",
    "airspeed-stuck": "airspeed stuck",
    "rpm-high": "rpm high",
    "oil-temperature": "oil temperature high",
}
"""Each practised fault in words."""

DEFAULT_KINDS = ("engine", "power", "oil", "airspeed", "airspeed-stuck", "swing", "rpm-high")
CUE_SHARE = 0.5
"""Share of takeoffs with a fault: even, as in a detection experiment. Beside a simulator it is far less."""
LEAST_MIXED = 3
"""Takeoffs from which a drill holds at least one with a fault and one without."""
LAST_S = 2.0
"""The last seconds before VR: what is not an engine or a direction is then taken into the air. Common practice."""
SLOW_S = {"airspeed-stuck": 2.5, "swing": 1.5, "oil-temperature": 1.5}
"""Faults that need about so many seconds to be seen: they begin that long before VR at the latest."""
LEAST_TRIALS = 20
"""Cue trials, and clean trials, below which no detection statistic is given. Common practice, no source."""

VISIBLE: dict[str, tuple[tuple[str, float], ...]] = {
    "engine": (("rpm", 100.0), ("manifold_pressure_inhg", 1.5)),
    "power": (("rpm", 60.0), ("manifold_pressure_inhg", 1.0)),
    "swing": (("heading_deg", 3.0),),
    "oil": (("oil_pressure_psi", 6.0),),
    "airspeed": (("ias_kt", 6.0),),
    "airspeed-stuck": (("ias_kt", 6.0),),
    "rpm-high": (("rpm", 60.0),),
    "oil-temperature": (("oil_temperature_degf", 10.0),),
}
"""How far a gauge must stand from where it would be without the fault, so that the eye sees it; our own values."""


class Landmarks(msgspec.Struct, frozen=True):
    """Moments of a healthy takeoff, in seconds of its own time: full power, 25 kt, half VR, VR, lift-off."""

    power_s: float
    alive_s: float
    half_vr_s: float
    vr_s: float
    lift_off_s: float


class Trial(msgspec.Struct, frozen=True):
    """One takeoff of a drill. number from 1; kind: the fault, None = clean; wait_s: at rest before the throttle opens.

    place: where in the roll the fault begins, 0 (full power) to 1 (VR); `onset` makes a time of it.
    """

    number: int
    kind: str | None
    wait_s: float
    place: float
    seed: int


class Outcome(msgspec.Struct, frozen=True):
    """How one takeoff went. Moments in seconds of the stream's time, None = did not happen or not measured.

    fault: None = clean, or not yet there when the key came. right: "abort" or "continue". reaction_s: from the frame
    that showed the cue to the key. key_ias_kt: speed at the key. late: the key of a hit came after VR.
    coach_after_s: from the cue to when the coach would have said it. why: one sentence on what was right.
    """

    trial: int
    fault: str | None
    right: str
    result: str
    cue_s: float | None = None
    key_s: float | None = None
    reaction_s: float | None = None
    key_ias_kt: float | None = None
    late: bool = False
    coach_after_s: float | None = None
    throttle_closed_s: float | None = None
    brakes_s: float | None = None
    stopped_s: float | None = None
    stop_distance_ft: float | None = None
    why: str = ""


def plan(seed: int, trials: int, kinds: Sequence[str] = DEFAULT_KINDS, cue_share: float = CUE_SHARE) -> list[Trial]:
    """The drill's takeoffs. Each is drawn by itself, so that no trial can be known from those before it.

    From three takeoffs on a row without any fault, or without any clean takeoff, is drawn anew.
    """
    draw = random.Random(seed)
    while True:
        row = [_trial(draw, number, kinds, cue_share) for number in range(1, trials + 1)]
        mixed = any(trial.kind for trial in row) and not all(trial.kind for trial in row)
        if mixed or trials < LEAST_MIXED or not 0.0 < cue_share < 1.0:
            return row


def _trial(draw: random.Random, number: int, kinds: Sequence[str], cue_share: float) -> Trial:
    faulty, kind = draw.random() < cue_share, draw.choice(list(kinds))
    wait_s, place, seed = draw.uniform(3.0, 6.0), draw.random(), draw.randrange(1, 1_000_000)
    return Trial(number, kind if faulty else None, round(wait_s, 2), place, seed)


def onset_s(trial: Trial, marks: Landmarks) -> float | None:
    """When the trial's fault begins: any moment from full power (25 kt for an airspeed) to just before VR.

    The last moment is 0.5 s before VR; earlier for a fault that takes long to be seen (`SLOW_S`).
    """
    if trial.kind is None:
        return None
    first = max(marks.power_s, marks.alive_s) if trial.kind.startswith("airspeed") else marks.power_s
    return first + trial.place * max(0.0, marks.vr_s - SLOW_S.get(trial.kind, 0.5) - first)


def cue_s(kind: str, healthy: Iterable[Mapping[str, float]], faulty: Iterable[Mapping[str, float]]) -> float | None:
    """The `time_s` at which the fault can first be seen: the same flight with and without it, moment by moment."""
    for clean, moment in zip(healthy, faulty, strict=False):
        if any(_apart(channel, clean, moment) >= least for channel, least in VISIBLE[kind]):
            return moment["time_s"]
    return None


def _apart(channel: str, clean: Mapping[str, float], moment: Mapping[str, float]) -> float:
    apart = abs(moment.get(channel, 0.0) - clean.get(channel, 0.0))
    return min(apart, 360.0 - apart) if channel == "heading_deg" else apart


def right_answer(kind: str | None, cue_at_s: float | None, marks: Landmarks) -> str:
    """What to do about a fault seen at that moment of the roll: "abort" or "continue"."""
    if kind is None or cue_at_s is None:
        return CONTINUE
    if cue_at_s < marks.half_vr_s:
        right = ABORT_UNTIL[kind][0]
    elif cue_at_s < marks.vr_s - LAST_S:
        right = ABORT_UNTIL[kind][1]
    else:
        right = ABORT_UNTIL[kind][2] and cue_at_s < marks.lift_off_s
    return ABORT if right else CONTINUE


def judge(right: str, cue_at_s: float | None, key_at_s: float | None) -> str:
    """Hit, miss, false abort or correct continue. A key before the cue could be seen is a false abort."""
    if key_at_s is None:
        return MISS if right == ABORT else CORRECT_CONTINUE
    seen = cue_at_s is not None and key_at_s >= cue_at_s
    return HIT if right == ABORT and seen else FALSE_ABORT


def why(kind: str | None, cue_at_s: float | None, marks: Landmarks) -> str:
    """One sentence on what was there and what was right."""
    if kind is None or cue_at_s is None:
        return "Nothing was wrong."
    reason = REASONS[kind].capitalize()
    if cue_at_s < marks.half_vr_s:
        where = "below half of VR"
    else:
        where = "before the last 2 s" if cue_at_s < marks.vr_s - LAST_S else "in the last 2 s before VR"
    if right_answer(kind, cue_at_s, marks) == ABORT:
        return f"{reason}, {where}: abort."
    return f"{reason}, {where}: continue, and deal with it in the air."


class Summary(msgspec.Struct, frozen=True):
    """A drill in figures. d_prime and criterion are None, with `detection_why`, below `LEAST_TRIALS` of each kind."""

    trials: int
    hits: int
    misses: int
    false_aborts: int
    correct_continues: int
    reaction_median_s: float | None
    reaction_best_s: float | None
    reaction_worst_s: float | None
    d_prime: float | None
    criterion: float | None
    detection_why: str | None


def summarise(outcomes: Sequence[Outcome]) -> Summary:
    """The figures of the trials flown; cancelled ones do not count."""
    flown = [one for one in outcomes if one.result != CANCELLED]
    counts = {
        result: sum(one.result == result for one in flown) for result in (HIT, MISS, FALSE_ABORT, CORRECT_CONTINUE)
    }
    times = sorted(one.reaction_s for one in flown if one.result == HIT and one.reaction_s is not None)
    signals = [one for one in flown if one.right == ABORT]
    noises = [one for one in flown if one.right == CONTINUE]
    d_prime, criterion, reason = _detection(
        sum(one.result == HIT for one in signals),
        len(signals),
        sum(one.result == FALSE_ABORT for one in noises),
        len(noises),
    )
    return Summary(
        len(flown),
        counts[HIT],
        counts[MISS],
        counts[FALSE_ABORT],
        counts[CORRECT_CONTINUE],
        median(times) if times else None,
        times[0] if times else None,
        times[-1] if times else None,
        d_prime,
        criterion,
        reason,
    )


def _detection(hits: int, signals: int, alarms: int, noises: int) -> tuple[float | None, float | None, str | None]:
    if signals < LEAST_TRIALS or noises < LEAST_TRIALS:
        why_not = (
            f"wanted {LEAST_TRIALS} takeoffs with an abort cue and {LEAST_TRIALS} without, got {signals} and {noises}"
        )
        return None, None, why_not
    d_prime, criterion = detection(hits, signals, alarms, noises)
    return d_prime, criterion, None


def detection(hits: int, signals: int, alarms: int, noises: int) -> tuple[float, float]:
    """Sensitivity d' and criterion c from counts: d' = z(H) - z(F), c = -(z(H) + z(F)) / 2.

    Green and Swets, Signal Detection Theory and Psychophysics (1966). Rates of 0 and 1 are kept finite by the
    log-linear correction, 0.5 added to each count and 1 to each number of trials (Hautus 1995). From memory.
    """
    z = NormalDist().inv_cdf
    hit, alarm = z((hits + 0.5) / (signals + 1)), z((alarms + 0.5) / (noises + 1))
    return hit - alarm, -(hit + alarm) / 2.0


def figures(outcome: Outcome) -> dict[str, Any]:
    """The outcome as plain JSON values, times in three decimals, speed and distance in one."""
    values = msgspec.structs.asdict(outcome)
    tenths = ("key_ias_kt", "stop_distance_ft")
    return {
        key: round(value, 1 if key in tenths else 3) if isinstance(value, float) and math.isfinite(value) else value
        for key, value in values.items()
    }
