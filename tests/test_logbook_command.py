"""`climbout logbook` as a user calls it, and `climbout fly` that fills it and flies by it."""

from __future__ import annotations

import json
import shutil
import sys
import time
from pathlib import Path

import pytest

from monitor.levels import SKILLS
from monitor.options import Options
from replay import logbook
from replay.logbook_entry import enter_flight
from tests.made_logbook import GOOD, NOW, fill, flight, record
from tests.test_cli import Run, run  # noqa: F401  # a fixture
from tests.test_live import Fly, _replayed
from tests.trainer_packets import packets

DEADLINE_S = 60.0


@pytest.fixture(scope="module")
def flown(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed recording of the trainer's takeoff, to be read only."""
    return record(tmp_path_factory.mktemp("flown") / "flight-a.climbout")


def _home(tmp_path: Path) -> Path:
    return tmp_path / "home"


# ---- show --------------------------------------------------------------------------------------------------------


def test_an_empty_logbook_says_how_it_fills(run: Run, tmp_path: Path) -> None:  # noqa: F811
    """Status 0, where it is and how takeoffs get in, the caution; with --json nothing; no file is made."""
    status, out, err = run("logbook")
    assert status == 0 and err == ""
    assert "empty" in out and "climbout fly" in out and "climbout logbook add" in out and "simulators" in out
    assert run("logbook", "--json") == (0, "", "")
    assert not _home(tmp_path).exists()


def test_the_table_and_the_trends(run: Run, tmp_path: Path) -> None:  # noqa: F811
    """One row a takeoff with what was outside, one a figure with how many within; too few for a mean is said."""
    path = fill(_home(tmp_path), flight(1), flight(2, {**GOOD, "rotation-speed": "outside"}))
    logbook.strike(path, [1], True)
    status, out, err = run("logbook")
    assert status == 0 and err == "" and "\x1b" not in out
    rows = {line.split()[0]: line for line in out.splitlines() if line.strip()[:1].isdigit()}
    assert "struck" in rows["1"] and "4 of 5" in rows["2"] and "rotation speed" in rows["2"]
    (trend,) = [line for line in out.splitlines() if line.startswith("Rotation speed less VR")]
    assert "0 of 1" in trend and "No mean from fewer than 5" in out
    assert "simulators and training talk only" in out


def test_json_lines(run: Run, tmp_path: Path) -> None:  # noqa: F811
    """One object a line: takeoffs with figures and items, then trends; the last N only, the trends over N."""
    fill(_home(tmp_path), *(flight(n) for n in range(7)))
    status, out, err = run("logbook", "--json", "--last", "5")
    lines = [json.loads(line) for line in out.splitlines()]
    assert status == 0 and err == ""
    takeoffs = [line for line in lines if line["kind"] == "takeoff"]
    assert [line["no"] for line in takeoffs] == [3, 4, 5, 6, 7]
    assert takeoffs[0]["items"][0]["id"] == "full-power-after" and takeoffs[0]["figures"] == {"liftoff_s": 20.0}
    assert {line["item"] for line in lines if line["kind"] == "trend"} == set(GOOD)
    assert all(line["judged"] == 5 for line in lines if line["kind"] == "trend")


def test_one_aeroplane_only(run: Run, tmp_path: Path) -> None:  # noqa: F811
    """--aircraft takes the name as entered, in any case, or the profile's; an unknown one is told with those known."""
    fill(_home(tmp_path), flight(1), flight(2, aircraft="Wren"))
    for given, no in (("wren", 2), ("sedge", 1)):
        found = [json.loads(line) for line in run("logbook", "--json", "--aircraft", given)[1].splitlines()]
        assert [line["no"] for line in found if line["kind"] == "takeoff"] == [no]
    status, out, err = run("logbook", "--aircraft", "heron")
    assert status == 2 and out == "" and "heron" in err and "Wren" in err and "Traceback" not in err


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (("--last", "0"), "--last: got"),
        (("--last", "many"), "--last: got"),
        (("show", "7"), "show: got"),
        (("add",), "wanted a recording"),
        (("strike",), "wanted the number"),
        (("strike", "one"), 'got "one"'),
        (("strike", "9"), "there is no takeoff 9"),
        (("add", "nowhere.climbout"), "nowhere.climbout: cannot be read"),
        (("ad",), "invalid choice"),
    ],
)
def test_a_wrong_line_is_told(run: Run, line: tuple[str, ...], words: str) -> None:  # noqa: F811
    """Status 2, one message in words, no traceback."""
    status, out, err = run("logbook", *line)
    assert status == 2 and out == "" and words in err and "Traceback" not in err


