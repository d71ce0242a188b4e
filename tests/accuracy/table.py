"""The tables of the Monte Carlo, in Markdown."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from tests.accuracy.figures import Result
from tests.accuracy.intervals import percentile, share_limits


def _share(name: str, goal: str, hits: int, n: int) -> str:
    low, high = share_limits(hits, n)
    return f"| {name} | {goal} | {hits} of {n} | {100 * low:.2f} to {100 * high:.2f} % |"


def _errors(name: str, goal: str, values: Sequence[float]) -> str:
    if not values:
        return f"| {name} | {goal} | none measured | |"
    p50, p95, worst = percentile(values, 0.5), percentile(values, 0.95), percentile(values, 1.0)
    return f"| {name} | {goal} | p50 {p50:.3f}, **p95 {p95:.3f}**, worst {worst:.2f} s | n {len(values)} |"


def report(results: Sequence[Result]) -> str:
    """Everything, for a person."""
    useless = [r.name for r in results if not r.valid]
    results = [r for r in results if r.valid]
    clean = [r for r in results if r.fault is None]
    faulted = [r for r in results if r.fault is not None]
    parts = [f"Left out because the model did not fly or turned over: {len(useless)} ({', '.join(useless[:12])})"]
    if clean:
        parts.append(_clean_table(clean))
    if faulted:
        parts += [_fault_table(faulted), _kind_table(faulted)]
    parts += [_timing_table(results), _trouble(results)]
    return "\n\n".join(parts)


def _clean_table(clean: Sequence[Result]) -> str:
    n = len(clean)
    flown = [r for r in clean if r.kind != "burst"]
    advisories = [len(r.advisories) for r in clean]
    lines = [
        f"### Clean flights: {n}",
        "| figure | goal | found | 95 % limits |",
        "|---|---|---|---|",
        _share("flights with a false warning", "0", sum(bool(r.verdict.false) for r in clean), n),
        _share("flights breaking an absolute rule", "0", sum(bool(r.verdict.rules) for r in clean), n),
        _share("flights lacking a routine call", "0", sum(bool(r.missing) for r in flown), len(flown)),
        _share("flights with a caution", "", sum(bool(r.cautions) for r in clean), n),
        f"| advisories a flight | median 0, mean < 0.5 | {_spread(advisories)} | |",
        f"| which advisories | | {dict(Counter(a for r in clean for a in r.advisories).most_common(8))} | |",
        f"| which cautions | | {dict(Counter(a for r in clean for a in r.cautions).most_common(8))} | |",
        f"| which calls are missing | | {dict(Counter(a for r in clean for a in r.missing).most_common(12))} | |",
    ]
    return "\n".join(lines)


def _spread(counts: Sequence[int]) -> str:
    return f"median {np.median(counts):.0f}, mean {np.mean(counts):.2f}"


def _fault_table(faulted: Sequence[Result]) -> str:
    n = len(faulted)
    needed = [r for r in faulted if r.required]
    fast = [r.verdict.delay_s for r in needed if r.verdict.delay_s is not None and r.rate_hz >= 20.0]
    slow = [r.verdict.delay_s for r in needed if r.verdict.delay_s is not None and r.rate_hz < 20.0]
    lines = [
        f"### Flights with one fault: {n}, of which {len(needed)} need a call",
        "| figure | goal | found | 95 % limits |",
        "|---|---|---|---|",
        _share("flights with a false warning", "0", sum(bool(r.verdict.false) for r in faulted), n),
        _share("missed", "0", sum(r.verdict.missed for r in needed), len(needed)),
        _share("wrong reason", "0", sum(bool(r.verdict.wrong_reason) for r in faulted), n),
        _share("too late to count", "0", sum(r.verdict.late for r in needed), len(needed)),
        _share("absolute rule broken", "0", sum(bool(r.verdict.rules) for r in faulted), n),
        _delay("delay after crossing and hold, 20 Hz and more", fast),
        _delay("the same, slower feeds", slow),
    ]
    return "\n".join(lines)


def _delay(name: str, values: Sequence[float]) -> str:
    if not values:
        return f"| {name} | median 0.5, p99 1.5 s | none | |"
    a = np.array(values)
    found = f"median {np.median(a):.2f}, p95 {np.quantile(a, 0.95):.2f}, p99 {np.quantile(a, 0.99):.2f} s"
    return f"| {name} | median ≤ 0.5, p99 ≤ 1.5 s | {found} | n {len(a)} |"


def _kind_table(faulted: Sequence[Result]) -> str:
    lines = [
        "| fault | flights | need a call | false | missed | late | wrong reason | rules | median delay s | outcomes |"
    ]
    lines.append("|---|---|---|---|---|---|---|---|---|---|")
    for kind in sorted({str(r.fault) for r in faulted}):
        lines.append(_kind_line(kind, [r for r in faulted if r.fault == kind]))
    return "\n".join(lines)


def _kind_line(kind: str, rows: Sequence[Result]) -> str:
    delays = [r.verdict.delay_s for r in rows if r.verdict.delay_s is not None]
    cells: list[object] = [kind, len(rows), sum(r.required for r in rows)]
    cells += [sum(bool(r.verdict.false) for r in rows), sum(r.verdict.missed for r in rows)]
    cells += [sum(r.verdict.late for r in rows), sum(bool(r.verdict.wrong_reason) for r in rows)]
    cells += [sum(bool(r.verdict.rules) for r in rows), f"{np.median(delays):.2f}" if delays else "–"]
    cells.append(dict(Counter(r.verdict.outcome for r in rows).most_common(4)))
    return "| " + " | ".join(str(c) for c in cells) + " |"


def _timing_table(results: Sequence[Result]) -> str:
    fast = [r for r in results if r.rate_hz == 20.0]
    ones = [r for r in results if r.rate_hz == 1.0]

    def lift(rows: Sequence[Result], switch: bool) -> list[float]:
        return [r.liftoff_s for r in rows if r.liftoff_s is not None and r.switch == switch]

    def heights(rows: Sequence[Result], level: float) -> list[float]:
        return [r.heights_s[level] for r in rows if level in r.heights_s]

    heard = [r.rotate_out_s for r in fast if r.rotate_out_s is not None]
    gusty = [r.rotate_out_s for r in fast if r.rotate_out_s is not None and r.gust_kt >= 1.0]
    ias = [r.rotate_ias for r in fast if r.rotate_ias is not None]
    inside = sum(-2.05 <= v <= 0.55 for v in ias)
    in_gusts = [r.rotate_out_s for r in fast if r.rotate_out_s is not None and r.gust_kt > 0.0]
    slow_vs = [r for r in ones if r.vertical_speed]
    lines = [
        "### Times",
        "| figure | goal | found | |",
        "|---|---|---|---|",
        _errors("rotate heard at VR, 20 Hz", "p95 ≤ 0.30", heard),
        _errors("rotate heard at VR, 20 Hz, in gusts", "p95 ≤ 0.30", in_gusts),
        _errors("of these in gusts ≥ 1 kt", "", gusty),
        _share("rotate between VR − 2 and VR + 0.5, 20 Hz", "all", inside, len(ias)),
        _errors("lift-off, 20 Hz, ground switch", "p95 ≤ 0.05", lift(fast, True)),
        _errors("lift-off, 20 Hz, no switch", "p95 ≤ 0.20", lift(fast, False)),
        _errors("lift-off, 1 Hz, no switch, vertical speed", "p95 ≤ 0.5", lift(slow_vs, False)),
        _errors("lift-off, 1 Hz, ground switch", "", lift(ones, True)),
    ]
    for level in (300.0, 500.0, 1000.0):
        sent, derived = [r for r in fast if r.height], [r for r in fast if not r.height]
        lines.append(_errors(f"{level:.0f} ft, 20 Hz", "p95 ≤ 0.1", heights(fast, level)))
        lines.append(_errors("of these, height sent", "", heights(sent, level)))
        lines.append(_errors("of these, altitude only", "", heights(derived, level)))
    return "\n".join(lines)


def _odd_times(r: Result) -> list[str]:
    """Calls missing, and times so far out that someone should look."""
    odd = [f"LACKS {', '.join(r.missing)}"] if r.missing else []
    allowed = 0.5 if r.rate_hz >= 5.0 else 2.0
    if r.liftoff_s is not None and abs(r.liftoff_s) > allowed:
        odd.append(f"LIFT-OFF {r.liftoff_s:+.2f} s, {'with' if r.switch else 'no'} switch")
    odd += [f"HEIGHT {h:.0f} ft {e:+.2f} s" for h, e in r.heights_s.items() if abs(e) > allowed]
    return odd


def _trouble(results: Sequence[Result]) -> str:
    """The flights to look at, one line each."""
    lines = ["### Flights to look at (`python -m tests.accuracy show --dir D NAME`)"]
    for r in results:
        found = [f"FALSE {x}" for x in r.verdict.false] + [f"REASON {x}" for x in r.verdict.wrong_reason]
        found += [f"RULE {x}" for x in r.verdict.rules] + (["MISSED"] if r.verdict.missed else [])
        found += [f"LATE by {r.verdict.delay_s}"] if r.verdict.late else []
        found += _odd_times(r)
        if found:
            lines.append(f"- {r.name} {r.aeroplane} {r.kind} {r.fault or ''} {r.rate_hz:g} Hz: " + "; ".join(found[:3]))
    return "\n".join(lines)
