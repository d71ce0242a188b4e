"""When the calls were heard, in the debrief: worked out by hand on a made-up flight, and what is missing said."""

from __future__ import annotations

import io
import json
import sqlite3
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
from rich.console import Console

from adapters import cli, library
from adapters.feed import load_feed
from adapters.pipeline import make_pipeline
from adapters.speech.spoken import Spoken
from monitor.events import Event
from monitor.options import Options
from replay.debrief import Debrief, as_dict, debrief
from replay.debrief_table import print_debrief
from replay.feed_clock import FeedClock
from replay.heard import Heard, SpokenLog, gathered, in_words
from replay.recorded import Recording
from replay.recording import Recorder
from replay.trainer_feed import feed_text
from replay.trainer_flight import START_NS
from tests import made_flight as made

S = 1_000_000_000
FIRST_NS = 77 * S + 1
LAG_S = 0.04  # a made-up packet arrives this long after its feed time
SEDGE = library.open_aircraft("sedge")
VR_KT = 52.0
TRAINER = msgspec.structs.replace(SEDGE, speeds_kias=msgspec.structs.replace(SEDGE.speeds_kias, rotate=VR_KT))
VR_S = next(made.ROLL_S + n / 1000 for n in range(60_000) if made.speed_kt(made.ROLL_S + n / 1000) >= VR_KT)
ROTATE = Event(VR_S - 0.3, "callout", "rotate", 1, "takeoff-roll", "Rotate")
CLIMB = Event(made.LIFTOFF_S + 5.0, "callout", "climb-speed", 1, "initial-climb", "Climb speed, seven two")


def _ns(t: float) -> int:
    """When something at the feed time `t` arrived."""
    return FIRST_NS + round((t + LAG_S) * S)


def _clock(hz: float = 20.0, seconds: float = 140.0) -> FeedClock:
    clock = FeedClock()
    clock.first_ns = FIRST_NS
    for n in range(round(seconds * hz)):
        clock.add(n / hz + LAG_S, n / hz, 1)
    return clock


def _lines(event: Event, queued_s: float, *after: tuple[str, float, str]) -> list[Spoken]:
    """A call's lines: queued, and what followed at which feed time; "started" has 10 ms in the device."""
    lines = [Spoken("queued", event.say or "", event.id, _ns(queued_s), "")]
    for what, t, reason in after:
        depth_s = 0.01 if what == "started" else 0.0
        lines.append(Spoken(what, event.say or "", event.id, _ns(t), reason, depth_s))
    return lines


def _debriefed(spoken: list[Spoken], *calls: Event) -> Debrief:
    events = sorted([*made.events(), *calls], key=lambda event: event.t_s or 0.0)
    log = SpokenLog(spoken, events, [_ns(event.t_s or 0.0) for event in events], _clock())
    return debrief([made.rows(20.0)], events, TRAINER, library.open_procedure("normal"), Options(), log)


def _heard(spoken: list[Spoken], *calls: Event) -> list[Heard]:
    heard = _debriefed(spoken, *calls).takeoffs[0].heard
    assert heard is not None
    return heard


@pytest.mark.parametrize("off_s", [-0.28, 0.0, 0.1])
def test_rotate_is_measured_against_vr(off_s: float) -> None:
    """ "Rotate" counts from the crossing of VR, its first sample 10 ms after the device took it."""
    spoken = _lines(ROTATE, VR_S - 0.3, ("started", VR_S + off_s - 0.01, ""), ("finished", VR_S + off_s + 0.4, ""))
    (call,) = _heard(spoken, ROTATE)
    assert (call.id, call.say, call.outcome, call.against, call.why) == ("rotate", "Rotate", "said", "VR", "")
    assert call.due_s == pytest.approx(VR_S, abs=0.005) and call.after_s == pytest.approx(off_s, abs=0.005)
    assert call.heard_s == pytest.approx(VR_S + off_s, abs=0.005)


def test_other_calls_are_measured_against_when_they_fell_due() -> None:
    """A call 0.06 s after its event's own time, and the words for it."""
    due_s = CLIMB.t_s or 0.0
    spoken = _lines(CLIMB, due_s, ("started", due_s + 0.05, ""), ("finished", due_s + 1.5, ""))
    (call,) = _heard(spoken, CLIMB)
    assert (call.against, call.due_s, call.after_s) == ("due", due_s, 0.06)
    assert in_words(call) == "0.06 s after it fell due"


