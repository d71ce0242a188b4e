"""The speaker on a clock that only moves when told: what is said, cut, dropped, lost, and what it tells."""

from __future__ import annotations

from collections import deque

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from adapters.speech.players import Player
from adapters.speech.speaker import INBOX_MAX, Speaker
from adapters.speech.spoken import Spoken
from monitor.events import Event
from tests.fake_speech import FakeClips, FakeClock, FakePlayer

STEP_S = 0.01


class _Scene:
    """A speaker with a fake player, stepped every 10 ms."""

    def __init__(self, *phrases: str, audible: bool = True, problem: str | None = None) -> None:
        self.clock = FakeClock()
        self.log: deque[Spoken] = deque()
        self.clips = FakeClips(*phrases, problem=problem)
        self.player = FakePlayer(self.clock, audible)
        self.tries: list[float] = []
        self.speaker = Speaker(self.clips, self._open, self.log, 190, self.clock, lambda work: work())
        self.speaker.step(("player", self.player, "played by fake" if audible else "no sound device (test)"))

    def _open(self, tell: object) -> tuple[Player, str]:
        self.tries.append((self.clock() - 987_654_321_123) / 1e9)
        return self.player, "played by fake" if self.player.audible else "no sound device (test)"

    def say(self, kind: str, identity: str, text: str) -> None:
        self.speaker.say(Event(1.0, kind, identity, 1, say=text))
        self.run(0.0)

    def run(self, seconds: float) -> None:
        """Take what is in the inbox, then let time pass in steps."""
        for _ in range(round(seconds / STEP_S) + 1):
            while not self.speaker.inbox.empty():
                self.speaker.step(self.speaker.inbox.get())
            self.speaker.step(None)
            if seconds:
                self.clock.forward(STEP_S)

    def story(self) -> list[str]:
        """What happened, without the "queued" lines."""
        lines = [f"{what} {text}" + (f" ({reason})" if reason else "") for what, text, _, _, reason, _ in self.log]
        self.log.clear()
        return [line for line in lines if not line.startswith("queued")]


def test_what_was_asked_for_as_the_voice_ended_is_told_as_not_said() -> None:
    """A call that the thread has not taken by the end stands in the log as dropped."""
    scene = _Scene("Airspeed alive")
    scene.speaker.closing = True
    scene.speaker.say(Event(1.0, "callout", "airspeed-alive", 1, say="Airspeed alive"))
    scene.speaker.run()
    assert scene.story() == ["dropped Airspeed alive (the end)"]


def test_a_call_is_said_and_captioned() -> None:
    """Queued, started, finished, with times; its words are the caption while it sounds, and only then."""
    scene = _Scene("Airspeed alive")
    scene.say("callout", "airspeed-alive", "Airspeed alive")
    assert scene.speaker.saying() == "Airspeed alive"
    assert not scene.speaker.idle()
    scene.run(0.3)
    assert scene.speaker.saying() is None
    assert scene.speaker.idle()
    assert [entry.what for entry in scene.log] == ["queued", "started", "finished"]
    times = [entry.at_ns for entry in scene.log]
    assert times[0] == times[1] == 987_654_321_123
    assert (times[2] - times[1]) / 1e9 == pytest.approx(0.2, abs=2 * STEP_S)
    assert {entry.id for entry in scene.log} == {"airspeed-alive"}


def test_a_warning_cuts_an_advisory_at_once() -> None:
    """The player is given the warning in the same step; the cut one is not resumed."""
    scene = _Scene("Climb fast by much", "Abort, abort. Oil pressure")
    scene.say("advisory", "climb-fast", "Climb fast by much")
    scene.run(0.1)
    scene.say("warning", "abort", "Abort, abort. Oil pressure")
    assert scene.player.done[-2:] == [("play", 1), ("play", 2)]
    scene.run(1.0)
    assert scene.story() == [
        "started Climb fast by much",
        'cut Climb fast by much (for "Abort, abort. Oil pressure")',
        "started Abort, abort. Oil pressure",
        "finished Abort, abort. Oil pressure",
    ]


def test_equals_wait_with_a_pause_between() -> None:
    """Two callouts at once: one after the other, with a breath between; "Rotate" needs none."""
    scene = _Scene("Clock", "Power set", "Rotate")
    scene.say("callout", "clock", "Clock")
    scene.say("callout", "power-set", "Power set")
    scene.run(1.0)
    at = {(entry.what, entry.text): entry.at_ns / 1e9 for entry in scene.log}
    assert at["started", "Power set"] - at["finished", "Clock"] == pytest.approx(0.15, abs=2 * STEP_S)
    scene.say("callout", "rotate", "Rotate")
    assert scene.speaker.saying() == "Rotate"


def test_abort_drops_what_waits() -> None:
    """After "abort" the calls that waited are not said, and the log has them."""
    scene = _Scene("Come right", "Clock", "Abort, abort. Engine")
    scene.say("callout", "clock", "Clock")
    scene.say("advisory", "heading", "Come right")
    scene.say("warning", "abort", "Abort, abort. Engine")
    scene.run(1.0)
    assert "dropped Come right (abort)" in scene.story()


