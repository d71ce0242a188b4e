"""What the coach must make of a fault, worked out from the flight's own 120 Hz record and the profile's marks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.flights_jsbsim.flight import first_crossing
from tests.flights_jsbsim.pilot import Raw
from tests.flights_jsbsim.scenario import Fault
from tests.flights_jsbsim.scene import Expected, Scene, judged

__all__ = ["Expected", "expected"]

Rule = Callable[[Scene, float], Expected]
"""The flight and the fault's onset to what is expected."""

HIDDEN = "seen in the climb only"
SLOW_CLIMB_LOSS_S = 12.0
"""A loss that only the climb shows (constant-speed propeller) must be called within this."""
LOSS_PART, TURNS_PART, CLIMB_MEAN_S, CLIMB_HOLD_S = 0.55, 0.8, 2.5, 3.0
"""As documented: less than this part of this climb's own (in a turn a part of that), in the mean of so long, held."""
HALF_PART, TURNING_PART, TURN_DEG = 0.5, 0.4, 10.0
"""The two limits less what instruments' noise makes of them."""
LULL_FPM, TURNING_FPM = 300.0, 500.0
"""A fall by less may be sinking air, or what a turn takes: stated as 250 and 450 ft/min."""
THIN_AIR_FT = 6500.0
"""The lean height, 3,000 ft in these profiles, and 3,500 more."""
WEAK_CLIMB_FPM = 300.0
"""A climb weaker than this to begin with is lost in the air's own rise and fall."""
GAUGE_RPM = 15.0
"""Nearer to a limit than this a tachometer of 10 rev/min a step shows now one side of it and now the other."""
DIRECTION_HOLD_S = 0.3
"""As documented."""


def _fell_in_one_second(s: Scene, values: np.ndarray, share: float, after: float) -> float | None:
    """The first moment a value is `share` below its most of the last second."""
    window = 120
    most = np.lib.stride_tricks.sliding_window_view(
        np.concatenate([np.full(window - 1, values[0]), values]), window
    ).max(axis=1)
    return s.when(values < (1.0 - share) * most, after)


def _engine_failure(s: Scene, onset: float) -> Expected:
    crossing = _fell_in_one_second(s, s.c["rpm"], 0.15, onset)
    least = float(s.band("rpm")["takeoff_min"])  # type: ignore[arg-type]
    idle = onset < s.full and float(np.interp(onset, s.t, s.c["rpm"])) < 0.6 * least
    # An engine that stops before it was ever opened up is no takeoff's: nobody needs to be told.
    return judged(s, "engine-failure", crossing, 0.0, earliest=onset, required=not idle)


def _at_one_airspeed(s: Scene, rpm: np.ndarray, before: np.ndarray) -> np.ndarray:
    """A fixed-pitch propeller's rpm as at the airspeed of its best: 3 rev/min a kt (2 to 4 in the model)."""
    if s.a.constant_speed or not before.any():
        return rpm
    ias = s.true["ias_kt"]
    at_best = float(ias[before][int(np.argmax(rpm[before]))])
    return rpm + 3.0 * np.maximum(at_best - ias, 0.0)


def _loss_part(s: Scene) -> np.ndarray:
    """The loss that counts: 5 %, aloft 6.5 % far above the lean height, where power fades with the air (as stated)."""
    aloft = (s.t > s.off) if s.off is not None else np.zeros(len(s.t), dtype=bool)
    thin = aloft & (s.true["height_ft"] + s.raw.scenario.elevation_ft > THIN_AIR_FT) & (not s.a.constant_speed)
    return np.where(thin, 0.065, 0.05)


def _power_loss(s: Scene, onset: float) -> Expected:
    rpm = s.c["rpm"]
    before = (s.t <= onset) & (s.t > s.opening)
    mean = np.convolve(rpm, np.full(120, 1 / 120), "same")  # over a second: a governor's overshoot is no best
    best = float(mean[before].max()) if before.any() else float(mean.max())
    sudden = _fell_in_one_second(s, rpm, 0.15, onset)
    least = (1.0 - _loss_part(s)) * best
    slow = s.held_from(_at_one_airspeed(s, rpm, before) < least, onset, 1.0)
    nearly = _fell_in_one_second(s, rpm, 0.135, onset)  # a gauge's noise may make it 15 %
    also = ["rpm-low"] + (["engine-failure"] if nearly is not None or s.at("groundspeed_kt", onset) < 45 else [])
    if slow is None and sudden is None:
        return _hidden_loss(s, onset)
    if sudden is not None and (slow is None or sudden < slow + 1.0):
        return judged(s, "power-loss", sudden, 1.0, tuple(also), onset)
    return judged(s, "power-loss", slow, 1.0, tuple(also), onset)


def _excess_power_fpm(s: Scene) -> np.ndarray:
    """Climb and the speed gained over the ground together (dh/dt + V/g dV/dt), as a climb."""
    kt_s = np.gradient(s.c["groundspeed_kt"], s.t)
    power: np.ndarray = s.true["vertical_speed_fpm"] + 1.68781**2 / 32.174 * 60.0 * s.true["ias_kt"] * kt_s
    return power


