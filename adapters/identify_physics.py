"""What one channel tells of another: a climb of a vertical speed, a turn of a bank, a speed of a change of position.

Each function compares a claim with channels already found ("anchors": name -> series in the channel's unit on the
even clock). Both sides get the same smoothing, so that an instrument's noise cannot pass for physics.

Formulas: standard rate of turn psi' = g tan(bank) / V; climb h' = V sin(path angle); a minute of latitude is a
nautical mile (1,852 m / 1,855.3 m: within 1 %); density of the standard atmosphere (ISO 2533:1975, troposphere):
sigma = (1 - 2.25577e-5 h)^4.2559, h in m; pressure: exponent 5.25588.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np

from adapters.identify_score import Claim, Reason, Scene
from adapters.identify_table import GRID_HZ, Floats, box, slope

Anchors = Mapping[str, Floats]

G_KT_PER_S = 9.80665 / 0.514444
"""Standard gravity in knots a second (CGPM 1901; 1 kt = 1852/3600 m/s)."""
FLYING_KT = 40.0
"""Above this a trainer is fast enough for the formulas of flight (common practice, no source)."""
POSITION_S = 6.0
"""Position is sent coarsely (7 digits of a degree are a metre): its change is taken over this time."""


def pressure_ratio(altitude_ft: Floats) -> Floats:
    """Static pressure over sea level's in the standard atmosphere (ISO 2533)."""
    return np.asarray((1 - 2.25577e-5 * 0.3048 * altitude_ft) ** 5.25588)


def density_ratio(altitude_ft: Floats) -> Floats:
    """Air density over sea level's in the standard atmosphere (ISO 2533)."""
    return np.asarray((1 - 2.25577e-5 * 0.3048 * altitude_ft) ** 4.25588)


def agree(x: Floats, y: Floats, tolerance: float, words: str, most: float = 6.0) -> Reason | None:
    """Points for two series that should be equal but for a constant, by correlation and by the ratio of their swings.

    tolerance: one sigma of log(swing of x / swing of y). None when there is too little movement to tell.
    """
    known = np.isfinite(x) & np.isfinite(y)
    if known.sum() < 5 * GRID_HZ:
        return None
    x, y = x[known] - x[known].mean(), y[known] - y[known].mean()
    sx, sy = float(x.std()), float(y.std())
    if sx == 0 or sy == 0:
        return None
    r = float((x * y).mean() / (sx * sy))
    if r < -0.6:
        return Reason(-8.0, f"runs against {words}")
    if r * r < 0.5:
        return Reason(-4.0, f"does not follow {words}")
    size = min(12.0, 0.5 * (math.log(sx / sy) / tolerance) ** 2)
    points = most * (r * r - 0.5) / 0.5 - size
    ratio = sx / sy
    verdict = f"agrees with {words}" if size < 2 else f"follows {words}, but its size is {ratio:.3g} times that"
    return Reason(points, verdict)


def heading_rate(heading_deg: Floats, seconds: float = 2.0) -> Floats:
    """Degrees a second of a compass series, its jumps at north taken out."""
    return slope(np.degrees(np.unwrap(np.radians(heading_deg))), seconds)


def _rise(anchors: Anchors) -> Floats | None:
    for name in ("altitude_ft", "height_ft"):
        if name in anchors:
            return slope(anchors[name]) * 60.0
    return None


def _speed(anchors: Anchors) -> Floats | None:
    """The true airspeed as near as is known, kt: from the indicated one and the altitude, else groundspeed."""
    if "ias_kt" in anchors:
        altitude = anchors.get("altitude_ft")
        thin = 1.0 if altitude is None else np.sqrt(density_ratio(np.clip(altitude, -2000, 30000)))
        return np.asarray(anchors["ias_kt"] / thin)
    return anchors.get("groundspeed_kt")


def _flying(anchors: Anchors, series: Floats) -> Floats | None:
    """The series, NaN where the aeroplane is not flying; None when that is unknown."""
    speed = _speed(anchors)
    if speed is None:
        return None
    rise = _rise(anchors)
    aloft = speed > FLYING_KT
    if rise is not None:
        aloft &= np.abs(box(rise, 20.0)) > 100.0
    return np.where(aloft, series, np.nan)


