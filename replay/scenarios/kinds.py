"""What a flight of the built-in training aeroplane is told beforehand: the day, the seed, and what goes wrong.

A fault begins at a moment given in one of four ways, whichever makes sense for it: as a time, as an airspeed on the
roll, as a height, or, with none of them, at once.
"""

from __future__ import annotations

import msgspec

FAULTS: dict[str, str] = {
    "rpm": "the engine gives less than its least takeoff rpm",
    "oil": "oil pressure falls below its least",
    "oil-temperature": "oil temperature rises beyond its red line",
    "airspeed": "the pitot is blocked: the airspeed stays at zero",
    "airspeed-stuck": "the airspeed freezes at what it shows",
    "engine": "the engine stops",
    "power": "the engine loses a fifth of its power",
    "rpm-high": "the rpm runs beyond the red line",
    "drag": "a dragging brake: full power, too little acceleration",
    "swing": "the aeroplane swings off the runway heading",
}
"""Every fault the trainer knows, with what it is in a few words."""

DEMO_FAULTS = ("rpm", "oil", "airspeed", "engine")
"""The faults that the demo offers."""


class Fault(msgspec.Struct, frozen=True):
    """One fault: its kind (a key of `FAULTS`) and when it begins.

    at_s: seconds from the start. at_kt: first true calibrated airspeed, in knots, at or above it. at_height_ft: first
    height above the field. All None: at once. severity: 1 is the plain case; below 1 is subtler, down to 0.5.
    """

    kind: str
    at_s: float | None = None
    at_kt: float | None = None
    at_height_ft: float | None = None
    severity: float = 1.0

    def __post_init__(self) -> None:
        """Refuse a kind that is none, which would else be a silent clean flight."""
        if self.kind not in FAULTS:
            raise ValueError(f"fault: got {self.kind!r}, wanted one of {', '.join(FAULTS)}")

    def due(self, t_s: float, airspeed_kt: float, height_ft: float) -> bool:
        """Whether the fault has begun by this moment."""
        return (
            (self.at_s is None or t_s >= self.at_s)
            and (self.at_kt is None or airspeed_kt >= self.at_kt)
            and (self.at_height_ft is None or height_ft >= self.at_height_ft)
        )


class Scenario(msgspec.Struct, frozen=True):
    """One flight of the trainer.

    seed: of noise and gusts; the same seed gives the same flight. fault: what goes wrong, None = nothing.
    stand_s: seconds at rest on the runway before the throttle opens. headwind_kt, crosswind_kt (from the right
    positive), gust_kt (standard deviation). field_elevation_ft, oat_degc (at the field; None = standard).
    runway_heading_deg: of the invented runway. stop_height_ft: the flight ends here. max_s: and by then in any case.
    reaction_s: the trainer's own pilot, from hearing "abort" to a closed throttle. flaps_deg: set for takeoff,
    None = the profile's. start_s: what the feed's own clock shows at the start.
    short_field: full power on the brakes, then VX to obstacle_ft above the field.
    """

    seed: int = 1
    fault: Fault | None = None
    stand_s: float = 4.5
    headwind_kt: float = 3.0
    crosswind_kt: float = 2.0
    gust_kt: float = 0.6
    field_elevation_ft: float = 410.0
    oat_degc: float | None = None
    runway_heading_deg: float = 80.0
    stop_height_ft: float = 1080.0
    max_s: float = 150.0
    reaction_s: float = 1.0
    flaps_deg: float | None = None
    start_s: float = 0.0
    short_field: bool = False
    obstacle_ft: float = 50.0


CLEAN = Scenario()
"""An ordinary flight."""


def demo_scenario(fault: str | None = None, seed: int = 1, rotate_kt: float = 50.0) -> Scenario:
    """The demo's flight: clean, or with one of `DEMO_FAULTS` at a moment that shows it best."""
    when = {
        "rpm": Fault("rpm"),
        "oil": Fault("oil", at_kt=0.55 * rotate_kt),
        "airspeed": Fault("airspeed"),
        "engine": Fault("engine", at_height_ft=420.0),
    }
    return Scenario(seed=seed, fault=None if fault is None else when.get(fault) or Fault(fault))
