"""What a channel's own course looks like through a guided flight: levers, order of a roll, usual values.

All usual values here are common practice of single-engine piston trainers, no source; they are wide, and a typed
reading or the physics of motion outweighs them.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec
import numpy as np

from adapters.identify_score import Claim, Reason, Scene
from adapters.identify_table import GRID_HZ, Floats


class Usual(msgspec.Struct, frozen=True):
    """Values a channel passes through in a step: the lowest and the highest must lie in these bands."""

    step: str
    low: tuple[float, float]
    high: tuple[float, float]


USUAL: dict[str, tuple[Usual, ...]] = {
    "ias_kt": (Usual("rest", (-5, 30), (-5, 30)), Usual("takeoff", (-5, 30), (50, 150))),
    "groundspeed_kt": (Usual("rest", (-1, 1), (-1, 1)), Usual("takeoff", (-1, 20), (40, 160))),
    "altitude_ft": (Usual("rest", (-1500, 14000), (-1500, 14000)),),
    "height_ft": (Usual("rest", (-10, 20), (-10, 20)),),
    "vertical_speed_fpm": (Usual("takeoff", (-400, 200), (300, 3000)),),
    "pitch_deg": (Usual("rest", (-6, 15), (-6, 15)), Usual("pitch", (-25, 12), (4, 35))),
    "bank_deg": (Usual("rest", (-5, 5), (-5, 5)), Usual("bank", (-60, -8), (8, 60))),
    "rpm": (Usual("rest", (300, 1500), (300, 1500)), Usual("throttle", (300, 1300), (1700, 3200))),
    "oil_pressure_psi": (Usual("takeoff", (5, 110), (25, 130)),),
    "oil_temperature_degf": (Usual("takeoff", (30, 250), (50, 270)),),
    "cht_degf": (Usual("takeoff", (50, 650), (150, 700)),),
    "egt_degf": (Usual("takeoff", (200, 1600), (900, 1800)),),
    "fuel_flow_gph": (Usual("throttle", (0.2, 4), (4, 30)),),
    "manifold_pressure_inhg": (Usual("throttle", (5, 20), (17, 32)),),
    "flaps_deg": (Usual("flaps", (-2, 3), (8, 50)),),
    "normal_acceleration_g": (Usual("rest", (0.9, 1.1), (0.9, 1.1)),),
    "suction_inhg": (Usual("takeoff", (0, 6), (3, 7)),),
    "bus_v": (Usual("rest", (10, 30), (10, 30)),),
    "oat_degc": (Usual("rest", (-40, 50), (-40, 50)),),
}

_LEVERS = {
    "throttle": "throttle",
    "brake": "brake",
    "parking_brake": "parking-brake",
    "carburettor_heat": "carburettor-heat",
}
_STICKS = {"elevator": "elevator", "aileron": "aileron", "rudder": "rudder", "elevator_trim": "trim"}
_FIRST_HIGH = frozenset({"elevator", "elevator_trim", "pitch_deg"})
_ORDER_STEP = {**_STICKS, "pitch_deg": "pitch", "bank_deg": "bank"}


def shape_reasons(scene: Scene, claim: Claim) -> list[Reason]:
    """All that a claim's own course says for or against it."""
    reasons = [_usual(scene, claim, usual) for usual in USUAL.get(claim.channel, ())]
    special = _SPECIAL.get(claim.channel)
    if special is not None:
        reasons += special(scene, claim)
    reasons.append(_order(scene, claim))
    return [reason for reason in reasons if reason is not None]


def _usual(scene: Scene, claim: Claim, usual: Usual) -> Reason | None:
    ends = scene.ends(claim, usual.step)
    if ends is None:
        return None
    slack = 3 * claim.column.noise * abs(claim.reading.factor)
    good = _inside(ends[0], usual.low, slack) and _inside(ends[1], usual.high, slack)
    span = f"{ends[0]:.4g} to {ends[1]:.4g}"
    return (
        Reason(1.0, f"usual values in the step {usual.step}")
        if good
        else Reason(-3.0, f"unusual values, {span}, in the step {usual.step}")
    )


