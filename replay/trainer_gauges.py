"""What the training aeroplane's instruments show: the channels, with a little seeded noise and lag.

The airfield is invented and lies in the open ocean, so that no real one is meant.
"""

from __future__ import annotations

import math
import random
from typing import TYPE_CHECKING

from replay.trainer_airframe import KT
from replay.trainer_engine import toward

if TYPE_CHECKING:
    from replay.trainer import Trainer

FIELD_LATITUDE_DEG = 31.2
FIELD_LONGITUDE_DEG = -48.4
_EARTH_M = 6378137.0  # WGS 84 equatorial radius
_SAG_FT = 7.0  # indicated altitude sags in the roll (10 to 50 ft on recorded flights; kept small here)


class Gauges:
    """Reads a `Trainer`; noise comes from a generator of its own, so that it cannot change the flight."""

    def __init__(self, trainer: Trainer, noise: random.Random) -> None:
        """Gauges of `trainer`, shaken by `noise`."""
        self._trainer = trainer
        self._noise = noise
        self._ias_kt: float | None = None
        self._stuck_kt: float | None = None
        self._vsi_fpm = 0.0
        self._fuel_gal = 24.0

    def read(self, dt_s: float) -> dict[str, float]:
        """Every channel the trainer has, in the channel table's units, after `dt_s` more seconds."""
        return {
            "time_s": round(self._trainer.scenario.start_s + self._trainer.t_s, 3),
            **self._air(dt_s),
            **self._attitude(),
            **self._place(),
            **self._engine(dt_s),
            **self._levers(),
        }

    def _jitter(self, size: float) -> float:
        return self._noise.gauss(0.0, size)

    def _air(self, dt_s: float) -> dict[str, float]:
        trainer = self._trainer
        self._vsi_fpm = toward(self._vsi_fpm, trainer.climb_fpm, dt_s, 0.3)
        sag = _SAG_FT * min(1.0, (trainer.calibrated_kt / trainer.frame.rotate_kt) ** 2) if trainer.on_ground else 0.0
        return {
            "ias_kt": self._airspeed(dt_s),
            "groundspeed_kt": trainer.groundspeed_m_s / KT,
            "altitude_ft": trainer.scenario.field_elevation_ft + trainer.height_ft - sag + self._jitter(0.3),
            "height_ft": trainer.height_ft,
            "vertical_speed_fpm": self._vsi_fpm + self._jitter(4.0),
            "oat_degc": trainer.oat_degc - 0.0019812 * trainer.height_ft,
        }

    def _airspeed(self, dt_s: float) -> float:
        """A lag of 0.1 s and a jitter of 0.15 kt; blocked or stuck when that is the fault."""
        trainer = self._trainer
        now = trainer.calibrated_kt
        self._ias_kt = now if self._ias_kt is None else toward(self._ias_kt, now, dt_s, 0.1)
        fault = trainer.scenario.fault
        kind = fault.kind if fault is not None and trainer.fault_at_s is not None else None
        if kind == "airspeed":
            return 0.0
        if kind == "airspeed-stuck":
            self._stuck_kt = self._ias_kt if self._stuck_kt is None else self._stuck_kt
            return self._stuck_kt
        return max(0.0, self._ias_kt + self._jitter(0.15))

    def _attitude(self) -> dict[str, float]:
        trainer = self._trainer
        runway = trainer.scenario.runway_heading_deg
        rolling = trainer.on_ground and trainer.groundspeed_m_s > 1.0
        bumps = 0.03 * min(1.0, trainer.groundspeed_m_s / 25.0) if rolling else 0.005
        return {
            "pitch_deg": math.degrees(trainer.pitch_rad) + self._jitter(0.03),
            "bank_deg": math.degrees(trainer.bank_rad) + self._jitter(0.1 if rolling else 0.03),
            "heading_deg": (runway + math.degrees(trainer.heading_error_rad)) % 360.0,
            "track_deg": (runway + math.degrees(trainer.drift_rad)) % 360.0,
            "normal_acceleration_g": trainer.load_g + self._jitter(bumps),
            "slip_ball": max(-1.0, min(1.0, self._jitter(0.02))),
        }

    def _place(self) -> dict[str, float]:
        """Position on a locally flat earth: good to centimetres over the few kilometres flown."""
        trainer = self._trainer
        runway = math.radians(trainer.scenario.runway_heading_deg)
        north = trainer.along_m * math.cos(runway) - trainer.right_m * math.sin(runway)
        east = trainer.along_m * math.sin(runway) + trainer.right_m * math.cos(runway)
        metres_east = _EARTH_M * math.cos(math.radians(FIELD_LATITUDE_DEG))
        return {
            "latitude_deg": FIELD_LATITUDE_DEG + math.degrees(north / _EARTH_M),
            "longitude_deg": FIELD_LONGITUDE_DEG + math.degrees(east / metres_east),
            "on_ground": 1.0 if trainer.on_ground else 0.0,
        }

    def _engine(self, dt_s: float) -> dict[str, float]:
        engine = self._trainer.engine
        self._fuel_gal -= engine.fuel_flow_gph * dt_s / 3600.0
        turning = min(1.0, engine.rpm / 1000.0)
        marks = engine.marks
        values = {
            "rpm": max(0.0, engine.rpm + self._jitter(4.0) * turning),
            "oil_pressure_psi": max(0.0, engine.oil_psi + self._jitter(0.2)),
            "oil_temperature_degf": engine.oil_degf,
            "egt_degf": engine.egt_degf + self._jitter(1.0),
            "cht_degf": engine.cht_degf,
            "fuel_flow_gph": engine.fuel_flow_gph,
            "fuel_pressure_psi": marks.green("fuel_pressure_psi", 0.5),
            "suction_inhg": marks.green("suction_inhg", min(0.5, engine.rpm / 4000.0)) * min(1.0, engine.rpm / 600.0),
            "ammeter_a": marks.green("ammeter_a", 0.3) * turning,
            "bus_v": marks.green("bus_v", 0.5) if engine.rpm > 600.0 else marks.green("bus_v", 0.0) - 1.5,
            "fuel_quantity_gal": self._fuel_gal,
        }
        if marks.constant_speed:
            values["manifold_pressure_inhg"] = engine.manifold_inhg + self._jitter(0.02)
            values["propeller"] = 1.0
        return values

    def _levers(self) -> dict[str, float]:
        trainer = self._trainer
        hands = trainer.pilot.hands
        return {
            "throttle": hands.throttle,
            "mixture": 1.0,
            "carburettor_heat": 0.0,
            "brake": hands.brake,
            "parking_brake": 0.0,
            "door_open": 0.0,
            "stall_warning": 1.0 if not trainer.on_ground and self._near_stall() else 0.0,
            "flaps_deg": hands.flaps_deg,
            "elevator": max(-1.0, min(1.0, 3.0 * (hands.pitch_rad - trainer.pitch_rad))),
            "aileron": max(-1.0, min(1.0, 2.0 * (hands.bank_rad - trainer.bank_rad))),
            "rudder": hands.rudder,
            "elevator_trim": 0.0,
        }

    def _near_stall(self) -> bool:
        """Within 5 kt of the stall for the load of the moment (14 CFR 23.207 as of 2003 asks for 5 kt or more)."""
        trainer = self._trainer
        stall = trainer.frame.stall_kt * math.sqrt(max(0.0, trainer.load_g))
        return trainer.calibrated_kt < stall + 5.0