@pytest.mark.parametrize(
    ("after", "outcome", "words"),
    [
        ([("dropped", 2.6, "too old")], "dropped", "not said: too old"),
        ([("cut", 0.0, "the end")], "dropped", "not said: the end"),
        (
            [("started", 0.0, "as text: no sound"), ("finished", 1.0, "")],
            "shown as text",
            "shown as text: no sound",
        ),
        (
            [("started", 0.09, ""), ("cut", 0.5, 'for "Abort"')],
            "cut",
            '0.10 s after it fell due, cut (for "Abort")',
        ),
        ([("started", 0.09, "")], "unfinished", "0.10 s after it fell due, unfinished (the log ends before the call)"),
        ([], "unfinished", "unfinished: the log ends before the call"),
    ],
)
def test_what_became_of_a_call(after: list[tuple[str, float, str]], outcome: str, words: str) -> None:
    """Dropped, cut, shown as text or left open: told with the reason; what did not sound has no time."""
    due_s = CLIMB.t_s or 0.0
    (call,) = _heard(_lines(CLIMB, due_s, *((what, due_s + t, why) for what, t, why in after)), CLIMB)
    assert (call.outcome, in_words(call)) == (outcome, words)
    assert (call.heard_s is None) is (call.after_s is None)


def test_the_same_words_twice_are_two_calls() -> None:
    """Each line goes to the call that is open; a call that was never queued (an inbox that overflowed) is one too."""
    one = _lines(ROTATE, 1.0, ("started", 1.1, ""), ("finished", 1.5, ""))
    two = _lines(ROTATE, 3.0, ("dropped", 3.1, "said already"))
    lost = [Spoken("dropped", "Clock", "clock", _ns(4.0), "the voice does not keep up")]
    calls = gathered([*one, *two, *lost])
    assert [(call.text, call.started is not None, call.end.what if call.end else "") for call in calls] == [
        ("Rotate", True, "finished"),
        ("Rotate", False, "dropped"),
        ("Clock", False, "dropped"),
    ]


def test_a_call_the_coach_no_longer_makes_is_told() -> None:
    """With other options than in flight the call's due time is not known; what was heard still is."""
    started_s = made.ROLL_S + 5.0
    spoken = _lines(CLIMB, started_s, ("started", started_s, ""), ("finished", started_s + 1.0, ""))
    (call,) = _heard(spoken)
    assert call.heard_s == pytest.approx(started_s + 0.01) and call.due_s is None and call.after_s is None
    assert "does not make this call" in call.why


def test_without_airspeed_rotate_has_no_vr() -> None:
    """No airspeed: "rotate" was heard, but against what is null, and why says which channel is missing."""
    events = [*made.events(), ROTATE]
    log = SpokenLog(_lines(ROTATE, VR_S, ("started", VR_S, "")), events, [_ns(e.t_s or 0.0) for e in events], _clock())
    rows = made.rows(20.0, without=("ias_kt",))
    heard = debrief([rows], events, TRAINER, library.open_procedure("normal"), Options(), log).takeoffs[0].heard
    assert heard is not None and heard[0].heard_s is not None and heard[0].after_s is None
    assert "ias_kt was not supplied" in heard[0].why


def test_between_packets_the_feed_time_is_on_a_straight_line() -> None:
    """At 1 Hz a word in mid-second is there; after the last packet the clock goes on; before the first, None."""
    clock = _clock(1.0, 10.0)
    assert clock.feed_s(_ns(3.5)) == pytest.approx(3.5)
    assert clock.feed_s(_ns(11.25)) == pytest.approx(11.25)
    assert clock.feed_s(_ns(-0.5)) is None


def test_a_pause_of_the_feed_stops_the_words_clock_too() -> None:
    """Feed time that stands for 4 s: a word in the middle of it lies between the samples around the pause."""
    clock = FeedClock()
    for arrival_s, t_s in ((0.0, 10.0), (0.05, 10.05), (4.05, 10.05), (4.1, 10.1)):
        clock.add(arrival_s, t_s, 1)
    assert clock.feed_s(2 * S) == pytest.approx(10.05)


def test_feed_time_that_starts_anew_has_a_clock_of_its_own() -> None:
    """Across a restart nothing is interpolated: until the new stretch's first sample the old time goes on."""
    clock = FeedClock()
    for arrival_s, t_s, stretch in ((0.0, 500.0, 1), (1.0, 501.0, 1), (2.0, 0.0, 2), (3.0, 1.0, 2)):
        clock.add(arrival_s, t_s, stretch)
    assert [clock.feed_s(round(at_s * S)) for at_s in (1.5, 2.0, 2.5)] == pytest.approx([501.5, 0.0, 0.5])


