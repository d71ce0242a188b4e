"""Distance along a runway and offset from its centreline, from two surveyed thresholds on the WGS 84 ellipsoid."""

from __future__ import annotations

from math import cos, radians, sin

from geographiclib.geodesic import Geodesic

from monitor.geo import turn

FEET_PER_M = 1.0 / 0.3048


class Centreline:
    """The line from one threshold to the other.

    The geodesic between the thresholds gives azimuth and length (C. F. F. Karney, Algorithms for geodesics, 2013). A
    point near it is placed by metres a degree, taken from geodesics at the first threshold: over 3 km of runway the
    plane that this presumes is off by a few millimetres.
    """

    def __init__(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        self._start = start
        found = Geodesic.WGS84.Inverse(*start, *end)
        self.azimuth_deg: float = found["azi1"] % 360.0
        self.length_ft: float = found["s12"] * FEET_PER_M
        # Metres a degree at the threshold, from short geodesics north and east: exact there, and cheap at every sample.
        step = 1e-4
        lat, lon = start
        self._north_m = Geodesic.WGS84.Inverse(lat, lon, lat + step, lon)["s12"] / step
        self._east_m = Geodesic.WGS84.Inverse(lat, lon, lat, lon + step)["s12"] / step
        angle = radians(self.azimuth_deg)
        self._cos, self._sin = cos(angle), sin(angle)

    @classmethod
    def between(cls, start: tuple[float, float] | None, end: tuple[float, float] | None) -> Centreline | None:
        """The line, or None where a threshold is unknown or the two are one."""
        if start is None or end is None or start == end:
            return None
        return cls(start, end)

    def _metres(self, latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
        north = (latitude_deg - self._start[0]) * self._north_m
        east = turn(self._start[1], longitude_deg) * self._east_m
        return north, east

    def offset_ft(self, latitude_deg: float, longitude_deg: float) -> float:
        """Feet right (positive) or left of the centreline, as seen along it."""
        north, east = self._metres(latitude_deg, longitude_deg)
        return (east * self._cos - north * self._sin) * FEET_PER_M

    def along_ft(self, latitude_deg: float, longitude_deg: float) -> float:
        """Feet along the runway from the first threshold."""
        north, east = self._metres(latitude_deg, longitude_deg)
        return (north * self._cos + east * self._sin) * FEET_PER_M
