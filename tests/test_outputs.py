"""The fan-out, the queues behind it, and the player: one consumer's trouble stays its own, pacing follows its clock."""

from __future__ import annotations

import io
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from adapters.feed import load_feed
from adapters.outputs import JsonLines, Outputs, Queued, Teller
from adapters.session import Input, Session
from monitor.aircraft import Aircraft, Speeds
from monitor.events import Event, to_json
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.sample import Sample
from replay.player import Pacer, Player, Step
from tests.fakes import FEED, FakeCoach, Kept, SetClock, roll

EVENT = Event(1.0, "callout", "rotate", 1, "takeoff-roll", "Rotate", 52.0, 0.0)


def _session() -> Session:
    procedure = Procedure("test", None, {})  # type: ignore[arg-type]
    feed = load_feed(FEED, "feed test")
    return Session(feed, Aircraft("x", Speeds(52, 55, 72)), procedure, Options(), make_coach=FakeCoach)


def _play(steps: list[Step], pacer: Pacer, stop: Callable[[], bool] = lambda: False) -> tuple[Kept, Player]:
    kept = Kept()
    player = Player(_session(), Outputs([kept], print), pacer, stop)
    player.play(steps)
    return kept, player


def _log_steps(rate_hz: float = 20.0) -> list[Step]:
    return [(round(t * 1e9), Sample(time_s=t, ias_kt=6 * t)) for t, _ in roll(rate_hz)]


def test_a_failing_consumer_is_let_go_with_one_line() -> None:
    """The others get every event, the failed one none after, and a person gets one line."""
    told: list[str] = []
    good, bad, last = Kept(), Kept(fail_on="rotate"), Kept()
    outputs = Outputs([good, bad, last], told.append)
    outputs.start()
    told.clear()
    for _ in range(3):
        outputs.event(EVENT)
    outputs.close()
    assert len(good.events) == len(last.events) == 3
    assert bad.events == [] and bad.closed == 1
    assert told == ["Kept failed and is off, the rest goes on: RuntimeError: as asked"]


def test_json_lines_are_flushed_one_by_one() -> None:
    """Each event is one whole UTF-8 line on the stream at once."""
    stream = io.BytesIO()
    buffered = io.BufferedWriter(stream)  # type: ignore[type-var]
    JsonLines(buffered).event(EVENT)
    assert stream.getvalue() == to_json(EVENT) + b"\n"


class _Stuck(io.RawIOBase):
    """A reader that does not read until it is let."""

    def __init__(self) -> None:
        self.let = threading.Event()
        self.lines: list[bytes] = []

    def writable(self) -> bool:
        """Yes."""
        return True

    def write(self, data: bytes) -> int:  # type: ignore[override]
        """Wait, then keep."""
        assert self.let.wait(20)
        self.lines.append(bytes(data))
        return len(data)


def test_a_slow_reader_never_holds_up_the_caller_and_gets_all() -> None:
    """With a reader that does not read, `event` returns; once it reads, every line comes, in order, by the close."""
    stream = _Stuck()
    queued = Queued(JsonLines(stream))  # type: ignore[arg-type]
    queued.start()
    for n in range(500):
        queued.event(Event(float(n), "callout", "x"))
    assert stream.lines == []
    stream.let.set()
    queued.close()
    assert [line.partition(b",")[0] for line in stream.lines] == [b'{"t":%.1f' % n for n in range(500)]


class _Gone(io.RawIOBase):
    """A pipe whose reader has gone."""

    def write(self, data: bytes) -> int:  # type: ignore[override]
        """Fail as a pipe does."""
        raise BrokenPipeError


def test_a_broken_pipe_is_noted_and_quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    """When the reader has gone the output says so by `broken`, raises nothing, and takes no more."""
    monkeypatch.setattr("adapters.outputs.silence_stdout", lambda: None)
    queued = Queued(JsonLines(_Gone()))  # type: ignore[arg-type]
    queued.start()
    queued.event(EVENT)
    queued.close()
    assert queued.broken
    queued.event(EVENT)


def test_lines_for_a_person_go_where_there_is_room(capsys: pytest.CaptureFixture[str]) -> None:
    """A screen with room for notices gets them; with JSON lines they go to standard error; the log gets all."""
    logged: list[str] = []
    tell, kept = Teller(logged.append), Kept()
    tell.outputs = Outputs([kept], tell)
    tell("one")
    tell.outputs = Outputs([Queued(JsonLines(io.BytesIO()))], tell)
    tell("two")
    assert kept.notices == ["one"]
    assert capsys.readouterr() == ("", "two\n")
    assert logged == ["one", "two"]


