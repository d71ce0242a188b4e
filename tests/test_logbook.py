"""The logbook's file: what is entered once, never lost, read in any state; its trends; the levels it suggests."""

from __future__ import annotations

import os
import shutil
import sqlite3
import statistics
import sys
from pathlib import Path

import msgspec
import pytest

from adapters.held import chain
from adapters.library import PROCEDURE, builtin_text
from monitor.options import Options
from monitor.toml_check import Faults
from replay import logbook, logbook_entry
from replay.debrief import debrief
from replay.judged import judge_flight
from replay.logbook_entry import enter_flight, flown_as, measured, why_not
from replay.logbook_levels import LOOKED_AT, RECENT_DAYS, with_levels
from replay.logbook_trends import FEW, counted, trends
from replay.recorded import Recording
from tests.made_logbook import GOOD, NOW, fill, flight, item, record, setup_of

NOW_S = NOW.timestamp()

FORMAT_1 = """
CREATE TABLE flight (id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, started TEXT NOT NULL, started_s REAL NOT NULL,
    aircraft TEXT NOT NULL, procedure TEXT NOT NULL, flown_as TEXT NOT NULL, level TEXT NOT NULL, levels TEXT NOT NULL,
    version TEXT NOT NULL, recording TEXT NOT NULL, inputs INTEGER NOT NULL);
CREATE TABLE takeoff (id INTEGER PRIMARY KEY AUTOINCREMENT, flight INTEGER NOT NULL, number INTEGER NOT NULL,
    outcome TEXT NOT NULL, figures TEXT NOT NULL, warnings TEXT NOT NULL, struck INTEGER NOT NULL DEFAULT 0,
    UNIQUE (flight, number));
CREATE TABLE item (takeoff INTEGER NOT NULL, n INTEGER NOT NULL, id TEXT NOT NULL, target REAL, actual REAL,
    unit TEXT NOT NULL, low REAL, high REAL, verdict TEXT NOT NULL, why TEXT, source TEXT NOT NULL,
    PRIMARY KEY (takeoff, n));
INSERT INTO flight VALUES (7, 'k', '2026-05-04T10:00:00+00:00', 1777888800.0, 'Wren', 'Normal takeoff',
    'Normal takeoff', 'auto', '{"turn":"test"}', '0.1.0', '/r.climbout', 1200);
INSERT INTO takeoff VALUES (3, 7, 1, 'rejected', '{"liftoff_s":null}', '["oil-pressure-low"]', 1);
INSERT INTO item VALUES (3, 0, 'rotation-speed', 52.0, 55.5, 'kt', 47.0, 60.0, 'within', NULL, 'profile');
PRAGMA application_id = 1129073730;
PRAGMA user_version = 1;
"""
"""A logbook as format 1 was written; it must open for ever."""


