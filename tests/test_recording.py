"""A recording: everything in order, on the disk within a second, readable whatever happened to the program."""

from __future__ import annotations

import os
import shutil
import sqlite3
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest

from adapters.common import Setup, default_feed_text
from adapters.feed import load_feed
from adapters.ports import Packet
from adapters.session import Input, Session, apply
from monitor.aircraft import Aircraft, Speeds
from monitor.events import Event, to_json
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.toml_check import Faults
from replay import recording
from replay.keeping import flight_meta, without_transport
from replay.recorded import Recording
from replay.recording import Recorder, prune
from tests.fakes import FEED, FakeCoach, roll

META: dict[str, bytes | str] = {
    "feed": FEED,
    "aircraft": "name = 'x'",
    "procedures": msgspec.json.encode(["a"]),
    "options": msgspec.json.encode(Options(field_elevation_ft=120.0)),
}
EVENT = Event(1.5, "callout", "rotate", 1, "takeoff-roll", "Rotate", 52.0, 0.0, {"reason": "é"})
INPUTS = [
    Input("prime", 5, "127.0.0.1:1", msgspec.msgpack.encode([])),
    Input("packet", 5, "127.0.0.1:1", b"0,1,2\n"),
    Input("packet", 6, "127.0.0.1:2", bytes(range(256))),
    Input("tick", 9_223_372_036_854_775_000),
    Input("key", 7, "", b"space"),
    Input("voice", 8, "", b"0.123456789"),
    Input("end", 9),
]


def _recorder(path: Path, told: list[str] | None = None) -> Recorder:
    return Recorder(path, META, (told if told is not None else []).append)


def _until(condition: object, seconds: float = 20.0) -> None:
    deadline = time.monotonic() + seconds
    while not condition():  # type: ignore[operator]
        assert time.monotonic() < deadline, "not in time"
        time.sleep(0.02)


def _count(path: Path) -> int:
    return sum(1 for _ in Recording(path).inputs())


def test_every_input_comes_back_as_it_went_in(tmp_path: Path) -> None:
    """Kinds, integer nanoseconds, origins, any bytes, the events' lines and the texts are read back unchanged."""
    path = tmp_path / "a.climbout"
    recorder = _recorder(path)
    for given in INPUTS:
        recorder.record([given], [EVENT] if given.kind == "tick" else [])
    recorder.close()
    read = Recording(path)
    assert list(read.inputs()) == INPUTS
    assert list(read.event_lines()) == [to_json(EVENT)]
    assert read.held().options == Options(field_elevation_ft=120.0)
    assert read.text("feed") == FEED
    assert read.notes == []


def test_closed_recording_is_one_plain_file(tmp_path: Path) -> None:
    """After a close there are no companions, the journal is off, and the file bears our mark."""
    path = tmp_path / "a.climbout"
    recorder = _recorder(path)
    recorder.record(INPUTS, [])
    recorder.close()
    assert [item.name for item in tmp_path.iterdir()] == ["a.climbout"]
    head = path.read_bytes()[:100]
    assert head[18:20] == b"\x01\x01"  # SQLite file format 1.3.3: 1 = legacy journal, 2 = WAL
    assert head[68:72] == b"CLMB"


def test_never_written_over(tmp_path: Path) -> None:
    """A file that is there already is refused in words and left alone."""
    path = tmp_path / "a.climbout"
    path.write_text("mine")
    with pytest.raises(Faults, match="there already"):
        _recorder(path)
    assert path.read_text() == "mine"


def test_committed_within_a_second_also_copied_alone(tmp_path: Path) -> None:
    """While the flight goes on, the main file alone holds what came in a second ago, without its companions."""
    path, alone = tmp_path / "a.climbout", tmp_path / "elsewhere" / "copy.climbout"
    alone.parent.mkdir()
    recorder = _recorder(path)
    shutil.copy(path, alone)
    assert _count(alone) == 0  # opens with its tables before anything came in
    recorder.record(INPUTS, [EVENT])

    def arrived() -> bool:
        shutil.copy(path, alone)
        return _count(alone) == len(INPUTS)

    _until(arrived)
    assert [item.name for item in alone.parent.iterdir()] == ["copy.climbout"], "reading leaves nothing behind"
    assert "not closed" in Recording(alone).notes[0]
    recorder.close()


