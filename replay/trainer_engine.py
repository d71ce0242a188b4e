"""The engine of the built-in training aeroplane: power, rpm, manifold pressure, oil, temperatures, fuel.

Gauges are placed by the profile's own bands, so that a clean flight stays in the green of whatever profile is flown.
Rates and lags are invented, of the order of a light piston engine's.
"""

from __future__ import annotations

import msgspec

from monitor.aircraft import Aircraft, Band
from replay.scenarios.kinds import Fault

IDLE_RPM = 750.0
_DEFAULTS: dict[str, tuple[float, float]] = {
    "oil_pressure_psi": (50.0, 90.0),
    "oil_temperature_degf": (110.0, 220.0),
    "cht_degf": (250.0, 420.0),
    "egt_degf": (1150.0, 1450.0),
    "fuel_pressure_psi": (3.0, 7.0),
    "suction_inhg": (4.6, 5.4),
    "ammeter_a": (0.0, 30.0),
    "bus_v": (13.5, 14.5),
}


def toward(now: float, target: float, dt_s: float, lag_s: float) -> float:
    """One step of a first-order lag from `now` to `target`."""
    return now + (target - now) * min(1.0, dt_s / lag_s)


class Marks(msgspec.Struct, frozen=True):
    """What the engine model takes from the profile: rpm figures, and where the gauges' green arcs are."""

    constant_speed: bool
    takeoff_min_rpm: float
    red_line_rpm: float
    instruments: dict[str, Band]

    def green(self, channel: str, share: float) -> float:
        """The value at a share (0 to 1) of a gauge's green arc; a plausible arc where the profile marks none."""
        band = self.instruments.get(channel)
        low, high = band.green if band is not None and band.green is not None else _DEFAULTS[channel]
        return low + share * (high - low)

    def least(self, channel: str) -> float:
        """A gauge's lower red line; half the low end of the green arc where the profile has none."""
        band = self.instruments.get(channel)
        return band.min if band is not None and band.min is not None else self.green(channel, 0.0) / 2.0

    def most(self, channel: str) -> float:
        """A gauge's upper red line; a tenth above the green arc where the profile has none."""
        band = self.instruments.get(channel)
        return band.max if band is not None and band.max is not None else self.green(channel, 1.0) * 1.1


def marks_of(aircraft: Aircraft) -> Marks:
    """The marks of a profile, with plausible rpm figures where it has none."""
    rpm = aircraft.instruments.get("rpm")
    red = aircraft.rpm_red_line or (rpm.max if rpm is not None and rpm.max else 2700.0)
    least = aircraft.rpm_takeoff_min or red * (0.96 if aircraft.propeller == "constant-speed" else 0.83)
    return Marks(aircraft.propeller == "constant-speed", least, red, aircraft.instruments)


