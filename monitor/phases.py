"""The phases of a takeoff: which begins when, and at what exact time.

    before any -> standing <-> taxi -> lined-up -> takeoff-roll -> rotation -> initial-climb -> climb -> airborne
    takeoff-roll, rotation -> rejected-takeoff -> taxi        initial-climb, climb, airborne -> landing-roll -> taxi
    landing-roll -> takeoff-roll (touch-and-go)               lined-up -> taxi, standing (no takeoff after all)

Words are those of the CAST/ICAO Common Taxonomy Team's phase-of-flight definitions (1.3) where they fit. There,
takeoff runs to 35 ft and initial climb to the first prescribed power reduction, 1,000 ft or the circuit; here initial
climb begins at lift-off, because that is what is coached.

`TABLE` is the machine: for each phase the conditions that end it, in order. A condition is a method of
`monitor.conditions.Conditions` that gives the time at which the next phase began, or None. A change that the table does
not hold raises and changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable

TABLE: dict[str | None, tuple[tuple[str, str], ...]] = {
    None: (("starts_in_flight", "airborne"), ("lined_up", "lined-up"), ("stands", "standing"), ("moves", "taxi")),
    "standing": (("lined_up", "lined-up"), ("moves", "taxi"), ("flies", "airborne")),
    "taxi": (("lined_up", "lined-up"), ("stands", "standing"), ("flies", "airborne")),
    "lined-up": (
        ("rolls", "takeoff-roll"),
        ("gives_up_standing", "standing"),
        ("gives_up_line_up", "taxi"),
        ("flies", "airborne"),
    ),
    "takeoff-roll": (("lifts_off", "initial-climb"), ("rejects", "rejected-takeoff"), ("rotates", "rotation")),
    "rotation": (("lifts_off", "initial-climb"), ("rejects", "rejected-takeoff")),
    "initial-climb": (("touches_down", "landing-roll"), ("climbs_away", "climb")),
    "climb": (("touches_down", "landing-roll"), ("ends_climb", "airborne")),
    "airborne": (("touches_down", "landing-roll"),),
    "landing-roll": (("goes_again", "takeoff-roll"), ("slows", "taxi"), ("flies", "airborne")),
    "rejected-takeoff": (("slows", "taxi"), ("flies_on", "initial-climb")),
}

PHASES = tuple(phase for phase in TABLE if phase is not None)
TAKEOFF_PHASES = frozenset({"takeoff-roll", "rotation", "initial-climb", "climb", "rejected-takeoff", "lined-up"})
ON_THE_ROLL = frozenset({"takeoff-roll", "rotation"})
IN_THE_CLIMB = frozenset({"initial-climb", "climb"})
NOT_ON_WHEELS = IN_THE_CLIMB | {"airborne"}
FLYING_OR_ROLLING = ON_THE_ROLL | IN_THE_CLIMB


class ImpossibleChange(ValueError):
    """A phase was to follow one that it cannot follow."""


Condition = Callable[[], float | None]


class Phases:
    """The machine: holds the phase, and asks the table's conditions what comes next."""

    def __init__(self, conditions: object) -> None:
        self.phase: str | None = None
        self.since = 0.0
        self._rules: dict[str | None, tuple[tuple[Condition, str], ...]] = {
            phase: tuple((getattr(conditions, name), following) for name, following in rules)
            for phase, rules in TABLE.items()
        }
        self._current = self._rules[None]

    def due(self) -> tuple[str, float] | None:
        """The phase that follows now and the time it began, or None."""
        for condition, following in self._current:
            t = condition()
            if t is not None:
                return following, t
        return None

    def enter(self, phase: str | None, t: float) -> None:
        """Change to `phase` as from `t`; None starts over, from any phase."""
        if phase is not None and all(following != phase for _, following in TABLE[self.phase]):
            raise ImpossibleChange(f"{phase} cannot follow {self.phase}")
        self.phase = phase
        self.since = t
        self._current = self._rules[phase]
