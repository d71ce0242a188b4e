"""The list of mutants stays true to the code; the run itself is `python -m tests.mutation`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.mutation.__main__ import ROOT, TESTS, failures, killed_by
from tests.mutation.mutants import MUTANTS, Mutant


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_every_mutants_text_is_there_once(mutant: Mutant) -> None:
    """What a mutant would replace stands in its file exactly once, and its replacement differs."""
    assert (ROOT / mutant.file).read_text(encoding="utf-8").count(mutant.old) == 1
    assert mutant.new != mutant.old
    assert mutant.breaks


def test_the_list_is_long_and_its_names_are_unique() -> None:
    """At least 40 ways to break the coach, each by a name of its own, each with tests that are there."""
    assert len(MUTANTS) >= 40
    assert len({mutant.name for mutant in MUTANTS}) == len(MUTANTS)
    for mutant in MUTANTS:
        assert set(mutant.tests) <= set(TESTS)
    assert all((ROOT / "tests" / f"{name}.py").is_file() for name in TESTS)


def test_a_failing_test_is_read_from_the_output() -> None:
    """The runner reads which test failed from pytest's summary."""
    output = "F.\nFAILED tests/test_a.py::test_b[x y] - AssertionError: no\nERROR tests/test_c.py\n1 failed"
    assert failures(output) == ["tests/test_a.py::test_b[x y]", "tests/test_c.py"]


def test_a_mutant_whose_text_is_gone_is_an_error(tmp_path: Path) -> None:
    """A mutant that cannot be made is told, never counted as killed."""
    (tmp_path / "a.py").write_text("x = 1\n", encoding="utf-8")
    with pytest.raises(ValueError, match="0 times"):
        killed_by(Mutant("gone", "a.py", "y = 2", "y = 3", "nothing", ("test_agenda",)), tmp_path, [])
