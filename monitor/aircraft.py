"""The aeroplane profile: speeds, attitudes, flaps, and the bands of its instruments.

The values come from the aeroplane's own handbook; climbout invents none. What a profile leaves out is None and
switches off exactly the checks that need it.
"""

from __future__ import annotations

import msgspec

from monitor.geo import FEET_PER_S_PER_KNOT, G_FT_S2

USUAL_REACTION_S, USUAL_BRAKING_FT_S2 = 1.5, 0.25 * G_FT_S2


class Band(msgspec.Struct, frozen=True):
    """The marks of one instrument, in the channel's unit: (low, high) arcs and red lines; None = not marked."""

    green: tuple[float, float] | None = None
    caution: tuple[float, float] | None = None
    min: float | None = None
    max: float | None = None


class Speeds(msgspec.Struct, frozen=True):
    """Indicated airspeeds in knots: VR, VLOF, VY, VX, best glide, VS0-like and VS1, VFE, VNE; VR on a short field."""

    rotate: float
    lift_off: float
    best_rate: float
    best_angle: float | None = None
    best_glide: float | None = None
    stall_flaps: float | None = None
    stall_clean: float | None = None
    flaps_extended_max: float | None = None
    never_exceed: float | None = None
    rotate_short_field: float | None = None


class Aircraft(msgspec.Struct, frozen=True):
    """One aeroplane profile, checked whole.

    propeller: "fixed" or "constant-speed". gear: "tricycle" or "tailwheel". pitch_target_deg and pitch_max_deg:
    attitude to rotate to, and the tail's limit. takeoff_flaps_deg: flaps set for takeoff. rpm_takeoff_min: least rpm
    at takeoff power (fixed: static; constant-speed: governed less 3 %). rpm_red_line. instruments: channel name to
    its `Band`, "rpm" included. expected_roll_s: seconds from takeoff power to VR when known.
    ground_roll_ft, stop_from_rotate_ft: distances at sea level when known, else None (for the stop see `stop_ft`).
    """

    name: str
    speeds_kias: Speeds
    propeller: str = "fixed"
    gear: str = "tricycle"
    pitch_target_deg: float | None = None
    pitch_max_deg: float | None = None
    takeoff_flaps_deg: float = 0.0
    rpm_takeoff_min: float | None = None
    rpm_red_line: float | None = None
    instruments: dict[str, Band] = {}
    lean_height_ft: float | None = None
    expected_roll_s: float | None = None
    ground_roll_ft: float | None = None
    stop_from_rotate_ft: float | None = None
    retractable_gear: bool = False
    text: str = ""

    @property
    def stop_ft(self) -> float:
        """Feet from VR to a stop: the profile's own; else at 0.25 g after 1.5 s (common practice, no source)."""
        if self.stop_from_rotate_ft is not None:
            return self.stop_from_rotate_ft
        v_ft_s = self.speeds_kias.rotate * FEET_PER_S_PER_KNOT
        return v_ft_s * USUAL_REACTION_S + v_ft_s**2 / (2.0 * USUAL_BRAKING_FT_S2)

    def for_short_field(self) -> Aircraft:
        """The same with VR that of a short-field takeoff, if it has one of its own, and lift-off as much sooner."""
        speeds = self.speeds_kias
        short = speeds.rotate_short_field
        if short is None:
            return self
        lift_off = speeds.lift_off - (speeds.rotate - short)
        return msgspec.structs.replace(
            self, speeds_kias=msgspec.structs.replace(speeds, rotate=short, lift_off=lift_off)
        )