def _inside(value: float, band: tuple[float, float], slack: float) -> bool:
    return band[0] - slack <= value <= band[1] + slack


def _order(scene: Scene, claim: Claim) -> Reason | None:
    """Which way it went first: back before forward, left before right, as asked. Decides the sign."""
    step = _ORDER_STEP.get(claim.channel)
    parts = scene.windows(step) if step else []
    if not parts:
        return None
    x = claim.series()[parts[0]]
    swing = float(np.ptp(x))
    if swing == 0:
        return None
    high = float(np.mean(np.flatnonzero(x > x.max() - 0.2 * swing)))
    low = float(np.mean(np.flatnonzero(x < x.min() + 0.2 * swing)))
    if (high < low) == (claim.channel in _FIRST_HIGH):
        return Reason(1.5, "went the way asked first")
    return Reason(-6.0, "went the other way first")


def _lever(scene: Scene, claim: Claim) -> list[Reason]:
    """A lever goes from one stop to the other, 0 to 1, and lies still at rest."""
    ends = scene.ends(claim, _LEVERS[claim.channel])
    if ends is None:
        return []
    slack = 0.03 + 3 * claim.column.noise * abs(claim.reading.factor)
    reasons = [Reason(2.5, "goes from 0 to 1") if abs(ends[0]) < slack and abs(ends[1] - 1) < slack else _short(ends)]
    if claim.channel == "throttle":
        reasons += _throttle(scene, claim)
    return reasons


def _short(ends: tuple[float, float]) -> Reason:
    points = -1.0 if ends[1] > 0.8 and ends[0] < 0.2 else -4.0
    return Reason(points, f"goes from {ends[0]:.2g} to {ends[1]:.2g} only")


def _throttle(scene: Scene, claim: Claim) -> list[Reason]:
    """Closed at rest, and the first to move: the engine's own readings follow it."""
    series = claim.series()
    reasons = []
    rest = scene.windows("rest")
    if rest:
        still = float(np.median(series[rest[0]]))
        reasons.append(Reason(1.5, "is closed at rest") if still < 0.3 else Reason(-5.0, "is not closed at rest"))
    mine, first = _onset(claim.column.values, scene), _first_onset(scene)
    if mine is not None and first is not None:
        late = mine - first
        reasons.append(
            Reason(1.5, "moves first")
            if late < 0.35
            else Reason(-min(4.0, 3 * late), f"moves {late:.1f} s after another")
        )
    return reasons


def _onset(x: Floats, scene: Scene) -> float | None:
    """Seconds into the throttle step until a tenth of the swing is passed."""
    parts = scene.windows("throttle")
    if not parts:
        return None
    x = x[parts[0]]
    swing = np.abs(x - np.median(x[: round(GRID_HZ / 2)]))
    gone = np.flatnonzero(swing > 0.15 * swing.max()) if swing.max() > 0 else np.zeros(0)
    return float(gone[0]) / GRID_HZ if len(gone) else None


def _first_onset(scene: Scene) -> float | None:
    """When the first of the columns that move mainly in the throttle step begins."""
    firsts = []
    for column in scene.grid.columns:
        if (scene.moved(column, "throttle") or 0.0) > 0.6 and column.noise < 0.02 * column.span:
            at = _onset(column.values, scene)
            if at is not None and at > 0.25:
                firsts.append(at)
    return min(firsts, default=None)


def _stick(scene: Scene, claim: Claim) -> list[Reason]:
    """A control goes to both stops, -1 and 1."""
    ends = scene.ends(claim, _STICKS[claim.channel])
    if ends is None or claim.channel == "elevator_trim":
        return []
    if ends[0] < -0.85 and ends[1] > 0.85:
        return [Reason(2.5, "goes from stop to stop")]
    return [Reason(-1.0 if ends[1] - ends[0] > 0.7 else -4.0, f"goes from {ends[0]:.2g} to {ends[1]:.2g} only")]


