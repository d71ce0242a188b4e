"""A made-up takeoff whose every figure is known in closed form, as samples and the events a coach would stamp.

Timeline (seconds): rest to 10; roll from 10 at 2.0 m/s2 along true 040 from a fixed place; nose up from 23 at 1.5
deg/s; lift-off at 26; then a climb of 10 ft/s at an airspeed that rises by 1 kt/s to 72 and stays; a right turn of
18 degrees of bank at 3 deg/s from 86 to 106. No wind: groundspeed is airspeed. Heading is magnetic, 10 less than true.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

import msgspec
from geographiclib.geodesic import Geodesic

from monitor.events import Event
from monitor.sample import Sample
from replay.series import Row

ROLL_S, ROTATE_S, LIFTOFF_S, TURN_S, TURN_END_S, END_S = 10.0, 23.0, 26.0, 86.0, 106.0, 140.0
ACCELERATION = 2.0  # m/s2
KT = 1852.0 / 3600.0  # m/s
TRUE_DEG, MAGNETIC_DEG = 40.0, 30.0
START = (47.0, 8.0)
LIFTOFF_KT = ACCELERATION * (LIFTOFF_S - ROLL_S) / KT  # 62.2
CLIMB_FT_S = 10.0
FIELD_FT = 412.0


def speed_kt(t: float) -> float:
    """Airspeed: constant acceleration on the roll, then 1 kt/s to 72."""
    if t <= LIFTOFF_S:
        return ACCELERATION * max(t - ROLL_S, 0.0) / KT
    return min(LIFTOFF_KT + (t - LIFTOFF_S), 72.0)


def roll_m(t: float) -> float:
    """Distance rolled, half a t squared."""
    return 0.5 * ACCELERATION * max(t - ROLL_S, 0.0) ** 2


def height_ft(t: float) -> float:
    """Height of the wheels."""
    return CLIMB_FT_S * max(t - LIFTOFF_S, 0.0)


@cache
def sample(t: float) -> Sample:
    """The whole sample at a time."""
    along = roll_m(min(t, LIFTOFF_S)) + max(t - LIFTOFF_S, 0.0) * 35.0  # the climb's own distance is not asked for
    place = Geodesic.WGS84.Direct(*START, TRUE_DEG, along)
    turning = TURN_S <= t <= TURN_END_S
    return Sample(
        time_s=t,
        ias_kt=speed_kt(t),
        groundspeed_kt=speed_kt(t),
        altitude_ft=FIELD_FT + height_ft(t),
        height_ft=height_ft(t),
        pitch_deg=min(max(t - ROTATE_S, 0.0) * 1.5, 9.0),
        bank_deg=18.0 if turning else -2.0 * math.sin(t),
        heading_deg=(MAGNETIC_DEG + 3.0 * min(max(t - TURN_S, 0.0), TURN_END_S - TURN_S)) % 360.0,
        latitude_deg=place["lat2"],
        longitude_deg=place["lon2"],
        rpm=2300.0,
        throttle=min(max((t - 9.0) / 2.0, 0.0), 1.0) if t < 120 else 0.7,
        on_ground=float(t < LIFTOFF_S),
        flaps_deg=10.0 if t < 70 else max(10.0 - 2.0 * (t - 70.0), 0.0),
        brake=0.0,
    )


def rows(hz: float = 20.0, make: Callable[[float], Sample] = sample, without: tuple[str, ...] = ()) -> list[Row]:
    """The flight at a rate, from 0 s, some channels left out."""
    none = dict.fromkeys(without)
    return [(i / hz, msgspec.structs.replace(make(i / hz), **none)) for i in range(int(END_S * hz) + 1)]


def phase(t: float, name: str, takeoff: int | None = 1) -> Event:
    """A phase event."""
    return Event(t_s=t, kind="phase", id=name, takeoff=takeoff, phase=name)


def events() -> list[Event]:
    """What a coach would stamp on the flight."""
    return [
        phase(3.0, "lined-up", None),
        phase(ROLL_S, "takeoff-roll"),
        phase(ROTATE_S, "rotation"),
        phase(LIFTOFF_S, "initial-climb"),
        phase(LIFTOFF_S + 1000.0 / CLIMB_FT_S, "climb"),
    ]
