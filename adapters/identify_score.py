"""What speaks for and against a field being a channel: the range, the typed readings, what moved when it was asked to.

Every piece of evidence is a number of points, in natural logarithm of odds as near as can be said, and a few words.
Points add up. Physics between channels is in `adapters.identify_physics`.
"""

from __future__ import annotations

import math

import msgspec
import numpy as np

from adapters.identify_guesses import GUESSES, Guess, Reading
from adapters.identify_steps import BY_ID, Answers, Typed
from adapters.identify_table import GRID_HZ, Column, Field, Floats, Grid
from monitor.sample import CHANNELS

LOOK_BACK_S = 4.0
"""The eye was on the gauge within this time before Enter was pressed (common practice, no source)."""
MISREAD = 0.03
"""The share of readings that are simply wrong: another gauge, a slip of the finger (own value)."""


class Reason(msgspec.Struct, frozen=True):
    """One piece of evidence: points (positive speaks for) and a few words for a person."""

    points: float
    words: str


class Claim(msgspec.Struct):
    """A field taken as a channel in one way, with all the evidence."""

    channel: str
    column: Column
    reading: Reading
    reasons: list[Reason] = []

    @property
    def points(self) -> float:
        """All the evidence added up."""
        return sum(reason.points for reason in self.reasons)

    def ends(self, raw: tuple[float, float]) -> tuple[float, float]:
        """Two raw values in the channel's unit, the lower first."""
        one, other = ((value + self.reading.trim) * self.reading.factor + self.reading.offset for value in raw)
        return min(one, other), max(one, other)

    def series(self) -> Floats:
        """The column on the even clock, in the channel's unit and sign."""
        return (self.column.values + self.reading.trim) * self.reading.factor + self.reading.offset


class Scene:
    """The stream on its even clock with the pilot's answers laid over it; what moved when is worked out once."""

    def __init__(self, grid: Grid, answers: Answers) -> None:
        """Lay the answers over the stream."""
        self.grid = grid
        self.answers = answers
        self._parts = {step: self._windows(step) for step in BY_ID}
        made = [step for step, parts in self._parts.items() if parts]
        self._ends: dict[tuple[Field, str], tuple[float, float]] = {}
        self._typed: dict[str, list[tuple[Typed, slice]]] = {}
        for typed in answers.typed:
            part = grid.between(typed.at_s - LOOK_BACK_S, typed.at_s)
            if part.stop > part.start:
                self._typed.setdefault(typed.channel, []).append((typed, part))
        self._moved = {(c.field, step): self._share(c, step) for c in grid.columns for step in made}

    def _windows(self, step: str) -> list[slice]:
        parts = (self.grid.between(w.from_s, w.to_s) for w in self.answers.windows if w.step == step)
        return [part for part in parts if part.stop - part.start > GRID_HZ]

    def _share(self, column: Column, step: str) -> float:
        if column.constant:
            return 0.0
        swing = max(float(np.ptp(column.values[part])) for part in self._parts[step])
        return max(0.0, swing - 4 * column.noise) / column.span

    def windows(self, step: str) -> list[slice]:
        """The parts of the clock in which a step was made."""
        return self._parts[step]

    def moved(self, column: Column, step: str) -> float | None:
        """How far a column moved in a step, as a share of its whole range, noise taken off; None = step not made."""
        return self._moved.get((column.field, step))

    def movers(self, step: str) -> int:
        """How many fields moved by a third of their range or more in a step."""
        return sum(share > 0.3 for (_, made), share in self._moved.items() if made == step)

    def readings(self, channel: str) -> list[tuple[Typed, slice]]:
        """The readings typed of a channel, each with the part of the clock in which the eye was on the gauge."""
        return self._typed.get(channel, [])

    def ends(self, claim: Claim, step: str) -> tuple[float, float] | None:
        """Lowest and highest in a step (wild moments aside), in the claim's unit; None when the step was not made."""
        parts = self._parts[step]
        if not parts:
            return None
        key = (claim.column.field, step)
        if key not in self._ends:
            x = np.sort(claim.column.values[parts[0]])
            spare = len(x) // 100
            self._ends[key] = (float(x[spare]), float(x[-1 - spare]))
        return claim.ends(self._ends[key])


