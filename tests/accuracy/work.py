"""What the worker processes of the accuracy runs do; each starts from its argument alone."""

from __future__ import annotations

from pathlib import Path

from tests.accuracy.figures import Result, evaluate
from tests.accuracy.store import keep, load, make_case


def made(job: tuple[int, bool, str]) -> None:
    """Fly one seed and keep it in the folder; one that is there already is made anew from its record."""
    seed, faulted, folder = job
    keep(seed, faulted, Path(folder))


def flown(job: tuple[int, bool]) -> Result:
    """Fly one seed and run the coach over it, keeping nothing."""
    return evaluate(make_case(*job))


def evaluated(path: str) -> Result:
    """Run the coach over a kept flight."""
    return evaluate(load(Path(path)))
