"""Distances and directions over the ground, on the WGS 84 ellipsoid where positions are there.

Lengths of geodesics by the library geographiclib (C. F. F. Karney, Algorithms for geodesics, 2013).
"""

from __future__ import annotations

import numpy as np
from geographiclib.geodesic import Geodesic

from monitor.centreline import Centreline
from monitor.geo import FEET_PER_S_PER_KNOT, turn
from replay.series import Array, Column, NotMeasured, Series

FEET_PER_METRE = 1.0 / 0.3048
LEAST_ROLL_FT = 100.0  # over less the direction of the roll is not known well enough; common practice, no source
SLOW_START_KT = 22.0  # a roll that began faster cannot tell variation from slip: 200 model rolls cut at 25 kt gave
# errors of up to 42 ft, at 40 kt of up to 54; whole ones, and those cut at 10 kt, are within 11 ft in 95 of 100


def geodesic(from_deg: tuple[float, float], to_deg: tuple[float, float]) -> tuple[float, float]:
    """Distance in feet and initial true bearing in degrees (-180 to 180) between two (latitude, longitude)."""
    line = Geodesic.WGS84.Inverse(*from_deg, *to_deg)
    return line["s12"] * FEET_PER_METRE, line["azi1"]


def position(series: Series, t: float, gap_s: float) -> tuple[float, float]:
    """Latitude and longitude at a time."""
    return series.column("latitude_deg").at(t, gap_s), series.column("longitude_deg").at(t, gap_s)


def distance_ft(series: Series, start: float, end: float, gap_s: float) -> float:
    """How far it went over the ground: between positions, else the integral of groundspeed over time."""
    if series.has("latitude_deg") and series.has("longitude_deg"):
        return geodesic(position(series, start, gap_s), position(series, end, gap_s))[0]
    if not series.has("groundspeed_kt"):
        raise NotMeasured("neither position nor groundspeed_kt was supplied")
    t, v = series.column("groundspeed_kt").between(start, end, gap_s)
    return float(np.trapezoid(v, t)) * FEET_PER_S_PER_KNOT


def speed_over_ground(series: Series, start: float, end: float, span_s: float = 1.0) -> Column:
    """Groundspeed in knots as supplied, else from positions about `span_s` apart."""
    if series.has("groundspeed_kt"):
        return series.column("groundspeed_kt")
    if not series.has("latitude_deg") or not series.has("longitude_deg"):
        raise NotMeasured("neither groundspeed_kt nor position was supplied")
    t, feet, _ = _steps(series, span_s, start, end)
    return Column("groundspeed from position", t[0], feet / t[1] / FEET_PER_S_PER_KNOT)


def track(series: Series, start: float, end: float, span_s: float = 2.0) -> Column:
    """Track over the ground in degrees, unwrapped: as supplied, else from positions about `span_s` apart."""
    if series.has("track_deg"):
        return series.column("track_deg")
    if not series.has("latitude_deg") or not series.has("longitude_deg"):
        raise NotMeasured("neither track_deg nor position was supplied")
    t, _, bearings = _steps(series, span_s, start, end)
    return Column("track from position", t[0], np.unwrap(bearings, period=360.0))


def _steps(series: Series, span_s: float, start: float, end: float) -> tuple[tuple[Array, Array], Array, Array]:
    """Middle time and length of steps of about `span_s`, and each step's distance (ft) and bearing (deg)."""
    latitude, longitude = series.column("latitude_deg"), series.column("longitude_deg")
    inside = np.flatnonzero((latitude.t >= start - span_s) & (latitude.t <= end + span_s))
    times = latitude.t[inside]
    partner = np.searchsorted(times, times + span_s * 0.999)
    good = partner < len(times)
    first, second = np.flatnonzero(good), partner[good]
    if not len(first):
        raise NotMeasured("position is too slow")
    east_at = np.interp(times, longitude.t, longitude.v)
    north_at = latitude.v[inside]
    legs = [geodesic((north_at[i], east_at[i]), (north_at[j], east_at[j])) for i, j in zip(first, second, strict=True)]
    table = np.array(legs).reshape(-1, 2)
    return ((times[first] + times[second]) / 2, times[second] - times[first]), table[:, 0], table[:, 1]


