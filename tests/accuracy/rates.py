"""The same flights at 60, 20, 5 and 1 Hz, one sample in 5 s, and thinned at random: what stays, and what gets worse."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from monitor.options import Options
from tests.accuracy.figures import Result, hear, measure
from tests.accuracy.intervals import percentile
from tests.accuracy.store import case_of
from tests.accuracy.variety import draw_scenario, draw_sensors
from tests.flights_jsbsim.judge import Heard
from tests.flights_jsbsim.pilot import Pilot

VARIANTS: dict[str, dict[str, float]] = {
    "60 Hz": {"rate_hz": 60.0},
    "20 Hz": {"rate_hz": 20.0},
    "20 Hz, 20 % lost": {"rate_hz": 20.0, "loss": 0.2},
    "20 Hz, half lost": {"rate_hz": 20.0, "loss": 0.5},
    "5 Hz": {"rate_hz": 5.0},
    "5 Hz, 20 % lost": {"rate_hz": 5.0, "loss": 0.2},
    "1 Hz": {"rate_hz": 1.0},
    "1 Hz, 20 % lost": {"rate_hz": 1.0, "loss": 0.2},
    "1 in 5 s": {"rate_hz": 0.2},
}
"""Name to the sensors' values."""

CALLS = ("power-set", "airspeed-alive", "rotate", "climb-speed", "flaps-up", "turn", "after-takeoff")


@dataclass
class Compared:
    """One flight in one variant: its figures, and each call's time less that of the 60 Hz run (s)."""

    variant: str
    switch: bool
    result: Result
    shifts: dict[str, float] = field(default_factory=dict)
    extra: list[str] = field(default_factory=list)
    gone: list[str] = field(default_factory=list)


def compared(seed: int) -> list[Compared]:
    """One seed's takeoff in every variant, with and without a ground switch."""
    scenario = replace(draw_scenario(seed), kind="takeoff")
    raw = Pilot(scenario).fly()
    quiet = replace(draw_sensors(seed), loss=0.0, jitter=0.0, missing=frozenset())
    options = Options(field_elevation_ft=scenario.elevation_ft)
    out: list[Compared] = []
    for switch in (True, False):
        base: dict[str, float] = {}
        for name, values in VARIANTS.items():
            missing = frozenset() if switch else frozenset({"on_ground"})
            case = case_of(f"seed-{seed} {name}", raw, replace(quiet, missing=missing, **values), options)  # type: ignore[arg-type]
            heard = hear(case)
            times = _times(heard)
            base = base or times
            shifts = {c: times[c] - base[c] for c in CALLS if c in times and c in base}
            extra, gone = sorted(set(times) - set(base)), sorted(set(base) - set(times))
            out.append(Compared(name, switch, measure(case, heard), shifts, extra, gone))
    return out


def _times(heard: Sequence[Heard]) -> dict[str, float]:
    return {h.event.id: h.event.t_s for h in heard if h.event.kind == "callout" and h.event.t_s is not None}


def rates_report(rows: Sequence[Compared]) -> str:
    """The table."""
    head = "| feed | flights | false warnings | calls lost | calls added | lift-off p95 s, switch | no switch "
    head += "| rotate VR − 2 to + 0.5 | 300 ft p95 s | 500 ft p95 s | 1,000 ft p95 s | calls against 60 Hz p95 s |"
    lines = [head, "|---" * 12 + "|"]
    return "\n".join(lines + [_line(name, [r for r in rows if r.variant == name]) for name in VARIANTS])


def _line(name: str, rows: Sequence[Compared]) -> str:
    lift = {
        s: [r.result.liftoff_s for r in rows if r.switch == s and r.result.liftoff_s is not None] for s in (True, False)
    }
    ias = [r.result.rotate_ias for r in rows if r.result.rotate_ias is not None]
    cells: list[object] = [name, len(rows), sum(bool(r.result.verdict.false) for r in rows)]
    cells += [sum(len(r.gone) for r in rows), sum(len(r.extra) for r in rows)]
    cells += [f"{percentile(lift[True], 0.95):.2f}", f"{percentile(lift[False], 0.95):.2f}"]
    cells.append(f"{sum(-2.05 <= v <= 0.55 for v in ias)} of {len(ias)}")
    for level in (300.0, 500.0, 1000.0):
        cells.append(
            f"{percentile([r.result.heights_s[level] for r in rows if level in r.result.heights_s], 0.95):.2f}"
        )
    cells.append(f"{percentile([s for r in rows for s in r.shifts.values()], 0.95):.2f}")
    return "| " + " | ".join(str(c) for c in cells) + " |"
