"""`climbout aircraft` and `climbout debrief` as typed on a command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from adapters.cli import main


def _run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    status = main(argv)
    out, err = capsys.readouterr()
    return status, out, err


def test_list_names_the_built_in_ones_and_the_users_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The list holds every profile once, with where it comes from; the user's own hides a built-in of its name."""
    data = ("--data-dir", str(tmp_path))
    assert _run(capsys, "aircraft", "new", "sedge", "--like", "bracken", *data)[0] == 0
    status, out, _ = _run(capsys, "aircraft", "list", "--json", *data)
    rows = [json.loads(line) for line in out.splitlines()]
    assert status == 0
    assert [(row["name"], row["origin"] == "built-in") for row in rows] == [("sedge", False), ("bracken", True)]


def test_a_new_profile_is_a_faultless_copy_that_says_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`new` writes a file that passes `check` and says that the values have to be replaced."""
    data = ("--data-dir", str(tmp_path))
    assert _run(capsys, "aircraft", "new", "mine", *data)[0] == 0
    file = tmp_path / "aircraft" / "mine.toml"
    assert "from its handbook" in file.read_text(encoding="utf-8")
    assert _run(capsys, "aircraft", "check", "mine", *data)[:2] == (0, "aircraft mine: no fault\n")
    assert "mine (to be filled in)" in _run(capsys, "aircraft", "show", "mine", *data)[1]


def test_new_never_overwrites(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A profile that is there already stays as it is."""
    file = tmp_path / "own.toml"
    file.write_text("name = 1", encoding="utf-8")
    status, _, err = _run(capsys, "aircraft", "new", str(file))
    assert status == 2
    assert "is there already" in err
    assert file.read_text(encoding="utf-8") == "name = 1"


def test_check_tells_every_fault_of_every_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All faults of all files in one message on standard error, exit 2, no traceback."""
    one, two = tmp_path / "one.toml", tmp_path / "two.toml"
    one.write_text('name = "x"\n[speeds_kias]\nrotate = -1\nbest_rate = "fast"\n', encoding="utf-8")
    two.write_text('name = "x"\nrotate = 52\n', encoding="utf-8")
    status, out, err = _run(capsys, "aircraft", "check", str(one), "sedge", str(two))
    assert status == 2
    assert out == "aircraft sedge: no fault\n"
    assert "4 things are wrong" in err
    for place in ("one.toml: speeds_kias.rotate", "one.toml: speeds_kias.best_rate", "two.toml: rotate: not a known"):
        assert place in err
    assert "Traceback" not in err


def test_show_gives_every_mark_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    """The JSON form holds what the profile holds."""
    shown = json.loads(_run(capsys, "aircraft", "show", "bracken", "--json")[1])
    assert shown["speeds_kias"]["rotate"] == 58
    assert shown["instruments"]["oil_pressure_psi"]["min"] == 25
    assert "text" not in shown


def _recorded(tmp_path: Path, capsys: pytest.CaptureFixture[str], *more: str) -> str:
    file = str(tmp_path / f"flight{len(list(tmp_path.iterdir()))}.climbout")
    argv = ("demo", "--json", "--fast", "--record", file, "--data-dir", str(tmp_path / "data"), *more)
    assert _run(capsys, *argv)[0] == 0
    return file


def test_debrief_of_a_recording_agrees_with_its_events(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The debrief's moments are those that the flight's own events carry, and its object is one line of JSON."""
    file = _recorded(tmp_path, capsys)
    status, out, _ = _run(capsys, "debrief", file, "--json")
    one = json.loads(out)["takeoffs"][0]
    events = [json.loads(line) for line in _run(capsys, "replay", file, "--json", "--fast")[1].splitlines()]
    at = {event["id"]: event for event in events if event["kind"] == "phase"}
    assert status == 0
    assert out.count("\n") == 1
    assert one["outcome"] == "climbed"
    assert one["liftoff_s"] == at["initial-climb"]["t"]
    assert one["rotation_ias_kt"] == pytest.approx(at["rotation"]["ias_kt"], abs=0.3)
    assert one["height_1000_s"] == pytest.approx(at["climb"]["t"], abs=0.1)


def test_debrief_of_a_folder_tells_faults_by_its_exit_status(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder gives one object a flight, and exit 1 when a figure is outside its band or a file is no flight."""
    folder = tmp_path / "flights"
    folder.mkdir()
    for fault in ("rpm", "engine"):
        _recorded(folder, capsys, "--fault", fault)
    (folder / "empty.csv").write_text("", encoding="utf-8")
    status, out, err = _run(capsys, "debrief", str(folder), "--json")
    assert status == 1
    assert sorted(json.loads(line)["takeoffs"][0]["outcome"] for line in out.splitlines()) == [
        "landed-ahead",
        "rejected",
    ]
    assert "empty" in err


def test_debrief_as_a_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The table for a person names the outcome, the figures with their bands, the sources and the caution."""
    out = _run(capsys, "debrief", _recorded(tmp_path, capsys, "--fault", "rpm"))[1]
    assert "Takeoff 1: rejected" in out
    assert "FAA-H-8083-3C" in out
    assert "licensed instructor rule" in out


@pytest.mark.parametrize("name", ["none.climbout", "junk.bin"])
def test_debrief_of_what_is_no_flight(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is not there, or is no flight, is one clear message and exit 2."""
    (tmp_path / "junk.bin").write_bytes(b"\x00\x01\x02")
    status, out, err = _run(capsys, "debrief", str(tmp_path / name))
    assert (status, out) == (2, "")
    assert name in err


def test_a_data_folder_that_cannot_be_read_is_one_clear_message(capsys: pytest.CaptureFixture[str]) -> None:
    """A data folder that the system refuses to look at is told with status 2, never as a traceback."""
    assert main(["aircraft", "list", "--data-dir", "x" * 5000]) == 2
    assert "cannot be read" in capsys.readouterr().err