def test_a_damaged_logbook_is_one_message(run: Run, tmp_path: Path) -> None:  # noqa: F811
    """Status 2, what to do about it, the file left as it is."""
    _home(tmp_path).mkdir()
    path = _home(tmp_path) / logbook.FILE
    path.write_bytes(b"SQLite format 3\x00" + b"\xff" * 4000)
    before = path.read_bytes()
    status, out, err = run("logbook")
    assert status == 2 and out == "" and "damaged" in err and "logbook add" in err and "Traceback" not in err
    assert path.read_bytes() == before


# ---- add, strike, restore ----------------------------------------------------------------------------------------


def test_a_killed_flight_is_entered_later(run: Run, tmp_path: Path) -> None:  # noqa: F811
    """A recording without its end is entered as far as it goes; a second time it is there already."""
    killed = record(tmp_path / "killed.climbout", seconds=45.0, closed=False)
    status, out, _ = run("logbook", "add", str(killed))
    assert status == 0 and out.startswith("killed.climbout: takeoff 1 entered: ")
    assert run("logbook", "add", str(killed))[1] == "killed.climbout: is in the logbook already\n"
    assert len(logbook.read(_home(tmp_path) / logbook.FILE)) == 1


def test_a_folder_is_entered_whole(run: Run, flown: Path, tmp_path: Path) -> None:  # noqa: F811
    """Every recording in it; what cannot be entered is told beside it, and makes the status 1 when it is damaged."""
    folder = tmp_path / "recordings"
    folder.mkdir()
    shutil.copy(flown, folder / "a.climbout")
    record(folder / "b.climbout", command="demo", seconds=5.0)
    status, out, _ = run("logbook", "add", str(folder), "--json")
    lines = {Path(line["recording"]).name: line for line in map(json.loads, out.splitlines())}
    assert status == 0
    assert (lines["a.climbout"]["state"], lines["a.climbout"]["takeoffs"]) == ("entered", 1)
    assert lines["b.climbout"]["state"] == "not entered: flown by the built-in pilot, not by you"
    (folder / "c.climbout").write_bytes(b"SQLite format 3\x00" + b"\xff" * 4000)
    status, out, _ = run("logbook", "add", str(folder))
    assert status == 1 and "c.climbout: recording" in out and "a.climbout: is in the logbook already" in out


def test_all_that_is_named_is_looked_at_first(run: Run, flown: Path, tmp_path: Path) -> None:  # noqa: F811
    """A text log and a missing file among the named: both told at once, nothing entered."""
    log = tmp_path / "flight.csv"
    log.write_text("time_s,ias_kt\n0,0\n")
    status, out, err = run("logbook", "add", str(flown), str(log), str(tmp_path / "none"))
    assert status == 2 and out == "" and "a text log" in err and "none: cannot be read" in err
    assert not (_home(tmp_path) / logbook.FILE).exists()


def test_strike_and_restore(run: Run, tmp_path: Path) -> None:  # noqa: F811
    """A struck takeoff is out of the trends and marked in the table; restored, it is back."""
    path = fill(_home(tmp_path), flight(1), flight(2))
    assert run("logbook", "strike", "2")[:2] == (0, "takeoff 2 struck: it counts for nothing\n")
    assert [line.struck for line in logbook.read(path)] == [False, True]
    assert run("logbook", "restore", "2", "--json")[1] == '{"kind":"restore","takeoff":2}\n'
    assert [line.struck for line in logbook.read(path)] == [False, False]


# ---- fly ---------------------------------------------------------------------------------------------------------