def in_range(channel: str, column: Column, reading: Reading) -> bool:
    """Whether the column lies inside the channel's range when read so; a compass may be sent as -180 to 180 too."""
    spec = CHANNELS[channel]
    ends = Claim(channel, column, reading).ends((column.low, column.high))
    largest = min(spec.high - spec.low, max(abs(ends[0]), abs(ends[1]), 1.0))
    slack = 0.02 * largest + min(4 * column.noise, 0.05 * column.span) * abs(reading.factor)
    low = -180.0 if GUESSES[channel].wraps else spec.low
    if GUESSES[channel].wraps and ends[1] - ends[0] > 360.0 + 2 * slack:
        return False
    return low - slack <= ends[0] and ends[1] <= spec.high + slack


def typed_reasons(scene: Scene, claim: Claim) -> list[Reason]:
    """One reason for each reading typed of this channel: does the field show it at that moment?"""
    guess = GUESSES[claim.channel]
    if not scene.readings(claim.channel):
        return []
    series = claim.series()
    reasons = []
    for typed, part in scene.readings(claim.channel):
        off = distance(series[part], typed.value, guess)
        points = reading_points(off, typed.value, guess)
        shown = float(np.median(series[part])) % guess.wraps if guess.wraps else float(np.median(series[part]))
        verb = "shows" if points > 0 else "shows not"
        reasons.append(Reason(points, f"{verb} the {typed.value:.6g} typed at {typed.at_s:.0f} s ({shown:.6g})"))
    return reasons


def distance(values: Floats, wanted: float, guess: Guess) -> float:
    """How far `wanted` is outside what the values went through, in the channel's unit; 0 inside. A compass wraps."""
    if guess.wraps:
        away = (values - wanted + guess.wraps / 2) % guess.wraps - guess.wraps / 2
        return float(np.min(np.abs(away)))
    return max(0.0, float(np.min(values)) - wanted, wanted - float(np.max(values)))


def reading_points(off: float, value: float, guess: Guess) -> float:
    """Log odds of a reading `off` from the field against one by chance anywhere on the gauge (with slips allowed)."""
    sigma = guess.read_to + guess.read_share * abs(value)
    close = (
        (1 - MISREAD) * guess.spread / (sigma * math.sqrt(2 * math.pi)) * math.exp(-0.5 * min(50.0, (off / sigma) ** 2))
    )
    return math.log(max(close, 0.0) + MISREAD)


def step_reasons(scene: Scene, claim: Claim) -> list[Reason]:
    """Whether the field moved in the steps that move this channel, and kept still in the others on the ground."""
    reasons: list[Reason] = []
    for step in BY_ID.values():
        share = scene.moved(claim.column, step.id)
        if share is None:
            continue
        if claim.channel in step.moves:
            reasons.append(_asked(claim.channel, step.id, share))
            if step.ground and len(step.moves) == 1 and share > 0.3 and scene.movers(step.id) <= 2:
                reasons.append(Reason(2.5, f"hardly anything else moved in the step {step.id}"))
        elif step.ground and claim.channel in _STILL and share > 0.12:
            reasons.append(Reason(-2.5, f"moved in the step {step.id}"))
    if claim.channel in _CONTROLS and _still_elsewhere(scene, claim):
        reasons.append(Reason(2.0, "kept still in every other step on the ground"))
    return reasons


def _still_elsewhere(scene: Scene, claim: Claim) -> bool:
    others = (s.id for s in BY_ID.values() if s.ground and claim.channel not in s.moves)
    shares = [share for share in (scene.moved(claim.column, step) for step in others) if share is not None]
    return len(shares) >= 2 and max(shares) < 0.05


_CONTROLS = frozenset(
    ["throttle", "flaps_deg", "elevator", "aileron", "rudder", "elevator_trim", "mixture", "carburettor_heat", "brake"]
)
_STILL = frozenset(
    [
        *("throttle", "flaps_deg", "elevator", "aileron", "rudder", "elevator_trim", "mixture", "carburettor_heat"),
        *("brake", "parking_brake", "on_ground", "altitude_ft", "height_ft", "ias_kt", "groundspeed_kt"),
        *("heading_deg", "bank_deg", "latitude_deg", "longitude_deg"),
    ]
)
"""Channels that keep still in every step on the ground but their own."""
_FEEBLE = frozenset({"oil_pressure_psi"})
"""Channels that should move in a step but need not, in a plain simulation."""


def _asked(channel: str, step: str, share: float) -> Reason:
    if share > 0.3:
        return Reason(2.0, f"moved in the step {step}")
    if share > 0.08:
        return Reason(-0.5, f"moved only a little in the step {step}")
    return Reason(-0.5 if channel in _FEEBLE else -5.0, f"did not move in the step {step}")