@pytest.mark.parametrize("speed", [0.5, 1.0, 8.0])
def test_pacing_follows_the_clock_that_is_given(speed: float) -> None:
    """A roll of 9.95 s takes 9.95 s divided by the speed, on the given clock, in short sleeps, with the same events."""
    clock = SetClock()
    start_s = clock.now_s
    kept, player = _play(_log_steps(), Pacer(speed, clock, clock.sleep))
    assert clock.now_s - start_s == pytest.approx(9.95 / speed, abs=1e-6)
    assert max(clock.slept) <= 0.1
    assert player.played.whole
    fast, _ = _play(_log_steps(), Pacer(None, clock, clock.sleep))
    assert kept.events == fast.events


def test_fast_never_sleeps() -> None:
    """Without a pace the clock is not even looked at."""

    def never(*_: float) -> float:
        raise AssertionError("asked for the time")

    kept, _ = _play(_log_steps(), Pacer(None, never, never))
    assert [event.id for event in kept.events] == ["started", "clock", "rotate", "ended"]
    assert len(kept.shown) == 1


def test_a_deadline_between_two_rows_is_told_when_it_falls_due() -> None:
    """In a paced replay of a slow log a call comes at its moment, not with the next row."""
    clock = SetClock()
    start_s, heard = clock.now_s, list[float]()

    class Listening(Kept):
        """Notes when."""

        def event(self, event: Event) -> None:
            """Note the clock call's time."""
            if event.id == "clock":
                heard.append(clock.now_s - start_s)

    steps: list[Step] = [(0, Sample(time_s=0.0, ias_kt=0.0)), (1_700_000_000, Sample(time_s=1.7, ias_kt=5.0))]
    Player(_session(), Outputs([Listening()], print), Pacer(1.0, clock, clock.sleep), lambda: False).play(steps)
    assert heard == [pytest.approx(1.0)]


def test_stop_ends_a_replay_between_two_steps() -> None:
    """An interrupted replay is not whole and sends no end."""
    clock = SetClock()
    until_s = clock.now_s + 3.0
    kept, player = _play(_log_steps(), Pacer(1.0, clock, clock.sleep), lambda: clock.now_s >= until_s)
    assert not player.played.whole
    assert clock.now_s < until_s + 0.2
    assert kept.events[-1].id == "clock"


def test_a_recording_without_an_end_ends_at_its_last_arrival() -> None:
    """A killed flight's replay is ended where its inputs end."""
    steps: list[Step] = [Input("packet", 5_000_000_000 + n, "a:1", b"%d,5,0\n" % n) for n in range(3)]
    kept, player = _play(steps, Pacer(None))
    assert player.played.whole
    assert kept.events[-1].id == "ended"
    assert kept.events[-1].more == {"arrival": 0.0}


def test_snapshots_are_shown_at_most_thirty_times_a_second() -> None:
    """At 200 Hz the screen is not asked to paint 200 times a second."""
    clock = SetClock()
    kept, _ = _play(_log_steps(200.0), Pacer(1.0, clock, clock.sleep))
    assert 200 < len(kept.shown) <= 302


def test_log_file_keeps_what_was_told(tmp_path: Path) -> None:
    """Lines told go to the rotating file in the data folder; a folder that cannot be made is one line, no error."""
    from adapters.logfile import log, logging_to

    with logging_to(tmp_path / "home") as trouble:
        log.info("said %s", "something")
    assert trouble is None
    assert "INFO said something" in (tmp_path / "home" / "climbout.log").read_text()
    (tmp_path / "file").write_text("")
    with logging_to(tmp_path / "file" / "home") as trouble:
        pass
    assert trouble is not None and "no log file" in trouble


def test_a_paused_replay_goes_on_where_it_stood() -> None:
    """A pause of 4 s makes the replay 4 s longer and changes no event."""
    clock = SetClock()
    start_s, pacer = clock.now_s, Pacer(1.0, clock, clock.sleep)
    kept = Kept()

    def stop() -> bool:
        passed_s = clock.now_s - start_s
        pacer.paused = 2.0 <= passed_s < 6.0
        return False

    Player(_session(), Outputs([kept], print), pacer, stop).play(_log_steps())
    assert clock.now_s - start_s == pytest.approx(9.95 + 4.0, abs=0.21)
    fast, _ = _play(_log_steps(), Pacer(None, clock, clock.sleep))
    assert kept.events == fast.events
