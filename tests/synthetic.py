"""Exact takeoffs out of straight lines: every crossing is known in closed form; any rate, any channels, bent at will.

The flight of `takeoff()` (seconds; own invention, no aeroplane's):

    0      at rest, idle           10 to 12  throttle 0 to 1, rpm 700 to 2,350, then steady
    11     the wheels move, groundspeed and airspeed 4 kt/s: 20 kt at 16, half VR at 17.25, VR (50 kt) at 23.5, so that
           the line 2 s before VR is at 21.5
    23.7   the nose rises 3 deg/s to 9 deg: 2 deg at 24.3667
    25     lift-off at 56 kt; height 12 ft/s (720 ft/min): 35 ft at 27.9167, 50 at 29.1667, 300 at 50, 500 at 66.667,
           1,000 at 108.333; airspeed 1 kt/s more to VY (70 kt) at 39, VY - 2 at 37
    116    end

No wind, level field at 400 ft, runway and track 080. The engine is in the middle of every green arc.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache
from itertools import pairwise
from math import isnan

import msgspec
import numpy as np
from geographiclib.geodesic import Geodesic

from adapters.library import open_procedure
from monitor.aircraft import Aircraft, Band, Speeds
from monitor.coach import Coach
from monitor.events import Event
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.sample import Sample
from monitor.settings import Settings

Points = tuple[tuple[float, float], ...]
Value = float | Points | None

FIELD_FT, RUNWAY_DEG = 400.0, 80.0
POWER_HALF_S, FULL_S, ROLL_S, NOSE_S, LIFTOFF_S, END_S = 11.0, 12.0, 11.0, 23.7, 25.0, 116.0
ACCELERATION_KT_S, CLIMB_FT_S, LIFTOFF_KT = 4.0, 12.0, 56.0
ARRIVAL_S = 7_000.25  # arrival clocks start at an odd number, so that mixing two clocks shows

FIXED = Aircraft(
    name="made of straight lines",
    speeds_kias=Speeds(
        rotate=50.0, lift_off=54.0, best_rate=70.0, best_angle=58.0, best_glide=62.0, stall_flaps=36.0,
        stall_clean=42.0, flaps_extended_max=85.0, never_exceed=145.0,
    ),
    pitch_target_deg=8.0,
    pitch_max_deg=13.0,
    rpm_takeoff_min=2200.0,
    rpm_red_line=2650.0,
    lean_height_ft=3000.0,
    expected_roll_s=13.0,
    ground_roll_ft=720.0,
    stop_from_rotate_ft=560.0,
    instruments={
        "rpm": Band(green=(2000.0, 2650.0), max=2650.0),
        "oil_pressure_psi": Band(green=(55.0, 95.0), min=25.0, max=115.0),
        "oil_temperature_degf": Band(green=(110.0, 220.0), max=240.0),
        "fuel_pressure_psi": Band(green=(2.0, 7.0), min=0.5, max=8.0),
        "bus_v": Band(green=(13.0, 14.6), min=12.0, max=15.5),
        "cht_degf": Band(green=(200.0, 435.0), max=500.0),
    },
)  # fmt: skip
"""An invented aeroplane with a fixed-pitch propeller."""

GOVERNED = msgspec.structs.replace(
    FIXED,
    propeller="constant-speed",
    rpm_takeoff_min=2600.0,
    rpm_red_line=2700.0,
    instruments=FIXED.instruments | {"rpm": Band(green=(2000.0, 2700.0), max=2700.0)},
)
"""The same with a constant-speed propeller; `governed()` is its takeoff."""


@cache
def procedure(name: str = "normal") -> Procedure:
    """A procedure that ships with the program."""
    return open_procedure(name)


def changed(base: Procedure | None = None, **values: object) -> Procedure:
    """A procedure with some of its fields or settings changed."""
    base = base if base is not None else procedure()
    own = {key: value for key, value in values.items() if key in Procedure.__struct_fields__}
    rest = {key: value for key, value in values.items() if key not in own}
    assert set(rest) <= set(Settings.__struct_fields__), rest
    return msgspec.structs.replace(base, settings=msgspec.structs.replace(base.settings, **rest), **own)


class Flight:
    """Channels as straight lines between points, sampled at a rate. Every change gives a new flight."""

    def __init__(
        self, lines: dict[str, Value], rate_hz: float = 20.0, start_s: float = 0.0, end_s: float = END_S
    ) -> None:
        """`lines`: a channel's constant value or its (time, value) points; None leaves it out."""
        self.lines: dict[str, float | Points] = {name: value for name, value in lines.items() if value is not None}
        self.rate_hz, self.start_s, self.end_s = rate_hz, start_s, end_s
        self.bends: list[tuple[str, float, float, Value]] = []
        self.dropped: Callable[[int], bool] = lambda n: False

    def _copy(self) -> Flight:
        other = Flight(dict(self.lines), self.rate_hz, self.start_s, self.end_s)
        other.bends, other.dropped = list(self.bends), self.dropped
        return other

    def at(self, rate_hz: float) -> Flight:
        """The same at another rate."""
        other = self._copy()
        other.rate_hz = rate_hz
        return other

    def between(self, start_s: float, end_s: float) -> Flight:
        """The part from a time to a time."""
        other = self._copy()
        other.start_s, other.end_s = start_s, end_s
        return other

    def with_(self, **lines: Value) -> Flight:
        """Some channels replaced, or left out with None."""
        other = self._copy()
        other.lines = {name: value for name, value in {**self.lines, **lines}.items() if value is not None}
        return other

    def without(self, *channels: str) -> Flight:
        """Some channels left out."""
        return self.with_(**dict.fromkeys(channels))

    def only(self, *channels: str) -> Flight:
        """All other channels but the feed's time left out."""
        return self.without(*(set(self.lines) - set(channels) - {"time_s"}))

    def bend(self, channel: str, from_s: float, to_s: float, value: Value) -> Flight:
        """Another value of one channel from a time (inclusive) to a time (exclusive); None: not supplied."""
        other = self._copy()
        other.bends.append((channel, from_s, to_s, value))
        return other

    def dropping(self, dropped: Callable[[int], bool]) -> Flight:
        """Without the samples of these numbers."""
        other = self._copy()
        other.dropped = dropped
        return other

    def times(self) -> np.ndarray:
        """The times of all samples, lost ones included."""
        return self.start_s + np.arange(int((self.end_s - self.start_s) * self.rate_hz + 1e-6) + 1) / self.rate_hz

    def samples(self) -> list[Sample]:
        """The samples, each with its feed time."""
        t = self.times()
        columns = {name: _values(line, t) for name, line in self.lines.items()}
        for channel, from_s, to_s, value in self.bends:
            inside = (t >= from_s - 1e-9) & (t < to_s - 1e-9)
            column = columns.setdefault(channel, np.full(len(t), np.nan))
            column[inside] = np.nan if value is None else _values(value, t)[inside]
        lists = {name: [None if isnan(v) else v for v in column.tolist()] for name, column in columns.items()}
        rows = zip(t.tolist(), *lists.values(), strict=True)
        return [
            Sample(row[0], **dict(zip(lists, row[1:], strict=True)))
            for n, row in enumerate(rows)
            if not self.dropped(n)
        ]