def runway_track(series: Series, start: float, end: float, gap_s: float) -> float:
    """The direction of the ground roll, in the datum of `track`: where the wheels went from `start` to `end`."""
    if series.has("track_deg"):
        middle = start + 0.4 * (end - start)  # at first it is slow, and a slow track wanders
        t, v = series.column("track_deg").between(middle, end, gap_s)
        return float(np.trapezoid(v, t) / (t[-1] - t[0])) % 360.0
    feet, bearing = geodesic(position(series, start, gap_s), position(series, end, gap_s))
    if feet < LEAST_ROLL_FT:
        raise NotMeasured("the roll was too short to tell its direction")
    return bearing % 360.0


def centreline_ft(series: Series, start: float, end: float, runway_heading_deg: float, gap_s: float) -> Array:
    """Sideways distances in feet, right positive, from the line through where the roll began.

    The line runs in the runway's direction. Positions are true and headings may be magnetic; the difference is found
    by `_variation_deg`, for which the roll must begin at a walking pace: a touch-and-go has no such figure.
    """
    origin = position(series, start, gap_s)
    latitude, longitude = series.column("latitude_deg"), series.column("longitude_deg")
    t, north = latitude.between(start, end, gap_s)
    east = np.interp(t, longitude.t, longitude.v)
    legs = np.array([geodesic(origin, point) for point in zip(north, east, strict=True)])
    feet, bearings = legs[:, 0], legs[:, 1]
    if feet[-1] < LEAST_ROLL_FT:
        raise NotMeasured("the roll was too short to tell its direction")
    heading = series.column("heading_deg")
    heading.between(start, end, gap_s)  # for its gaps
    seconds = np.linspace(start, end, max(3, round(end - start) + 1))  # steps of a second: positions may be coarse
    sparse = np.unique(np.searchsorted(t, seconds).clip(max=len(t) - 1))
    headings = np.interp(t[sparse], heading.t, heading.v)
    began_kt = feet[sparse[1]] / (t[sparse[1]] - t[0]) / FEET_PER_S_PER_KNOT
    if began_kt > SLOW_START_KT:
        raise NotMeasured(f"the roll began at {began_kt:.0f} kt and the runway's thresholds were not given")
    variation = _variation_deg(t[sparse], feet[sparse], bearings[sparse], headings)
    return np.asarray(feet * np.sin(np.radians(bearings - (runway_heading_deg + variation))))


def offsets_ft(series: Series, start: float, end: float, line: Centreline, gap_s: float) -> Array:
    """Sideways distances in feet, right positive, from a surveyed centreline."""
    latitude, longitude = series.column("latitude_deg"), series.column("longitude_deg")
    t, north = latitude.between(start, end, gap_s)
    east = np.interp(t, longitude.t, longitude.v)
    return np.array([line.offset_ft(*point) for point in zip(north, east, strict=True)])


def _variation_deg(t: Array, feet: Array, bearings: Array, headings: Array) -> float:
    """How far true directions lie right of the headings sent, from a roll on the wheels.

    At a walking pace an aeroplane goes where its wheels point; a crosswind then makes it slip, the more the faster it
    is (model flights: about 1 degree at 45 kt in 12 kt of crosswind). So the path is that of heading + variation +
    k x speed, and both unknowns are found by least squares over the sideways positions.
    """
    along = np.diff(feet)
    middle = (headings[:-1] + headings[1:]) / 2.0
    coarse = turn(float(np.sum(middle * along) / np.sum(along)), bearings[-1])
    base = bearings[-1]
    sideways = feet * np.sin(np.radians(bearings - base))
    pointed = np.concatenate(
        ([0.0], np.cumsum(np.radians(middle + coarse - base - _whole_turns(middle, base)) * along))
    )
    speed = along / np.diff(t)
    slip = np.concatenate(([0.0], np.cumsum(speed * along)))
    unknowns, *_ = np.linalg.lstsq(np.stack([feet, slip], axis=1), sideways - pointed, rcond=None)
    return float(turn(0.0, coarse + np.degrees(unknowns[0])))


def _whole_turns(headings: Array, base: float) -> float:
    """The multiple of 360 that brings unwrapped headings near a bearing."""
    return 360.0 * round((float(np.mean(headings)) - base) / 360.0)
