"""Live flights through the installed command and real UDP; and the loop by itself on a clock that is set.

Programs are started as a user starts them and fed from a real socket. Nothing here asserts how long anything takes;
every wait has a deadline that only catches a hang.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from adapters.live import Live
from adapters.outputs import Outputs
from adapters.session import apply
from monitor.events import Event, to_json
from monitor.options import Options
from replay.recorded import Recording
from replay.recording import Recorder
from replay.trainer_feed import feed_text
from tests import trainer_packets
from tests.fakes import Kept, ScriptedSource, SetClock
from tests.test_cli import COMMAND
from tests.trainer_packets import calls, free_port, packets, warnings

DEADLINE_S = 60.0
posix_only = pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")


class Fly:
    """`climbout fly --json` as a process of its own, ready to receive when the constructor returns."""

    def __init__(
        self,
        folder: Path,
        *options: str,
        start: Callable[..., subprocess.Popen[bytes]] = subprocess.Popen,
        transport: str = 'kind = "udp"\nport = PORT',
    ) -> None:
        """Start it with a home, a feed and a port of its own."""
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self.port = folder, free_port()
        text = feed_text().replace('kind = "udp"\nport = 5501', transport)
        (folder / "feed.toml").write_text(text.replace("PORT", str(self.port)))
        line = [*COMMAND, "fly", "--feed", str(folder / "feed.toml"), "--aircraft", "sedge", "--no-voice", "--json"]
        self.process = start(
            [*line, *options],
            stdout=(folder / "out.jsonl").open("wb"),
            stderr=(folder / "err.txt").open("wb"),
            env={**os.environ, "CLIMBOUT_HOME": str(folder / "home")},
        )
        self.until(lambda: "listening" in self.err)
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)

    @property
    def out(self) -> bytes:
        """What it has printed so far."""
        return (self.folder / "out.jsonl").read_bytes()

    @property
    def err(self) -> str:
        """What it has told a person so far."""
        return (self.folder / "err.txt").read_text()

    @property
    def recording(self) -> Path:
        """The one recording in its home."""
        (found,) = (self.folder / "home" / "recordings").glob("*.climbout")
        return found

    def until(self, condition: Callable[[], bool]) -> None:
        """Wait for something the program does."""
        deadline = time.monotonic() + DEADLINE_S
        while not condition():
            assert time.monotonic() < deadline and self.process.poll() is None, self.err
            time.sleep(0.02)

    def send(self, payload: bytes) -> None:
        """One datagram."""
        self._socket.sendto(payload, ("127.0.0.1", self.port))

    def stream(self, lines: Sequence[bytes], rate_hz: float) -> None:
        """Datagrams at a steady rate of the wall clock."""
        start = time.perf_counter()
        for n, line in enumerate(lines):
            self.send(line)
            time.sleep(max(0.0, start + (n + 1) / rate_hz - time.perf_counter()))

    def end(self, number: int = signal.SIGINT) -> int:
        """Interrupt it, wait, and give its exit status."""
        self.process.send_signal(number)
        return self.wait()

    def wait(self) -> int:
        """Its exit status."""
        status = self.process.wait(DEADLINE_S)
        self._socket.close()
        return status


def _replayed(path: Path) -> bytes:
    line = [*COMMAND, "replay", str(path), "--json", "--fast"]
    done = subprocess.run(line, capture_output=True, timeout=DEADLINE_S, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def _packets_in(path: Path) -> list[bytes]:
    return [given.data for given in Recording(path).inputs() if given.kind == "packet"]


def _at_rates(tmp_path: Path, flights: dict[float, list[bytes]]) -> None:
    """Fly all rates side by side; nothing is lost, and each recording replays to the bytes that were printed."""
    programs = {rate_hz: Fly(tmp_path / f"{rate_hz:g}") for rate_hz in flights}
    senders = [threading.Thread(target=programs[rate].stream, args=(flights[rate], rate)) for rate in flights]
    for sender in senders:
        sender.start()
    for sender in senders:
        sender.join()
    for rate_hz, lines in flights.items():
        fly = programs[rate_hz]
        fly.until(lambda fly=fly, lines=lines: len(_packets_in(fly.recording)) >= len(lines))  # type: ignore[misc]
        assert fly.end() == 130
        assert _packets_in(fly.recording) == lines, f"{rate_hz} Hz: lost at the coach"
        assert fly.out == _replayed(fly.recording)
        events = [json.loads(line) for line in fly.out.splitlines()]
        assert [event["id"] for event in events if event["kind"] == "callout"].count("rotate") == 1
        assert not [event for event in events if event["kind"] == "warning"]
        assert "Traceback" not in fly.err


@pytest.mark.long
def test_live_at_20_60_and_200_hz(tmp_path: Path) -> None:
    """Over real UDP at 20, 60 and 200 datagrams a second: none lost, and the replay prints the same bytes.

    The flights go by six times as fast as real ones (feed time runs ahead), so that a whole takeoff fits.
    """
    seconds = 24.0
    flights = {rate: [line for _, line in packets(rate / 6, seconds)] for rate in (20.0, 60.0, 200.0)}
    _at_rates(tmp_path, flights)


@pytest.mark.long
def test_live_in_real_time_at_20_60_and_200_hz(tmp_path: Path) -> None:
    """The same in real time, to 1,000 ft."""
    _at_rates(tmp_path, {rate: [line for _, line in packets(rate)] for rate in (20.0, 60.0, 200.0)})


@pytest.fixture
def flight() -> list[bytes]:
    """24 s of a takeoff at 10 Hz, past "Rotate"."""
    return [line for _, line in packets(10.0, 24.0)]


def _rotate_in(fly: Fly) -> Callable[[], bool]:
    return lambda: b'"id":"rotate"' in fly.out


@posix_only
def test_termination_ends_with_130_and_a_closed_recording(tmp_path: Path, flight: list[bytes]) -> None:
    """SIGTERM in full flight (SIGINT: other tests): status 130, the recording closed, its replay the same bytes."""
    fly = Fly(tmp_path)
    fly.stream(flight, 800)
    fly.until(_rotate_in(fly))
    assert fly.end(signal.SIGTERM) == 130
    assert Recording(fly.recording).notes == []
    assert [item.name for item in fly.recording.parent.iterdir()] == [fly.recording.name]
    assert fly.out == _replayed(fly.recording)
    assert "Traceback" not in fly.err


@posix_only
def test_interrupt_as_a_background_job(tmp_path: Path, flight: list[bytes]) -> None:
    """In a script's background job, where the shell turns SIGINT off, an interrupt still ends it with 130."""

    def in_background(line: list[str], **streams: object) -> subprocess.Popen[bytes]:
        script = 'trap "" INT; "$@" & echo $! > "$CLIMBOUT_HOME.pid"; wait $!'
        return subprocess.Popen(["/bin/sh", "-c", script, "sh", *line], **streams)  # type: ignore[call-overload,no-any-return]

    fly = Fly(tmp_path, start=in_background)
    fly.stream(flight, 800)
    fly.until(_rotate_in(fly))
    os.kill(int((tmp_path / "home.pid").read_text()), signal.SIGINT)
    assert fly.wait() == 130
    assert fly.out == _replayed(fly.recording)


