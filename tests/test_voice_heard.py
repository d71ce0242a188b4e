"""What the device was given, heard by a recogniser: the right words, in order, with the cut."""

from __future__ import annotations

import json
import time
from collections import deque
from pathlib import Path

import pytest

from adapters import cli, library
from adapters.speech.choose import NULL, choose_player
from adapters.speech.clip import RATE_HZ
from adapters.speech.device import DevicePlayer, Mixer
from adapters.speech.library import Library
from adapters.speech.players import Player
from adapters.speech.speaker import Speaker
from adapters.speech.spoken import Spoken
from adapters.voice import Voice, VoiceSettings, make_library
from monitor.aircraft_file import load_aircraft
from monitor.callouts import phrases
from monitor.events import Event
from tests.fake_speech import FakeClock, FakeDevice

pytest.importorskip("pocketsphinx")
from tests.listener import Listener, words_of

DEADLINE_S = 20.0
_FRAMES = 220


@pytest.fixture(scope="module")
def said() -> list[str]:
    """Every phrase of the normal procedure for the default aeroplane."""
    folder = Path("/nowhere")
    procedure = library.find(library.PROCEDURE, library.DEFAULT_PROCEDURE, folder)
    aircraft = library.find(library.AIRCRAFT, library.DEFAULT_AIRCRAFT, folder)
    return phrases(
        library.procedure_from_text(procedure.text, procedure.where), load_aircraft(aircraft.text, aircraft.where)
    )


@pytest.fixture(scope="module")
def rendered(said: list[str], tmp_path_factory: pytest.TempPathFactory) -> Library:
    """All of them rendered by the real engine."""
    made = make_library(said, VoiceSettings(cache_dir=tmp_path_factory.mktemp("voice")))
    made.start()
    assert made.ready.wait(DEADLINE_S)
    assert made.have() == (len(said), len(said))
    made.close()
    return made


@pytest.fixture(scope="module")
def listener(said: list[str]) -> Listener:
    """A recogniser that knows only these phrases."""
    return Listener(said)


class _Flight:
    """Events said at their times by the real speaker and mixer, on a clock of their own: a minute takes a moment."""

    def __init__(self, rendered: Library) -> None:
        self.clock, self.device, self.log = FakeClock(), FakeDevice(), deque[Spoken]()
        self.start_ns = self.clock()
        self.speaker = Speaker(rendered, self._open, self.log, 190, self.clock, lambda work: work())
        self.speaker._open()

    def _open(self, tell: object) -> tuple[Player, str]:
        mixer = Mixer(lambda *told: self.speaker.inbox.put(told), self.clock)
        return DevicePlayer("fake", self.device, mixer), "played by fake"

    def fly(self, events: list[Event]) -> None:
        """Each event at its `t_s`, then 3 s more."""
        waiting = deque(events)
        end_s = max(event.t_s or 0.0 for event in events) + 3.0
        while self._now_s() < end_s:
            while waiting and (waiting[0].t_s or 0.0) <= self._now_s():
                self.speaker.say(waiting.popleft())
            while not self.speaker.inbox.empty():
                self.speaker.step(self.speaker.inbox.get())
            self.speaker.step(None)
            self.device.ask(_FRAMES)
            self.clock.forward(_FRAMES / RATE_HZ)

    def _now_s(self) -> float:
        return (self.clock() - self.start_ns) / 1e9

    def pieces(self) -> list[tuple[str, str, bytes]]:
        """What was started, how it ended, and what the device was given meanwhile."""
        found, starts = [], [entry for entry in self.log if entry.what == "started"]
        for entry in starts:
            end = next(e for e in self.log if e.text == entry.text and e.what in ("cut", "finished"))
            last = self._sample(end.at_ns) + (_FRAMES if end.what == "finished" else 0)
            found.append((entry.text, end.what, bytes(self.device.heard[2 * self._sample(entry.at_ns) : 2 * last])))
        return found

    def _sample(self, at_ns: int) -> int:
        return round((at_ns - self.start_ns) / 1e9 * RATE_HZ / _FRAMES) * _FRAMES


