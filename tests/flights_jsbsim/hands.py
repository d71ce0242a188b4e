"""The pilot's hands and feet: the memory between steps, and the laws that steer, bank and pitch.

Plain proportional-integral laws, tuned by trial on the five aeroplanes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path

from tests.flights_jsbsim.aeroplanes import STEP_S
from tests.flights_jsbsim.model import Model, clamp, turned
from tests.flights_jsbsim.scenario import Scenario


@dataclass
class Memory:
    """The pilot's memory between steps."""

    stage: str = "stand"
    stage_t: float = 0.0
    throttle: float = 0.0
    brake: float = 1.0
    flaps: float = 0.0
    pitch_target: float = 0.0
    integral: float = 0.0
    climb_pitch: float = 0.0
    heading: float = 0.0
    marks: dict[str, float] = field(default_factory=dict)
    ias_last: float | None = None
    ias_rate: float = 0.0
    steer: float = 0.0
    foot: float = 0.0
    lean: float = 0.0
    bank_goal: float = 0.0
    wobble: float = 0.0
    roll_pitch: float = 0.0
    takeoff: int = 1


class Hands(Model):
    """Moves the controls toward the memory's targets."""

    def __init__(self, scenario: Scenario, output: Path | None = None) -> None:
        """As the model; hands at rest, brakes on."""
        super().__init__(scenario, output)
        self.h = Memory(heading=scenario.runway_deg)
        self.fault_t: float | None = None
        self.ias = self.height = self.pitch = 0.0
        self.wheels = True

    def ias_rate(self) -> float:
        """A smoothed acceleration in kt/s; call once a step."""
        h = self.h
        last = self.ias if h.ias_last is None else h.ias_last
        h.ias_rate += ((self.ias - last) / STEP_S - h.ias_rate) * STEP_S / 1.5
        h.ias_last = self.ias
        return h.ias_rate

    def move(self, t: float) -> None:
        """Throttle, brakes and flaps as remembered; steer, bank and pitch."""
        h = self.h
        self.put("fcs/throttle-cmd-norm", h.throttle)
        self.put("fcs/left-brake-cmd-norm", h.brake)
        self.put("fcs/right-brake-cmd-norm", h.brake)
        self.put("fcs/flap-cmd-norm", h.flaps)
        yaw_rate = math.degrees(self.get("velocities/r-rad_sec"))
        if self.wheels:
            self._on_wheels(t, yaw_rate)
        else:
            self._in_the_air(t, yaw_rate)
        self._bank()
        self._elevate()

    def _offset_ft(self) -> float:
        """Distance from the centreline, right positive."""
        runway = math.radians(self.s.runway_deg)
        north = self.get("position/from-start-neu-n-ft") - self.n0
        east = self.get("position/from-start-neu-e-ft") - self.e0
        return -north * math.sin(runway) + east * math.cos(runway)

    def _on_wheels(self, t: float, yaw_rate: float) -> None:
        """Nose wheel and rudder toward the centreline, weaker steering the faster it rolls."""
        h, s = self.h, self.s
        gs = self.get("velocities/vg-fps")
        goal = (
            s.runway_deg - clamp(0.25 * self._offset_ft(), -6, 6) + self._veer(t) + 1.5 * s.sloppy * math.sin(t / 3.0)
        )
        error = turned(goal - self.get("attitude/psi-deg"))
        command = clamp(0.16 * error - 0.08 * yaw_rate, -1, 1)
        h.steer = clamp(h.steer + 0.04 * error * STEP_S, -0.6, 0.6) if gs > 10 else 0.0
        strength = 1.0 / (1.0 + (gs / 40.0) ** 2)
        self.put("fcs/steer-cmd-norm", clamp((command + h.steer) * strength * 2.0, -1, 1))
        self.put("fcs/rudder-cmd-norm", -clamp(command + h.steer, -1, 1))
        h.foot, h.bank_goal = -h.steer, 0.0

    def _in_the_air(self, t: float, yaw_rate: float) -> None:
        """Bank toward the runway's track, or toward the heading of the first turn; the ball by rudder."""
        h, s = self.h, self.s
        if h.heading != s.runway_deg:
            wrong = turned(h.heading - self.get("attitude/psi-deg"))
            h.bank_goal = clamp(0.8 * wrong, -14 - 2 * s.sloppy, 14 + 2 * s.sloppy)
        else:
            track = math.degrees(math.atan2(self.get("velocities/v-east-fps"), self.get("velocities/v-north-fps")))
            wrong = turned(s.runway_deg - clamp(0.02 * self._offset_ft(), -4, 4) - track)
            h.bank_goal = clamp(1.5 * wrong, -6, 6) + 1.5 * s.sloppy * math.sin(t / 5.0)
        h.foot *= 1.0 - STEP_S / 4.0
        self.put("fcs/rudder-cmd-norm", clamp(0.02 * yaw_rate - 0.04 * self.get("aero/beta-deg") + h.foot, -0.6, 0.6))
        self.put("fcs/steer-cmd-norm", 0.0)

    def _bank(self) -> None:
        h = self.h
        error = h.bank_goal - self.get("attitude/phi-deg")
        h.lean = 0.0 if self.wheels else clamp(h.lean + 0.012 * error * STEP_S, -0.4, 0.4)
        roll_rate = math.degrees(self.get("velocities/p-rad_sec"))
        self.put("fcs/aileron-cmd-norm", clamp(0.035 * error - 0.02 * roll_rate + h.lean, -1, 1))

    def _elevate(self) -> None:
        h = self.h
        if h.stage in ("stand", "roll", "stop", "landed"):
            self.put("fcs/elevator-cmd-norm", 0.0)
            return
        pitch_rate = math.degrees(self.get("velocities/q-rad_sec"))
        error = h.pitch_target - self.pitch
        h.integral = clamp(h.integral + error * STEP_S * 0.04, -0.7, 0.7)
        pull = 0.05 * error + h.integral - 0.03 * pitch_rate
        self.put("fcs/elevator-cmd-norm", clamp(-self.a.elevator_gain * pull, -1, 1))

    def _veer(self, t: float) -> float:
        """Degrees off the runway's heading that a failing steering pulls to."""
        f = self.s.fault
        if f is None or f.kind != "veer" or self.fault_t is None or self.h.stage == "stop":
            return 0.0
        return clamp(f.size * (t - self.fault_t), -45, 45)
