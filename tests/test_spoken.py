"""What was said, in the recording and on the screen: the voice's log, its latency, its captions, in every command."""

from __future__ import annotations

import itertools
import os
import signal
import socket
import sqlite3
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from adapters import cli
from adapters.session import Input
from adapters.speech.spoken import Spoken
from adapters.telling import closing_lines
from monitor.events import Event
from replay.player import Pacer
from replay.recorded import Recording
from replay.recording import Recorder
from replay.trainer_feed import feed_text
from replay.trainer_flight import START_NS
from tests import trainer_packets
from tests.fake_speech import InstantVoice
from tests.fakes import Kept, SetClock
from tests.trainer_packets import free_port, packets

LOG = [
    Spoken("queued", "Öl prüfen", "engine-green", 9_000_000_000_001, ""),
    Spoken("started", "Öl prüfen", "engine-green", 9_000_000_000_002, "as text: no sound", 0.02),
    Spoken("cut", "Öl prüfen", "engine-green", 9_000_000_000_003, 'for "Abbruch"'),
]


class Screen(Kept):
    """Keeps captions too; once `enough` of them came, interrupts the program as Ctrl-C does."""

    def __init__(self, enough: int) -> None:
        """Nothing shown."""
        super().__init__()
        self.captions: list[str | None] = []
        self._enough = enough

    def caption(self, words: str | None) -> None:
        """Keep."""
        self.captions.append(words)
        if len(self.captions) == self._enough:
            signal.raise_signal(signal.SIGINT)


Printed = pytest.CaptureFixture[bytes]
Flown = Callable[..., tuple[Screen, InstantVoice]]


@pytest.fixture
def flown(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Flown]:
    """Runs a command as the user does, its screen and voice ours, until the first word has been a caption and gone."""
    monkeypatch.setenv("CLIMBOUT_HOME", str(tmp_path / "home"))

    def run(*line: str) -> tuple[Screen, InstantVoice]:
        screen, voice = Screen(2), InstantVoice()
        with monkeypatch.context() as patched, Path(os.devnull).open() as no_keys:
            patched.setattr("sys.stdin", no_keys)
            # The one that imports the other's name comes first: imported later it would keep ours for good.
            for module in ("replay.trainer_stage", "adapters.screens"):
                patched.setattr(f"{module}.make_screen", lambda *_args, **_keys: screen)
            patched.setattr("adapters.voice.make_voice", lambda *_args: voice)
            assert cli.main(list(line)) == 130
        return screen, voice

    yield run


class _Sender:
    """Sends the trainer's packets at 50 Hz until told to stop."""

    def __init__(self, port: int) -> None:
        self.over = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(port,))

    def _run(self, port: int) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
            for _, payload in packets():
                out.sendto(payload, ("127.0.0.1", port))
                if self.over.wait(0.02):
                    return

    def __enter__(self) -> _Sender:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.over.set()
        self._thread.join()


def _fly(flown: Flown, tmp_path: Path, *options: str) -> tuple[Screen, InstantVoice]:
    port, feed = free_port(), tmp_path / "feed.toml"
    feed.write_text(feed_text().replace("port = 5501", f"port = {port}"))
    with _Sender(port):
        return flown("fly", "--feed", str(feed), "--aircraft", "sedge", *options)


def _of_a_recording(flown: Flown, tmp_path: Path) -> tuple[Screen, InstantVoice]:
    recording = str(tmp_path / "demo.climbout")
    assert cli.main(["demo", "--fast", "--json", "--record", recording]) == 0
    return flown("replay", recording)


COMMANDS: dict[str, Callable[[Flown, Path], tuple[Screen, InstantVoice]]] = {
    "fly": _fly,
    "replay": _of_a_recording,
    "demo": lambda flown, tmp_path: flown("demo"),
    "drill": lambda flown, tmp_path: flown("drill", "--json", "--seed", "1"),
}


@pytest.mark.parametrize("command", COMMANDS)
def test_the_caption_is_what_is_being_said(command: str, flown: Flown, tmp_path: Path) -> None:
    """Whichever command speaks: the words that the voice has begun are the caption, until it has said them."""
    screen, _ = COMMANDS[command](flown, tmp_path)
    first = next(event.say for event in screen.events if event.say)
    assert screen.captions[:2] == [first, None]
    assert first == ("Exercise" if command == "drill" else "Clock")


def test_a_flight_records_what_was_said_and_every_latency(flown: Flown, tmp_path: Path, capfdbinary: Printed) -> None:
    """The log comes into the recording in order, its end included, and the replay gives the bytes of the flight."""
    path = tmp_path / "a.climbout"
    _, voice = _fly(flown, tmp_path, "--record", str(path))
    read = Recording(path)
    spoken, inputs = read.spoken(), list(read.inputs())
    assert spoken is not None and voice.log == []
    assert [line.what for line in spoken][:3] == ["queued", "started", "finished"]
    arrivals = [given.arrival_ns for given in inputs]
    assert arrivals[0] <= spoken[0].at_ns <= spoken[-1].at_ns <= arrivals[-1] + 2_000_000_000  # one clock
    assert len({given.data for given in inputs if given.kind == "voice"}) > 1
    _assert_replays(path, capfdbinary)