def test_too_late_is_dropped_with_the_reason() -> None:
    """An advisory behind a long warning is dropped when it is too old, and says so."""
    long = "Abort " * 30
    scene = _Scene(long.strip(), "Come right")
    scene.say("warning", "abort", long)
    scene.say("advisory", "heading", "Come right")
    scene.run(3.5)
    assert [line for line in scene.story() if "Come right" in line] == [
        "dropped Come right (too late: 2.0 s after it was due)"
    ]
    assert list(scene.speaker.notices) == ['voice: not said, too late: 2.0 s after it was due: "Come right"']


def test_words_that_vary_wait_for_their_clip_and_others_go_first() -> None:
    """A phrase that must be rendered first waits for it; a ready one is said meanwhile."""
    scene = _Scene("Clock")
    scene.say("callout", "climb-speed", "Climb speed, seven three")
    scene.say("callout", "clock", "Clock")
    assert scene.speaker.saying() == "Clock"
    scene.clips.render()
    scene.run(1.0)
    assert [line for line in scene.story() if line.startswith("started")] == [
        "started Clock",
        "started Climb speed, seven three",
    ]


@pytest.mark.parametrize("answers", [True, False])
def test_an_engine_that_does_not_render_leaves_the_words_as_text(answers: bool) -> None:
    """No clip, told at once or after 0.6 s of silence: the words are shown for their time, with the reason."""
    scene = _Scene(problem="no engine here" if answers else None)
    scene.say("callout", "climb-speed", "Climb speed, seven three")
    if answers:
        scene.clips.render(ok=False)
    scene.run(0.7)
    assert scene.speaker.saying() == "Climb speed, seven three"
    assert scene.player.done == [("play", 0), ("stop", 0)]
    scene.run(2.0)
    reason = "no engine here" if answers else "these words could not be rendered in time"
    assert scene.story() == [
        f"started Climb speed, seven three (as text: {reason})",
        "finished Climb speed, seven three",
    ]


def test_without_sound_the_calls_go_on_as_text() -> None:
    """No device: same order, same cuts, same captions, each marked as text; no latency is claimed."""
    scene = _Scene("Clock", "Abort", audible=False)
    scene.say("callout", "clock", "Clock")
    scene.say("warning", "abort", "Abort")
    scene.run(0.5)
    reason = "as text: no sound device (test)"
    assert scene.story() == [
        f"started Clock ({reason})",
        'cut Clock (for "Abort")',
        f"started Abort ({reason})",
        "finished Abort",
    ]
    assert scene.speaker.latency_s() is None


def test_a_lost_device_is_noticed_said_once_and_tried_again() -> None:
    """The device vanishes in a call: one line, calls go on as text, and when it is back it is used and said."""
    scene = _Scene("Clock", "Come right now please", "Rotate")
    scene.say("advisory", "heading", "Come right now please")
    scene.run(0.1)
    lost = scene.player
    lost.lost = True
    scene.player = FakePlayer(scene.clock)
    scene.run(0.0)
    assert scene.story()[-1] == "cut Come right now please (sound device lost)"
    scene.say("callout", "clock", "Clock")
    scene.run(0.2)
    assert scene.story()[0].startswith("started Clock (as text: the sound device was lost")
    scene.run(1.0)
    assert lost.closed
    scene.say("callout", "rotate", "Rotate")
    scene.run(0.2)
    assert scene.story() == ["started Rotate", "finished Rotate"]
    assert list(scene.speaker.notices) == [
        "voice: the sound device was lost (fake); calls go on as text; trying again",
        "voice: sound is back, played by fake",
    ]


def test_a_device_that_stays_away_is_tried_ever_more_rarely() -> None:
    """While it is away each try that fails is silent; the pauses grow to 10 s."""
    scene = _Scene("Clock")
    scene.player.lost = True
    scene.player = FakePlayer(scene.clock, audible=False)
    scene.run(30.0)
    assert [round(at_s) for at_s in scene.tries] == [1, 3, 8, 18, 28]
    assert len(scene.speaker.notices) == 1


def test_the_first_call_waits_for_the_device_to_open() -> None:
    """A call while the device is still opening is said once it has, and is no measure of the latency."""
    scene = _Opening("Clock")
    scene.say("callout", "clock", "Clock")
    scene.run(0.4)
    assert scene.story() == []
    scene.answer()
    scene.run(0.3)
    assert scene.story() == ["started Clock", "finished Clock"]
    assert scene.speaker.latency_s() == 0.0


def test_a_device_that_does_not_answer_holds_a_call_for_less_than_a_second() -> None:
    """Then it is shown as text with the reason."""
    scene = _Opening("Clock")
    scene.say("callout", "clock", "Clock")
    scene.run(0.75)
    assert scene.story() == []
    scene.run(0.1)
    assert scene.story() == ["started Clock (as text: the sound device has not answered yet)"]


