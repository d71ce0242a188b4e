"""The speaker: one thread that takes calls, decides by `order` what is said, and drives the player.

Everything reaches it as messages in one queue, so it has one place to wait, and nobody waits for it. `step` holds all
it does with a message; the thread only feeds it, so that tests can do so with a clock of their own.
"""

from __future__ import annotations

import queue
import statistics
import threading
import time
from collections import deque
from collections.abc import Callable
from typing import Any, Protocol

import msgspec

from adapters.speech.clip import Clip, estimated, silence
from adapters.speech.order import Call, Dropped, Waiting, call_of, cuts
from adapters.speech.players import LOST, PLAYING, Player, SilentPlayer
from adapters.speech.spoken import Spoken

S = 1_000_000_000
_RENDER_S = 0.6  # how long a call waits for words that were not rendered beforehand (the engine has 0.5 s)
_OPENING_S = 0.8  # how long a call at the very start waits for the device, which opens in 0.1 to 0.4 s
_RETRY_S = (1.0, 2.0, 5.0, 10.0)  # pauses before a lost device is tried again
_OVERDUE_S = 1.0
_GAP_S = 0.15
INBOX_MAX = 256


class Clips(Protocol):
    """Where clips come from; see `adapters.speech.library.Library`."""

    problem: str | None

    def get(self, text: str) -> Clip | None:
        """From memory."""
        ...

    def want(self, text: str, done: Callable[[str], None]) -> None:
        """Get it soon."""
        ...

    def pieces(self, text: str) -> Clip | None:
        """Made of pieces."""
        ...


class _Current(msgspec.Struct):
    call: Call
    serial: int
    player: Player
    played_ns: int
    duration_s: float
    as_text: str
    prompt: bool
    started: bool = False

    def remaining_s(self, now_ns: int) -> float:
        return self.duration_s - (now_ns - self.played_ns) / S


Opener = Callable[[Callable[[str, int, int], None]], tuple[Player, str]]


def _in_thread(work: Callable[[], None]) -> None:
    """Opening and closing a device may hang; nobody waits for it."""
    threading.Thread(target=work, name="voice device", daemon=True).start()


