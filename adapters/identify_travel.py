"""Levers and sticks sent as anything at all: counts of a converter, radians of a surface. Their travel is measured.

A step asks for the whole travel, from stop to stop, so the ends seen in it are 0 and 1 (a stick's: -1 and 1) whatever
the numbers are. Flaps are not scaled so: how many degrees full flaps are is the aeroplane's own.
"""

from __future__ import annotations

import numpy as np

from adapters.identify_guesses import Reading
from adapters.identify_score import Scene
from adapters.identify_table import Column
from monitor.sample import CHANNELS

STEP_OF = {
    "throttle": "throttle",
    "brake": "brake",
    "parking_brake": "parking-brake",
    "carburettor_heat": "carburettor-heat",
    "elevator": "elevator",
    "aileron": "aileron",
    "rudder": "rudder",
}
"""The step that asks for the whole travel of a control."""
USUAL = (1.0, 100.0)
"""Sizes of 1 that the usual units (none, percent) cover already."""


def travel_readings(scene: Scene, channel: str, column: Column) -> list[Reading]:
    """The column scaled by the travel seen in its step, both ways round; empty when a usual unit fits it."""
    parts = scene.windows(STEP_OF[channel]) if channel in STEP_OF else []
    if not parts or (scene.moved(column, STEP_OF[channel]) or 0.0) < 0.8:
        return []
    low, high = (float(end) for end in np.percentile(column.values[parts[0]], (0.5, 99.5)))
    travel = high - low
    bottom, top = CHANNELS[channel].low, CHANNELS[channel].high
    for size in USUAL:
        if max(abs(low - size * bottom), abs(high - size * top)) < 0.06 * size:
            return []
    factor = (top - bottom) / travel
    return [
        Reading("1", factor, bottom - low * factor),
        Reading("1", -factor, top + low * factor, flip=True),
    ]


def travel_note(scene: Scene, taken: frozenset[str | int]) -> str | None:
    """When no flap angle was found: the field that moves with the flaps, from 0 to 1 or the like."""
    parts = scene.windows("flaps")
    if not parts:
        return None
    others = [step for step in ("rest", "throttle", "elevator", "aileron") if scene.windows(step)]
    for column in scene.grid.columns:
        still = all((scene.moved(column, step) or 0.0) < 0.05 for step in others)
        if column.field in taken or not still or not others or (scene.moved(column, "flaps") or 0.0) < 0.8:
            continue
        low, high = np.percentile(column.values[parts[0]], (0.5, 99.5))
        return (
            f"field {column.field} moves with the flaps, from {low:.3g} to {high:.3g}; if that is no angle, write "
            f"flaps_deg with a factor that makes {high:.3g} the degrees of full flaps"
        )
    return None