@pytest.fixture(autouse=True)
def own_home(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The user's own settings stay out of the flights."""
    monkeypatch.setenv("CLIMBOUT_HOME", str(tmp_path))


def _flown(capfdbinary: pytest.CaptureFixture[bytes], *options: str) -> list[Event]:
    """The calls of a takeoff of the built-in trainer, in the order noticed, each not before the one noticed earlier."""
    assert cli.main(["demo", "--fast", "--json", "--no-voice", *options]) == 0
    lines = [json.loads(line) for line in capfdbinary.readouterr().out.splitlines()]
    events, at_s = [], 0.0
    for line in lines:
        at_s = max(at_s, line["t"] or 0.0)
        if line["say"]:
            events.append(Event(at_s, line["kind"], line["id"], line["takeoff"], say=line["say"]))
    return events


def _story(flight: _Flight, listener: Listener) -> list[tuple[str, str, str | None]]:
    return [(words_of(text), ended, listener.hear(pcm)) for text, ended, pcm in flight.pieces()]


_LONG = [pytest.param(fault, marks=pytest.mark.long) for fault in ("rpm", "airspeed", "")]


@pytest.mark.parametrize("fault", ["oil", "engine", *_LONG])
def test_every_call_of_a_flown_takeoff_is_heard(
    fault: str, rendered: Library, listener: Listener, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    """A takeoff is flown; each call is recognised from what the device was given, in order, none lost."""
    events = _flown(capfdbinary, *(["--fault", fault] if fault else []))
    flight = _Flight(rendered)
    flight.fly(events)
    heard = _story(flight, listener)
    assert [text for text, _, _ in heard] == [words_of(event.say or "") for event in events]
    assert [(text, recognised) for text, ended, recognised in heard if ended == "finished" and recognised != text] == []


def test_the_cut_is_heard_as_a_cut(
    rendered: Library, listener: Listener, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    """An advisory that "abort" cuts is not heard as itself, and "abort" is, from its first sample on."""
    events = _flown(capfdbinary, "--fault", "oil")
    abort = next(event for event in events if event.id == "abort")
    assert abort.t_s is not None
    events.insert(
        events.index(abort), Event(abort.t_s - 0.5, "advisory", "pitch", 1, say="Nose down. Best glide, six two")
    )
    flight = _Flight(rendered)
    flight.fly(events)
    heard = _story(flight, listener)
    cut = next(entry for entry in heard if entry[1] == "cut")
    assert cut[2] != cut[0]
    assert heard[heard.index(cut) + 1][2] == words_of("Abort, abort. Oil pressure")
    at = {(entry.what, entry.id): entry.at_ns for entry in flight.log}
    assert (at["started", "abort"] - at["queued", "abort"]) / 1e9 <= 2 * _FRAMES / RATE_HZ


def test_the_whole_chain_in_real_time(said: list[str], rendered: Library, listener: Listener, tmp_path: Path) -> None:
    """Engine, threads and a device paced in real time: two calls and a cut, each heard as it was said."""
    pytest.importorskip("miniaudio")
    heard, offsets = bytearray(), dict[int, int]()

    def open_player(tell: object) -> tuple[Player, str]:
        player, words = choose_player(tell, NULL)  # type: ignore[arg-type]
        assert isinstance(player, DevicePlayer)

        def tap(buffer: bytes) -> None:
            offsets[player.mixer.asked_ns] = len(heard)
            heard.extend(buffer)

        player.mixer.tap = tap
        return player, words

    few = ["Airspeed alive", "Turn altitude. Look first", "Abort, abort. Engine"]
    made = make_library(few, VoiceSettings(cache_dir=tmp_path))
    voice = Voice(made, open_player)
    assert "played by" in (voice.start() or "")
    voice.event(Event(1.0, "callout", "airspeed-alive", 1, say=few[0]))
    assert voice.drain(DEADLINE_S)
    voice.event(Event(2.0, "callout", "turn", 1, say=few[1]))
    end = time.monotonic() + DEADLINE_S
    while not any(entry.id == "turn" and entry.what == "started" for entry in list(voice._log)):
        assert time.monotonic() < end, "was not said in time"
        time.sleep(0.01)
    voice.event(Event(2.3, "warning", "abort", 1, say=few[2]))
    assert voice.drain(DEADLINE_S)
    voice.close()
    log = voice.take_log()
    assert [(entry.what, entry.id) for entry in log if entry.what != "queued"] == [
        ("started", "airspeed-alive"),
        ("finished", "airspeed-alive"),
        ("started", "turn"),
        ("cut", "turn"),
        ("started", "abort"),
        ("finished", "abort"),
    ]
    starts = [offsets[entry.at_ns] for entry in log if entry.what == "started"]
    pieces = [bytes(heard[a:b]) for a, b in zip(starts, [*starts[1:], len(heard)], strict=True)]
    assert [listener.hear(piece) for piece in pieces[::2]] == [words_of(few[0]), words_of(few[2])]
    assert listener.hear(pieces[1]) != words_of(few[1])


@pytest.mark.long
def test_nearly_every_phrase_is_told_from_all_others(said: list[str], rendered: Library, listener: Listener) -> None:
    """Each phrase of the procedure is recognised among all of them: nineteen in twenty at least."""
    clips = {text: rendered.get(text) for text in said}
    wrong = [text for text, clip in clips.items() if clip is None or listener.hear(clip.pcm) != words_of(text)]
    assert len(wrong) <= len(said) // 20, wrong


@pytest.mark.long
def test_the_recogniser_does_not_hear_what_was_not_said(said: list[str], rendered: Library, listener: Listener) -> None:
    """The control: noise is nothing, and a phrase played backwards is hardly ever taken for itself."""
    assert listener.hear(bytes(RATE_HZ)) is None
    backwards = 0
    for text in said:
        clip = rendered.get(text)
        assert clip is not None
        turned = b"".join(clip.pcm[i : i + 2] for i in range(len(clip.pcm) - 2, -1, -2))
        backwards += listener.hear(turned) == words_of(text)
    assert backwards <= len(said) // 10