def _over_the_last(values: np.ndarray, seconds: float) -> np.ndarray:
    """The mean of so long up to each step."""
    steps = round(seconds * 120.0)
    return np.convolve(values, np.full(steps, 1.0 / steps))[: len(values)]


def _mean(s: Scene, values: np.ndarray, first_s: float, last_s: float) -> float:
    among = (s.t >= first_s) & (s.t <= last_s)
    return float(values[among].mean()) if among.any() else 0.0


def _hidden_loss(s: Scene, onset: float) -> Expected:
    """The governor hides it (or it is small): only acceleration or climb shows it; required only where climb
    and speed together fall to under half (a climb alone falls by that where the pilot wins back speed)."""
    reasons = frozenset({"power-loss", "engine-failure", "acceleration-low", "rpm-low"})
    if s.off is None or onset < s.off:
        return Expected(
            frozenset({"abort", "air", "quiet"}), reasons, onset, required=False, why="hidden by the governor"
        )
    later = onset + SLOW_CLIMB_LOSS_S
    fast = s.when((s.true["ias_kt"] > s.a.best_rate_kt - 5.0) & (s.t > s.off), s.off)
    settled = fast is not None and onset - fast > 15.0  # this climb's own rate is known by then
    power = _excess_power_fpm(s)
    before, after = _mean(s, power, onset - 8.0, onset), _mean(s, power, later - 6.0, later)
    turns = np.abs(s.c["bank_deg"][(s.t >= onset - 5.0) & (s.t <= later)]).max() >= TURN_DEG
    half = after < (TURNING_PART if turns else HALF_PART) * before
    half = half and before - after > (TURNING_FPM if turns else LULL_FPM)
    clear = settled and before > WEAK_CLIMB_FPM and later < s.t[-1] and half and s.raw.scenario.gust_kt < 1.0
    outcomes = frozenset({"air"} if clear else {"air", "quiet"})
    low = _over_the_last(power, CLIMB_MEAN_S) < (TURNS_PART if turns else 1.0) * LOSS_PART * before
    crossing = s.when(low, onset)
    crossing = onset if crossing is None else crossing
    return Expected(outcomes, reasons, onset, crossing, crossing + CLIMB_HOLD_S, later, later, clear, why=HIDDEN)


def _rpm_low_from_start(s: Scene, onset: float) -> Expected:
    least = float(s.band("rpm")["takeoff_min"])  # type: ignore[arg-type]
    due = s.full + 3.0
    low = s.held_from(s.c["rpm"] < least, due - 1.0, 1.0)
    also = (
        ("power-loss", "engine-failure")
        if not s.a.constant_speed
        else ("power-loss", "engine-failure", "manifold-pressure-low")
    )
    if s.a.constant_speed and (low is None or s.at("rpm", due + 3.0) > least):
        return Expected(frozenset({"abort", "air", "quiet"}), frozenset({"rpm-low", *also}), s.opening, required=False)
    if s.at("rpm", s.opening) < 400.0:  # it had stopped before: nobody takes off, and nobody needs to be told
        return Expected(frozenset({"abort", "quiet"}), frozenset({"rpm-low", *also}), s.opening, required=False)
    if low is None or low > due + 2.0:
        return Expected(frozenset({"abort", "quiet"}), frozenset({"rpm-low", *also}), s.opening, required=False)
    if s.a.constant_speed:  # no time is stated for a governor; in time is before the last 2 s to VR
        fast = first_crossing(s.t, s.true["ias_kt"], s.a.rotate_kt, s.opening)
        line = (fast or s.t[-1]) - 2.0
        reasons = frozenset({"rpm-low", *also})
        shows = line > due + 4.0 and s.at("rpm", line) < least - GAUGE_RPM
        return Expected(frozenset({"abort"}), reasons, s.opening + 2.0, due, None, line, line, shows)
    return judged(s, "rpm-low", due, 0.5, also, s.opening + 2.0)


def _oil_pressure(s: Scene, onset: float) -> Expected:
    least = float(s.band("oil_pressure_psi")["min"])  # type: ignore[arg-type]
    after = max(onset, s.opening)
    return judged(s, "oil-pressure-low", s.held_from(s.c["oil_pressure_psi"] < least, after, 1.5), 1.5)


def _oil_temperature(s: Scene, onset: float) -> Expected:
    most = float(s.band("oil_temperature_degf")["max"])  # type: ignore[arg-type]
    return judged(
        s, "oil-temperature-high", s.held_from(s.c["oil_temperature_degf"] > most, max(onset, s.opening), 1.5), 1.5
    )


def _rpm_high(s: Scene, onset: float) -> Expected:
    red = float(s.band("rpm")["red_line"])  # type: ignore[arg-type]
    share = 1.05 if s.a.constant_speed else 1.02
    return judged(s, "rpm-high", s.held_from(s.c["rpm"] > share * red, onset, 2.0), 2.0)


def _manifold(s: Scene, onset: float) -> Expected:
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
    return judged(s, "manifold-pressure-low", crossing, 1.0, also, onset, needed)