class _Opening(_Scene):
    """A scene whose device is still opening."""

    def __init__(self, *phrases: str) -> None:
        super().__init__(*phrases)
        self.speaker = Speaker(self.clips, self._open, self.log, 190, self.clock, lambda work: work())

    def answer(self) -> None:
        """The device opens."""
        self.speaker.inbox.put(("player", self.player, "played by fake"))


def test_latency_is_that_of_calls_that_did_not_wait() -> None:
    """A call behind another one says nothing about the player's latency; the moment of silence at the start does."""
    scene = _Scene("Clock", "Power set")
    assert scene.speaker.latency_s() == 0.0
    scene.say("callout", "clock", "Clock")
    scene.say("callout", "power-set", "Power set")
    scene.run(1.0)
    assert scene.speaker.latency_s() == 0.0
    scene.player.depth_s = 0.02
    assert scene.speaker.latency_s() == pytest.approx(0.02)


def test_started_is_the_moment_the_device_says() -> None:
    """A device that tells its first sample later: that is "started", and the latency."""
    scene = _Scene("Clock")
    scene.player.play = lambda clip, serial: None  # type: ignore[method-assign]
    scene.say("callout", "clock", "Clock")
    assert scene.story() == []
    scene.speaker.inbox.put(("first", 1, scene.clock() + 12_000_000))
    scene.run(0.0)
    assert scene.log[-1].at_ns == 987_654_321_123 + 12_000_000
    assert scene.speaker._latencies[-1] == pytest.approx(0.012)
    scene.speaker.inbox.put(("end", 1, scene.clock() + 100_000_000))
    scene.run(0.0)
    assert scene.story() == ["started Clock", "finished Clock"]


def test_a_player_that_never_ends_is_left_behind() -> None:
    """A player that claims to play for ever does not block the calls after it."""
    scene = _Scene("Clock", "Rotate")
    scene.player.state = lambda: "playing"  # type: ignore[method-assign]
    scene.say("callout", "clock", "Clock")
    scene.run(1.3)
    assert scene.story()[-1] == "cut Clock (the player did not come to its end)"
    scene.say("callout", "rotate", "Rotate")
    assert scene.speaker.saying() == "Rotate"


def test_a_speaker_that_takes_nothing_does_not_grow() -> None:
    """Events to a speaker that is stuck are bounded and logged as dropped, and `say` never waits."""
    scene = _Scene("Clock")
    for number in range(INBOX_MAX + 5):
        scene.speaker.say(Event(1.0, "callout", f"c{number}", 1, say="Clock"))
    assert scene.speaker.inbox.qsize() == INBOX_MAX
    assert scene.story() == ["dropped Clock (the voice does not keep up)"] * 5


_WORDS = ("Clock", "Come right", "Abort, abort. Oil pressure", "Rotate", "Climb speed, seven two", "Flaps up")
_KINDS = ("warning", "caution", "callout", "advisory", "drill", "feed", "check")
_ACTS = st.one_of(
    st.tuples(st.just("say"), st.sampled_from(_KINDS), st.sampled_from(_WORDS)),
    st.tuples(st.just("abort"), st.just("warning"), st.just(_WORDS[2])),
    st.tuples(st.sampled_from(["lose", "render", "refuse"]), st.just(""), st.just("")),
    st.tuples(st.just("wait"), st.sampled_from(["0.01", "0.1", "0.5", "2.0"]), st.just("")),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(_ACTS, max_size=40))
def test_whatever_happens_every_call_has_one_end(acts: list[tuple[str, str, str]]) -> None:
    """Any order of calls, losses of the device and failures of the engine: each call ends once, one at a time."""
    scene = _Scene("Clock", "Come right", "Abort, abort. Oil pressure", "Rotate")
    for number, (act, kind, text) in enumerate(acts):
        if act in ("say", "abort"):
            scene.say(kind, "abort" if act == "abort" else f"{kind}{number}", text)
        elif act == "lose":
            scene.player.lost = True
            scene.player = FakePlayer(scene.clock)
        elif act == "wait":
            scene.run(float(kind))
        else:
            scene.clips.render(ok=act == "render")
    scene.run(30.0)
    assert scene.speaker.idle()
    ends: dict[str, int] = {}
    sounding = None
    queued: dict[str, int] = {}
    for what, text, identity, at_ns, *_ in scene.log:
        if what == "queued":
            queued[identity] = queued.get(identity, 0) + 1
        elif what == "started":
            assert sounding is None
            sounding = identity
        else:
            if what in ("cut", "finished"):
                assert sounding == identity
                sounding = None
            ends[identity] = ends.get(identity, 0) + 1
        assert text in _WORDS and at_ns >= 987_654_321_123
    assert sounding is None
    assert ends == queued
    assert [line for line in scene.speaker.notices if "fault in the speaker" in line] == []
