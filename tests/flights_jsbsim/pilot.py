"""The pilot: flies one scenario with the flight-dynamics library and records every step.

What the pilot does wrong on purpose (sloppiness, an early rotation) comes from the scenario alone, with its seed, so a
scenario always gives the same flight.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.flights_jsbsim.aeroplanes import STEP_S
from tests.flights_jsbsim.hands import Hands
from tests.flights_jsbsim.model import FPS_PER_KT, RECORDED, Raw, clamp
from tests.flights_jsbsim.scenario import Scenario

__all__ = ["FPS_PER_KT", "Pilot", "Raw"]


class Pilot(Hands):
    """Flies one scenario. `fly()` once; what it did is in the `Raw` it gives."""

    def __init__(self, scenario: Scenario, output: Path | None = None) -> None:
        """Load the aeroplane; nothing moves yet. output: a file that directs the library's own output."""
        super().__init__(scenario, output)
        self.h.flaps = scenario.flaps_deg / (30.0 if self.a.key != "pa28" else 40.0)
        self._whole: float | None = None

    def fly(self, each_step: Callable[[float], None] | None = None) -> Raw:
        """Fly it to the end and return the record; each_step(t) is called after each step (pacing, receiving)."""
        if self.rest_ft is None:
            self.prepare()
        nodes = [self.node(path) for path in RECORDED.values()]
        rows: list[list[float]] = []
        run = self.fdm.run
        limit = int(self.s.longest_s / STEP_S)
        for step in range(limit):
            t = step * STEP_S
            rows.append([node.get_double_value() for node in nodes])
            if self.step(t):
                break
            run()
            if each_step is not None:
                each_step(t)
        table = np.array(rows)
        data = {name: table[:, i].copy() for i, name in enumerate(RECORDED)}
        data["t"] = np.arange(len(rows)) * STEP_S
        data["north_ft"] -= self.n0
        data["east_ft"] -= self.e0
        return Raw(self.s, data, self.h.marks, self.rest_ft or 0.0)

    def step(self, t: float) -> bool:
        """One step of the pilot's hands; True when the flight is over."""
        self.ias = self.get("velocities/vc-kts")
        self.height = self.get("position/h-agl-ft") - (self.rest_ft or 0.0)
        self.wheels = any(self.get(p) > 0.5 for p in ("gear/unit/WOW", "gear/unit[1]/WOW", "gear/unit[2]/WOW"))
        self.pitch = self.get("attitude/theta-deg")
        self.blow(self.height)
        self.gusts(self.height)
        self._begin_fault(t)
        self._wander()
        over = getattr(self, "_" + self.h.stage.replace("-", "_"))(t)
        self._hold_fault(t)
        self.move(t)
        return bool(over) or (self.fault_t is not None and t - self.fault_t > self.s.after_fault_s)

    def _go(self, stage: str, t: float, mark: str | None = None) -> None:
        self.h.stage, self.h.stage_t = stage, t
        if mark and mark not in self.h.marks:
            self.h.marks[mark] = t

    def _wander(self) -> None:
        """The sloppy pilot's slow wandering of the pitch held: 1.5 degrees of it, 8 s long."""
        if self.s.sloppy:
            keep = math.exp(-STEP_S / 8.0)
            self.h.wobble = self.h.wobble * keep + math.sqrt(1 - keep * keep) * self.rng.standard_normal()

    def _stand(self, t: float) -> bool:
        h, s = self.h, self.s
        h.brake = 1.0
        if s.kind == "run-up" and t < 16.0:
            h.throttle = clamp((t - 3.0) / 2.0, 0, 1) * 0.45 if t < 12.0 else clamp(0.45 - (t - 12.0) / 2, 0, 1)
            return False
        wait = s.stand_s + (16.0 if s.kind == "run-up" else 0.0)
        if s.rolling:
            h.brake, h.throttle = (
                0.0,
                0.0 if t < 2.0 else (0.35 if self.get("velocities/vg-fps") < 10 * FPS_PER_KT else 0.1),
            )
            wait = s.stand_s + 12.0
        if t >= wait:
            self._go("roll", t, "brake_release")
            h.marks.setdefault("throttle_opening", t)
        return False

    def _roll(self, t: float) -> bool:
        h, s = self.h, self.s
        h.brake = 0.0
        h.throttle = min(1.0, max(h.throttle, (t - h.stage_t) / s.throttle_s))
        if h.throttle >= 1.0:
            h.marks.setdefault("throttle_full", t)
        if s.kind in ("rejected", "burst") and self.ias >= s.reject_kt:
            self._go("stop", t, "throttle_closed")
        if s.kind == "hop" and "hop" not in h.marks and self.ias >= self.a.rotate_kt - s.hop_kt:
            h.pitch_target, h.integral, h.roll_pitch = self.pitch, self.a.pull, self.pitch
            self._go("hop", t, "hop")
        elif self.ias >= self.a.rotate_kt + s.rotate_error_kt:
            h.pitch_target, h.integral = self.pitch, self.a.pull
            h.roll_pitch = self.pitch
            self._go("rotate", t, "rotate")
        return False

    def _hop(self, t: float) -> bool:
        """Pulled off too early: up until the wheels leave, then let down again, and on with the roll."""
        h = self.h
        if not self.wheels and self.height > 0.4:
            h.marks.setdefault("hop_off", t)
        if "hop_off" in h.marks:
            h.pitch_target = max(h.roll_pitch, h.pitch_target - 14.0 * STEP_S)
            h.integral = min(h.integral, 0.0)
            if self.wheels and t - h.marks["hop_off"] > 0.3:
                self._go("roll", t, "hop_settled")
        else:
            h.pitch_target = min(h.roll_pitch + 11.0, h.pitch_target + 8.0 * STEP_S)
        return False

    def _rotate(self, t: float) -> bool:
        h = self.h
        goal = h.roll_pitch + self.a.rotate_pitch_deg
        h.pitch_target = min(goal, h.pitch_target + 3.0 * STEP_S)
        if not self.wheels and self.height > 1.0:
            h.climb_pitch = self.pitch
            self._go("climb", t)
        return False

    def _climb(self, t: float) -> bool:
        h, s, a = self.h, self.s, self.a
        target_ias = a.best_rate_kt + 2.0 * s.sloppy * math.sin(t / 7.0)
        rate = clamp(0.15 * (self.ias - target_ias) + 0.5 * self.ias_rate(), -1.5, 1.5)
        h.climb_pitch = clamp(h.climb_pitch + rate * STEP_S, 2.0, 14.0)
        if self.height < 30:
            h.climb_pitch = max(h.climb_pitch, h.roll_pitch + 3.0)
        h.pitch_target = h.climb_pitch + 0.7 * s.sloppy * h.wobble
        if self.height > 320 and h.flaps > 0:
            h.flaps = 0.0
            h.marks.setdefault("flaps_up", t)
        if h.takeoff == 1 and s.kind in ("touch-and-go", "stop-and-go"):
            if self.height > 640:
                self._go("approach", t, "approach")
        elif s.turn and self.height > 620:
            h.marks.setdefault("turn", t)
            h.heading = s.runway_deg - 90.0
        if s.kind == "circuit" and self.height > s.top_ft - 60:
            self._go("level", t, "level_off")
        return self.height >= s.top_ft and s.kind != "circuit"

    def _approach(self, t: float) -> bool:
        """Down again straight ahead: speed by pitch, 500 ft/min by throttle, a flare at 18 ft, and the wheels on."""
        h, sink = self.h, self.get("velocities/h-dot-fps")
        if self.wheels and self.height < 2.0:
            h.throttle = 0.0
            self._go("landed", t, "touchdown")
            return False
        if self.height > 18.0:
            goal = self.a.rotate_kt * 1.22
            rate = clamp(0.2 * (self.ias - goal) + 0.7 * self.ias_rate(), -3.0, 3.0)
            h.climb_pitch = clamp(h.climb_pitch + rate * STEP_S, -8.0, 8.0)
            wanted = clamp(0.35 + 0.05 * (-8.5 - sink), 0.0, 0.8)
            h.throttle += clamp(wanted - h.throttle, -0.25 * STEP_S, 0.25 * STEP_S)
        else:
            h.throttle = max(0.0, h.throttle - 0.3 * STEP_S)
            rate = clamp(1.2 * (-1.5 - 0.18 * self.height - sink), -6.0, 6.0)
            h.climb_pitch = clamp(h.climb_pitch + rate * STEP_S, -3.0, 9.0)
        h.pitch_target = h.climb_pitch
        return False

    def _landed(self, t: float) -> bool:
        """Nose down; then off again from 0.75 VR, or stopped first for 6 s."""
        h, s = self.h, self.s
        stop = s.kind == "stop-and-go"
        speed = self.get("velocities/vg-fps") / FPS_PER_KT
        h.brake = clamp((t - h.stage_t - 2.0) / 2.0, 0.0, 0.5) if stop else 0.0
        if stop and speed < 1.0:
            h.marks.setdefault("stopped_after_landing", t)
        waited = stop and t - h.marks.get("stopped_after_landing", t) > 6.0
        if waited or (not stop and self.ias < 0.75 * self.a.rotate_kt):
            h.takeoff = 2
            h.brake = 0.0
            self._go("roll", t, "second_roll")
        return False

    def _level(self, t: float) -> bool:
        h, s = self.h, self.s
        rate = clamp(0.02 * (s.top_ft - self.height) - 0.12 * self.get("velocities/h-dot-fps"), -1.5, 1.5)
        h.climb_pitch = clamp(h.climb_pitch + rate * STEP_S, -4.0, 10.0)
        h.pitch_target = h.climb_pitch
        if self.ias > self.a.best_rate_kt + 12:
            h.throttle = max(0.65, h.throttle - 0.15 * STEP_S)
            h.marks.setdefault("power_reduced", t)
        return t - h.stage_t > 40.0

    def _stop(self, t: float) -> bool:
        h = self.h
        h.throttle = max(0.0, h.throttle - STEP_S / 0.4)
        h.brake = clamp((t - h.stage_t - 0.8) / 1.5, 0.0, 0.7)
        if self.get("velocities/vg-fps") < 1.0 * FPS_PER_KT:
            h.marks.setdefault("stopped", t)
            h.brake = 1.0
            return t - h.marks["stopped"] > 6.0
        return False

    def _glide(self, t: float) -> bool:
        """Engine gone in the air: nose down to the glide speed, straight ahead, until near the ground."""
        h = self.h
        rate = clamp(0.3 * (self.ias - self.a.best_rate_kt) + 1.0 * self.ias_rate(), -4.0, 3.0)
        h.climb_pitch = clamp(h.climb_pitch + rate * STEP_S, -8.0, 8.0)
        h.pitch_target = h.climb_pitch
        return self.height < 30.0 or t - h.stage_t > 40.0

    def _begin_fault(self, t: float) -> None:
        f = self.s.fault
        if f is None or self.fault_t is not None:
            return
        opening = self.h.marks.get("throttle_opening")
        begun = (
            f.on == "start"
            or (f.on == "time" and opening is not None and t - opening >= f.at)
            or (f.on == "ias" and opening is not None and self.ias >= f.at)
            or (f.on == "height" and self.height >= f.at and not self.wheels)
        )
        if begun:
            self.fault_t = self.h.marks["fault"] = t

    def _hold_fault(self, t: float) -> None:
        """Keep a model fault going, and let the pilot act on it when the scenario says so."""
        f, h, s = self.s.fault, self.h, self.s
        if f is None or self.fault_t is None:
            return
        age = t - self.fault_t
        if f.kind == "engine-failure":
            self.put("propulsion/magneto_cmd", 0)
        elif f.kind in ("partial-power", "rpm-low", "creeping-power"):
            share = max(0.3, 1.0 - f.size * age) if f.kind == "creeping-power" else f.size
            if self._whole is None:
                self._whole = self.get("propulsion/engine/volumetric-efficiency")
            self.put("propulsion/engine/volumetric-efficiency", self._whole * share)
        elif f.kind == "dragging-brake" and h.stage in ("roll", "rotate"):
            h.brake = f.size
        elif f.kind == "power-eased" and h.stage == "climb":
            h.throttle = max(f.size, h.throttle - STEP_S * 0.3)
        if s.reaction_s is not None and age >= s.reaction_s and h.stage in ("roll", "rotate", "climb"):
            self._react(t)

    def _react(self, t: float) -> None:
        if self.wheels:
            self._go("stop", t, "throttle_closed")
        elif self.s.fault is not None and self.s.fault.kind == "engine-failure":
            self._go("glide", t, "nose_down")