def vertical_speed(claim: Claim, anchors: Anchors, scene: Scene) -> list[Reason | None]:
    """Against the change of altitude; a real indicator may be a few seconds behind."""
    rise = _rise(anchors)
    if rise is None:
        return []
    mine = box(claim.series(), 2.0)
    if abs(float(np.corrcoef(mine, rise)[0, 1])) < 0.3:
        return [Reason(-4.0, "does not follow the change of altitude")]
    found = []
    for lag in (0.0, 1.0, 2.0, 4.0, 6.0):
        late = np.roll(rise, round(lag * GRID_HZ))
        reason = agree(mine, late, 0.08 if lag == 0 else 0.15, "the change of altitude")
        if reason:
            found.append(Reason(reason.points - 0.3 * lag, reason.words))
    return [max(found, key=lambda reason: reason.points, default=None)]


def bank(claim: Claim, anchors: Anchors, scene: Scene) -> list[Reason | None]:
    """Against the rate of turn: psi' V = g tan(bank)."""
    speed, heading = _speed(anchors), anchors.get("heading_deg")
    if speed is None or heading is None:
        return []
    lean = np.radians(np.clip(claim.series(), -75, 75))
    predicted = box(np.tan(lean) * G_KT_PER_S, 2.0)
    turned = np.radians(heading_rate(heading)) * speed
    return [agree(_or_nan(_flying(anchors, predicted)), turned, 0.15, "the rate of turn")]


def _or_nan(series: Floats | None) -> Floats:
    return np.zeros(0) if series is None else series


def pitch(claim: Claim, anchors: Anchors, scene: Scene) -> list[Reason | None]:
    """Against the path: the nose follows the climb angle with an angle of attack between, never exactly."""
    speed, rise = _speed(anchors), _rise(anchors)
    if speed is None or rise is None:
        return []
    path = np.degrees(np.arcsin(np.clip(rise / np.maximum(speed, 20.0) / 101.269, -0.7, 0.7)))
    mine = _flying(anchors, box(claim.series(), 2.0))
    if mine is None:
        return []
    known = np.isfinite(mine)
    if known.sum() < 10 * GRID_HZ or np.std(mine[known]) == 0:
        return []
    r = float(np.corrcoef(mine[known], path[known])[0, 1])
    size = math.log(float(np.std(mine[known])) / max(1e-9, float(np.std(path[known]))))
    if r < 0.3:
        return [Reason(-4.0 if r > -0.3 else -8.0, "does not follow the climb angle")]
    reasons: list[Reason | None] = [Reason(3.0 * r - min(8.0, 0.5 * (size / 0.5) ** 2), "follows the climb angle")]
    left = float(np.std(mine[known] - path[known]))
    if left < 0.12 * float(np.std(path[known])) and abs(float(np.mean(mine[known] - path[known]))) < 0.8:
        reasons.append(Reason(-4.0, "is the climb angle itself, not the nose"))
    return reasons


def height(claim: Claim, anchors: Anchors, scene: Scene) -> list[Reason | None]:
    """Against the altitude: the same climb, the terrain between."""
    altitude = anchors.get("altitude_ft")
    return [] if altitude is None else [agree(claim.series(), altitude, 0.04, "the climb in altitude")]


def altitude(claim: Claim, anchors: Anchors, scene: Scene) -> list[Reason | None]:
    """Against the height, and the vertical speed integrated."""
    if "vertical_speed_fpm" in anchors:
        summed = np.cumsum(anchors["vertical_speed_fpm"]) / 60.0 / GRID_HZ
        return [agree(claim.series(), np.asarray(summed), 0.15, "the vertical speed added up", most=3.0)]
    return []


def airspeed(claim: Claim, anchors: Anchors, scene: Scene) -> list[Reason | None]:
    """Against the groundspeed: alike but for the wind."""
    other = anchors.get("groundspeed_kt")
    if other is None:
        return []
    reason = agree(claim.series(), other, 0.25, "the groundspeed but for the wind", most=2.0)
    return [reason]


def groundspeed(claim: Claim, anchors: Anchors, scene: Scene) -> list[Reason | None]:
    """Against the change of position, else against the airspeed; standing still it is nought."""
    mine = claim.series()
    reasons: list[Reason | None] = []
    rest = scene.windows("rest")
    if rest:
        still = float(np.median(np.abs(mine[rest[0]])))
        reasons.append(Reason(2.0, "is nought at rest") if still < 1.0 else Reason(-4.0, f"is {still:.3g} kt at rest"))
    over_ground = position_speed(anchors)
    if over_ground is not None:
        reasons.append(agree(box(mine, POSITION_S), over_ground, 0.04, "the change of position", most=8.0))
        reasons.append(_offset(box(mine, POSITION_S) - over_ground, 1.5))
    elif "ias_kt" in anchors:
        reasons.append(agree(mine, anchors["ias_kt"], 0.25, "the airspeed but for the wind", most=2.0))
    return reasons


