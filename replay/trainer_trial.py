"""One takeoff of a drill, prepared: when its cue can be seen, and what is then right.

The flight is flown twice in memory, with the fault and without: where the two first differ by what an eye can see is
the moment of the cue.
"""

from __future__ import annotations

import msgspec

from monitor import practice
from monitor.aircraft import Aircraft
from monitor.options import Options
from monitor.practice import Landmarks, Trial
from replay.scenarios.kinds import Fault, Scenario
from replay.trainer import RATE_HZ, Trainer
from replay.trainer_setup import placed


class Prepared(msgspec.Struct, frozen=True):
    """A trial ready to fly: the flight's scenario, its landmarks, when the cue comes, and what is then right."""

    trial: Trial
    scenario: Scenario
    marks: Landmarks
    cue_s: float | None
    right: str


def prepare(aircraft: Aircraft, trial: Trial, start_s: float = 0.0, options: Options | None = None) -> Prepared:
    """Fly the trial in memory, with and without its fault, on the field that the options tell."""
    clean = Scenario(seed=trial.seed, stand_s=trial.wait_s)
    clean = clean if options is None else placed(clean, options)
    healthy = _to_lift_off(aircraft, clean)
    marks = landmarks(healthy, aircraft.speeds_kias.rotate)
    onset = practice.onset_s(trial, marks)
    if trial.kind is None or onset is None:
        return Prepared(trial, msgspec.structs.replace(clean, start_s=start_s), marks, None, practice.CONTINUE)
    faulty = msgspec.structs.replace(clean, fault=Fault(trial.kind, at_s=onset))
    cue = practice.cue_s(trial.kind, healthy, _to_lift_off(aircraft, faulty, len(healthy)))
    right = practice.right_answer(trial.kind, cue, marks)
    return Prepared(trial, msgspec.structs.replace(faulty, start_s=start_s), marks, cue, right)


def _to_lift_off(aircraft: Aircraft, scenario: Scenario, moments: int = 0) -> list[dict[str, float]]:
    """A flight's moments to lift-off; or just so many."""
    trainer = Trainer(aircraft, scenario)
    flown: list[dict[str, float]] = []
    while len(flown) < moments or (not moments and trainer.on_ground and not trainer.finished):
        flown.append(trainer.step(1.0 / RATE_HZ))
    return flown


def landmarks(moments: list[dict[str, float]], rotate_kt: float) -> Landmarks:
    """The landmarks of a healthy takeoff."""

    def first(channel: str, least: float) -> float:
        return next((moment["time_s"] for moment in moments if moment[channel] >= least), moments[-1]["time_s"])

    return Landmarks(
        first("throttle", 0.999),
        first("ias_kt", 25.0),
        first("ias_kt", rotate_kt / 2.0),
        first("ias_kt", rotate_kt),
        moments[-1]["time_s"],
    )
