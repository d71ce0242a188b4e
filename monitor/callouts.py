"""What the voice needs of an event: how urgent it is, and how long it stays worth saying."""

from __future__ import annotations

from monitor.aircraft import Aircraft
from monitor.events import Event
from monitor.procedure import Procedure
from monitor.words import Words

URGENCY = {"warning": 0, "drill": 0, "caution": 1, "callout": 2, "check": 3, "advisory": 3, "feed": 3, "phase": 3}
"""Order of speaking, smallest first: warnings, cautions, callouts, advisories (alert order: 14 CFR 25.1322(b))."""

_WORTH_S = {"warning": 3.0, "drill": 3.0, "caution": 2.0, "callout": 2.5, "check": 4.0, "advisory": 2.0, "feed": 4.0}


def urgency(event: Event) -> int:
    """0 (most urgent) to 3."""
    return URGENCY.get(event.kind, 3)


def worth_saying_s(event: Event) -> float:
    """Seconds after which the words are too late to use. "Rotate" keeps 1 s. Common practice, no source."""
    return worth_s(event.kind, event.id)


def worth_s(kind: str, id_: str) -> float:
    """The same, by an event's kind and id. A checklist in the climb is of use for long."""
    if id_.startswith("after-takeoff"):
        return 30.0
    return 1.0 if id_ == "rotate" else _WORTH_S.get(kind, 2.0)


def phrases(procedure: Procedure, aircraft: Aircraft) -> list[str]:
    """Every phrase this flight may say, for rendering beforehand."""
    return Words(procedure, aircraft).phrases()