def _values(line: float | Points, t: np.ndarray) -> np.ndarray:
    if isinstance(line, int | float):
        return np.full(len(t), float(line))
    return np.asarray(np.interp(t, [point[0] for point in line], [point[1] for point in line]))


def step(at_s: float, before: float, after: float) -> Points:
    """A line that jumps: `before` up to the time, `after` from it on."""
    return ((at_s - 1e-7, before), (at_s, after))


def speed_lines() -> Points:
    """Speed over the ground, and airspeed in no wind."""
    return ((ROLL_S, 0.0), (LIFTOFF_S, LIFTOFF_KT), (LIFTOFF_S + 14.0, 70.0))


def height_lines(zero: float = 0.0) -> Points:
    """Height of the wheels."""
    return ((LIFTOFF_S, zero), (LIFTOFF_S + 100.0, zero + 100.0 * CLIMB_FT_S))


def takeoff(rate_hz: float = 20.0, /, **lines: Value) -> Flight:
    """The flight told above, with channels replaced as named."""
    made: dict[str, Value] = {
        "ias_kt": speed_lines(),
        "groundspeed_kt": speed_lines(),
        "altitude_ft": height_lines(FIELD_FT),
        "height_ft": height_lines(),
        "vertical_speed_fpm": step(LIFTOFF_S, 0.0, 60.0 * CLIMB_FT_S),
        "pitch_deg": ((NOSE_S, 0.0), (NOSE_S + 3.0, 9.0)),
        "bank_deg": 0.0,
        "heading_deg": RUNWAY_DEG,
        "track_deg": RUNWAY_DEG,
        "throttle": ((10.0, 0.0), (FULL_S, 1.0)),
        "rpm": ((10.0, 700.0), (FULL_S, 2350.0)),
        "on_ground": step(LIFTOFF_S, 1.0, 0.0),
        "flaps_deg": 0.0,
        "mixture": 1.0,
        "brake": 0.0,
        "parking_brake": 0.0,
        "carburettor_heat": 0.0,
        "elevator_trim": 0.0,
        "oil_pressure_psi": 75.0,
        "oil_temperature_degf": 165.0,
        "fuel_pressure_psi": 4.0,
        "bus_v": 14.0,
        "cht_degf": 300.0,
    }
    return Flight({**made, **lines}, rate_hz)


