"""Phrases to clips: from memory at once, else from the disk, the rendering process, or pieces. One thread of its own.

The speaker only ever calls `get` (a dictionary) and `want` (a queue), so no engine can make it wait. The engine's
process is ended when it is late and started again, with growing pauses when that does not help.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence

import msgspec

from adapters.speech.cache import ClipCache, ClipKey
from adapters.speech.child import Hello, RenderChild, SpeechError
from adapters.speech.clip import Clip
from adapters.speech.pieces import NUMBER_WORDS, from_pieces

_TRIES = 5  # by itself; later only when a phrase is wanted, so that a machine without an engine is left in peace


class Deadlines(msgspec.Struct, frozen=True):
    """How long the engine may take, seconds: to start, for a phrase beforehand, and for one that is due now.

    pauses_s: before each further try to start it, after failures with no phrase between.
    """

    hello_s: float = 8.0
    phrase_s: float = 5.0
    urgent_s: float = 0.5
    pauses_s: tuple[float, ...] = (0.2, 2.0, 10.0, 30.0)


class _Job(msgspec.Struct, frozen=True):
    text: str
    done: Callable[[str], None]


class Library:
    """All clips of one voice. `phrases` are rendered at start, in their order; then English number words."""

    def __init__(
        self,
        phrases: Sequence[str],
        key: ClipKey,
        cache: ClipCache,
        make_child: Callable[[], RenderChild],
        deadlines: Deadlines | None = None,
    ) -> None:
        """Nothing is loaded or started yet."""
        self._phrases = list(dict.fromkeys(phrase for phrase in phrases if phrase.strip()))
        self._key, self._cache = key, cache
        self._make_child, self._deadlines = make_child, deadlines or Deadlines()
        self._clips: dict[str, Clip] = {}
        self._jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._child: RenderChild | None = None
        self._closing = False
        self._failures, self._next_try = 0, 0.0
        self._todo: deque[str] = deque()
        self._fixed_left = len(self._phrases)
        self._tried: set[str] = set()
        self._pruned = False
        self._notices: deque[str] = deque(maxlen=50)
        self.hello: Hello | None = None
        self.problem: str | None = None
        self.ready = threading.Event()
        self._thread = threading.Thread(target=self._run, name="speech library", daemon=True)

    def start(self) -> None:
        """Begin: from the disk first, then the engine. `ready` is set when every phrase is there or cannot be."""
        self._thread.start()

    def get(self, text: str) -> Clip | None:
        """The clip when it is in memory."""
        return self._clips.get(text)

    def want(self, text: str, done: Callable[[str], None]) -> None:
        """Get `text` as soon as can be, before anything else; `done(text)` when it is there or is not to be had."""
        self._jobs.put(_Job(text, done))

    @property
    def named(self) -> tuple[str, str]:
        """The engine and the voice as they were asked for."""
        return self._key.engine, self._key.voice

    def have(self) -> tuple[int, int]:
        """How many of the phrases are in memory, and how many there are."""
        return sum(phrase in self._clips for phrase in self._phrases), len(self._phrases)

    def take_notices(self) -> list[str]:
        """What went wrong or right again since the last call, a line each."""
        return [self._notices.popleft() for _ in range(len(self._notices))] + self._cache.take_notices()

    def close(self) -> None:
        """End the engine's process and the thread; waits a second at most."""
        self._closing = True
        self._jobs.put(None)
        child = self._child
        if child:
            child.kill()
        if self._thread.is_alive():
            self._thread.join(1.0)

    def pieces(self, text: str) -> Clip | None:
        """`text` put together from clips in memory, or None: for when the engine does not answer in time."""
        return from_pieces(text, self._clips.get)

    def _run(self) -> None:
        self._todo.extend(text for text in self._phrases if not self._from_disk(text))
        self._fixed_left = len(self._todo)
        if self._key.language.lower().startswith("en"):
            self._todo.extend(word for word in NUMBER_WORDS if not self._from_disk(word))
        while not self._closing:
            if not self._fixed_left:
                self.ready.set()
            self._serve(self._wait())
            if self._todo and self._engine():
                self._render_next()
            elif not self._todo and not self._pruned:
                self._pruned = True
                self._cache.prune()
        if self._child:
            self._child.close()

    def _wait(self) -> _Job | None:
        """The next urgent job; None at once when there is other work, or when it is time to try the engine again."""
        timeout_s: float | None = 0.0
        if self._child is None:
            self._engine()
        if self._child is None:
            timeout_s = max(0.0, self._next_try - time.monotonic()) if self._failures < _TRIES else None
        elif not self._todo:
            timeout_s = None
        with contextlib.suppress(queue.Empty):
            return self._jobs.get(timeout=timeout_s) if timeout_s != 0.0 else self._jobs.get_nowait()
        return None

    def _render_next(self) -> None:
        """One phrase beforehand. One that ended the engine twice is left out; the engine's next process goes on."""
        text = self._todo.popleft()
        done = text in self._clips or self._from_disk(text) or self._render(text, self._deadlines.phrase_s)
        if not done and self._child is None and text not in self._tried:
            self._tried.add(text)
            self._todo.appendleft(text)
        elif self._fixed_left:
            self._fixed_left -= 1

    def _serve(self, job: _Job | None) -> None:
        if job is None:
            return
        if job.text not in self._clips and not self._from_disk(job.text) and self._engine():
            self._render(job.text, self._deadlines.urgent_s)  # a late engine costs this once, then it is started again
        job.done(job.text)

    def _from_disk(self, text: str) -> bool:
        clip = self._cache.get(self._key, text)
        if clip is None:
            return False
        self._clips[text] = clip
        self._cache.touch(self._key, text)
        return True

    def _render(self, text: str, deadline_s: float) -> bool:
        assert self._child is not None
        try:
            clip = self._child.render(text, deadline_s)
        except SpeechError as error:
            self._failed(f'"{text}": {error}', error.gone)
            return False
        self._clips[text] = clip
        self._failures = 0  # only a phrase proves an engine: one may greet and then hang
        self._cache.put(self._key, text, clip)
        return True

    def _engine(self) -> RenderChild | None:
        """The rendering process, started if there is none and it is time to try; None when there is no engine now."""
        if self._child or self._closing or time.monotonic() < self._next_try:
            return self._child
        child = self._make_child()
        self._child = child  # before it answers, so that `close` can end one that hangs
        if self._closing:
            child.kill()
        try:
            self._greet(child.start(self._deadlines.hello_s))
        except SpeechError as error:
            self._failed(str(error), True)
        return self._child

    def _greet(self, hello: Hello) -> None:
        if self.problem:
            self._notices.append("voice: the speech engine is back")
        first, self.hello, self.problem = self.hello is None, hello, None
        if hello.missing and self._key.voice:
            instead = f'speaking with "{hello.voice}" (climbout voice list shows them)'
            self._notices.append(f'voice: "{self._key.voice}" is not installed; {instead}')
            self._key = msgspec.structs.replace(self._key, voice=hello.voice)
        elif not hello.fits and first:
            told = f'no voice for the language "{self._key.language}" is installed'
            self._notices.append(
                f'voice: {told}; speaking with "{hello.voice}" (climbout voice list --all shows others)'
            )

    def _failed(self, why: str, gone: bool) -> None:
        if self._closing:
            return
        if gone:
            self._child = None
            pauses_s = self._deadlines.pauses_s
            self._next_try = time.monotonic() + pauses_s[min(self._failures, len(pauses_s) - 1)]
            self._failures += 1
            self.ready.set()  # nobody should wait for an engine in trouble
        if gone and self.problem is None:
            self.problem = why
            self._notices.append(f"voice: {why}; what cannot be spoken is shown as text")