def test_a_demo_records_what_was_said_in_the_flights_own_time(
    flown: Flown, tmp_path: Path, capfdbinary: Printed
) -> None:
    """A demo's packets have times of their own; so have the words, and the replay gives the bytes of the flight."""
    path = tmp_path / "demo.climbout"
    flown("demo", "--record", str(path))
    spoken = Recording(path).spoken()
    assert spoken is not None
    assert spoken[0][:3] == ("queued", "Clock", "clock")
    assert 0.0 <= (spoken[0].at_ns - START_NS) / 1e9 < 5.0
    assert "voice" in [given.kind for given in Recording(path).inputs()]
    _assert_replays(path, capfdbinary)


def _assert_replays(path: Path, printed: Printed) -> None:
    printed.readouterr()
    assert cli.main(["replay", "--fast", "--json", str(path)]) == 0
    assert printed.readouterr().out.splitlines() == list(Recording(path).event_lines())


def _recorded(path: Path) -> Path:
    recorder = Recorder(path, {"feed": ""}, print)
    recorder.record([Input("packet", 1, "a:1", b"1")], [Event(1.0, "callout", "clock", say="Clock")])
    recorder.said(LOG[:2])
    recorder.said(LOG[2:])
    recorder.close()
    return path


def test_the_log_comes_back_as_it_went_in(tmp_path: Path) -> None:
    """Words, ids, integer nanoseconds, reasons; and inputs and events are those that there were without it."""
    read = Recording(_recorded(tmp_path / "a.climbout"))
    assert read.spoken() == LOG
    assert [given.kind for given in read.inputs()] == ["packet"]
    assert len(list(read.event_lines())) == 1


def test_a_recording_older_than_the_log_opens(tmp_path: Path) -> None:
    """A recording of format 1 has no such table: it is read like any other, and its log is None, not empty."""
    path = _recorded(tmp_path / "a.climbout")
    database = sqlite3.connect(path)
    database.execute("DROP TABLE spoken")
    database.execute("PRAGMA user_version = 1")
    database.close()
    read = Recording(path)
    assert read.spoken() is None and read.notes == []
    assert [given.kind for given in read.inputs()] == ["packet"]


def test_a_recording_that_has_stopped_takes_no_more(tmp_path: Path) -> None:
    """After a full disk the log is dropped with all else, and nothing is raised."""
    recorder = Recorder(tmp_path / "a.climbout", {"feed": ""}, print)
    recorder.failed = True
    recorder.said(LOG)
    recorder.close()
    assert Recording(recorder.path).spoken() == []


@pytest.mark.parametrize("late_s", [1.2, 4.0, 3600.0])
def test_after_a_sleep_a_flight_goes_on_where_it_stood(late_s: float) -> None:
    """Woken late, a paced flight neither rushes nor skips: its steps keep their distance, and words their place."""
    clock = SetClock()
    pacer = Pacer(1.0, clock, clock.sleep)
    due_at = list[float]()
    for n in range(40):
        if n == 20:
            clock.now_s += late_s
        pacer.wait(5_000_000_000 + n * 100_000_000, lambda: False, lambda: None)
        due_at.append(clock.now_s)
    steps = [after - before for before, after in itertools.pairwise(due_at)]
    assert steps[19] == pytest.approx(late_s, abs=0.11)
    assert steps[:19] + steps[20:] == pytest.approx([0.1] * 38)
    assert pacer.arrival_ns(clock.now_ns()) == pytest.approx(5_000_000_000 + 39 * 100_000_000, abs=1000)


def test_a_little_late_a_flight_catches_up() -> None:
    """Half a second late (a busy machine), the next steps come at once until the flight is on its clock again."""
    clock = SetClock()
    start_s, pacer = clock.now_s, Pacer(1.0, clock, clock.sleep)
    for n in range(40):
        clock.now_s += 0.5 if n == 20 else 0.0
        pacer.wait(n * 100_000_000, lambda: False, lambda: None)
    assert clock.now_s - start_s == pytest.approx(3.9)


class _Lossy:
    """A source that lost some; what it does not count it does not have, or has as None."""

    def __init__(self, **counts: object) -> None:
        for name, count in counts.items():
            setattr(self, name, count)


@pytest.mark.parametrize(
    ("source", "says"),
    [
        (_Lossy(lost=lambda: 1234), ["lost: 1,234 packets"]),
        (_Lossy(dropped=7), ["lost: 7 messages"]),
        (_Lossy(lost=lambda: 0, dropped=0), []),
        (_Lossy(lost=lambda: None), []),
        (_Lossy(), []),
    ],
)
def test_what_came_too_fast_is_told_at_the_end(source: _Lossy, says: list[str]) -> None:
    """Packets that the system or the queue threw away are a closing line with their number; none, no line."""
    lines = closing_lines(trainer_packets.session(), source)  # type: ignore[arg-type]
    assert [line[: len(start)] for line, start in zip(lines, says, strict=True)] == says
