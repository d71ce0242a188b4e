"""The checker: every fault of a file at once, each with its place, what was there and what was wanted."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.aircraft_file import load_aircraft
from monitor.toml_check import Checker, Faults, Table, parse


def _table(text: str) -> tuple[Checker, Table]:
    checker = Checker("file x.toml")
    return checker, Table(checker, parse(text, "file x.toml"))


def test_no_toml_tells_line_and_column() -> None:
    """A syntax error is one fault that names the file, the line and the column."""
    with pytest.raises(Faults) as caught:
        parse('name = "x"\nrotate 52\n', "aircraft x.toml")
    assert len(caught.value.faults) == 1
    assert caught.value.faults[0].startswith("aircraft x.toml: line 2, column ")


def test_an_unclosed_text_is_a_fault_at_the_end() -> None:
    """A text that never ends is reported in words, whatever form the parser's own message takes."""
    with pytest.raises(Faults, match="not valid TOML"):
        parse('name = "x', "aircraft x.toml")


@pytest.mark.parametrize(
    ("value", "fault"),
    [
        ("-5", "file x.toml: a: got -5, wanted 0 or more"),
        ("11", "file x.toml: a: got 11, wanted 10 or less"),
        ('"5"', 'file x.toml: a: got "5", wanted a number, 0 to 10 kt'),
        ("true", "file x.toml: a: got true, wanted a number, 0 to 10 kt"),
        ("nan", "file x.toml: a: got nan, wanted a number, 0 to 10 kt"),
        ("inf", "file x.toml: a: got inf, wanted a number, 0 to 10 kt"),
        ("[1]", "file x.toml: a: got [1], wanted a number, 0 to 10 kt"),
    ],
)
def test_a_wrong_number_is_told_with_what_was_wanted(value: str, fault: str) -> None:
    """A number out of its range, of another type, or not finite is one fault with the value and the range."""
    checker, table = _table(f"a = {value}")
    assert table.number("a", 0, 10, "kt") is None
    assert checker.faults == [fault]


def test_a_pair_names_the_item_that_is_wrong() -> None:
    """A fault inside a list names the item by its place."""
    checker, table = _table("[engine.oil_pressure_psi]\ngreen = [-5, 90]")
    table.table("engine").table("oil_pressure_psi").pair("green", 0, 400)
    assert checker.faults == ["file x.toml: engine.oil_pressure_psi.green[0]: got -5, wanted 0 or more"]


@pytest.mark.parametrize("value", ["[5, 5]", "[6, 5]", "[5]", "[1, 2, 3]", "5"])
def test_a_pair_is_two_numbers_in_order(value: str) -> None:
    """Two numbers, the first below the second; anything else is a fault."""
    checker, table = _table(f"a = {value}")
    assert table.pair("a") is None
    assert len(checker.faults) == 1


def test_an_unknown_key_names_the_nearest_known_one() -> None:
    """A misspelt key is a fault that suggests the one that was meant."""
    checker, table = _table("rotat = 52")
    table.number("rotate")
    table.finish()
    assert checker.faults == ['file x.toml: rotat: not a known key (did you mean "rotate"?)']


def test_other_types_are_checked() -> None:
    """Whole numbers, switches, texts, lists and tables each refuse what is something else."""
    checker, table = _table('n = 1.5\nb = 1\nt = 3\nl = "x"\ns = ["a", 1]\nk = 4\nc = "reed"\n')
    assert table.whole("n") is None
    assert table.boolean("b", False) is False
    assert table.text("t") is None
    assert table.items("l") == []
    assert table.texts("s") == ["a"]
    assert list(table.table("k")) == []
    assert table.text("c", ("red", "green")) is None
    assert len(checker.faults) == 7
    assert 'did you mean "red"' in checker.faults[-1]


@given(st.text())
def test_any_text_loads_or_raises_faults(text: str) -> None:
    """Whatever a file holds, loading it ends in a profile or in faults, never in another error."""
    with pytest.raises(Faults) as caught:
        load_aircraft(text, "aircraft x.toml")
    assert all(fault.startswith("aircraft x.toml: ") for fault in caught.value.faults)


_values = st.recursive(
    st.one_of(st.booleans(), st.integers(-5000, 5000), st.sampled_from(["nan", "-inf", '"fixed"', '""', "1979-05-27"])),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=4,
)


@given(st.dictionaries(st.sampled_from(["rotate", "best_rate", "lift_off", "stall_clean", "never_exceed"]), _values))
def test_wild_values_in_known_fields_never_crash(speeds: dict[str, object]) -> None:
    """Any TOML value in any speed gives a profile whose speeds are in range, or faults."""
    lines = [f"{key} = {str(value).lower().replace(chr(39), '')}" for key, value in speeds.items()]
    try:
        aircraft = load_aircraft('name = "x"\n[speeds_kias]\n' + "\n".join(lines), "aircraft x.toml")
    except Faults as faults:
        assert faults.faults
    else:
        assert 15 <= aircraft.speeds_kias.rotate <= aircraft.speeds_kias.best_rate <= 400
