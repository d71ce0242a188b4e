"""Procedures: every number with unit, meaning and source, every word; a base and what differs from it."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from adapters import library
from monitor.procedure_file import load_procedure, setting_names
from monitor.toml_check import Faults

MINE = 'name = "Mine"\nbased_on = "normal"\n'


def _faults(text: str) -> tuple[str, ...]:
    with pytest.raises(Faults) as caught:
        library.procedure_from_text(text, "procedure mine.toml")
    return caught.value.faults


def test_the_normal_procedure_and_the_struct_agree() -> None:
    """normal.toml gives exactly the settings the coach judges by, each with meaning and source."""
    table = library.open_procedure("normal").table
    assert list(table) == setting_names()
    assert all(setting.meaning and setting.source for setting in table.values())


def test_every_setting_is_inside_its_own_range() -> None:
    """A default never breaks the bounds that a user's own number is held to."""
    for key, setting in library.open_procedure("normal").table.items():
        assert setting.low is None or setting.low <= setting.value, key
        assert setting.high is None or setting.value <= setting.high, key


def test_a_setting_name_ends_in_its_unit() -> None:
    """Where a name ends in a unit, the file gives that same unit."""
    endings = {
        "s": "s",
        "kt_s": "kt/s",
        "kt": "kt",
        "ft": "ft",
        "deg": "deg",
        "fpm": "ft/min",
        "rpm": "rev/min",
        "psi": "psi",
    }
    for key, setting in library.open_procedure("normal").table.items():
        ending = "kt_s" if key.endswith("kt_s") else key.rsplit("_", 1)[-1]
        if "_per_" in key:
            continue  # a rate by something else
        assert endings.get(ending, setting.unit) in setting.unit, key  # "ft above sea level", "rev/min a kt"


@pytest.mark.parametrize("name", library.builtin_names(library.PROCEDURE))
def test_the_built_in_procedures_load(name: str) -> None:
    """Each shipped procedure is without fault and complete."""
    procedure = library.open_procedure(name)
    assert set(procedure.table) == set(setting_names())
    assert procedure.words["rotate"]


def test_the_short_field_procedure_differs_where_it_should() -> None:
    """Short-field: takeoff flaps and VX to the obstacle; words and numbers are those of the normal one."""
    short, normal = library.open_procedure("short-field"), library.open_procedure("normal")
    assert (short.short_field, normal.short_field) == (True, False)
    assert short.flaps_deg is not None
    assert short.words == normal.words


def test_a_bare_number_replaces_the_value_and_keeps_the_rest() -> None:
    """In a procedure based on another one, a number alone changes the value and says so in its source."""
    procedure = library.procedure_from_text(MINE + "[settings]\nrotate_lead_s = 0.4\n", "procedure mine.toml")
    normal = library.open_procedure("normal")
    mine, theirs = procedure.table["rotate_lead_s"], normal.table["rotate_lead_s"]
    assert procedure.settings.rotate_lead_s == 0.4
    assert (mine.unit, mine.meaning, mine.low, mine.high) == (theirs.unit, theirs.meaning, theirs.low, theirs.high)
    assert mine.source.startswith("Mine; 0.3 by default: ")


def test_a_word_of_ones_own_replaces_only_that_word() -> None:
    """A phrase of a derived procedure replaces the base's; all the others stay."""
    procedure = library.procedure_from_text(MINE + '[words]\nclimb-speed = "Now {vy}"\n', "procedure mine.toml")
    normal = library.open_procedure("normal")
    assert procedure.words == {**normal.words, "climb-speed": "Now {vy}"}


def test_five_different_faults_are_told_at_once() -> None:
    """Five faults in different tables give five lines, each with its own place."""
    faults = _faults(
        'name = "Mine"\nbased_on = "norml"\n[style]\nlevel = "prmpt"\n[settings]\nrotate_lead_s = 3\nrotate_led_s = 1\n'
        '[words]\nclock = "{foo}"\n'
    )
    names = ", ".join(library.builtin_names(library.PROCEDURE))
    levels = '"prompt" or "correct" or "test" or "auto"'
    assert faults == (
        f'procedure mine.toml: based_on: got "norml", wanted a built-in procedure: {names}',
        f'procedure mine.toml: style.level: got "prmpt", wanted {levels} (did you mean "prompt"?)',
        "procedure mine.toml: settings.rotate_lead_s: got 3, wanted 0.4 or less",
        'procedure mine.toml: settings.rotate_led_s: not a known key (did you mean "rotate_lead_s"?)',
        'procedure mine.toml: words.clock: got "{foo}", wanted only {vr}, {vx}, {vy}, {glide} in braces',
    )