def test_a_reader_in_the_way_only_delays_the_main_file(tmp_path: Path) -> None:
    """Someone who reads while it is written keeps the main file behind no longer than the reading lasts."""
    path, alone = tmp_path / "a.climbout", tmp_path / "copy.climbout"
    recorder = _recorder(path)
    reader = sqlite3.connect(path, isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM input").fetchone()
    recorder.record(INPUTS, [])
    _until(lambda: _count(path) == len(INPUTS))  # with its companions it is whole at once
    reader.execute("COMMIT")
    reader.close()
    _until(lambda: _count(Path(shutil.copy(path, alone))) == len(INPUTS))
    recorder.close()


KILLED = """
import sys, time
from pathlib import Path
from adapters.session import Input
from replay.recording import Recorder
recorder = Recorder(Path(sys.argv[1]), {"feed": "x"}, print)
n = 0
while True:
    n += 1
    recorder.record([Input("packet", time.time_ns(), "a:1", b"%d," % n + b"x" * 300)], [])
    print(time.time_ns(), flush=True)
    time.sleep(0.002)
"""


@pytest.fixture
def killed(tmp_path: Path) -> Iterator[tuple[Path, int]]:
    """A recording whose program was killed in full flight: the file, and the last input's time in nanoseconds."""
    path = tmp_path / "flight" / "killed.climbout"
    process = subprocess.Popen([sys.executable, "-c", KILLED, str(path)], stdout=subprocess.PIPE)
    assert process.stdout is not None
    last = [process.stdout.readline() for _ in range(700)][-1]
    process.kill()
    last = (process.stdout.read().splitlines(keepends=True) or [last])[-1]
    process.wait(10)
    process.stdout.close()
    yield path, int(last)


def _check_killed(path: Path, last_ns: int) -> None:
    inputs = list(Recording(path).inputs())
    numbers = [int(given.data.partition(b",")[0]) for given in inputs]
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) > 100
    # The thread commits every 0.5 s; the bound asked for is a second. Wall time in another process: the slack is
    # for a machine that was busy with others between the commit's due moment and the commit.
    assert last_ns - inputs[-1].arrival_ns < 2_000_000_000


def test_killed_program_loses_at_most_the_last_second(killed: tuple[Path, int]) -> None:
    """After a kill the recording opens in place and holds all but the last moment, in order."""
    _check_killed(*killed)


def test_killed_recording_copied_alone_and_read_only(killed: tuple[Path, int], tmp_path: Path) -> None:
    """The killed recording's main file alone, in a folder nobody may write to, still opens and is as whole."""
    folder = tmp_path / "read-only"
    folder.mkdir()
    copy = Path(shutil.copy(killed[0], folder))
    copy.chmod(stat.S_IREAD)
    folder.chmod(stat.S_IREAD | stat.S_IEXEC)
    try:
        _check_killed(copy, killed[1])
        assert len(list(folder.iterdir())) == 1
    finally:
        folder.chmod(stat.S_IRWXU)


@pytest.mark.long
@pytest.mark.parametrize("moment_ms", range(0, 600, 40))
def test_killed_at_any_moment_of_a_commit(tmp_path: Path, moment_ms: int) -> None:
    """Killed at moments all over the commit's period, the main file alone always opens and is whole."""
    path = tmp_path / "flight" / "killed.climbout"
    process = subprocess.Popen([sys.executable, "-c", KILLED, str(path)], stdout=subprocess.PIPE)
    assert process.stdout is not None
    before = [process.stdout.readline() for _ in range(400)]
    time.sleep(moment_ms / 1000)
    process.kill()
    last = [*before, *process.stdout.read().splitlines()][-1]
    process.wait(10)
    process.stdout.close()
    _check_killed(Path(shutil.copy(path, tmp_path / "alone.climbout")), int(last))