def _flown_live(fly: Fly, until: bytes, seconds: float = 75.0) -> int:
    """Stream the trainer's takeoff faster than it was flown, wait for an event, interrupt; the exit status."""
    fly.stream([payload for at_s, payload in packets(10.0, 75.0) if at_s <= seconds], 800)
    fly.until(lambda: until in fly.out)
    return fly.end()


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
def test_a_flight_is_entered_and_the_next_is_flown_by_it(tmp_path: Path) -> None:
    """Five good takeoffs in the logbook: at level auto what was mastered is silent, one line says which; the flight is
    entered at its end; its replay is byte for byte the same, whatever the logbook then holds."""
    today = (NOW.timestamp() - time.time()) / 86_400  # days from now back to the day of the made-up flights
    path = fill(_home(tmp_path), *(flight(n, days_ago=today + 1.0) for n in range(5)))
    fly = Fly(tmp_path, "--level", "auto")
    assert _flown_live(fly, b'"id":"flaps-up"') == 130
    assert "level auto, by the last 5 takeoffs: left alone: power-set" in fly.err
    said = {line["id"]: line["say"] for line in map(json.loads, fly.out.splitlines()) if line["kind"] == "callout"}
    assert said["rotate"] is None and said["power-set"] is None and said["climb-speed"] is None
    assert said["airspeed-alive"] is not None and said["flaps-up"] is not None
    assert "logbook: takeoff 1 entered: " in fly.err and "Traceback" not in fly.err
    lines = logbook.read(path)
    assert len(lines) == 6 and lines[-1].level == "auto" and lines[-1].levels["rotate"] == "test"
    assert fly.out == _replayed(fly.recording)
    path.unlink()
    assert fly.out == _replayed(fly.recording)
    assert not path.exists(), "a replay has nothing to do with the logbook"


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
def test_what_is_not_recorded_is_not_entered(tmp_path: Path) -> None:
    """--no-record: flown as ever, at level auto with every call prompted; no logbook is made."""
    fly = Fly(tmp_path, "--no-record", "--level", "auto")
    assert _flown_live(fly, b'"id":"rotate"', 30.0) == 130
    assert "level auto: every call is prompted (nothing is in the logbook yet)" in fly.err
    assert b'"say":"Rotate"' in fly.out
    assert not (_home(tmp_path) / logbook.FILE).exists()


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
def test_a_damaged_logbook_does_not_cost_the_flight(tmp_path: Path) -> None:
    """The flight is flown, recorded and ends as ever; two lines say that the logbook could not be used."""
    _home(tmp_path).mkdir(parents=True)
    path = _home(tmp_path) / logbook.FILE
    path.write_bytes(b"SQLite format 3\x00" + b"\xff" * 4000)
    before = path.read_bytes()
    fly = Fly(tmp_path, "--level", "auto")
    assert _flown_live(fly, b'"id":"rotate"', 30.0) == 130
    assert fly.err.count("damaged (") == 2 and "not entered" in fly.err and "Traceback" not in fly.err
    assert fly.out == _replayed(fly.recording)
    assert path.read_bytes() == before


def test_a_long_flight_is_entered_by_a_process_of_its_own(flown: Path, tmp_path: Path) -> None:
    """It is left to a child, so the program can end at once; the takeoff is in the logbook soon after."""
    told: list[str] = []
    assert enter_flight(flown, tmp_path, told.append, large_bytes=0)
    assert len(told) == 1 and "a process of their own" in told[0]
    deadline = time.monotonic() + DEADLINE_S
    while not (tmp_path / logbook.FILE).exists() or not logbook.read(tmp_path / logbook.FILE):
        assert time.monotonic() < deadline, "not in time"
        time.sleep(0.05)


def test_a_replay_at_another_level_is_at_that_level(run: Run, tmp_path: Path) -> None:  # noqa: F811
    """A recorded auto flight replayed with --level prompt: every call is said, its items' own levels are gone."""
    levels = dict.fromkeys((skill.call for skill in SKILLS), "test")
    path = record(tmp_path / "auto.climbout", seconds=30.0, options=Options(level="auto", levels=levels))
    assert '"say":"Rotate"' not in run("replay", str(path), "--json", "--fast")[1]
    assert '"say":"Rotate"' in run("replay", str(path), "--json", "--fast", "--level", "prompt")[1]