@pytest.mark.parametrize("phrase", ["{", "}", "{}", "{0}", "{vy:5}", "{vy!r}", "{vy.real}"])
def test_only_the_four_speeds_may_stand_in_braces(phrase: str) -> None:
    """Anything in braces but a known speed's name is a fault, so that no phrase fails in flight."""
    assert "words.clock" in _faults(f'{MINE}[words]\nclock = "{phrase}"\n')[0]


def test_an_id_with_a_dot_has_to_be_quoted() -> None:
    """An unquoted id with a dot makes a table in TOML; the fault says how to write it."""
    assert "goes in quotes" in _faults(MINE + '[words]\nflaps-up.already = "x"\n')[0]


def test_a_procedure_of_its_own_has_to_be_complete() -> None:
    """Without a base every setting is required, each missing one named."""
    faults = _faults('name = "Mine"\n[settings]\n[words]\n')
    assert len(faults) == len(setting_names())
    assert all("got nothing, wanted { value" in fault for fault in faults)


def test_a_complete_copy_of_the_normal_one_stands_on_its_own() -> None:
    """The built-in text, loaded as a user's file, gives the same numbers and words."""
    text = library.builtin_text(library.PROCEDURE, "normal")
    assert load_procedure(text, "procedure copy.toml").settings == library.open_procedure("normal").settings


def test_a_bare_number_needs_a_base() -> None:
    """A number without unit, meaning and source is refused in a procedure that stands on its own."""
    text = re.sub(r"rotate_lead_s = \{.*\}", "rotate_lead_s = 0.3", library.builtin_text(library.PROCEDURE, "normal"))
    wanted = "{ value = 0.3, unit = ..., meaning = ..., source = ... }"
    assert _faults(text) == (f"procedure mine.toml: settings.rotate_lead_s: got 0.3, wanted {wanted}",)


def test_a_file_or_a_name(tmp_path: Path) -> None:
    """A path is a file, a bare name is the user's own file first and a built-in one second."""
    folder = library.user_folder(tmp_path, library.PROCEDURE)
    folder.mkdir(parents=True)
    (folder / "normal.toml").write_text('name = "My normal"\nbased_on = "normal"\n', encoding="utf-8")
    assert library.open_procedure("normal", tmp_path).name == "My normal"
    assert library.open_procedure("normal").name == "Normal takeoff"
    assert library.open_procedure(str(folder / "normal.toml")).name == "My normal"


def test_a_missing_or_unreadable_file_is_told_in_words(tmp_path: Path) -> None:
    """No file, a folder, bytes that are no UTF-8 and a wrong name each give one clear line."""
    junk = tmp_path / "junk.toml"
    junk.write_bytes(b"name = \xff")
    for choice, words in [
        (str(tmp_path / "none.toml"), "cannot be read"),
        (str(tmp_path), "cannot be read"),
        (str(junk), "not UTF-8"),
        ("norml", 'did you mean "normal"'),
    ]:
        with pytest.raises(Faults, match=words):
            library.open_procedure(choice, tmp_path)


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    """Files written by an editor that puts a byte-order mark first are read all the same."""
    file = tmp_path / "mine.toml"
    file.write_bytes(b"\xef\xbb\xbf" + MINE.encode())
    assert library.open_procedure(str(file)).name == "Mine"


def test_the_second_language_is_complete() -> None:
    """Every phrase of the normal procedure has its German words, with the same speeds in it and as silent."""
    normal, german = library.open_procedure("normal"), library.open_procedure("normal-de")
    own = set(tomllib.loads(german.text)["words"])
    assert own == set(normal.words)
    for key, phrase in normal.words.items():
        assert re.findall(r"{[a-z]+}", phrase) == re.findall(r"{[a-z]+}", german.words[key]), key
        assert bool(phrase) == bool(german.words[key]), key
    assert german.settings == normal.settings
    assert german.language == "de"


def test_digits_are_ten_words() -> None:
    """The words for reading a speed digit by digit are ten, or it is a fault."""
    assert _faults(MINE + '[words]\ndigits = "null eins zwei"\n') == (
        "procedure mine.toml: words.digits: got 3 words, wanted ten: zero to nine",
    )