def test_full_disk_is_one_line_and_keeps_what_there_was(tmp_path: Path) -> None:
    """When the disk is full the recording ends with one line; what was recorded opens; later calls are harmless."""
    path, told = tmp_path / "a.climbout", list[str]()
    recorder = _recorder(path, told)
    recorder.record([Input("packet", 1, "a:1", b"first")], [])
    _until(lambda: _count(path) == 1)
    recorder._database.execute("PRAGMA max_page_count = 1")  # SQLite itself then answers "database or disk is full"
    for n in range(50):
        recorder.record([Input("packet", n, "a:1", bytes(4000))], [])
    _until(lambda: recorder.failed)
    recorder.record([Input("packet", 99, "a:1", b"late")], [])
    recorder.close()
    assert len(told) == 1
    assert "full" in told[0] and "the flight goes on" in told[0]
    assert next(iter(Recording(path).inputs())).data == b"first"


def test_a_disk_that_stands_still_never_holds_up_the_flight(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When too much waits for the disk the recording ends with one line instead of the flight waiting."""
    monkeypatch.setattr(recording, "QUEUE_MAX", 10)
    monkeypatch.setattr(recording.Writer, "commit", lambda self, batches: time.sleep(0.3))
    told: list[str] = []
    recorder = _recorder(tmp_path / "a.climbout", told)
    for n in range(100):
        recorder.record([Input("tick", n)], [])
    assert recorder.failed
    assert len(told) == 1
    recorder.close()


def test_newer_format_is_refused_in_words(tmp_path: Path) -> None:
    """A recording of a newer program is not read as if it were understood."""
    path = tmp_path / "a.climbout"
    _recorder(path).close()
    database = sqlite3.connect(path)
    database.execute("PRAGMA user_version = 99")
    database.close()
    with pytest.raises(Faults, match=r"newer climbout \(format 99"):
        Recording(path)


def test_other_sqlite_file_is_refused(tmp_path: Path) -> None:
    """A SQLite file that is no recording is told as that."""
    database = sqlite3.connect(tmp_path / "x.db")
    database.execute("CREATE TABLE t (x)")
    database.close()
    with pytest.raises(Faults, match="no recording of climbout"):
        Recording(tmp_path / "x.db")


def test_damaged_file_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    """A recording cut short gives what is whole and a note, or one clear fault; never a traceback."""
    path = tmp_path / "a.climbout"
    recorder = _recorder(path)
    for n in range(2000):
        recorder.record([Input("packet", n, "a:1", b"%d" % n + bytes(200))], [])
    recorder.close()
    whole = path.read_bytes()
    for share in (0.05, 0.3, 0.6, 0.95):
        path.write_bytes(whole[: int(len(whole) * share)])
        try:
            read = Recording(path)
            numbers = [given.arrival_ns for given in read.inputs()]
        except Faults as faults:
            assert str(path) in str(faults)
        else:
            assert numbers == list(range(len(numbers)))
            assert len(numbers) < 2000 and "damaged" in read.notes[-1]


def test_an_input_nobody_knows_ends_the_reading_with_a_note(tmp_path: Path) -> None:
    """A row that cannot be an input stops the reading there, with a note; a path with odd signs is no trouble."""
    path = tmp_path / "a b?#100%.climbout"
    recorder = _recorder(path)
    recorder.record([Input("tick", n) for n in range(5)], [])
    recorder.close()
    database = sqlite3.connect(path)
    database.execute("UPDATE input SET kind = 99 WHERE n = 4")
    database.commit()
    database.close()
    read = Recording(path)
    assert [given.arrival_ns for given in read.inputs()] == [0, 1, 2]
    assert "damaged" in read.notes[0]


def test_recorded_session_replays_to_the_same_bytes(tmp_path: Path) -> None:
    """Through the file and back, the events of a session come out byte for byte, and are those kept in the file."""
    feed, path = load_feed(FEED, "feed test"), tmp_path / "a.climbout"
    procedure = Procedure("test", None, {})  # type: ignore[arg-type]
    make = lambda: Session(feed, Aircraft("x", Speeds(52, 55, 72)), procedure, Options(), make_coach=FakeCoach)  # noqa: E731
    recorder, session, events = _recorder(path), make(), list[Event]()
    for at_s, line in roll(seconds=10.0):
        new = session.packet(Packet(77 + round(at_s * 1e9), "a:1", line))
        recorder.record(session.accepted, new)
        events += new
    new = session.end(77 + 10**10)
    recorder.record(session.accepted, new)
    recorder.close()
    again, read = make(), Recording(path)
    lines = [to_json(event) for given in read.inputs() for event in apply(again, given)]
    assert lines == [to_json(event) for event in [*events, *new]] == list(read.event_lines())
    assert len(lines) == 4


def test_oldest_recordings_go_when_the_limit_is_passed(tmp_path: Path) -> None:
    """Only our own files count, the oldest go first, the newest stays however large it is, 0 keeps all."""
    for n in range(4):
        recorder = _recorder(tmp_path / f"flight-{n}.climbout")
        recorder.record([Input("packet", n, "a:1", bytes(50_000))], [])
        recorder.close()
        os.utime(tmp_path / f"flight-{n}.climbout", (1000 + n, 1000 + n))
    (tmp_path / "flight-0000.climbout").write_bytes(bytes(200_000))
    assert prune(tmp_path, 0) == []
    size = (tmp_path / "flight-1.climbout").stat().st_size
    assert [gone.name for gone in prune(tmp_path, 2.5 * size)] == ["flight-0.climbout", "flight-1.climbout"]
    assert [gone.name for gone in prune(tmp_path, 1)] == ["flight-2.climbout"]
    assert (tmp_path / "flight-3.climbout").exists() and (tmp_path / "flight-0000.climbout").exists()


def test_a_recording_in_the_making_is_not_deleted(tmp_path: Path) -> None:
    """Another flight's file that is being written stays, whatever the limit; a killed one goes with its companions."""
    busy = _recorder(tmp_path / "flight-1.climbout")
    killed = tmp_path / "flight-2.climbout"
    _recorder(killed).close()
    killed.with_name(killed.name + "-wal").write_bytes(b"")
    _recorder(tmp_path / "flight-3.climbout").close()
    for path in (killed, killed.with_name(killed.name + "-wal")):
        os.utime(path, (1000, 1000))
    assert prune(tmp_path, 1) == [killed]
    assert sorted(item.name for item in tmp_path.iterdir() if "flight-2" in item.name) == []
    assert (tmp_path / "flight-1.climbout").exists()
    busy.close()


def test_recording_holds_no_address_and_no_key() -> None:
    """The feed's text is kept without its transport, keys left out, and can still be read."""
    secret = "x" * 40
    text = FEED.replace("port = 5501", f'port = 5501\nonly_from = ["10.1.2.3"]\nserver_secret_key = "{secret}"')
    kept = without_transport(text)
    assert secret not in kept
    assert "transport" in kept and load_feed(kept, "feed").transport is None
    assert load_feed(kept, "feed").channels == load_feed(FEED, "feed").channels


def test_meta_tells_what_was_flown_with() -> None:
    """The file names its command, version and start, and holds every text that judged the flight."""
    feed = default_feed_text()
    setup = Setup(
        load_feed(feed, "feed"), Aircraft("x", Speeds(52, 55, 72)), Procedure("p", None, {}),  # type: ignore[arg-type]
        Options(), feed, "the profile", ("the procedure", "its base"),
    )  # fmt: skip
    meta = flight_meta(setup, "fly", "1.2.3", datetime(2026, 5, 4, tzinfo=UTC))
    assert meta["aircraft"] == "the profile"
    assert msgspec.json.decode(meta["procedures"]) == ["the procedure", "its base"]
    assert (meta["command"], meta["version"], meta["started"]) == ("fly", "1.2.3", "2026-05-04T00:00:00+00:00")