def _mixture(scene: Scene, claim: Claim) -> list[Reason]:
    ends = scene.ends(claim, "mixture")
    if ends is None:
        return []
    return [
        Reason(2.0, "is rich but for the step")
        if ends[1] > 0.8 and 0.4 < ends[0] < 0.95
        else Reason(-4.0, "is not rich")
    ]


def _heading(scene: Scene, claim: Claim) -> list[Reason]:
    """A right turn through about a quarter of a circle makes the compass rise by about 90."""
    parts = scene.windows("turn")
    if not parts:
        return []
    course = np.degrees(np.unwrap(np.radians(claim.series()[parts[0]])))
    turned = float(course[-1] - course[0])
    steps = np.abs(np.diff(course))
    if not 30.0 < turned < 270.0:
        return [Reason(-6.0, f"turned by {turned:.3g} deg in the turn to the right")]
    if float(np.max(steps)) * GRID_HZ > 40.0 + 10 * claim.column.noise * abs(claim.reading.factor) * GRID_HZ:
        return [Reason(-3.0, "jumped in the turn")]
    return [Reason(3.0, f"turned by {turned:.3g} deg in the turn to the right")]


def _flaps(scene: Scene, claim: Claim) -> list[Reason]:
    """Full flaps are 8 to 50 degrees. A share of the travel, 0 to 1, is easily taken for radians or degrees."""
    ends = scene.ends(claim, "flaps")
    if ends is None or 8.0 <= ends[1] <= 50.0:
        return []
    return [Reason(-6.0, f"goes to {ends[1]:.3g}, which is no angle of full flaps")]


def _temperature(scene: Scene, claim: Claim) -> list[Reason]:
    """Oil is slow to warm: it does not swing with the throttle."""
    share = scene.moved(claim.column, "throttle")
    if claim.column.constant:
        return [Reason(-1.0, "never changes")]
    if share is not None and share > 0.5:
        return [Reason(-3.0, "swings with the throttle")]
    return []


def _altitude(scene: Scene, claim: Claim) -> list[Reason]:
    """The climb asked for is about 1,000 ft."""
    ends = scene.ends(claim, "takeoff")
    if ends is None:
        return []
    climbed = ends[1] - ends[0]
    if 150 < climbed < 4000:
        return [Reason(1.0, "climbs in the takeoff")]
    return [Reason(-3.0, f"climbs {climbed:.3g} ft in the takeoff")]


_SPECIAL: dict[str, Callable[[Scene, Claim], list[Reason]]] = {
    **dict.fromkeys(_LEVERS, _lever),
    **dict.fromkeys(_STICKS, _stick),
    "mixture": _mixture,
    "heading_deg": _heading,
    "flaps_deg": _flaps,
    "oil_temperature_degf": _temperature,
    "altitude_ft": _altitude,
    "height_ft": _altitude,
}


def time_reasons(scene: Scene, claim: Claim) -> list[Reason]:
    """Time runs at the rate of the clock, always forward, and in small steps."""
    x, t = claim.series(), scene.grid.t_s
    rate = float((x[-1] - x[0]) / (t[-1] - t[0]))
    if abs(rate - 1.0) > 0.2:
        return [Reason(-10.0, f"runs at {rate:.3g} times the clock")]
    change = np.diff(x)
    if float(np.min(change)) < -0.01 or float(np.std(x - t)) > 1.0 + 0.02 * (t[-1] - t[0]):
        return [Reason(-6.0, "does not run evenly")]
    coarse = float(np.std(change)) > 0.5 * float(np.mean(change))
    return [
        Reason(8.0, "runs with the clock"),
        Reason(-4.0, "goes in coarse steps") if coarse else Reason(1.0, "is fine"),
    ]
