"""What the coach must make of a fault, worked out from the flight's own 120 Hz record and the profile's marks.

The rules are the product's documented ones (what is an abort, what is held, what is said after lift-off); this file
reads them independently of the coach's code. Where the moment lies within a small margin of a boundary (half VR, 2
s before VR, lift-off) either side's outcome is accepted."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field

import numpy as np

from tests.flights_jsbsim.aeroplanes import AEROPLANES, profile_text
from tests.flights_jsbsim.flight import first_crossing, wheels_off
from tests.flights_jsbsim.pilot import Raw
from tests.flights_jsbsim.scenario import Fault
from tests.flights_jsbsim.sensors import faulty_channels, true_channels

GRACE_S = 1.5
"""A warning counts as in time up to this long after the limit's crossing plus the stated hold."""
SLOW_CLIMB_LOSS_S = 12.0
"""A loss that only the climb shows (constant-speed propeller) must be called within this; no stated hold exists."""


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
class _Scene:
    """One flight's record, made handy."""

    raw: Raw
    c: dict[str, np.ndarray] = field(default_factory=dict)
    true: dict[str, np.ndarray] = field(default_factory=dict)

    def __post_init__(self) -> None:
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


def _judge(
    s: _Scene,
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
    if s.closed is not None and s.closed < latest:
        required = False
    late_air = latest
    if s.off is not None:
        late_air = max(latest, s.off + 4.0)
        if reason == "rpm-high":
            late_air = max(late_air, (first_crossing(s.t, s.true["height_ft"], 500.0, s.off) or s.t[-1]) + 4.0)
        required = required and s.t[-1] > (late_air if outcomes == {"air"} else latest)
    else:
        required = required and "abort" in outcomes and s.t[-1] > latest
    first = crossing + hold_s - 0.2 if earliest is None else earliest
    return Expected(outcomes, frozenset({reason, *also}), first, crossing, due, latest, late_air, required)


# -- one function a kind ----------------------------------------------------------------------------------------------


def _fell_in_one_second(s: _Scene, values: np.ndarray, share: float, after: float) -> float | None:
    """The first moment a value is `share` below its most of the last second."""
    window = 120
    most = np.lib.stride_tricks.sliding_window_view(
        np.concatenate([np.full(window - 1, values[0]), values]), window
    ).max(axis=1)
    return s.when(values < (1.0 - share) * most, after)


def _engine_failure(s: _Scene, onset: float) -> Expected:
    crossing = _fell_in_one_second(s, s.c["rpm"], 0.15, onset)
    return _judge(s, "engine-failure", crossing, 0.0, earliest=onset)


def _power_loss(s: _Scene, onset: float) -> Expected:
    rpm = s.c["rpm"]
    before = (s.t <= onset) & (s.t > s.opening)
    best = float(rpm[before].max()) if before.any() else float(rpm.max())
    sudden = _fell_in_one_second(s, rpm, 0.15, onset)
    slow = s.held_from(rpm < 0.95 * best, onset, 1.0)
    also = ["rpm-low"] + (["engine-failure"] if sudden is not None or s.at("groundspeed_kt", onset) < 45 else [])
    if slow is None and sudden is None:
        return _hidden_loss(s, onset)
    if sudden is not None and (slow is None or sudden < slow + 1.0):
        return _judge(s, "power-loss", sudden, 1.0, tuple(also), onset)
    return _judge(s, "power-loss", slow, 1.0, tuple(also), onset)


def _hidden_loss(s: _Scene, onset: float) -> Expected:
    """The governor hides it (or it is small): only acceleration or climb shows it; required only where the climb
    falls to under half."""
    reasons = frozenset({"power-loss", "engine-failure", "acceleration-low", "rpm-low"})
    if s.off is None or onset < s.off:
        return Expected(
            frozenset({"abort", "air", "quiet"}), reasons, onset, required=False, why="hidden by the governor"
        )
    before = s.at("vertical_speed_fpm", onset)
    later = onset + SLOW_CLIMB_LOSS_S
    fast = s.when((s.true["ias_kt"] > s.a.best_rate_kt - 5.0) & (s.t > s.off), s.off)
    settled = fast is not None and onset - fast > 15.0  # this climb's own rate is known by then
    clear = settled and later < s.t[-1] and s.at("vertical_speed_fpm", later) < 0.5 * before
    clear = clear and s.raw.scenario.gust_kt < 1.0
    outcomes = frozenset({"air"} if clear else {"air", "quiet"})
    return Expected(outcomes, reasons, onset, onset, onset, later, later, clear, why="seen in the climb only")


def _rpm_low_from_start(s: _Scene, onset: float) -> Expected:
    least = float(s.band("rpm")["takeoff_min"])  # type: ignore[arg-type]
    judged = s.full + 3.0
    low = s.held_from(s.c["rpm"] < least, judged - 1.0, 1.0)
    also = (
        ("power-loss", "engine-failure")
        if not s.a.constant_speed
        else ("power-loss", "engine-failure", "manifold-pressure-low")
    )
    if s.a.constant_speed and (low is None or s.at("rpm", judged + 3.0) > least):
        return Expected(frozenset({"abort", "air", "quiet"}), frozenset({"rpm-low", *also}), s.opening, required=False)
    if low is None or low > judged + 2.0:
        return Expected(frozenset({"abort", "quiet"}), frozenset({"rpm-low", *also}), s.opening, required=False)
    return _judge(s, "rpm-low", judged, 0.5 + (2.0 if s.a.constant_speed else 0.0), also, s.opening + 2.0)


def _oil_pressure(s: _Scene, onset: float) -> Expected:
    least = float(s.band("oil_pressure_psi")["min"])  # type: ignore[arg-type]
    after = max(onset, s.opening)
    return _judge(s, "oil-pressure-low", s.held_from(s.c["oil_pressure_psi"] < least, after, 1.5), 1.5)


def _oil_temperature(s: _Scene, onset: float) -> Expected:
    most = float(s.band("oil_temperature_degf")["max"])  # type: ignore[arg-type]
    return _judge(
        s, "oil-temperature-high", s.held_from(s.c["oil_temperature_degf"] > most, max(onset, s.opening), 1.5), 1.5
    )


def _rpm_high(s: _Scene, onset: float) -> Expected:
    red = float(s.band("rpm")["red_line"])  # type: ignore[arg-type]
    share = 1.05 if s.a.constant_speed else 1.02
    return _judge(s, "rpm-high", s.held_from(s.c["rpm"] > share * red, onset, 2.0), 2.0)


def _manifold(s: _Scene, onset: float) -> Expected:
    ambient = 29.92 * (1.0 - 6.8756e-6 * s.raw.scenario.elevation_ft) ** 5.2559
    mp = s.c["manifold_pressure_inhg"]
    low = (
        mp < ambient - 2.0
        if s.off is None or onset < s.off
        else mp < 0.95 * s.at("manifold_pressure_inhg", onset - 0.1)
    )
    crossing = s.held_from(low, max(onset, s.full + 3.0), 1.0)
    also = ("power-loss", "engine-failure")
    needed = s.a.constant_speed and onset < (s.off or 1e9)
    return _judge(s, "manifold-pressure-low", crossing, 1.0, also, onset, needed)


def _airspeed_dead(s: _Scene, onset: float) -> Expected:
    gs, ias = s.true["groundspeed_kt"], s.c["ias_kt"]
    wind = s.raw.scenario.wind_kt
    first = s.when((gs >= 25.0) & (ias < 20.0), s.opening)
    crossing = s.when((gs >= 35.0) & (ias < 20.0), s.opening)
    found = _judge(s, "airspeed-not-alive", crossing, 0.0, (), (first or 0.0) - 0.2)
    return _wider(found) if wind > 5.0 else found


def _wider(e: Expected) -> Expected:
    """Wind makes the line by groundspeed differ from that by airspeed: abort and hold both pass."""
    return Expected(
        e.outcomes | {"abort", "air"},
        e.reasons,
        e.earliest,
        e.crossing,
        e.due,
        e.latest,
        e.late_air,
        e.required,
        e.ids,
        "wind",
    )


def _airspeed_stuck(s: _Scene, onset: float) -> Expected:
    if s.off is not None and onset > s.off - 1.0:
        return Expected(
            frozenset({"air", "caution", "quiet"}),
            frozenset({"airspeed-not-alive"}),
            onset,
            required=False,
            why="stuck aloft",
        )
    gs = s.true["groundspeed_kt"]
    rise = s.at("groundspeed_kt", onset)
    crossing = s.when(gs >= rise + 15.0, onset)
    if s.c["ias_kt"][-1] < 20.0:
        return _airspeed_dead(s, onset)
    e = _judge(s, "airspeed-not-alive", crossing, 0.0, (), onset)
    return _wider(e)


def _veer(s: _Scene, onset: float) -> Expected:
    away = np.abs((s.true["heading_deg"] - s.raw.scenario.runway_deg + 180.0) % 360.0 - 180.0)
    on_wheels = s.true["on_ground"] > 0.5
    return _judge(s, "directional-control", s.when((away > 15.0) & on_wheels, onset), 0.0, (), onset)


def _configuration(s: _Scene, onset: float) -> Expected:
    kind = s.fault.kind if s.fault else ""
    no_flaps = kind == "flaps-wrong" and float(s.c["flaps_deg"].max()) < 5.0
    if no_flaps or (kind == "mixture-lean" and s.raw.scenario.elevation_ft > 2900.0):
        reason = frozenset({"configuration"})
        return Expected(
            frozenset({"quiet", "caution"}), reason, required=False, why="no flaps, or leaned for a high field"
        )
    return _judge(s, "configuration", max(onset, s.full), 1.0, (), s.opening - 1.0)


def _minor(channel: str, ids: tuple[str, ...], low: bool, mark: str) -> object:
    """A gauge that alone never makes an abort: a caution, at once below half VR, else after 500 ft."""

    def rule(s: _Scene, onset: float) -> Expected:
        limit = float(s.band(channel).get(mark, float("nan")))  # type: ignore[arg-type]
        beyond = s.c[channel] < limit if low else s.c[channel] > limit
        crossing = s.held_from(beyond, max(onset, s.opening), 3.0)
        reasons = frozenset(ids)
        if crossing is None:
            return Expected(frozenset({"caution", "quiet"}), reasons, onset, required=False, ids=reasons)
        height = first_crossing(s.t, s.true["height_ft"], 500.0, s.off) if s.off is not None else None
        last = max(crossing + 5.0, (height or s.t[-1]) + 5.0)
        early = s.regions(crossing) == {"early"} and s.regions(crossing + 3.0) == {"early"}
        if early:
            last = crossing + 5.0
        required = s.t[-1] > last + 1.0 and s.closed is None
        return Expected(
            frozenset({"caution", "air"}), reasons, onset, crossing, crossing + 3.0, last, last, required, reasons
        )

    return rule


def _eased(s: _Scene, onset: float) -> Expected:
    crossing = s.when(s.c["throttle"] < 0.88, onset)
    ids = frozenset({"power-reduced"})
    low = crossing is not None and s.at("height_ft", crossing) < 440.0
    last = (crossing or 0.0) + 3.0
    return Expected(
        frozenset({"caution"}), frozenset(), onset, crossing, crossing, last, last, low, ids, "pilot's own hand"
    )


def _lost(s: _Scene, onset: float) -> Expected:
    wait = max(2.0, 3.0) if s.fault and s.fault.size >= 3.0 else 1e9
    return Expected(frozenset({"lost", "caution"}), frozenset(), onset, required=wait < 1e9, latest=onset + 4.0)


def _wrong_airspeed(s: _Scene, onset: float) -> Expected:
    """A blocked static source makes the airspeed read low in the climb: calling it dead is right, and so is silence."""
    reasons = frozenset({"airspeed-not-alive"})
    return Expected(frozenset({"air", "caution", "quiet"}), reasons, onset, required=False, why="airspeed reads low")


def _none(s: _Scene, onset: float) -> Expected:
    return Expected(frozenset({"quiet", "caution"}), frozenset(), required=False, why="nothing to warn of")


def _drag(s: _Scene, onset: float) -> Expected:
    return Expected(
        frozenset({"abort", "quiet"}),
        frozenset({"acceleration-low", "abort-point", "engine-failure", "power-loss"}),
        onset,
        required=False,
        why="runway length not given",
    )


RULES = {
    "engine-failure": _engine_failure,
    "partial-power": _power_loss,
    "creeping-power": _power_loss,
    "rpm-low": _rpm_low_from_start,
    "oil-pressure-low": _oil_pressure,
    "oil-pressure-sag": _oil_pressure,
    "oil-temperature-high": _oil_temperature,
    "rpm-high": _rpm_high,
    "manifold-pressure-low": _manifold,
    "airspeed-dead": _airspeed_dead,
    "airspeed-stuck": _airspeed_stuck,
    "veer": _veer,
    "dragging-brake": _drag,
    "flaps-wrong": _configuration,
    "parking-brake": _configuration,
    "mixture-lean": _configuration,
    "fuel-pressure-low": _minor("fuel_pressure_psi", ("fuel-pressure", "fuel-pressure-low"), True, "min"),
    "suction-low": _none,
    "bus-low": _none,
    "cylinder-hot": _minor("cht_degf", ("cht", "cht-high", "cylinder-temperature"), False, "max"),
    "oil-pressure-high": _minor("oil_pressure_psi", ("oil-pressure", "oil-pressure-high"), False, "max"),
    "static-blocked": _wrong_airspeed,
    "power-eased": _eased,
    "feed-lost": _lost,
}
"""Kind of fault to the rule; a kind not named here must stay without a warning."""


def expected(raw: Raw) -> Expected:
    """What the coach must make of the flight; times from the flight's first step."""
    scene = _Scene(raw)
    fault: Fault | None = raw.scenario.fault
    if fault is None or scene.onset is None:
        return Expected(frozenset({"quiet"}), required=False, why="no fault")
    return RULES.get(fault.kind, _none)(scene, scene.onset)  # type: ignore[operator]
