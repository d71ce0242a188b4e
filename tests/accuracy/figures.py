"""The coach over one case, and what is measured there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import inf

import numpy as np

from monitor.coach import Coach
from tests.accuracy.setup import coach_for
from tests.accuracy.store import Case, samples
from tests.flights_jsbsim.aeroplanes import AEROPLANES
from tests.flights_jsbsim.expected import HIDDEN, Expected
from tests.flights_jsbsim.judge import Heard, Verdict, judge, run

LEAD_S = 0.3
"""Without a voice the word is taken as heard this long after the event (the stated lead of "rotate")."""
LASTS_S = 3.0
"""Without a lever a roll is one once the acceleration has lasted so long."""


WRONG_AIRSPEED = ("airspeed-dead", "airspeed-stuck", "airspeed-gone", "static-blocked")
"""Faults with which the airspeed shown is no truth for "Rotate"."""


@dataclass
class Result:
    """What one flight gave. Errors in seconds, event less truth; None = not measured there."""

    name: str
    aeroplane: str
    kind: str
    fault: str | None
    rate_hz: float
    switch: bool
    height: bool
    vertical_speed: bool
    gust_kt: float
    verdict: Verdict
    required: bool
    liftoff_s: float | None = None
    rotate_heard_s: float | None = None
    rotate_out_s: float | None = None
    rotate_ias: float | None = None
    heights_s: dict[float, float] = field(default_factory=dict)
    advisories: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    calls: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    valid: bool = True


def evaluate(case: Case) -> Result:
    """Run the coach and measure."""
    return measure(case, hear(case))


def _wanted(case: Case) -> Expected:
    """What is expected with what was sent: what only the climb shows needs the speed over the ground, as the program
    says; a swerve must show in two samples on the wheels, for one alone may be damaged; without the lever only an
    acceleration that lasts shows that power is on."""
    want, off_s = case.want, case.truth.wheels_off
    if "throttle" not in case.columns and want.reasons == {"configuration"} and want.due is not None:
        latest = None if want.latest is None else want.latest + LASTS_S
        want = replace(want, due=want.due + LASTS_S, latest=latest)
    blind = want.why == HIDDEN and "groundspeed_kt" not in case.columns
    if "directional-control" in want.reasons and want.crossing is not None and off_s is not None:
        times = case.columns["time_s"]
        blind = np.count_nonzero((times >= case.sensors.start_s + want.crossing) & (times < off_s)) < 2
    return replace(want, required=False, outcomes=want.outcomes | {"quiet"}) if blind else want


def hear(case: Case) -> list[Heard]:
    """Every event of the case."""
    coach: Coach = coach_for(case.scenario.aeroplane, case.options)
    return run(coach, samples(case))


def measure(case: Case, heard: Sequence[Heard]) -> Result:
    """The figures of one case."""
    truth, sensors, s = case.truth, case.sensors, case.scenario
    sent = case.columns
    want = _wanted(case)
    slack = 1.0 / sensors.rate_hz * (1.0 + sensors.jitter) / (1.0 - sensors.loss)
    if want.latest is not None:  # while nothing was sent nothing could be told
        last = max(want.latest, want.late_air or 0.0)
        until = case.columns["time_s"][case.columns["time_s"] >= sensors.start_s + last]
        slack = max(slack, float(until[0]) - sensors.start_s - last if len(until) else 0.0)
    verdict = judge(heard, want, sensors.start_s, truth, slack)
    result = Result(
        case.name,
        s.aeroplane,
        s.kind,
        s.fault.kind if s.fault else None,
        sensors.rate_hz,
        "on_ground" in sent,
        "height_ft" in sent,
        "vertical_speed_fpm" in sent,
        s.gust_kt,
        verdict,
        want.required,
        advisories=[h.event.id for h in heard if h.event.kind == "advisory"],
        cautions=[h.event.id for h in heard if h.event.kind == "caution"],
        calls=[h.event.id for h in heard if h.event.kind == "callout"],
    )
    result.valid = flown_well(case)
    _liftoff(result, case, heard)
    _rotate(result, case, heard)
    _heights(result, case, heard)
    if s.fault is None:
        result.missing = missing_calls(case, heard)
    return result


def flown_well(case: Case) -> bool:
    """Whether the model flew at all: a clean takeoff that never left the ground or turned over is no test of the coach.

    It happens to the light tailwheel model in a crosswind at rest; others are turned round by the wind on their
    wheels before the roll. Such flights are left out and counted.
    """
    over = float(np.nanmax(np.abs(case.columns["bank_deg"]))) > 45.0 if "bank_deg" in case.columns else False
    grounded = case.truth.wheels_off is None and case.scenario.kind not in ("rejected", "burst")
    left = case.truth.wheels_off is not None and case.scenario.kind in ("rejected", "burst")
    return not over and not _turned_round(case) and (case.scenario.fault is not None or not (grounded or left))


def _turned_round(case: Case) -> bool:
    """More than 45 degrees off the runway on the wheels, and no failing steering was asked for; with no fault at all,
    so far off for so long at speed that the rule itself stops it."""
    off_s, heading, fault = case.truth.wheels_off, case.columns.get("heading_deg"), case.scenario.fault
    if off_s is None or heading is None or (fault is not None and fault.kind == "veer"):
        return False
    rolling = case.columns["time_s"] < off_s
    away = (heading[rolling] - case.scenario.runway_deg + 180.0) % 360.0 - 180.0
    if not rolling.any():
        return False
    swung = np.abs(away) > 15.0
    speed = case.columns.get("groundspeed_kt", case.columns.get("ias_kt"))
    if fault is None and speed is not None:
        fast = swung & (speed[rolling] > 15.0)
        if np.count_nonzero(fast) >= max(0.3 * case.sensors.rate_hz, 1.0):
            return True
    return float(np.nanmax(np.abs(away), initial=0.0)) > 45.0


def _first(heard: Sequence[Heard], kind: str, name: str) -> Heard | None:
    return next((h for h in heard if h.event.kind == kind and h.event.id == name), None)


def _liftoff(result: Result, case: Case, heard: Sequence[Heard]) -> None:
    off = _first(heard, "phase", "initial-climb")
    if case.scenario.fault is not None and case.scenario.fault.kind == "feed-lost":
        return  # the wheels may have left while nothing was sent
    if off is not None and case.truth.wheels_off is not None and off.event.t_s is not None:
        result.liftoff_s = off.event.t_s - case.truth.wheels_off


def _rotate(result: Result, case: Case, heard: Sequence[Heard]) -> None:
    call = _first(heard, "callout", "rotate")
    if case.scenario.fault is not None and case.scenario.fault.kind in (*WRONG_AIRSPEED, "feed-lost"):
        return
    if call is not None and call.event.takeoff != 1:
        return  # a second roll after an abort and a landing has its own VR
    if call is None or case.truth.rotate_indicated is None or call.event.t_s is None:
        return
    if case.truth.marks.get("hop_off", inf) <= case.truth.rotate_indicated <= case.truth.marks.get("hop_settled", -inf):
        return  # at VR it was off the ground in a hop, where nobody is told to rotate
    result.rotate_heard_s = call.event.t_s + LEAD_S - case.truth.rotate_indicated
    result.rotate_out_s = call.out_s + LEAD_S - case.truth.rotate_indicated
    if call.event.ias_kt is not None:
        result.rotate_ias = call.event.ias_kt - AEROPLANES[case.scenario.aeroplane].rotate_kt


def _heights(result: Result, case: Case, heard: Sequence[Heard]) -> None:
    truth = case.truth.heights if "height_ft" in case.columns else case.truth.indicated
    wanted = {300.0: ("callout", "flaps-up"), 500.0: ("callout", "turn"), 1000.0: ("callout", "after-takeoff")}
    if case.scenario.fault is not None and case.scenario.fault.kind in ("static-blocked", "frozen-altitude"):
        return
    for height, (kind, name) in wanted.items():
        call = _first(heard, kind, name)
        if call is None or call.event.t_s is None or height not in truth:
            continue
        if height == 1000.0 and (case.scenario.kind == "circuit" or case.options.level_off_ft is not None):
            continue
        if height == 300.0 and case.scenario.flaps_deg:
            continue
        result.heights_s[height] = call.event.t_s - truth[height]


def missing_calls(case: Case, heard: Sequence[Heard]) -> list[str]:
    """Routine calls a clean flight should have had and did not."""
    had = {h.event.id for h in heard if h.event.kind == "callout"}
    sent, truth = case.columns, case.truth
    want: set[str] = set()
    if case.scenario.kind in ("burst", "rejected"):
        return []
    if "throttle" in sent or "rpm" in sent:
        want.add("power-set")
    if truth.half_speed is not None:
        want.add("airspeed-alive")
    if truth.wheels_off is not None:
        want.add("climb-speed")
        if truth.rotate_indicated is not None and truth.rotate_indicated < truth.wheels_off:
            want.add("rotate")
        levels = truth.heights if "height_ft" in sent else truth.indicated
        end = float(sent["time_s"][-1])
        for height, name in ((300.0, "flaps-up"), (500.0, "turn"), (1000.0, "after-takeoff")):
            if name == "flaps-up" and "flaps_deg" not in sent:
                continue
            if height in levels and levels[height] < end - 4.0:
                want.add(name)
    return sorted(want - had)