class Engine:
    """The engine's state, stepped with the throttle, the airspeed and the fault that has begun (or none)."""

    def __init__(self, marks: Marks, oat_degc: float) -> None:
        """Idling, warmed up."""
        self.marks = marks
        self.power = 0.0
        self.oil_psi = marks.green("oil_pressure_psi", 0.1)
        self.oil_degf = marks.green("oil_temperature_degf", 0.35)
        self.cht_degf = marks.green("cht_degf", 0.25)
        self.egt_degf = marks.green("egt_degf", 0.0) - 150.0
        self.rpm = IDLE_RPM
        self.manifold_inhg = 11.0
        self._overspeed = 0.0
        self._oat_degc = oat_degc

    def step(
        self, dt_s: float, throttle: float, airspeed_ratio: float, ambient_inhg: float, fault: Fault | None
    ) -> None:
        """One step; airspeed_ratio: calibrated airspeed over VY."""
        kind = None if fault is None else fault.kind
        depth = 1.0 if fault is None else fault.severity
        self.power = toward(self.power, throttle * self._available(kind, depth, airspeed_ratio), dt_s, 0.35)
        dead = kind == "engine"
        self._overspeed = toward(self._overspeed, depth * throttle if kind == "rpm-high" else 0.0, dt_s, 0.6)
        self.rpm = toward(self.rpm, self._rpm(airspeed_ratio, kind), dt_s, 0.25)
        # A stopped engine still pumps: the manifold follows the throttle plate, a little nearer to ambient.
        full = ambient_inhg - (0.7 if not dead else 0.3)
        share = throttle if dead else min(throttle, self.power + 0.05)
        self.manifold_inhg = toward(self.manifold_inhg, 11.0 + (full - 11.0) * share**0.8, dt_s, 0.25)
        self._oil(dt_s, kind, depth)
        self._heat(dt_s)

    def _available(self, kind: str | None, depth: float, airspeed_ratio: float) -> float:
        """The share of full power the engine can give."""
        if kind == "engine":
            return 0.0
        if kind == "power":
            return 1.0 - 0.22 * depth
        if kind == "rpm":
            wanted = self.marks.takeoff_min_rpm * (1.0 - 0.06 * depth)
            full = self._full_rpm(airspeed_ratio)
            return max(0.0, (wanted**2 - IDLE_RPM**2) / (full**2 - IDLE_RPM**2))
        return 1.0

    def _full_rpm(self, airspeed_ratio: float) -> float:
        """Rpm at full power: fixed pitch rises with the airspeed; a governor holds it once the propeller is fed.

        Constant speed: 96 % at rest, governed from about a quarter of VY (a model of the class gave 2,361 rising to
        2,657 in the first seconds of the roll).
        """
        marks = self.marks
        if marks.constant_speed:
            governed = min(marks.takeoff_min_rpm / 0.97, 0.993 * marks.red_line_rpm)
            return governed * min(1.0, 0.96 + 0.16 * airspeed_ratio)
        static = marks.takeoff_min_rpm + 0.25 * (marks.red_line_rpm - marks.takeoff_min_rpm)
        return static + 0.30 * (marks.red_line_rpm - marks.takeoff_min_rpm) * airspeed_ratio**2

    def _rpm(self, airspeed_ratio: float, kind: str | None) -> float:
        """Where the rpm settles: the propeller's torque goes with rpm squared; a dead engine windmills."""
        if kind == "engine":
            return 0.45 * self._full_rpm(airspeed_ratio) * min(1.0, airspeed_ratio * 1.4)
        full = self._full_rpm(airspeed_ratio)
        idle = IDLE_RPM + 250.0 * airspeed_ratio
        settled = (idle**2 + (full**2 - idle**2) * self.power) ** 0.5
        if self.marks.constant_speed and self.power > 0.7 and kind != "rpm":
            # The governor hides a loss of power, but for an engine that cannot reach its rpm at all.
            settled = max(settled, full * min(1.0, 0.80 + 0.22 * self.power))
        beyond = max(0.0, 1.07 * self.marks.red_line_rpm - settled)
        return float(settled + self._overspeed * beyond)

    def _oil(self, dt_s: float, kind: str | None, depth: float) -> None:
        turning = min(1.0, self.rpm / self.marks.takeoff_min_rpm)
        target = self.marks.green("oil_pressure_psi", 0.1 + 0.55 * turning)
        if kind == "oil":
            target = self.marks.least("oil_pressure_psi") * (0.45 + 0.35 * (1.0 - depth))
        if turning < 0.2:
            target *= turning / 0.2
        self.oil_psi = toward(self.oil_psi, target, dt_s, 0.9 if kind == "oil" else 0.6)
        goal = self.marks.green("oil_temperature_degf", 0.42 + 0.18 * self.power)
        if kind == "oil-temperature":
            limit = self.marks.most("oil_temperature_degf")
            self.oil_degf = min(limit * 1.06, self.oil_degf + 18.0 * depth * dt_s)
        else:
            self.oil_degf = toward(self.oil_degf, goal, dt_s, 60.0)

    def _heat(self, dt_s: float) -> None:
        self.egt_degf = toward(self.egt_degf, self.marks.green("egt_degf", -0.5 + self.power), dt_s, 3.0)
        self.cht_degf = toward(self.cht_degf, self.marks.green("cht_degf", 0.25 + 0.4 * self.power), dt_s, 45.0)

    @property
    def fuel_flow_gph(self) -> float:
        """Fuel flow in US gallons an hour: 1.1 at idle, about 8 at full power (fixed), 14 (constant-speed)."""
        return 1.1 + (13.0 if self.marks.constant_speed else 7.2) * self.power
