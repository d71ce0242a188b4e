"""The airframe of the built-in training aeroplane: an invented point mass that keeps the speeds of its profile.

Everything is per unit of weight, so that neither mass nor wing area need be invented: lift / weight is
(CL / CLmax) x (V / VS1)^2, because CLmax carries the weight at the stalling speed, and drag likewise. From the
profile's speeds follow the lift at lift-off, the drag polar (least drag at the best glide) and the thrust (the wished
climb at VY). Signs and units: SI, radians, unless a name says otherwise.
"""

from __future__ import annotations

import math

import msgspec

from monitor.aircraft import Aircraft

G = 9.80665
"""Standard gravity, m/s^2 (ISO 80000-3)."""
KT = 1852.0 / 3600.0
"""One knot in m/s (exact)."""
FT = 0.3048
"""One foot in m (exact)."""

CL_MAX = 1.45  # clean trainer wing, plausible for the class; invented
LIFT_SLOPE = 4.9  # per radian: 2 pi / (1 + 2 / aspect ratio) at 7.3, lifting-line theory
FLAP_LIFT = 0.012  # lift coefficient a degree of a plain or slotted flap; invented
INDUCED = 0.066  # 1 / (pi e A) with e = 0.66 for a strutted trainer, A = 7.3; invented
SPAN_M = 10.0
WING_HEIGHT_M = 1.0  # above the ground on the wheels
ROLLING_FRICTION = 0.03  # paved runway; textbooks give 0.02 to 0.05 (from memory)
BRAKING_FRICTION = 0.29  # dry paved runway, firm braking, main wheels only; textbooks give 0.3 to 0.5 (from memory)
CLIMB_M_S = 940.0 * FT / 60.0  # wished climb at VY at sea level: 940 ft/min, lively but plausible; invented
THRUST_AT_VY = (
    0.96  # of the static thrust, falling with the square of the speed; near 1: the blades are stalled at rest
)
WINDMILL_DRAG = 0.035  # of the weight at VY with a dead engine; invented


def ground_effect(height_m: float) -> float:
    """The share of the induced drag that is left near the ground, 0 to 1; height of the wheels.

    1 - (1 - 1.32 h/b) / (1.05 + 7.4 h/b), h the wing's height, b the span (Wieselsberger 1921, NACA TM 77; from
    memory). It gives the figures of FAA-H-8083-25C, chapter 5, at a tenth and a quarter of the span.
    """
    ratio = (height_m + WING_HEIGHT_M) / SPAN_M
    return 1.0 - max(0.0, (1.0 - 1.32 * ratio) / (1.05 + 7.4 * ratio))


class Airframe(msgspec.Struct, frozen=True):
    """The invented aeroplane in figures. Speeds in knots calibrated; thrust and drag as shares of the weight."""

    rotate_kt: float
    climb_kt: float
    angle_kt: float
    glide_kt: float
    stall_kt: float
    cl_zero: float
    cd_zero: float
    static_thrust: float
    glide_pitch_rad: float
    pitch_target_rad: float

    def lift(self, airspeed_kt: float, alpha_rad: float, flaps_deg: float) -> tuple[float, float]:
        """Lift / weight, and the lift coefficient, no greater than the stall allows."""
        flap = FLAP_LIFT * flaps_deg
        coefficient = min(self.cl_zero + flap + LIFT_SLOPE * alpha_rad, CL_MAX + flap)
        return coefficient / CL_MAX * (airspeed_kt / self.stall_kt) ** 2, coefficient

    def drag(self, airspeed_kt: float, coefficient: float, flaps_deg: float, height_m: float) -> float:
        """Drag / weight for a lift coefficient, with the ground's relief of the induced part."""
        cd = self.cd_zero + 0.0008 * flaps_deg + INDUCED * coefficient**2 * ground_effect(height_m)
        return cd / CL_MAX * (airspeed_kt / self.stall_kt) ** 2

    def climb_pitch_rad(self, airspeed_kt: float, flaps_deg: float) -> float:
        """The attitude that holds an airspeed at full power at sea level out of ground effect."""
        coefficient = CL_MAX * (self.stall_kt / airspeed_kt) ** 2
        excess = self.thrust(airspeed_kt, 1.0, 1.0) - self.drag(airspeed_kt, coefficient, flaps_deg, 1000.0)
        return (coefficient - self.cl_zero - FLAP_LIFT * flaps_deg) / LIFT_SLOPE + math.asin(excess)

    def thrust(self, airspeed_kt: float, power: float, sigma: float) -> float:
        """Thrust / weight at a share of full power, 0 to 1, in air of density ratio `sigma`."""
        square = (airspeed_kt / self.climb_kt) ** 2
        full = self.static_thrust * (1.0 - (1.0 - THRUST_AT_VY) * square)
        return full * power * sigma - WINDMILL_DRAG * square * (1.0 - power)


def build_airframe(aircraft: Aircraft) -> Airframe:
    """The airframe whose rotation, lift-off, climb and glide fit the profile's speeds."""
    speeds = aircraft.speeds_kias
    # VR is no less than VS1 (14 CFR 23.51(a)(2) as of 2003); a profile that leaves VS1 out gets a plausible one.
    stall = speeds.stall_clean or speeds.rotate / 1.1
    glide = speeds.best_glide or speeds.best_rate * 0.93
    target = math.radians(aircraft.pitch_target_deg or 8.0)
    cl_lift_off = CL_MAX * (stall / speeds.lift_off) ** 2
    cl_zero = cl_lift_off - LIFT_SLOPE * 0.8 * target
    cl_climb = CL_MAX * (stall / speeds.best_rate) ** 2
    cl_glide = CL_MAX * (stall / glide) ** 2
    cd_zero = INDUCED * cl_glide**2  # least drag where induced and zero-lift drag are equal
    gamma = math.asin(CLIMB_M_S / (speeds.best_rate * KT))
    drag = (cd_zero + INDUCED * cl_climb**2) / cl_climb
    return Airframe(
        rotate_kt=speeds.rotate,
        climb_kt=speeds.best_rate,
        angle_kt=speeds.best_angle or 0.85 * speeds.best_rate,
        glide_kt=glide,
        stall_kt=stall,
        cl_zero=cl_zero,
        cd_zero=cd_zero,
        static_thrust=(drag + math.sin(gamma)) / THRUST_AT_VY,
        glide_pitch_rad=(cl_glide - cl_zero) / LIFT_SLOPE - 2.0 * math.sqrt(cd_zero * INDUCED) - WINDMILL_DRAG,
        pitch_target_rad=target,
    )
