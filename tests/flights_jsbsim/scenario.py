"""What a test flight is: the aeroplane, the day, the pilot, the fault; frozen, so that flights can be cached."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One fault: its kind, when it begins, and how big it is.

    on: "time" (at = seconds after the throttle starts to open), "ias" (at = kt, on the way up), "height" (at = ft
    above the runway) or "start" (from the first sample). size: a fraction, a value or a rate, by kind (see
    sensors.py, pilot.py)."""

    kind: str
    on: str = "time"
    at: float = 0.0
    size: float = 0.0


@dataclass(frozen=True)
class Scenario:
    """One flight. Wind is relative to the runway: from 0 = headwind, 90 = from the right. Speeds kt, heights ft.

    kind: "takeoff" (to top_ft), "circuit" (levels off at top_ft), "rejected" (throttle closed at reject_kt),
    "touch-and-go", "stop-and-go", "hop" (leaves the ground early, settles, and goes on), "burst" (throttle to
    reject_kt then idle, as a fast taxi), "run-up" (power to 1,700 rpm on the brakes, back, then a takeoff). load: 0
    light to 1 heavy. isa_c: degrees above the standard temperature. sloppy: 0 exact to 1 at the edge of the
    standards. rotate_error_kt: added to VR. reaction_s: seconds after a fault's onset until the pilot acts on it;
    None = flies on. after_fault_s: the flight ends this long after the fault's onset at the latest."""

    aeroplane: str = "c172p"
    kind: str = "takeoff"
    elevation_ft: float = 0.0
    runway_deg: float = 90.0
    wind_kt: float = 0.0
    wind_from_deg: float = 0.0
    gust_kt: float = 0.0
    seed: int = 1
    load: float = 0.5
    isa_c: float = 0.0
    sloppy: float = 0.0
    rotate_error_kt: float = 0.0
    flaps_deg: float = 0.0
    rolling: bool = False
    stand_s: float = 6.0
    throttle_s: float = 3.0
    turn: bool = True
    top_ft: float = 1200.0
    reject_kt: float = 40.0
    hop_kt: float = 6.0
    longest_s: float = 240.0
    fault: Fault | None = None
    reaction_s: float | None = None
    after_fault_s: float = 60.0
