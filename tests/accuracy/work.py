"""What the worker processes of the accuracy runs do; each starts from its argument alone."""

from __future__ import annotations

from pathlib import Path

from tests.accuracy.figures import Result, evaluate
from tests.accuracy.store import load, make_case, save


def made(job: tuple[int, bool, str]) -> str:
    """Fly one seed and keep it in the folder."""
    seed, faulted, folder = job
    return save(make_case(seed, faulted), Path(folder)).name


def flown(job: tuple[int, bool]) -> Result:
    """Fly one seed and run the coach over it, keeping nothing."""
    return evaluate(make_case(*job))


def evaluated(path: str) -> Result:
    """Run the coach over a kept flight."""
    return evaluate(load(Path(path)))
