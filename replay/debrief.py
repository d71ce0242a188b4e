"""The debrief: every takeoff of a flight with its measured figures and items, from its samples and events alone.

Moments (roll, rotation, lift-off) are the coach's, stamped when they happened; all else is measured here afterwards,
with the whole flight in view.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec

from monitor.aircraft import Aircraft
from monitor.events import Event
from monitor.options import Options
from monitor.procedure import Procedure
from replay.figures import FIGURES, Measures, measure
from replay.heard import Heard, SpokenLog, heard_of
from replay.items import Item, items_of
from replay.series import Row
from replay.takeoffs import Takeoff, split


class TakeoffDebrief(msgspec.Struct, frozen=True):
    """One takeoff. figures: name to number, or None; why: the reason of each figure that is None.

    heard: what became of each call that was given to the voice; None, with the reason in `why`, when that is not known.
    """

    takeoff: int
    outcome: str
    figures: dict[str, float | None]
    why: dict[str, str]
    items: list[Item]
    heard: list[Heard] | None = None


class Debrief(msgspec.Struct, frozen=True):
    """A flight's takeoffs, in order."""

    takeoffs: list[TakeoffDebrief]

    @property
    def faults(self) -> int:
        """How many items are outside their band."""
        return sum(item.verdict == "outside" for takeoff in self.takeoffs for item in takeoff.items)


def debrief(
    stretches: Sequence[Sequence[Row]],
    events: Sequence[Event],
    aircraft: Aircraft,
    procedure: Procedure,
    options: Options,
    spoken: SpokenLog | str = "no voice's log was given",
) -> Debrief:
    """Measure a flight.

    stretches: the samples that the coach judged with their feed times, cut where feed time was restarted. events: in
    the order noticed. spoken: the voice's log, or why there is none. Never raises on what the data lacks: a figure is
    then None, with the reason.
    """
    done: list[TakeoffDebrief] = []
    zero_ft: float | None = None
    for takeoff in split(stretches, events):
        measures = Measures(takeoff, aircraft, procedure, options, zero_ft)
        zero_ft = measures.zero_ft
        done.append(_one(takeoff, measures, spoken))
    return Debrief(done)


def _one(takeoff: Takeoff, measures: Measures, spoken: SpokenLog | str) -> TakeoffDebrief:
    figures: dict[str, float | None] = {}
    why: dict[str, str] = {}
    for name, (function, digits) in FIGURES.items():
        figures[name], reason = measure(function, measures, digits)
        if reason is not None:
            why[name] = reason
    heard = heard_of(measures, spoken) if isinstance(spoken, SpokenLog) else None
    if isinstance(spoken, str):
        why["heard"] = spoken
    return TakeoffDebrief(takeoff.number, takeoff.outcome, figures, why, items_of(measures), heard)


def as_dict(result: Debrief) -> dict[str, Any]:
    """The debrief as the JSON object it is printed as."""
    return {
        "takeoffs": [
            {
                "takeoff": one.takeoff,
                "outcome": one.outcome,
                **one.figures,
                "items": [msgspec.structs.asdict(item) for item in one.items],
                "heard": None if one.heard is None else [msgspec.structs.asdict(call) for call in one.heard],
            }
            for one in result.takeoffs
        ],
        "not_measured": [
            {"takeoff": one.takeoff, "figure": name, "why": reason}
            for one in result.takeoffs
            for name, reason in one.why.items()
        ],
    }