def governed(rate_hz: float = 20.0, /, **lines: Value) -> Flight:
    """The takeoff of `GOVERNED`: 2,690 rev/min, manifold pressure 1 inHg below ambient, which falls as it climbs."""
    made: dict[str, Value] = {
        "rpm": ((10.0, 700.0), (FULL_S, 2690.0)),
        "manifold_pressure_inhg": ((10.0, 12.0), (FULL_S, 28.5), (LIFTOFF_S, 28.5), (LIFTOFF_S + 100.0, 27.25)),
        "propeller": 1.0,
    }
    return takeoff(rate_hz, **{**made, **lines})


def rejected(at_s: float = 20.0, rate_hz: float = 20.0, /, **lines: Value) -> Flight:
    """The takeoff given up: throttle closed in 0.5 s from `at_s`, 0.5 s later 6 kt/s slower, to a stop."""
    top = ACCELERATION_KT_S * (at_s - ROLL_S)
    speed: Points = ((ROLL_S, 0.0), (at_s, top), (at_s + 0.5, top), (at_s + 0.5 + top / 6.0, 0.0))
    made: dict[str, Value] = {
        "ias_kt": speed, "groundspeed_kt": speed, "altitude_ft": FIELD_FT, "height_ft": 0.0,
        "vertical_speed_fpm": 0.0, "pitch_deg": 0.0, "on_ground": 1.0,
        "throttle": ((10.0, 0.0), (FULL_S, 1.0), (at_s, 1.0), (at_s + 0.5, 0.0)),
        "rpm": ((10.0, 700.0), (FULL_S, 2350.0), (at_s, 2350.0), (at_s + 0.5, 900.0)),
    }  # fmt: skip
    return takeoff(rate_hz, **{**made, **lines}).between(0.0, at_s + 30.0)


def touch_and_go(rate_hz: float = 20.0, /, **lines: Value) -> Flight:
    """Up to 840 ft, level at 95, down at 600 ft/min, wheels on at 193; power again from 196.5; lift-off at 203 at
    58 kt.

    The throttle is eased at 95 s and closed at 110; after touchdown the speed falls from 58 kt to 46 at 197.
    """
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (170.0, 70.0), (193.0, 58.0), (197.0, 46.0),
                     (198.0, 46.0), (201.0, 58.0), (213.0, 70.0))  # fmt: skip
    height: Points = ((25.0, 0.0), (95.0, 840.0), (109.0, 840.0), (193.0, 0.0), (203.0, 0.0), (300.0, 1164.0))
    levers: Points = ((10.0, 0.0), (12.0, 1.0), (94.0, 1.0), (96.0, 0.6), (109.0, 0.6), (110.0, 0.2), (193.0, 0.2),
                      (194.0, 0.0), (196.5, 0.0), (198.0, 1.0))  # fmt: skip
    made: dict[str, Value] = {
        "ias_kt": speed,
        "groundspeed_kt": speed,
        "height_ft": height,
        "altitude_ft": tuple((t, FIELD_FT + h) for t, h in height),
        "vertical_speed_fpm": (
            (24.999, 0.0), (25.0, 720.0), (94.999, 720.0), (95.0, 0.0), (108.999, 0.0), (109.0, -600.0),
            (192.999, -600.0), (193.0, 0.0), (202.999, 0.0), (203.0, 720.0),
        ),
        "throttle": levers,
        "rpm": tuple((t, 700.0 + 1650.0 * lever) for t, lever in levers),
        "pitch_deg": ((23.7, 0.0), (26.7, 9.0), (95.0, 9.0), (96.0, 2.0), (192.0, 2.0), (193.0, 5.0), (195.0, 0.0),
                      (201.5, 0.0), (204.5, 9.0)),
    }  # fmt: skip
    flight = takeoff(rate_hz, **made).bend("on_ground", 193.0, 203.0, 1.0).between(0.0, 240.0)
    return flight.with_(**lines)


