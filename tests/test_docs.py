"""The docs against the program: commands, options, tables and examples are what they say."""

from __future__ import annotations

import contextlib
import importlib.util
import io
import re
from pathlib import Path
from typing import Any

import pytest

from adapters import cli, docs, library
from adapters.feed import load_feed
from monitor.aircraft_file import load_aircraft
from monitor.events import KINDS
from monitor.phases import PHASES
from monitor.procedure_file import LEVELS

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
_CALL = re.compile(r"climbout ((?:demo|fly|replay|debrief|brief|drill|logbook|feed|aircraft|voice)\b[^`\n]*)")


def _help(*words: str) -> str:
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.suppress(SystemExit):
        cli.main([*words, "--help"])
    return out.getvalue()


def _calls(text: str) -> set[str]:
    """Command lines that the text shows, without what follows a pipe or a comment."""
    return {re.split(r"[|#;&>]", found)[0].strip() for found in _CALL.findall(text)}


@pytest.mark.parametrize("call", sorted(_calls(README) | _calls(DEVELOPERS)))
def test_every_command_and_option_shown_exists(call: str) -> None:
    """A command line in the docs names a command, a sub-command and options that --help has."""
    words = call.split()
    assert words[0] in cli.available(), call
    sub = [word for word in words[1:2] if re.fullmatch(r"[a-z]+", word) and words[0] in ("feed", "aircraft", "voice")]
    if sub:
        assert sub[0] in _help(words[0]), call
    shown = _help(words[0], *sub) if words[0] != "voice" else _help(words[0])
    for option in re.findall(r"--[a-z-]+", call):
        assert option in shown, call


def test_every_command_there_is_is_in_the_readme() -> None:
    """No command is left out of the README's table."""
    for name in cli.available():
        assert f"| `climbout {name}" in README, name


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_the_tables_are_up_to_date(name: str) -> None:
    """The tables made from code and procedure are those that `python -m adapters.docs FILE` makes now."""
    text = (ROOT / name).read_text(encoding="utf-8")
    assert docs.with_tables(text) == text, f"run: python -m adapters.docs {name}"


def test_the_table_maker_replaces_only_its_blocks(tmp_path: Path) -> None:
    """Text around a block stays, the block is made anew, and --check tells the difference by its exit status."""
    file = tmp_path / "x.md"
    file.write_text("before\n<!-- table: phases -->\nold\n<!-- end of table -->\nafter\n", encoding="utf-8")
    assert docs.main([str(file), "--check"]) == 1
    assert docs.main([str(file)]) == 0
    text = file.read_text(encoding="utf-8")
    assert text.startswith("before\n<!-- table: phases -->\n| phase |")
    assert text.endswith("<!-- end of table -->\nafter\n")
    assert docs.main([str(file), "--check"]) == 0


def _toml_blocks(heading: str) -> list[str]:
    section = README.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    return re.findall(r"```toml\n(.*?)```", section, re.DOTALL)


def test_the_example_profile_loads() -> None:
    """The README's aeroplane profile is without fault."""
    (text,) = _toml_blocks("The aeroplane profile")
    assert load_aircraft(text, "README").speeds_kias.rotate == 52


def test_the_example_procedure_loads() -> None:
    """The README's procedure is without fault and changes what it says."""
    (text,) = _toml_blocks("The procedure")
    procedure = library.procedure_from_text(text, "README")
    assert procedure.settings.turn_height_ft == 700
    assert procedure.words["flaps-up.already"] == "Flaps are up"


def test_the_example_feed_loads() -> None:
    """The README's feed description is without fault."""
    (text,) = _toml_blocks("The feed description")
    assert load_feed(text, "README").name == "training bay 1"


def test_the_example_decoder_works() -> None:
    """The decoder shown in DEVELOPERS.md decodes, refuses and counts as its text says."""
    (code,) = re.findall(r"```python\n(.*?)```", DEVELOPERS, re.DOTALL)
    made: dict[str, Any] = {}
    exec(code, made)
    decoder = made["make_decoder"](None)
    assert decoder.decode(b"ias 52.5 rpm 2300") == [{"ias": "52.5", "rpm": "2300"}]
    assert decoder.decode(b"\xff ias 52.5") == []
    assert decoder.take_notices() == ["1 packets with a name but no value"]
    assert decoder.take_notices() == []


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README.md", "DEVELOPERS.md"])
def test_files_named_in_the_docs_exist(text: str) -> None:
    """Every path of the tree that the docs name is there."""
    named = set(re.findall(r"`((?:monitor|adapters|replay|tests|\.ci)/[\w./-]*)`", text))
    assert not [path for path in named if not (ROOT / path).exists()]


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README.md", "DEVELOPERS.md"])
def test_modules_run_in_the_docs_exist(text: str) -> None:
    """Every `python -m ours` shown is a module of the tree."""
    for module in re.findall(r"python -m ((?:adapters|replay|tests)[\w.]*)", text):
        assert importlib.util.find_spec(module) is not None, module


def test_names_in_the_readme_are_those_of_the_code() -> None:
    """Event kinds, phases and coaching levels of the code are all in the README."""
    for name in (*KINDS, *PHASES, *LEVELS):
        assert f"`{name}`" in README or f'"{name}"' in README, name


def test_the_readme_has_the_two_commands_the_cautions_and_the_privacy_line() -> None:
    """The top holds two commands that do all their own set-up, the cautions, and what happens to the data."""
    top = README.split("\n## What you see")[0]
    commands = [line for line in top.splitlines() if line.startswith("python3 -m venv")]
    assert len(commands) == 2
    assert commands[0].endswith("climbout demo")
    assert commands[1].endswith("-m pytest")
    for words in ("licensed instructor rule", "not approved", "nothing leaves the machine"):
        assert words in " ".join(top.split()), words