def _airspeed_dead(s: Scene, onset: float) -> Expected:
    gs, ias = s.true["groundspeed_kt"], s.c["ias_kt"]
    wind = s.raw.scenario.wind_kt
    first = s.when((gs >= 25.0) & (ias < 20.0), s.opening)
    crossing = s.when((gs >= 35.0) & (ias < 20.0), s.opening)
    found = judged(s, "airspeed-not-alive", crossing, 0.0, (), (first or 0.0) - 0.2)
    return _wider(s, found) if wind > 2.0 else found


def _wider(s: Scene, e: Expected) -> Expected:
    """Wind makes the line by groundspeed differ from that by airspeed: abort and hold both pass.

    A held warning is spoken only after lift-off, so without one nothing is required.
    """
    required = e.required and (s.off is not None or e.outcomes == {"abort"})
    return replace(e, outcomes=e.outcomes | {"abort", "air"}, required=required, why="wind")


def _airspeed_stuck(s: Scene, onset: float) -> Expected:
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
    e = judged(s, "airspeed-not-alive", crossing, 0.0, (), onset)
    near = s.seconds_to_rotate(e.due or 0.0) < 4.5 and s.off is None
    return replace(_wider(s, e), required=e.required and not near)


def _veer(s: Scene, onset: float) -> Expected:
    away = np.abs((s.true["heading_deg"] - s.raw.scenario.runway_deg + 180.0) % 360.0 - 180.0)
    on_wheels = s.true["on_ground"] > 0.5
    crossing = s.held_from((away > 15.0) & on_wheels, onset, DIRECTION_HOLD_S)
    return judged(s, "directional-control", crossing, DIRECTION_HOLD_S, (), onset)


def _frozen_rpm(s: Scene, onset: float) -> Expected:
    """Frozen while the engine still gained speed, the gauge shows low power, and nobody beside the pilot can tell."""
    least = float(s.band("rpm")["takeoff_min"])  # type: ignore[arg-type]
    if float(np.interp(onset, s.t, s.true["rpm"])) >= least:
        return _none(s, onset)
    outcomes = frozenset({"quiet", "caution", "abort", "air"})
    return Expected(outcomes, frozenset({"rpm-low"}), onset, required=False, why="the gauge shows low rpm")


def _configuration(s: Scene, onset: float) -> Expected:
    kind = s.fault.kind if s.fault else ""
    no_flaps = kind == "flaps-wrong" and float(s.c["flaps_deg"].max()) < 5.0
    if no_flaps or (kind == "mixture-lean" and s.raw.scenario.elevation_ft > 2900.0):
        reason = frozenset({"configuration"})
        return Expected(
            frozenset({"quiet", "caution"}), reason, required=False, why="no flaps, or leaned for a high field"
        )
    found = judged(s, "configuration", max(onset, s.full), 1.0, (), s.opening - 1.0)
    if kind != "flaps-wrong" and found.due is not None and "mid" in s.regions(found.due):
        return replace(found, required=False)  # beyond half VR only flaps are worth an abort
    return found


def _minor(channel: str, ids: tuple[str, ...], low: bool, mark: str) -> Rule:
    """A gauge that alone never makes an abort: a caution, at once below half VR, else after 500 ft."""

    def rule(s: Scene, onset: float) -> Expected:
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


def _eased(s: Scene, onset: float) -> Expected:
    crossing = s.when(s.c["throttle"] < 0.88, onset)
    ids = frozenset({"power-reduced"})
    low = crossing is not None and s.at("height_ft", crossing) < 440.0
    last = (crossing or 0.0) + 3.0
    return Expected(
        frozenset({"caution"}), frozenset(), onset, crossing, crossing, last, last, low, ids, "pilot's own hand"
    )


def _lost(s: Scene, onset: float) -> Expected:
    wait = max(2.0, 3.0) if s.fault and s.fault.size >= 3.0 else 1e9
    return Expected(frozenset({"lost", "caution"}), frozenset(), onset, required=wait < 1e9, latest=onset + 4.0)


def _wrong_airspeed(s: Scene, onset: float) -> Expected:
    """A blocked static source makes the airspeed read low in the climb: calling it dead is right, and so is silence."""
    reasons = frozenset({"airspeed-not-alive"})
    return Expected(frozenset({"air", "caution", "quiet"}), reasons, onset, required=False, why="airspeed reads low")


def _none(s: Scene, onset: float) -> Expected:
    return Expected(frozenset({"quiet", "caution"}), frozenset(), required=False, why="nothing to warn of")


def _drag(s: Scene, onset: float) -> Expected:
    return Expected(
        frozenset({"abort", "quiet"}),
        frozenset({"acceleration-low", "abort-point", "engine-failure", "power-loss"}),
        onset,
        required=False,
        why="runway length not given",
    )


RULES: dict[str, Rule] = {
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
    "frozen-rpm": _frozen_rpm,
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
    scene = Scene(raw)
    fault: Fault | None = raw.scenario.fault
    if fault is None or scene.onset is None:
        return Expected(frozenset({"quiet"}), required=False, why="no fault")
    return RULES.get(fault.kind, _none)(scene, scene.onset)