def _offset(difference: Floats, sigma: float) -> Reason:
    off = float(np.median(np.abs(difference)))
    return Reason(-min(6.0, 0.5 * (off / sigma) ** 2), f"differs by {off:.2g} kt from the change of position")


def position_speed(anchors: Anchors) -> Floats | None:
    """Groundspeed in kt from latitude and longitude; None without them."""
    if "latitude_deg" not in anchors or "longitude_deg" not in anchors:
        return None
    north = slope(anchors["latitude_deg"], POSITION_S) * 60.0 * 3600.0
    east = slope(anchors["longitude_deg"], POSITION_S) * 60.0 * 3600.0 * np.cos(np.radians(anchors["latitude_deg"]))
    return np.asarray(np.hypot(north, east))


def _way(anchors: Anchors, part: Callable[[Floats], Floats]) -> Floats | None:
    speed, course = _speed(anchors), anchors.get("heading_deg")
    return None if speed is None or course is None else np.asarray(speed * part(np.radians(course)))


def latitude(claim: Claim, anchors: Anchors, scene: Scene) -> list[Reason | None]:
    """Against speed and heading, both integrated: so many minutes north."""
    north = _way(anchors, np.cos)
    if north is None:
        return []
    gone = np.cumsum(north) / GRID_HZ / 3600.0 / 60.0
    return [_course(claim.series(), np.asarray(gone), "the way made good north")]


def longitude(claim: Claim, anchors: Anchors, scene: Scene) -> list[Reason | None]:
    """Against speed and heading: so many minutes east, shortened by the latitude."""
    east = _way(anchors, np.sin)
    if east is None:
        return []
    parallel = np.cos(np.radians(anchors["latitude_deg"])) if "latitude_deg" in anchors else 0.75
    gone = np.cumsum(east / parallel) / GRID_HZ / 3600.0 / 60.0
    return [_course(claim.series(), np.asarray(gone), "the way made good east")]


def _course(mine: Floats, gone: Floats, words: str) -> Reason | None:
    """Loosely: the wind is not in the way through the air."""
    return agree(mine, gone, 0.3, words, most=8.0)


def on_ground(claim: Claim, anchors: Anchors, scene: Scene) -> list[Reason | None]:
    """1 standing still and 0 in the climb, and nothing between."""
    mine = claim.series()
    low = box(mine, 1.0)
    between = float(np.mean((low > 0.1) & (low < 0.9)))
    reasons: list[Reason | None] = [
        Reason(-3.0, "is often neither 0 nor 1") if between > 0.03 else Reason(2.5, "is 0 or 1")
    ]
    rest, level = scene.windows("rest"), scene.windows("level") + scene.windows("pitch")
    if rest:
        still = float(np.median(mine[rest[0]]))
        reasons.append(Reason(1.5, "is 1 at rest") if still > 0.9 else Reason(-6.0, "is not 1 at rest"))
    if level:
        aloft = float(np.median(mine[level[0]]))
        reasons.append(Reason(1.5, "is 0 in the air") if aloft < 0.1 else Reason(-6.0, "is not 0 in the air"))
    return reasons


def manifold_pressure(claim: Claim, anchors: Anchors, scene: Scene) -> list[Reason | None]:
    """At full throttle nearly the outside pressure (standard atmosphere), never above it without a supercharger."""
    throttle, altitude = anchors.get("throttle"), anchors.get("altitude_ft")
    if throttle is None:
        return []
    outside = 29.92 * (pressure_ratio(altitude) if altitude is not None else np.ones(len(throttle)))
    full = throttle > 0.95
    if full.sum() < GRID_HZ:
        return []
    short = float(np.median((outside - claim.series())[full]))
    good = -0.5 < short < 4.0
    return [Reason(4.0, "is near the outside pressure at full throttle") if good else Reason(-6.0, "is far from it")]


BY_CHANNEL: dict[str, Callable[[Claim, Anchors, Scene], list[Reason | None]]] = {
    "vertical_speed_fpm": vertical_speed,
    "bank_deg": bank,
    "pitch_deg": pitch,
    "height_ft": height,
    "altitude_ft": altitude,
    "ias_kt": airspeed,
    "groundspeed_kt": groundspeed,
    "latitude_deg": latitude,
    "longitude_deg": longitude,
    "on_ground": on_ground,
    "manifold_pressure_inhg": manifold_pressure,
}


def physics_reasons(claim: Claim, anchors: Anchors, scene: Scene) -> list[Reason]:
    """What the channels found so far say of this claim."""
    check = BY_CHANNEL.get(claim.channel)
    return [] if check is None else [reason for reason in check(claim, anchors, scene) if reason is not None]