@cache
def position_lines(right_ft: Points = ((0.0, 0.0),)) -> tuple[Points, Points]:
    """Latitude and longitude of the takeoff along 080 on the WGS 84 ellipsoid, from 47 north, 8 east.

    `right_ft`: how far right of that line it is, by time.
    """
    times = np.arange(0.0, END_S + 1.0, 0.05)
    speed_ms = _values(speed_lines(), times) * 1852.0 / 3600.0
    along = np.concatenate(([0.0], np.cumsum((speed_ms[1:] + speed_ms[:-1]) / 2.0 * 0.05)))
    places = [Geodesic.WGS84.Direct(47.0, 8.0, RUNWAY_DEG, float(metres)) for metres in along]
    aside_m = _values(right_ft, times) * 0.3048
    if aside_m.any():
        places = [
            Geodesic.WGS84.Direct(place["lat2"], place["lon2"], RUNWAY_DEG + 90.0, float(metres))
            for place, metres in zip(places, aside_m, strict=True)
        ]
    t = times.tolist()
    return (
        tuple((a, place["lat2"]) for a, place in zip(t, places, strict=True)),
        tuple((a, place["lon2"]) for a, place in zip(t, places, strict=True)),
    )


def at(sample: Sample) -> float:
    """The feed time of a sample that has one."""
    assert sample.time_s is not None
    return sample.time_s


def joined(*parts: Iterable[Sample], gap_s: float = 0.05) -> list[Sample]:
    """Flights one after the other, the time of each following on that of the last."""
    made: list[Sample] = []
    for part in parts:
        samples = list(part)
        shift = at(made[-1]) + gap_s - at(samples[0]) if made else 0.0
        made += [msgspec.structs.replace(s, time_s=at(s) + shift) for s in samples]
    return made


class Flown:
    """What a coach made of a flight: its events, with ways to ask for them."""

    def __init__(self, events: list[Event], coach: Coach) -> None:
        """Keep both."""
        self.events, self.coach = events, coach

    def all(self, kind: str, id_: str | None = None) -> list[Event]:
        """Every event of a kind, of one id if given."""
        return [event for event in self.events if event.kind == kind and id_ in (None, event.id)]

    def one(self, kind: str, id_: str) -> Event:
        """The one event of that kind and id; fails when there is none or more than one."""
        found = self.all(kind, id_)
        assert len(found) == 1, f"{kind} {id_}: {len(found)} of\n" + "\n".join(map(str, self.events))
        return found[0]

    def t(self, kind: str, id_: str) -> float:
        """The time of the one event."""
        t = self.one(kind, id_).t_s
        assert t is not None
        return t

    def said(self, id_: str) -> str | None:
        """The words of the one callout."""
        return self.one("callout", id_).say

    def ids(self, *kinds: str) -> list[str]:
        """The ids of the events of these kinds, in order."""
        return [event.id for event in self.events if event.kind in kinds]

    @property
    def phases(self) -> list[str]:
        """The phases in order."""
        return self.ids("phase")

    @property
    def warnings(self) -> list[tuple[str, str | None]]:
        """(id, reason) of the warnings in order."""
        return [(event.id, event.reason) for event in self.all("warning")]

    @property
    def spoken(self) -> list[Event]:
        """The events that sound."""
        return [event for event in self.events if event.say]

    def calm(self) -> None:
        """Fails when anything but routine was said: a clean flight has no remark, caution or warning."""
        found = [event for event in self.events if event.kind in ("warning", "caution", "advisory")]
        assert not found, "\n".join(map(str, found))


def fly(
    flight: Flight | Iterable[Sample],
    aircraft: Aircraft = FIXED,
    options: Options | None = None,
    using: Procedure | None = None,
    arrive_every_s: float | None = None,
) -> Flown:
    """Fly it through a new coach, no ticks but the stream's end.

    Each sample arrives at its own time, or one every `arrive_every_s` whatever its time says.
    """
    samples = flight.samples() if isinstance(flight, Flight) else list(flight)
    coach = Coach(aircraft, using if using is not None else procedure(), options or Options())
    events: list[Event] = []
    arrival = ARRIVAL_S
    for n, sample in enumerate(samples):
        own = sample.time_s if arrive_every_s is None else None
        arrival = ARRIVAL_S + (own if own is not None else n * (arrive_every_s or 0.05))
        events += coach.feed(sample, arrival)
    return Flown(events + coach.end(arrival), coach)


def steps_forward(values: Iterable[float]) -> bool:
    """Each larger than the one before."""
    return all(a < b for a, b in pairwise(values))