class Speaker:
    """Says calls. `open_player` may block: it runs in a thread of its own, also when a lost device is tried again."""

    def __init__(
        self,
        clips: Clips,
        open_player: Opener,
        log: deque[Spoken],
        rate: int = 190,
        clock_ns: Callable[[], int] = time.monotonic_ns,
        in_background: Callable[[Callable[[], None]], None] = _in_thread,
    ) -> None:
        """Nothing is opened yet; what happens is put into `log`, which others may empty."""
        self._clips, self._open_player, self._log, self._rate, self._clock_ns = clips, open_player, log, rate, clock_ns
        self.inbox: queue.SimpleQueue[tuple[Any, ...]] = queue.SimpleQueue()
        self._in_background = in_background
        self._waiting = Waiting()
        self._wanted: dict[str, int] = {}
        self._silent = SilentPlayer(clock_ns=clock_ns)
        self._player: Player = self._silent
        self._current: _Current | None = None
        self._fresh: Call | None = None  # arrived in this step: if it starts in it too, its latency is the player's
        self._gap_ns = 0  # before it only what is urgent is said, so that phrases do not run into each other
        self._serial = 0
        self._ping_ns = 0
        self._latencies: deque[float] = deque(maxlen=9)
        self._losses, self._retry_ns = 0, 0
        self._lost = False
        self.notices: deque[str] = deque(maxlen=50)
        self.opened = threading.Event()
        self.player_words = "the sound device has not answered yet"
        self.beat_ns = clock_ns()
        self.closing = False

    # What others call, from any thread.

    def say(self, event: Any) -> None:
        """Take an event in; never waits. What a speaker in trouble has not taken is bounded too."""
        now_ns = self._clock_ns()
        if self.inbox.qsize() < INBOX_MAX:
            self.inbox.put(("event", now_ns, event))
        elif event.say:
            self._log.append(Spoken("dropped", event.say, event.id, now_ns, "the voice does not keep up"))

    def saying(self) -> str | None:
        """The words being said now."""
        current = self._current
        return current.call.text if current else None

    @property
    def audible(self) -> bool:
        """Someone can hear it, as far as we know."""
        return self._player.audible

    def idle(self) -> bool:
        """Nothing is being said or waits."""
        return self._current is None and not len(self._waiting) and self.inbox.empty()

    def latency_s(self) -> float | None:
        """From call to first sample, the median of the last ones, plus the device's depth; None without sound."""
        latencies, player = list(self._latencies), self._player
        return statistics.median(latencies) + player.depth_s if latencies and player.audible else None

    # The thread.

    def run(self) -> None:
        """Feed `step` until `closing`; an error of our own costs the call it happened in, not the voice."""
        self._open()
        while not self.closing:
            try:
                self.step(self._next_message())
            except Exception as error:  # the voice must not end with one bad call
                self._current = None
                self.notices.append(f"voice: fault in the speaker ({type(error).__name__}: {error}); going on")
        self._end()

    def _end(self) -> None:
        now_ns = self._clock_ns()
        while not self.inbox.empty():  # asked for as the last step ran: it will not be said, and a player is let go
            message = self.inbox.get()
            if message[0] in ("event", "player"):
                getattr(self, f"_on_{message[0]}")(*message[1:])
        if self._current:
            self._cut(self._current, now_ns, "the end")
        self._drop(self._waiting.clear("the end"), now_ns)
        self._player.stop()
        if self._player.audible:
            time.sleep(0.03)  # one fade
        self._player.close()

    def _next_message(self) -> tuple[Any, ...] | None:
        try:
            return self.inbox.get(timeout=self._patience_s())
        except queue.Empty:
            return None

    def _patience_s(self) -> float:
        if self._current:
            return min(max(self._current.remaining_s(self._clock_ns()), 0.005), 0.05)
        return 0.02 if len(self._waiting) else 0.2

    def step(self, message: tuple[Any, ...] | None) -> None:
        """Take one message (or None) and do what is due at this moment."""
        now_ns = self.beat_ns = self._clock_ns()
        if message:
            getattr(self, f"_on_{message[0]}")(*message[1:])
        self._watch_player(now_ns)
        self._end_current(now_ns)
        self._drop(self._waiting.expire(now_ns), now_ns)
        self._start_next(now_ns)
        self._fresh = None

    def _on_event(self, asked_ns: int, event: Any) -> None:
        call = call_of(event, asked_ns)
        if call is None:
            return
        self._note("queued", call, asked_ns)
        self._fresh = call
        self._drop(self._waiting.add(call, self._current.call if self._current else None, self._clock_ns()), asked_ns)
        if call in self._waiting.calls() and self._clips.get(call.text) is None:
            self._wanted[call.text] = asked_ns + int(_RENDER_S * S)
            self._clips.want(call.text, lambda text: self.inbox.put(("clip", text)))

    def _on_clip(self, text: str) -> None:
        self._wanted.pop(text, None)  # it is in memory now, or will not be

    def _on_first(self, serial: int, at_ns: int) -> None:
        if serial == 0:  # the moment of silence that a new device is tried with
            self._latencies.append((at_ns - self._ping_ns) / S)
            self.opened.set()
        current = self._current
        if current and current.serial == serial:
            self._started(current, at_ns)

    def _on_end(self, serial: int, at_ns: int) -> None:
        if self._current and self._current.serial == serial:
            self._finished(self._current, at_ns)

    def _on_player(self, player: Player, words: str) -> None:
        if self.closing:
            player.close()
            return
        self._player, self.player_words = player, words
        if player.audible:
            self._losses = 0
            if self._lost:
                self._lost = False
                self.notices.append(f"voice: sound is back, {words}")
            self._ping_ns = self._clock_ns()
            self._latencies.clear()
            at_ns = player.play(silence(0.02), 0)
            if at_ns is not None:
                self._on_first(0, at_ns)
            return
        if self._lost:
            self._retry_later()
        self.opened.set()

    # What is due.

    def _watch_player(self, now_ns: int) -> None:
        if self._player.audible and self._player.state() == LOST:
            lost, self._player = self._player, self._silent
            self._in_background(lost.close)
            self._lost = True
            self.player_words = f"the sound device was lost ({lost.name})"
            self.notices.append(f"voice: the sound device was lost ({lost.name}); calls go on as text; trying again")
            if self._current and self._current.player is lost:
                self._cut(self._current, now_ns, "sound device lost")
            self._retry_later()
        if self._retry_ns and now_ns >= self._retry_ns:
            self._retry_ns = 0
            self._open()

    def _retry_later(self) -> None:
        self._retry_ns = self._clock_ns() + int(_RETRY_S[min(self._losses, len(_RETRY_S) - 1)] * S)
        self._losses += 1

    def _open(self) -> None:
        def work() -> None:
            try:
                found = self._open_player(lambda *told: self.inbox.put(told))
            except Exception as error:  # a driver's fault must not leave the voice waiting for ever
                found = (SilentPlayer(), f"no sound ({type(error).__name__}: {error})")
            self.inbox.put(("player", *found))

        self._in_background(work)

    def _end_current(self, now_ns: int) -> None:
        current = self._current
        if current is None:
            return
        if current.player.state() != PLAYING and (current.started or current.remaining_s(now_ns) < 0):
            self._finished(current, now_ns)
        elif current.remaining_s(now_ns) < -_OVERDUE_S:
            self._cut(current, now_ns, "the player did not come to its end")

    def _start_next(self, now_ns: int) -> None:
        for call in self._waiting.calls():
            clip, as_text = self._sound_of(call, now_ns)
            if clip is None:
                continue  # its words are still being rendered; a less urgent call may go first, and be cut
            if call.rule.patience_s > 0 and now_ns < self._gap_ns:
                return
            current = self._current
            if current:
                if not cuts(call, current.call, current.remaining_s(now_ns)):
                    return
                self._cut(current, now_ns, f'for "{call.text}"', stop=False)
            self._play(call, clip, as_text)
            return

    def _sound_of(self, call: Call, now_ns: int) -> tuple[Clip | None, str]:
        """The clip to play and, when it cannot be heard, why; no clip while one is being rendered."""
        if not self.opened.is_set() and now_ns < call.asked_ns + int(_OPENING_S * S):
            return None, ""
        clip = self._clips.get(call.text)
        if clip:
            return clip, "" if self._player.audible else self.player_words
        if self._player.audible and now_ns < self._wanted.get(call.text, 0):
            return None, ""
        made = self._clips.pieces(call.text) if self._player.audible else None
        if made:
            return made, ""
        why = self._clips.problem or "these words could not be rendered in time"
        return estimated(call.text, self._rate), self.player_words if not self._player.audible else why

    def _play(self, call: Call, clip: Clip, as_text: str) -> None:
        now_ns = self._clock_ns()
        self._serial += 1
        player = self._silent if as_text else self._player
        if as_text:
            self._player.stop()  # what was cut for it
        self._waiting.take(call, now_ns)
        current = _Current(call, self._serial, player, now_ns, clip.duration_s, as_text, call is self._fresh)
        self._current = current
        at_ns = player.play(clip, self._serial)
        if at_ns is not None:
            self._started(current, at_ns)

    def _started(self, current: _Current, at_ns: int) -> None:
        if current.started:
            return
        current.started, current.played_ns = True, at_ns
        why = f"as text: {current.as_text}" if current.as_text else ""
        self._note("started", current.call, at_ns, why, current.player.depth_s)
        if not current.as_text and current.prompt:
            self._latencies.append((at_ns - current.call.asked_ns) / S)

    def _finished(self, current: _Current, at_ns: int) -> None:
        self._note("finished", current.call, at_ns)
        self._gap_ns = at_ns + int(_GAP_S * S)
        self._current = None

    def _cut(self, current: _Current, now_ns: int, reason: str, stop: bool = True) -> None:
        if stop:
            current.player.stop()
        self._note("cut", current.call, now_ns, reason)
        self._current = None

    def _drop(self, dropped: list[Dropped], now_ns: int) -> None:
        for item in dropped:
            self._note("dropped", item.call, now_ns, item.reason)
            if item.reason.startswith("too "):  # what was said already, or is void after "abort", needs no line
                self.notices.append(f'voice: not said, {item.reason}: "{item.call.text}"')

    def _note(self, what: str, call: Call, at_ns: int, reason: str = "", depth_s: float = 0.0) -> None:
        self._log.append(Spoken(what, call.text, call.id, at_ns, reason, depth_s))
