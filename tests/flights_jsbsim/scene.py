"""One flight's record made handy, and the documented table of what a warning's reason and moment make of it.

Written from the product's documented rules, independently of the coach's code. Where the moment lies within a small
margin of a boundary (half VR, 2 s before VR, lift-off) either side's outcome is accepted."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field

import numpy as np

from tests.flights_jsbsim.aeroplanes import AEROPLANES, profile_text
from tests.flights_jsbsim.flight import first_crossing, wheels_off
from tests.flights_jsbsim.pilot import Raw
from tests.flights_jsbsim.sensors import faulty_channels, true_channels

GRACE_S = 1.5
"""A warning counts as in time up to this long after the limit's crossing plus the stated hold."""


@dataclass(frozen=True)
class Expected:
    """What must come, times in seconds from the flight's first step.

    outcomes: any of "abort", "air" (a warning that is no abort), "caution", "lost", "quiet". reasons: the right
    ones. earliest: a warning before it is false. crossing: the limit's crossing. due: crossing plus the stated
    hold; latest: the last moment that counts; late_air: the same for a warning held until after lift-off. required:
    missing it is a miss. ids: of a caution. why: in words."""

    outcomes: frozenset[str]
    reasons: frozenset[str] = frozenset()
    earliest: float = 0.0
    crossing: float | None = None
    due: float | None = None
    latest: float | None = None
    late_air: float | None = None
    required: bool = True
    ids: frozenset[str] = frozenset()
    why: str = ""


@dataclass
class Scene:
    """One flight's record, made handy."""

    raw: Raw
    c: dict[str, np.ndarray] = field(default_factory=dict)
    true: dict[str, np.ndarray] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Work out the channels, the profile and the moments that matter."""
        self.c, self.true = faulty_channels(self.raw), true_channels(self.raw)
        self.a = AEROPLANES[self.raw.scenario.aeroplane]
        self.profile = tomllib.loads(profile_text(self.a.key))
        self.t = self.c["t"]
        self.fault = self.raw.scenario.fault
        self.onset = self.raw.marks.get("fault")
        self.opening = self.raw.marks.get("throttle_opening", 0.0)
        self.off = wheels_off(self.t, self.true["on_ground"], self.opening)
        self.full = self.raw.marks.get("throttle_full", self.opening + 3.0)
        self.closed = self.raw.marks.get("throttle_closed")

    def band(self, channel: str) -> dict[str, object]:
        """The profile's marks of one instrument."""
        for table in ("engine", "systems"):
            if channel in self.profile.get(table, {}):
                return dict(self.profile[table][channel])
        return {}

    def at(self, name: str, time: float) -> float:
        """A true channel's value at a time."""
        return float(np.interp(time, self.t, self.true[name]))

    def when(self, mask: np.ndarray, after: float) -> float | None:
        """The first moment after a time at which the mask holds."""
        hits = np.flatnonzero(mask & (self.t >= after))
        return float(self.t[hits[0]]) if len(hits) else None

    def held_from(self, mask: np.ndarray, after: float, hold_s: float) -> float | None:
        """The start of the first stretch, after a time, over which the mask holds without a break for hold_s."""
        ok = mask & (self.t >= after)
        need, run = int(hold_s * 120.0), 0
        for i, good in enumerate(ok):
            run = run + 1 if good else 0
            if run > need:
                return float(self.t[i - run + 1])
        return None

    def seconds_to_rotate(self, time: float) -> float:
        """Seconds to VR at the mean acceleration of the last 2 s (true airspeed channel)."""
        slope = (self.at("ias_kt", time) - self.at("ias_kt", time - 2.0)) / 2.0
        gap = self.a.rotate_kt - self.at("ias_kt", time)
        return gap / slope if slope > 0.05 else 99.0

    def regions(self, time: float) -> frozenset[str]:
        """Where a moment lies: "early" (below half VR), "mid", "line" (last 2 s), "air"; several near a boundary."""
        if self.off is not None and time >= self.off + 0.3:
            return frozenset({"air"})
        found = set()
        if self.off is not None and time >= self.off - 0.5:
            found.add("air")
        ias, left, half = self.at("ias_kt", time), self.seconds_to_rotate(time), self.a.rotate_kt / 2
        if ias < half + 3.0:
            found.add("early")
        if ias > half - 3.0 and left > 1.2:
            found.add("mid")
        if left < 3.0:
            found.add("line")
        return frozenset(found)


_TABLE: dict[str, dict[str, str]] = {
    "engine-failure": {"early": "abort", "mid": "abort", "line": "abort", "air": "air"},
    "power-loss": {"early": "abort", "mid": "abort", "line": "either", "air": "air"},
    "rpm-low": {"early": "abort", "mid": "abort", "line": "either", "air": "air"},
    "manifold-pressure-low": {"early": "abort", "mid": "abort", "line": "either", "air": "air"},
    "rpm-high": {"early": "abort", "mid": "air", "line": "air", "air": "air"},
    "oil-pressure-low": {"early": "abort", "mid": "abort", "line": "air", "air": "air"},
    "oil-temperature-high": {"early": "abort", "mid": "air", "line": "air", "air": "air"},
    "airspeed-not-alive": {"early": "abort", "mid": "abort", "line": "air", "air": "air"},
    "acceleration-low": {"early": "abort", "mid": "abort", "line": "abort", "air": "quiet"},
    "directional-control": {"early": "abort", "mid": "abort", "line": "abort", "air": "quiet"},
    "configuration": {"early": "abort", "mid": "either", "line": "air", "air": "air"},
}
"""Reason and region to outcome."""


def _outcomes(reason: str, regions: frozenset[str]) -> frozenset[str]:
    found = {_TABLE[reason][region] for region in regions}
    return frozenset(found - {"either"} | ({"abort", "air"} if "either" in found else set()))


def judged(
    s: Scene,
    reason: str,
    crossing: float | None,
    hold_s: float,
    also: tuple[str, ...] = (),
    earliest: float | None = None,
    required: bool = True,
    grace_s: float = GRACE_S,
) -> Expected:
    """The expectation for a warning with this reason whose limit is crossed at that moment."""
    if crossing is None:
        return Expected(
            frozenset({"quiet"}), frozenset({reason, *also}), s.onset or 0.0, required=False, why="limit never crossed"
        )
    due = crossing + hold_s
    latest = due + grace_s
    outcomes = _outcomes(reason, s.regions(crossing + hold_s) | s.regions(due + 0.3))
    if "quiet" in outcomes or (s.closed is not None and s.closed < latest):
        required = False
    late_air = latest
    if s.off is not None:
        late_air = max(latest, s.off + 4.0)
        if reason == "rpm-high":
            late_air = max(late_air, (first_crossing(s.t, s.true["height_ft"], 500.0, s.off) or s.t[-1]) + 4.0)
        required = required and s.t[-1] > (late_air if "air" in outcomes else latest)
    else:
        held = "air" in outcomes and _TABLE[reason]["line"] == "air"  # near the line a hold is as right, and stays one
        required = required and "abort" in outcomes and not held and s.t[-1] > latest
    first = crossing + hold_s - 0.2 if earliest is None else earliest
    return Expected(outcomes, frozenset({reason, *also}), first, crossing, due, latest, late_air, required)