@posix_only
def test_interrupted_replay_ends_with_130(tmp_path: Path, flight: list[bytes]) -> None:
    """A replay at its own pace, interrupted as a background job too, ends with 130 and without a traceback."""
    (tmp_path / "feed.toml").write_text(feed_text())
    (tmp_path / "log.csv").write_bytes(b"".join(flight))
    line = [
        *COMMAND,
        "replay",
        str(tmp_path / "log.csv"),
        "--feed",
        str(tmp_path / "feed.toml"),
        "--no-voice",
        "--json",
    ]
    script = 'trap "" INT; exec "$@"'
    process = subprocess.Popen(["/bin/sh", "-c", script, "sh", *line], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert process.stdout is not None and b"started" in process.stdout.readline()
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=DEADLINE_S)
    assert process.returncode == 130 and b"Traceback" not in err


@posix_only
def test_killed_in_flight(tmp_path: Path, flight: list[bytes]) -> None:
    """After kill -9 the file opens, also copied alone; what it replays is what was printed, but for the last second."""
    fly = Fly(tmp_path)
    fly.stream(flight, 800)
    alone = tmp_path / "alone.climbout"
    fly.until(lambda: len(_packets_in(Path(shutil.copy(fly.recording, alone)))) > 200)
    fly.process.kill()
    fly.wait()
    shutil.copy(fly.recording, alone)
    for path in (fly.recording, alone):
        again, printed = _replayed(path).splitlines(), fly.out.splitlines()
        assert again == printed[: len(again)]
        assert len(again) >= 5
        kept = _packets_in(path)
        assert kept == flight[: len(kept)] and len(kept) > 200