@pytest.fixture(scope="module")
def flown(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed recording of the trainer's takeoff, to be read only."""
    return record(tmp_path_factory.mktemp("flown") / "flight-a.climbout")


# ---- from a recording --------------------------------------------------------------------------------------------


def test_what_is_entered_is_what_the_debrief_says(flown: Path, tmp_path: Path) -> None:
    """Date, aeroplane, procedure, level, figures and items come back from the file as the debrief measured them."""
    fill(tmp_path, measured(flown))
    (line,) = logbook.read(tmp_path / logbook.FILE)
    setup, recording = setup_of(), Recording(flown)
    judged = judge_flight(setup, recording.inputs())
    (one,) = debrief(judged.stretches, judged.events, setup.aircraft, setup.procedure, setup.options).takeoffs
    assert (line.outcome, line.figures, line.items) == (one.outcome, one.figures, one.items)
    assert line.verdicts["rotation-speed"] == "within"
    assert (line.aircraft, line.procedure, line.level) == (setup.aircraft.name, setup.procedure.name, "prompt")
    assert (line.started_s, line.number, line.warnings, line.struck) == (NOW_S, 1, [], False)
    assert line.recording == str(flown.resolve())


def test_entering_twice_changes_nothing(flown: Path, tmp_path: Path) -> None:
    """The same recording, its copy under another name too: the file stays byte for byte as it was."""
    path = fill(tmp_path, measured(flown))
    before = path.read_bytes()
    copy = Path(shutil.copy(flown, tmp_path / "other-name.climbout"))
    for recording in (flown, copy):
        assert logbook.enter(path, measured(recording)) == []
    assert path.read_bytes() == before


def test_a_recording_that_has_grown_replaces_what_it_held(flown: Path, tmp_path: Path) -> None:
    """A copy made in the middle of the flight, then the whole: one takeoff, with its number, the end known."""
    half = record(tmp_path / "half.climbout", seconds=40.0, closed=False)
    path = fill(tmp_path, measured(half))
    (before,) = logbook.read(path)
    logbook.strike(path, [before.no], True)
    assert logbook.enter(path, measured(flown)) == [before.no]
    (after,) = logbook.read(path)
    assert (before.outcome, after.outcome) == ("incomplete", measured(flown).takeoffs[0].outcome)
    assert after.figures["height_300_s"] is not None and before.figures["height_300_s"] is None
    assert (after.no, after.struck) == (before.no, True)
    assert logbook.enter(path, measured(half)) == [], "the shorter one does not come back"


def test_two_flights_are_two(tmp_path: Path) -> None:
    """Another flight is another entry, though date and aeroplane are the same."""
    path = fill(tmp_path, flight(1), msgspec.structs.replace(flight(1), key="another"))
    assert len(logbook.read(path)) == 2


def test_only_what_the_pilot_flew_is_entered(tmp_path: Path) -> None:
    """A demo's recording is refused with the reason, one without a takeoff too."""
    demo = record(tmp_path / "demo.climbout", command="demo", seconds=30.0)
    taxi = record(tmp_path / "taxi.climbout", seconds=2.0)
    assert why_not(demo) == "flown by the built-in pilot, not by you"
    assert why_not(taxi) == "no takeoff in it"
    assert why_not(record(tmp_path / "flight.climbout", seconds=30.0)) is None
    told: list[str] = []
    for path in (demo, taxi):
        assert enter_flight(path, tmp_path / "home", told.append)
    assert told == [] and not (tmp_path / "home").exists()


def test_a_translated_procedure_is_the_same_flying() -> None:
    """The German words do not make another procedure; the short field does."""
    texts = {name: chain(builtin_text(PROCEDURE, name), name) for name in ("normal", "normal-de", "short-field")}
    assert flown_as(texts["normal-de"]) == flown_as(texts["normal"]) == "Normal takeoff"
    assert flown_as(texts["short-field"]) != "Normal takeoff"


# ---- after a flight ----------------------------------------------------------------------------------------------


def test_a_flight_is_entered_and_told(flown: Path, tmp_path: Path) -> None:
    """One line a takeoff says what was entered."""
    told: list[str] = []
    assert enter_flight(flown, tmp_path, told.append)
    assert len(told) == 1 and told[0].startswith("logbook: takeoff 1 entered: ")
    assert len(logbook.read(tmp_path / logbook.FILE)) == 1


def test_an_interrupt_skips_it(flown: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Interrupted while it is measured: nothing is entered, and a line says how to do it later."""

    def interrupted(_path: Path) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(logbook_entry, "measured", interrupted)
    told: list[str] = []
    assert not enter_flight(flown, tmp_path, told.append)
    assert told == [f"logbook: not entered (interrupted); enter it later: climbout logbook add {flown}"]
    assert not (tmp_path / logbook.FILE).exists()


def test_whatever_is_wrong_with_the_logbook_is_one_line(flown: Path, tmp_path: Path) -> None:
    """Damaged, someone else's, a folder in its place: a line with the reason, the file left as it is, no exception."""
    other = sqlite3.connect(tmp_path / "other.sqlite")
    other.executescript("CREATE TABLE mine (a); INSERT INTO mine VALUES (1);")
    other.close()
    contents = {
        "damaged": b"SQLite format 3\x00" + b"\xff" * 4000,
        "no logbook": (tmp_path / "other.sqlite").read_bytes(),
    }
    for n, (why, content) in enumerate(contents.items()):
        home = tmp_path / str(n)
        home.mkdir()
        (home / logbook.FILE).write_bytes(content)
        told: list[str] = []
        assert enter_flight(flown, home, told.append)
        assert len(told) == 1 and "not entered" in told[0] and why in told[0] and "logbook add" in told[0]
        assert (home / logbook.FILE).read_bytes() == content
        with pytest.raises(Faults, match=why):
            logbook.read(home / logbook.FILE)
    (tmp_path / "folder" / logbook.FILE).mkdir(parents=True)
    told = []
    assert enter_flight(flown, tmp_path / "folder", told.append) and len(told) == 1


def test_a_locked_file_is_one_line_and_loses_nothing(tmp_path: Path) -> None:
    """Another program holds it: after the time allowed a fault says so; what is there can still be read afterwards."""
    path = fill(tmp_path, flight(1))
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("BEGIN EXCLUSIVE")
    for attempt in (lambda: logbook.enter(path, flight(2), wait_s=0.01), lambda: logbook.read(path, wait_s=0.01)):
        with pytest.raises(Faults, match="another program is writing to it"):
            attempt()
    holder.execute("ROLLBACK")
    holder.close()
    assert len(logbook.read(path)) == 1


@pytest.mark.skipif(sys.platform == "win32" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_file_is_read_and_refused_for_writing(tmp_path: Path) -> None:
    """Read-only file in a read-only folder: its takeoffs are shown, entering is one fault."""
    path = fill(tmp_path, flight(1))
    path.chmod(0o444)
    tmp_path.chmod(0o555)
    try:
        assert len(logbook.read(path)) == 1
        with pytest.raises(Faults, match="logbook"):
            logbook.enter(path, flight(2))
    finally:
        tmp_path.chmod(0o755)


def test_a_kill_while_writing_loses_nothing(tmp_path: Path) -> None:
    """A transaction that was cut off leaves its journal: the next reader finds what was there before, whole."""
    path = fill(tmp_path, *(flight(n) for n in range(5)))
    writer = sqlite3.connect(path, isolation_level=None)
    writer.execute("PRAGMA cache_size = 1")  # pages go to the file before the end
    writer.execute("BEGIN IMMEDIATE")
    writer.execute("UPDATE item SET source = hex(randomblob(4000))")
    half = tmp_path / "killed"
    half.mkdir()
    for name in (logbook.FILE, f"{logbook.FILE}-journal"):
        shutil.copy(tmp_path / name, half / name)
    writer.execute("ROLLBACK")
    writer.close()
    assert (half / logbook.FILE).read_bytes() != path.read_bytes(), "the cut-off transaction had reached the file"
    assert logbook.read(half / logbook.FILE) == logbook.read(path)


# ---- formats -----------------------------------------------------------------------------------------------------


def test_format_1_opens(tmp_path: Path) -> None:
    """A file as the first version wrote it is read, and goes on being written to."""
    path = tmp_path / logbook.FILE
    database = sqlite3.connect(path)
    database.executescript(FORMAT_1)
    database.close()
    (line,) = logbook.read(path)
    assert (line.no, line.aircraft, line.outcome, line.struck) == (3, "Wren", "rejected", True)
    assert (line.levels, line.warnings, line.figures) == ({"turn": "test"}, ["oil-pressure-low"], {"liftoff_s": None})
    assert line.items[0].actual == 55.5 and line.verdicts == {"rotation-speed": "within"}
    logbook.enter(path, flight(1))
    assert [line.no for line in logbook.read(path)] == [4, 3]


def test_an_older_format_is_brought_up_to_date(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A later step is done in memory when read, the file untouched; in the file when written; nothing is lost."""
    path = fill(tmp_path, flight(1))
    before = path.read_bytes()
    monkeypatch.setattr(logbook, "STEPS", (*logbook.STEPS, ("ALTER TABLE takeoff ADD COLUMN later TEXT DEFAULT 'x'",)))
    (line,) = logbook.read(path)
    assert path.read_bytes() == before
    logbook.enter(path, flight(2))
    assert line in logbook.read(path) and len(logbook.read(path)) == 2
    monkeypatch.undo()
    with pytest.raises(Faults, match="written by a newer climbout"):
        logbook.read(path)
    with pytest.raises(Faults, match="update climbout"):
        logbook.enter(path, flight(3))


def test_striking_is_not_deleting(tmp_path: Path) -> None:
    """A struck takeoff stays and counts for nothing; restored, it counts; a wrong number changes nothing."""
    path = fill(tmp_path, flight(1), flight(2))
    assert logbook.strike(path, [2], True) == []
    assert [line.struck for line in logbook.read(path)] == [False, True]
    assert [line.no for line in counted(logbook.read(path))] == [1]
    assert logbook.strike(path, [1, 99], True) == [99]
    assert [line.struck for line in logbook.read(path)] == [False, True]
    assert logbook.strike(path, [2], False) == []
    assert [line.struck for line in logbook.read(path)] == [False, False]


# ---- trends ------------------------------------------------------------------------------------------------------


def _speeds(path: Path, *speeds: float) -> list[logbook.Line]:
    """A logbook of rotations at these speeds, VR 50, band 45 to 58."""
    for n, speed in enumerate(speeds):
        verdict = "within" if 45.0 <= speed <= 58.0 else "outside"
        one = flight(n)
        entry = msgspec.structs.replace(one.takeoffs[0], items=[item("rotation-speed", verdict, speed, 50.0)])
        logbook.enter(path, msgspec.structs.replace(one, takeoffs=[entry]))
    return logbook.read(path)


def test_a_trend_is_told_against_what_was_wanted(tmp_path: Path) -> None:
    """Rotation speeds as differences to VR: how many within, mean and spread of the last N, the mean of N before."""
    speeds = [99.0, 50.0, 51.0, 52.0, 53.0, 54.0, 60.0, 44.0, 52.0, 51.0, 53.0]
    (trend,) = trends(_speeds(tmp_path / "l", *speeds), 5)
    assert (trend.item, trend.less, trend.judged, trend.within, trend.marks) == ("rotation-speed", "VR", 5, 3, "xx+++")
    assert trend.last == 3.0
    assert trend.mean == pytest.approx(statistics.fmean(speeds[6:]) - 50.0)
    assert trend.spread == pytest.approx(statistics.stdev(speeds[6:]), abs=0.005)
    assert trend.before == pytest.approx(2.0)


def test_no_mean_from_few(tmp_path: Path) -> None:
    """From fewer than five takeoffs there is the count, but no mean and no spread."""
    lines = _speeds(tmp_path / "l", *[51.0] * (FEW - 1))
    (trend,) = trends(lines, 10)
    assert (trend.judged, trend.within, trend.mean, trend.spread, trend.before) == (4, 4, None, None, None)
    assert trends([], 10) == []


def test_what_was_not_judged_is_in_no_trend(tmp_path: Path) -> None:
    """A figure without a verdict counts neither as within nor as outside."""
    path = fill(tmp_path, flight(1, {"ground-roll": "not-measured", "drift": "outside"}))
    assert [(trend.item, trend.within, trend.judged) for trend in trends(logbook.read(path), 10)] == [("drift", 0, 1)]


# ---- level auto --------------------------------------------------------------------------------------------------


def _auto(tmp_path: Path, procedure: str = "normal") -> tuple[Options, str | None]:
    setup, line = with_levels(setup_of(Options(level="auto"), procedure), tmp_path, NOW_S)
    return setup.options, line


def test_without_a_logbook_everything_is_prompted(tmp_path: Path) -> None:
    """No file: no levels, one line that says so, and no file made."""
    options, line = _auto(tmp_path)
    assert options.levels == {} and line == "level auto: every call is prompted (nothing is in the logbook yet)"
    assert list(tmp_path.iterdir()) == []


def test_levels_come_from_the_last_takeoffs(tmp_path: Path) -> None:
    """Five good ones but for the turn, which was missed last: what is left alone, corrected, prompted, and why."""
    bad_turn, no_climb = {**GOOD, "first-turn-height": "outside"}, {**GOOD, "climb-speed-share": "outside"}
    fill(tmp_path, flight(1), flight(2, no_climb), *(flight(n) for n in (3, 4)), flight(5, bad_turn))
    options, line = _auto(tmp_path)
    assert options.levels["rotate"] == options.levels["late-rotate"] == "test"
    assert options.levels["climb-speed"] == "correct" and "climb-slow" not in options.levels
    assert options.levels["turn"] == options.levels["flaps-up"] == "prompt"
    assert line == (
        "level auto, by the last 5 takeoffs: left alone: power-set (5 running within), rotate (5 running within); "
        "only corrected: climb-speed (3 running within); prompted: flaps-up (not judged yet), turn (the last outside)"
    )


def test_few_takeoffs_are_prompted(tmp_path: Path) -> None:
    """One takeoff is too few, and the line says how many are wanted."""
    fill(tmp_path, flight(1))
    options, line = _auto(tmp_path)
    assert set(options.levels.values()) == {"prompt"}
    assert line is not None and "rotate (1 running within, 3 wanted)" in line


def test_another_aeroplane_spares_the_prompt_only(tmp_path: Path) -> None:
    """Eight good ones elsewhere, none in this aeroplane: corrected, not left alone, and the line says so."""
    fill(tmp_path, *(flight(n, aircraft="Wren") for n in range(8)))
    options, line = _auto(tmp_path)
    assert options.levels["rotate"] == "correct"
    assert line is not None and line.startswith("level auto, by the last 8 takeoffs, 0 of them in this aeroplane: ")
    assert "rotate (8 running within, 0 in this aeroplane)" in line


def test_what_does_not_count(tmp_path: Path) -> None:
    """Struck takeoffs, those of another procedure, and those of more than 90 days ago (14 CFR 61.57(a), an analogy)."""
    old = RECENT_DAYS + 1.0
    path = fill(tmp_path, flight(1), flight(2, flown_as="Short field"), flight(3, days_ago=old))
    logbook.strike(path, [1], True)
    options, line = _auto(tmp_path)
    assert options.levels == {}
    assert line == "level auto: every call is prompted (no takeoff by 'Normal takeoff' in the last 90 days)"
    many = tmp_path / "many"
    fill(many, *(flight(n) for n in range(LOOKED_AT + 5)))
    assert str(with_levels(setup_of(Options(level="auto")), many, NOW_S)[1]).startswith("level auto, by the last 20 ")


def test_a_logbook_that_cannot_be_read_costs_a_line(tmp_path: Path) -> None:
    """Damaged: every call is prompted, and the line says why."""
    (tmp_path / logbook.FILE).write_bytes(b"SQLite format 3\x00" + b"\xff" * 4000)
    options, line = _auto(tmp_path)
    assert options.levels == {} and line is not None
    assert line.startswith("level auto: every call is prompted; logbook ") and "damaged" in line


def test_only_what_is_auto_is_chosen(tmp_path: Path) -> None:
    """At another level the logbook is not looked at; an item with a level of its own in the procedure keeps it."""
    fill(tmp_path, *(flight(n) for n in range(5)))
    setup = setup_of(Options(level="prompt"))
    assert with_levels(setup, tmp_path, NOW_S) == (setup, None)
    own = msgspec.structs.replace(setup.procedure, level="auto", levels={"rotate": "prompt", "climb-slow": "correct"})
    setup = msgspec.structs.replace(setup, procedure=own, options=Options())
    found, line = with_levels(setup, tmp_path, NOW_S)
    assert "rotate" not in found.options.levels and "climb-slow" not in found.options.levels
    assert found.options.levels["climb-speed"] == found.options.levels["climb-fast"] == "test"
    assert line is not None and "rotate" not in line
    one = msgspec.structs.replace(own, level="prompt", levels={"turn": "auto"})
    found, _ = with_levels(msgspec.structs.replace(setup, procedure=one), tmp_path, NOW_S)
    assert found.options.levels == {"turn": "test"}