def test_it_is_in_the_object_and_in_the_table() -> None:
    """JSON has `heard` with every call; the table has its words; without a log, null and why, and a line."""
    spoken = _lines(ROTATE, VR_S - 0.3, ("started", VR_S + 0.09, ""), ("finished", VR_S + 0.5, ""))
    result = _debriefed(spoken, ROTATE)
    (entry,) = as_dict(result)["takeoffs"][0]["heard"]
    assert set(entry) == {"id", "say", "outcome", "against", "due_s", "heard_s", "after_s", "why"}
    assert entry["after_s"] == pytest.approx(0.1, abs=0.005)
    assert "Rotate  0.10 s after VR" in " ".join(_printed(result).split("\n"))
    none = debrief([made.rows(20.0)], made.events(), TRAINER, library.open_procedure("normal"), Options(), "no voice")
    assert as_dict(none)["takeoffs"][0]["heard"] is None
    assert {"takeoff": 1, "figure": "heard", "why": "no voice"} in as_dict(none)["not_measured"]
    assert "When the calls were heard is not known: no voice" in _printed(none)


def _printed(result: Debrief) -> str:
    console = Console(file=io.StringIO(), width=160)
    print_debrief(result, console)
    return console.file.getvalue()  # type: ignore[attr-defined]


Capture = pytest.CaptureFixture[bytes]


def _first(flight: Path, printed: Capture) -> dict[str, Any]:
    printed.readouterr()
    assert cli.main(["debrief", "--json", str(flight)]) == 0
    found: dict[str, Any] = json.loads(printed.readouterr().out)["takeoffs"][0]
    return found


@pytest.fixture
def demo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfdbinary: Capture) -> Path:
    """A demo's recording, flown without waiting, so without a voice."""
    monkeypatch.setenv("CLIMBOUT_HOME", str(tmp_path / "home"))
    path = tmp_path / "demo.climbout"
    assert cli.main(["demo", "--fast", "--json", "--record", str(path)]) == 0
    return path


def _vr_s(read: Recording) -> float:
    """When the indicated airspeed of a recording's packets first passed the rotation speed, by numpy."""
    take = make_pipeline(load_feed(feed_text(), "feed trainer"))
    samples = [sample for given in read.inputs() if given.kind == "packet" for sample in take(given.data)]
    after = next(n for n, sample in enumerate(samples) if (sample.ias_kt or 0.0) >= SEDGE.speeds_kias.rotate)
    two = samples[after - 1 : after + 1]
    return float(np.interp(SEDGE.speeds_kias.rotate, [s.ias_kt or 0.0 for s in two], [s.time_s or 0.0 for s in two]))


def test_the_debrief_of_a_recording_says_when_rotate_was_heard(
    demo: Path, tmp_path: Path, capfdbinary: Capture
) -> None:
    """A flight's packets with a voice's log beside them: `climbout debrief --json` says heard 0.1 s after VR."""
    read, path = Recording(demo), tmp_path / "spoken.climbout"
    recorder = Recorder(path, {key: value for key, value in read.meta.items() if key != "closed"}, print)
    recorder.record(list(read.inputs()), [])
    vr_s = _vr_s(read)
    for what, t in (("queued", vr_s - 0.2), ("started", vr_s + 0.1), ("finished", vr_s + 0.5)):
        recorder.said([Spoken(what, "Rotate", "rotate", START_NS + round(t * S), "")])
    recorder.close()
    (call,) = _first(path, capfdbinary)["heard"]
    assert (call["id"], call["outcome"], call["against"]) == ("rotate", "said", "VR")
    assert call["due_s"] == pytest.approx(vr_s, abs=0.001)
    assert call["after_s"] == pytest.approx(0.1, abs=0.002)


def test_why_nothing_is_known_of_what_was_heard(demo: Path, capfdbinary: Capture) -> None:
    """Flown without a voice, or recorded before there was a log: null, and which of the two it is."""
    without = _why(demo, capfdbinary)
    database = sqlite3.connect(demo)
    database.execute("DROP TABLE spoken")
    database.execute("PRAGMA user_version = 1")
    database.close()
    assert (without, _why(demo, capfdbinary)) == (
        "it was flown without a voice",
        "recorded before the voice's log was kept",
    )


def _why(flight: Path, printed: Capture) -> str:
    printed.readouterr()
    assert cli.main(["debrief", "--json", str(flight)]) == 0
    told = json.loads(printed.readouterr().out)["not_measured"]
    return next(str(entry["why"]) for entry in told if entry["figure"] == "heard")