def test_second_sender_and_junk_over_the_wire(tmp_path: Path, flight: list[bytes]) -> None:
    """A second sender and junk from a third change nothing that is printed, are told, and are not recorded."""
    fly = Fly(tmp_path)
    fly.send(flight[0])
    fly.until(lambda: b"started" in fly.out)
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as third,
    ):
        for n, line in enumerate(flight[1:]):
            fly.stream([line], 400)
            other.sendto(flight[-1 - n // 2], ("127.0.0.1", fly.port))
            third.sendto(os.urandom(50), ("127.0.0.1", fly.port))
    fly.until(_rotate_in(fly))
    fly.until(lambda: len(_packets_in(fly.recording)) >= len(flight))
    assert fly.end() == 130
    assert _packets_in(fly.recording) == flight
    assert fly.out == _replayed(fly.recording)
    assert fly.err.count("a second sender") >= 2 and "not heard: " in fly.err


@posix_only
def test_reader_that_leaves_ends_the_flight_quietly(tmp_path: Path, flight: list[bytes]) -> None:
    """`fly --json | head -1`: status 0, nothing about a broken pipe, the recording closed."""

    def into_head(line: list[str], **streams: object) -> subprocess.Popen[bytes]:
        script = '{ "$@"; echo $? > "$CLIMBOUT_HOME.status"; } | head -n 1'
        return subprocess.Popen(["/bin/sh", "-c", script, "sh", *line], **streams)  # type: ignore[call-overload,no-any-return]

    fly = Fly(tmp_path, start=into_head)
    fly.stream(flight, 800)
    fly.wait()
    assert (tmp_path / "home.status").read_text() == "0\n"
    assert len(fly.out.splitlines()) == 1
    assert "Traceback" not in fly.err and "ipe" not in fly.err
    assert Recording(fly.recording).notes == []


@posix_only
def test_output_that_cannot_be_written_is_one_line(tmp_path: Path, flight: list[bytes]) -> None:
    """Standard output on a full device: one line says so, and the flight goes on and is recorded."""
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")

    def to_full(line: list[str], **streams: object) -> subprocess.Popen[bytes]:
        return subprocess.Popen(["/bin/sh", "-c", '"$@" > /dev/full', "sh", *line], **streams)  # type: ignore[call-overload,no-any-return]

    fly = Fly(tmp_path, start=to_full)
    fly.stream(flight, 800)
    fly.until(lambda: len(_packets_in(fly.recording)) == len(flight))
    pid = subprocess.run(["pgrep", "-P", str(fly.process.pid)], capture_output=True, text=True, check=True).stdout
    os.kill(int(pid), signal.SIGINT)
    assert fly.wait() == 130
    assert fly.err.count("No space left") == 1
    assert b'"id":"rotate"' in _replayed(fly.recording)


def test_zeromq_flight(tmp_path: Path, flight: list[bytes]) -> None:
    """Over ZeroMQ (PUSH to PULL) every message arrives, is recorded in order, and replays to the same bytes."""
    zmq = pytest.importorskip("zmq")
    transport = 'kind = "zeromq"\nbind = "tcp://127.0.0.1:PORT"\npattern = "pull"'
    fly = Fly(tmp_path, transport=transport)
    with zmq.Context() as context, context.socket(zmq.PUSH) as push:
        push.connect(f"tcp://127.0.0.1:{fly.port}")
        for line in flight:
            push.send(line)
        fly.until(lambda: len(_packets_in(fly.recording)) >= len(flight))
        assert fly.end() == 130
    assert _packets_in(fly.recording) == flight
    assert fly.out == _replayed(fly.recording) and b'"id":"rotate"' in fly.out


# The loop by itself, on a clock that is set.


class Virtual:
    """The real loop, session and recorder on a clock that is set, with packets at set times."""

    def __init__(self, tmp_path: Path, script: list[tuple[float, str, bytes]], options: Options | None = None) -> None:
        """script: (time, origin, payload)."""
        self.clock, self.kept, self.options = SetClock(), Kept(), options
        self.source = ScriptedSource(self.clock, script)
        self.session = trainer_packets.session(options)
        self.recorder = Recorder(tmp_path / "a.climbout", {"feed": ""}, print)
        self.live = Live(
            self.source, self.session, Outputs([self.kept], print), record=self.recorder.record,
            now_ns=self.clock.now_ns, notice=self.kept.notice,
        )  # fmt: skip

    def fly(self, seconds: float) -> list[Event]:
        """Fly for so long, close, check that the recording replays to the same bytes, and give the events."""
        end_s = self.clock.now_s + seconds
        self.live.run(lambda: self.clock.now_s >= end_s)
        self.recorder.close()
        again, read = trainer_packets.session(self.options), Recording(self.recorder.path)
        lines = [to_json(event) for given in read.inputs() for event in apply(again, given)]
        assert lines == list(map(to_json, self.kept.events)) == list(read.event_lines())
        return self.kept.events


def _scripted(
    shift: Callable[[float], float] = lambda t: t, seconds: float = 62.0
) -> Iterator[tuple[float, str, bytes]]:
    for at_s, line in packets(seconds=seconds):
        yield shift(at_s), "127.0.0.1:1", line


def test_loop_flies_a_whole_takeoff(tmp_path: Path) -> None:
    """The loop makes every call of a clean takeoff, and ticks at deadlines between packets."""
    virtual = Virtual(tmp_path, list(_scripted()))
    events = virtual.fly(62.5)
    assert {"clock", "airspeed-alive", "power-set", "rotate", "climb-speed", "flaps-up", "turn"} <= set(calls(events))
    assert warnings(events) == []


def test_loop_lost_and_back(tmp_path: Path) -> None:
    """A feed that stops for 5 s is called lost by a tick, 2 s after its last sample, and back; replayed the same."""
    virtual = Virtual(tmp_path, [item for item in _scripted() if not 12.0 < item[0] < 17.0])
    lost_at = list[float]()

    class Watch(Kept):
        """Notes when the loss was told."""

        def event(self, event: Event) -> None:
            """Note it."""
            if event.id == "lost":
                lost_at.append(virtual.clock.now_s - 12_345.678)

    virtual.live._outputs = Outputs([virtual.kept, Watch()], print)
    events = virtual.fly(62.5)
    assert [event.id for event in events if event.kind == "feed"] == ["started", "lost", "back"]
    assert lost_at == [pytest.approx(14.0, abs=0.06)]
    kinds = [given.kind for given in Recording(virtual.recorder.path).inputs()]
    assert "tick" in kinds and kinds[-1] == "end"


def test_loop_paused_and_resumed(tmp_path: Path) -> None:
    """Time that stands for 4 s while packets arrive: paused and resumed, and the replay is the same."""
    script = list(_scripted(lambda t: t if t <= 12.0 else t + 4.0))
    at = next(n for n, item in enumerate(script) if item[0] > 12.0)
    still = [(12.0 + n * 0.05, *script[at - 1][1:]) for n in range(1, 80)]
    events = Virtual(tmp_path, script[:at] + still + script[at:]).fly(66.5)
    assert [event.id for event in events if event.kind == "feed"] == ["started", "paused", "resumed"]
    assert "rotate" in calls(events) and warnings(events) == []


def test_loop_cut_off_at_any_moment_holds_what_was_due(tmp_path: Path) -> None:
    """Ended half a second after "Rotate" fell due, the printed events and the recording hold it."""
    whole = Virtual(tmp_path / "a", list(_scripted(seconds=24.0))).fly(24.0)
    rotate_s = next(event.t_s for event in whole if event.id == "rotate")
    assert rotate_s is not None
    cut = Virtual(tmp_path / "b", list(_scripted(seconds=24.0))).fly(rotate_s + 0.1)
    assert [to_json(event) for event in cut] == [to_json(event) for event in whole][: len(cut)]
    assert cut[-1].id == "rotate"


def test_loop_takes_keys_and_the_voice_s_latency(tmp_path: Path) -> None:
    """q ends the flight; a latency is handed on once each time it changes; both are in the recording."""
    virtual = Virtual(tmp_path, list(_scripted(seconds=10.0)))
    latencies = iter([None, 0.1, 0.1, 0.1, 0.2])
    virtual.live._latency_s = lambda: next(latencies, 0.2)
    end_s = virtual.clock.now_s + 11.0
    virtual.live._keys = lambda: ["q"] if virtual.clock.now_s >= end_s - 1.0 else []
    virtual.fly(11.0)
    assert virtual.live.quit
    inputs = list(Recording(virtual.recorder.path).inputs())
    assert [given.data for given in inputs if given.kind == "voice"] == [b"0.1", b"0.2"]
    assert [given.data for given in inputs if given.kind == "key"] == [b"q"]


def test_loop_flown_with_a_latency_that_changes_replays_to_the_same_bytes(tmp_path: Path) -> None:
    """A latency that changes all the time moves "Rotate", and the replay hears the same; without it, it would not."""
    speaking = Options(voice=True)
    plain = Virtual(tmp_path / "plain", list(_scripted(seconds=30.0)), speaking).fly(30.0)
    virtual = Virtual(tmp_path / "voice", list(_scripted(seconds=30.0)), speaking)
    start_s = virtual.clock.now_s
    virtual.live._latency_s = lambda: round(0.02 + 0.005 * ((virtual.clock.now_s - start_s) // 0.5), 3)
    events = virtual.fly(30.0)  # which checks the bytes
    inputs = list(Recording(virtual.recorder.path).inputs())
    assert len({given.data for given in inputs if given.kind == "voice"}) > 50
    deaf = trainer_packets.session(speaking)
    without = [event for given in inputs if given.kind != "voice" for event in apply(deaf, given)]
    (early,), (late,), (unheard,) = ([e.t_s for e in flown if e.id == "rotate"] for flown in (events, plain, without))
    assert early is not None and late is not None and early < late - 0.05
    assert unheard == late


def test_loop_shows_at_most_thirty_snapshots_a_second(tmp_path: Path) -> None:
    """At 200 Hz the screens are not asked for more than they can show."""
    clock, kept = SetClock(), Kept()
    script = [(t, "a:1", line) for t, line in packets(200.0, 5.0)]
    live = Live(ScriptedSource(clock, script), trainer_packets.session(), Outputs([kept], print), now_ns=clock.now_ns)
    end_s = clock.now_s + 5.0
    live.run(lambda: clock.now_s >= end_s)
    assert 100 < len(kept.shown) <= 152
