"""Finds which field of an unknown feed is which channel, in which unit and with which sign. Pure: no input, no output.

Theory of operation. A recorded stream is put on an even clock (`identify_table`). Every field is taken as every
channel in every usual unit and sign (`identify_guesses`), and each such claim collects evidence in points:
the readings the pilot typed and what moved when (`identify_score`), the course of the channel itself
(`identify_shape`), the field's name (`identify_labels`). Fields and channels are then matched so that the points add
up to the most (`identify_assign`). The channels found serve as anchors for the physics between channels
(`identify_physics`), and the matching is done again, until nothing changes. What one more candidate explains nearly as
well is said to be unsure.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import msgspec
import numpy as np

from adapters.identify_assign import assign
from adapters.identify_guesses import GUESSES, readings_of
from adapters.identify_labels import label_reasons
from adapters.identify_physics import FLYING_KT, Anchors, density_ratio, physics_reasons
from adapters.identify_result import Found, Identification
from adapters.identify_score import Claim, Reason, Scene, in_range, step_reasons, typed_reasons
from adapters.identify_shape import shape_reasons, time_reasons
from adapters.identify_steps import Answers
from adapters.identify_table import Field, Floats, Table, make_grid
from adapters.identify_travel import travel_note, travel_readings

LEAST_POINTS = 3.0
"""What a claim needs to be proposed at all."""
ANCHOR_POINTS, ANCHOR_CONFIDENCE = 5.0, 0.5
"""What a claim needs to be a measure for others."""
FAR_BEHIND = 12.0
"""A rival with so many points less takes nothing from the confidence."""
TEMPER = 1.5
"""Evidence is not independent: odds are taken as exp(points / TEMPER)."""
HOPELESS = -5.0
"""Claims below this after the first round are left out: the physics of other channels cannot save them."""
KEPT = 300
"""Claims kept for each channel after the first round, at most."""
ROUNDS = 4

NO_ANSWERS = Answers()


def identify(table: Table, answers: Answers = NO_ANSWERS, channels: Iterable[str] = tuple(GUESSES)) -> Identification:
    """The mapping that stream and answers speak for. Never raises on any table; a few rows give an empty answer."""
    grid = make_grid(table)
    if len(grid.t_s) < 20:
        return Identification((), (), ("The stream is too short: under 2 seconds.",), tuple(table.columns))
    scene = Scene(grid, answers)
    claims = {channel: _first_claims(scene, channel) for channel in channels}
    chosen: dict[str, Claim] = {}
    scored: dict[str, list[Claim]] = {}
    for _ in range(ROUNDS):
        before = _signature(chosen)
        anchors = _anchors(chosen, scored) if chosen else {}
        scored = {channel: _with_physics(scene, row, anchors) for channel, row in claims.items()}
        chosen = _choose(scored)
        if _signature(chosen) == before:
            break
    return _report(table, scene, scored, chosen)


def _anchors(chosen: Mapping[str, Claim], scored: Mapping[str, list[Claim]]) -> dict[str, Floats]:
    """The channels found that are sure enough to measure others by."""
    taken = {name: claim.column.field for name, claim in chosen.items()}
    strong = {name: claim for name, claim in chosen.items() if claim.points > ANCHOR_POINTS}
    return {
        name: claim.series()
        for name, claim in strong.items()
        if _confidence(claim, _rivals(claim, scored[name], taken)) > ANCHOR_CONFIDENCE
    }


def _signature(chosen: Mapping[str, Claim]) -> list[tuple[str, Field, str, bool]]:
    return [(name, c.column.field, c.reading.unit, c.reading.flip) for name, c in chosen.items()]


def _first_claims(scene: Scene, channel: str) -> list[Claim]:
    """The best claims for a channel by all evidence that needs no other channel."""
    claims = []
    for column in scene.grid.columns:
        for reading in (*readings_of(channel), *travel_readings(scene, channel, column)):
            if not in_range(channel, column, reading):
                continue
            claim = Claim(channel, column, reading)
            claim.reasons = _own_reasons(scene, claim)
            claims += [claim, *_trimmed(scene, claim)]
    return sorted((claim for claim in claims if claim.points > HOPELESS), key=lambda claim: -claim.points)[:KEPT]


def _own_reasons(scene: Scene, claim: Claim) -> list[Reason]:
    if claim.channel == "time_s":
        return [*time_reasons(scene, claim), *label_reasons(claim)]
    if claim.column.constant and claim.channel not in _MAY_STAND:
        return [Reason(-8.0, "never changes")]
    reasons = typed_reasons(scene, claim) + step_reasons(scene, claim)
    return reasons + shape_reasons(scene, claim) + label_reasons(claim)


_MAY_STAND = frozenset(
    {"oil_temperature_degf", "oil_pressure_psi", "bus_v", "suction_inhg", "oat_degc", "mixture", "fuel_quantity_gal"}
)
"""Channels that a plain simulation may hold constant, and that may then still be right by a typed reading."""


def _trimmed(scene: Scene, claim: Claim) -> list[Claim]:
    """The same with a constant between feed and gauge taken out: altimeter setting, variation, height of the datum."""
    if claim.channel == "height_ft":
        trim = _rest_height(scene, claim)
        note = Reason(0.5, "the height at rest is taken out, so that the wheels stand at 0")
    elif claim.channel in {"altitude_ft", "heading_deg"}:
        trim = _common_difference(scene, claim)
        note = Reason(-4.0, "a constant difference from the gauge is taken out")
    else:
        return []
    if trim is None:
        return []
    reading = msgspec.structs.replace(claim.reading, trim=trim / claim.reading.factor)
    other = Claim(claim.channel, claim.column, reading)
    other.reasons = [*_own_reasons(scene, other), note]
    return [other]


def _rest_height(scene: Scene, claim: Claim) -> float | None:
    """What to add so that the wheels stand at 0; None when there is no rest or it is no such small amount."""
    rest = scene.windows("rest")
    if not rest:
        return None
    still = float(np.median(claim.series()[rest[0]]))
    return -still if 0.3 < abs(still) < 15.0 else None


def _common_difference(scene: Scene, claim: Claim) -> float | None:
    """The difference that two or more typed readings have in common; None when they have none or it is too big."""
    if len(scene.readings(claim.channel)) < 2:
        return None
    series, wraps = claim.series(), GUESSES[claim.channel].wraps
    most, same = (25.0, 5.0) if wraps else (1500.0, 60.0)
    differences = []
    for typed, part in scene.readings(claim.channel):
        off = typed.value - float(np.median(series[part]))
        differences.append((off + 180.0) % 360.0 - 180.0 if wraps else off)
    if max(differences) - min(differences) > 2 * same:
        return None
    middle = float(np.median(differences))
    return middle if same < abs(middle) < most else None


def _with_physics(scene: Scene, claims: list[Claim], anchors: Anchors) -> list[Claim]:
    """The claims with the physics of the anchors added; a claim is never measured against itself."""
    scored = []
    for claim in claims:
        others = {name: series for name, series in anchors.items() if name != claim.channel}
        extra = physics_reasons(claim, others, scene)
        scored.append(Claim(claim.channel, claim.column, claim.reading, [*claim.reasons, *extra]))
    if scored and scored[0].channel == "ias_kt":
        _tell_true_from_indicated(scored, anchors)
    scored.sort(key=lambda claim: claim.points, reverse=True)
    return scored


def _tell_true_from_indicated(claims: list[Claim], anchors: Anchors) -> None:
    """Of two airspeeds in step, the one that gains on the other as the air thins is the true one, not the indicated."""
    altitude = anchors.get("altitude_ft")
    if altitude is None:
        return
    thin = -0.5 * np.log(density_ratio(np.clip(altitude, -2000, 30000)))
    series = [claim.series() for claim in claims]
    for i, slow in enumerate(claims):
        for j, fast in enumerate(claims):
            if slow.column.field != fast.column.field and _gains(series[i], series[j], thin):
                fast.reasons = [
                    *fast.reasons,
                    Reason(-5.0, f"gains on field {slow.column.field} as the air thins: true airspeed"),
                ]
                slow.reasons = [
                    *slow.reasons,
                    Reason(1.0, f"falls behind field {fast.column.field} as the air thins: indicated"),
                ]
                return


def _gains(slow: Floats, fast: Floats, thin: Floats) -> bool:
    """Whether log(fast / slow) rises with the thinning of the air just as true airspeed does, and by little else."""
    aloft = (slow > FLYING_KT) & (fast > FLYING_KT)
    if aloft.sum() < 300 or np.ptp(thin[aloft]) < 0.01:
        return False
    ratio, x = np.log(fast[aloft] / slow[aloft]), thin[aloft]
    gain, start = np.polyfit(x, ratio, 1)
    left = float(np.std(ratio - gain * x - start))
    return 0.75 < gain < 1.35 and left < 0.006


def _choose(scored: Mapping[str, list[Claim]]) -> dict[str, Claim]:
    """The best matching of channels and fields."""
    best: dict[str, dict[int, float]] = {}
    for channel, claims in scored.items():
        row: dict[int, float] = {}
        for claim in claims:
            key = id(claim.column)
            row[key] = max(row.get(key, -math.inf), claim.points)
        best[channel] = {key: points for key, points in row.items() if points > LEAST_POINTS}
    pairs = assign(best, LEAST_POINTS)
    return {channel: next(c for c in scored[channel] if id(c.column) == key) for channel, key in pairs.items()}


def _report(
    table: Table, scene: Scene, scored: Mapping[str, list[Claim]], chosen: Mapping[str, Claim]
) -> Identification:
    taken = {name: claim.column.field for name, claim in chosen.items()}
    found = tuple(_found(claim, scored[channel], taken) for channel, claim in chosen.items())
    missing = tuple(
        (g.channel, _why_missing(scored.get(g.channel, [])))
        for g in GUESSES.values()
        if g.main and g.channel not in chosen
    )
    notes = [f"{table.left_out} records beyond the first {len(table.t_s)} were left out."] if table.left_out else []
    flaps = travel_note(scene, frozenset(taken.values())) if "flaps_deg" not in chosen else None
    notes += [flaps] if flaps else []
    unused = tuple(field for field in table.columns if field not in taken.values())
    return Identification(found, missing, tuple(notes), unused)


def _why_missing(claims: list[Claim]) -> str:
    if not claims or claims[0].points <= LEAST_POINTS:
        return "no field behaves like it, or the readings that would show it were not typed"
    return f"field {claims[0].column.field} would fit, but it fits another channel better"


def _found(claim: Claim, claims: list[Claim], taken: Mapping[str, Field]) -> Found:
    rivals = _rivals(claim, claims, taken)
    close = tuple(_rival(rival) for rival in rivals if rival.points > claim.points - 4.0)
    reasons = tuple(sorted(claim.reasons, key=lambda reason: -abs(reason.points)))
    reading, column = claim.reading, claim.column
    low, high = claim.ends((column.low, column.high))
    return Found(claim.channel, column.field, reading, _confidence(claim, rivals), reasons, close, low, high)


def _rivals(claim: Claim, claims: list[Claim], taken: Mapping[str, Field]) -> list[Claim]:
    """Other ways to explain the channel: not those of fields that are taken, nor those that give the same values."""
    others = {field for name, field in taken.items() if name != claim.channel}
    near = [rival for rival in claims if rival.points > claim.points - FAR_BEHIND and rival.column.field not in others]
    return [rival for rival in near if _differs(rival, claim)]


def _confidence(claim: Claim, rivals: list[Claim]) -> float:
    """The claim's share of the odds, its rivals and "none of the fields" against it."""
    nothing = math.exp((LEAST_POINTS - claim.points) / TEMPER)
    return 1.0 / (1.0 + nothing + sum(math.exp((rival.points - claim.points) / TEMPER) for rival in rivals))


def _differs(other: Claim, claim: Claim) -> bool:
    """Whether another claim would give other values; not so for a second field with the same in another unit."""
    mine, its = claim.series(), other.series()
    swing = float(np.ptp(mine))
    return swing == 0 or float(np.max(np.abs(mine - its))) >= 0.01 * swing


def _rival(claim: Claim) -> str:
    sign = ", other way round" if claim.reading.flip else ""
    trim = f", with {claim.reading.trim:+.4g} first" if claim.reading.trim else ""
    unit = "0 to 1" if claim.reading.unit == "1" else claim.reading.unit
    return f"field {claim.column.field} in {unit}{sign}{trim}"
