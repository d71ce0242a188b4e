"""The library of clips: rendered once, kept, restarted when the engine fails, never in anybody's way."""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from adapters.speech.cache import ClipCache, ClipKey
from adapters.speech.child import RenderChild
from adapters.speech.library import Deadlines, Library
from adapters.speech.pieces import NUMBER_WORDS, from_pieces
from tests.fake_speech import fake_child, tone

KEY = ClipKey("fake", "", "en", 190, 1.0, "1")
DEADLINE_S = 10.0
QUICK = Deadlines(hello_s=DEADLINE_S, phrase_s=0.3, urgent_s=0.3, pauses_s=(0.02, 0.05, 0.1))


class _Children:
    """Makes one child after the other from what each is to do; the last kind is made again and again."""

    def __init__(self, *jobs: str, hello: str = "pass", missing: bool = False) -> None:
        self._jobs, self._hello, self._missing = list(jobs), hello, missing
        self.made: list[RenderChild] = []

    def __call__(self) -> RenderChild:
        job = self._jobs[min(len(self.made), len(self._jobs) - 1)]
        self.made.append(fake_child(job, self._hello, self._missing))
        return self.made[-1]


@contextmanager
def _library(
    folder: Path, children: Callable[[], RenderChild], *phrases: str, key: ClipKey = KEY, deadlines: Deadlines = QUICK
) -> Iterator[Library]:
    library = Library(phrases, key, ClipCache(folder), children, deadlines)
    library.start()
    try:
        yield library
    finally:
        library.close()


def _until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + DEADLINE_S
    while not true():
        assert time.monotonic() < end, "did not happen in time"
        time.sleep(0.005)


def _want(library: Library, text: str) -> None:
    """Ask, and wait for the answer."""
    answers: queue.SimpleQueue[str] = queue.SimpleQueue()
    library.want(text, answers.put)
    assert answers.get(timeout=DEADLINE_S) == text


def test_phrases_are_rendered_and_kept(tmp_path: Path) -> None:
    """A first start renders every phrase; a second one has them from the disk with an engine that only hangs."""
    with _library(tmp_path, _Children("pass"), "one", "two three", "one", " ") as library:
        assert library.ready.wait(DEADLINE_S)
        assert library.have() == (2, 2)
        first = library.get("two three")
    with _library(tmp_path, _Children("pass", hello="time.sleep(60)"), "one", "two three") as library:
        assert library.ready.wait(DEADLINE_S)
        assert library.get("two three") == first is not None
        assert library.take_notices() == []


def test_words_that_vary_come_from_the_warm_process(tmp_path: Path) -> None:
    """A phrase nobody foresaw is there when asked for, from the process that is already running."""
    children = _Children("pass")
    with _library(tmp_path, children, "one") as library:
        assert library.get("seven two knots") is None
        _want(library, "seven two knots")
        assert library.get("seven two knots") is not None
        assert len(children.made) == 1


@pytest.mark.parametrize("fault", ["time.sleep(60)", "os._exit(1)", "os.abort()"])
def test_an_engine_that_fails_once_is_started_again(tmp_path: Path, fault: str) -> None:
    """A process that hangs, exits or crashes at a phrase is replaced, said once, and the phrase is rendered then."""
    children = _Children(fault, "pass")
    with _library(tmp_path, children, "one", "two") as library:
        _until(lambda: library.have() == (2, 2))
        notices = library.take_notices()
    assert len(children.made) == 2
    assert ["shown as text" in line for line in notices] == [True, False]
    assert notices[1] == "voice: the speech engine is back"


def test_a_phrase_that_ends_the_engine_is_left_out(tmp_path: Path) -> None:
    """One phrase the engine cannot survive does not take the others with it."""
    children = _Children("os._exit(1) if job['text'] == 'bad' else None")
    with _library(tmp_path, children, "one", "bad", "two") as library:
        _until(lambda: library.have()[0] == 2)
        assert library.get("bad") is None


def test_a_child_killed_from_outside_is_replaced(tmp_path: Path) -> None:
    """The process killed while idle: the next phrase that varies gets a new one."""
    children = _Children("pass")
    with _library(tmp_path, children, "one") as library:
        _until(lambda: library.get(NUMBER_WORDS[-1]) is not None)
        children.made[0].kill()
        _want(library, "seven")
        _want(library, "seventy")
        _until(lambda: len(children.made) >= 2 and library.problem is None)
        _want(library, "seventy one")
        assert library.get("seventy one") is not None


def test_no_engine_is_said_once_and_holds_up_nobody(tmp_path: Path) -> None:
    """An engine that never comes up: `ready` at once, one line however often it is tried, answers of "no"."""
    children = _Children("pass", hello="hello = {'error': 'no engine here'}")
    with _library(tmp_path, children, "one") as library:
        assert library.ready.wait(DEADLINE_S)
        assert library.problem == "no engine here"
        _until(lambda: len(children.made) >= 3)
        _want(library, "two")
        assert library.get("two") is None
        assert library.take_notices() == ["voice: no engine here; what cannot be spoken is shown as text"]


def test_a_damaged_entry_is_rendered_again(tmp_path: Path) -> None:
    """A damaged file in the cache costs a line and a rendering, nothing else."""
    with _library(tmp_path, _Children("pass"), "one") as library:
        assert library.ready.wait(DEADLINE_S)
    (tmp_path / KEY.name("one")).write_bytes(b"damaged")
    with _library(tmp_path, _Children("pass"), "one") as library:
        assert library.ready.wait(DEADLINE_S)
        assert library.get("one") is not None
        assert ["was damaged and is rendered again" in line for line in library.take_notices()] == [True]
    assert ClipCache(tmp_path).get(KEY, "one") is not None


def test_a_missing_voice_is_said_and_not_kept_under_its_name(tmp_path: Path) -> None:
    """Another voice than the one asked for speaks: said once, and the cache does not pass it off as the other."""
    key = ClipKey("fake", "wanted", "en", 190, 1.0, "1")
    with _library(tmp_path, _Children("pass", missing=True), "one", key=key) as library:
        assert library.ready.wait(DEADLINE_S)
        assert ['"wanted" is not installed; speaking with "one"' in line for line in library.take_notices()] == [True]
    assert ClipCache(tmp_path).get(key, "one") is None


def test_close_ends_an_engine_that_hangs(tmp_path: Path) -> None:
    """The end of the program does not wait for an engine's deadline."""
    slow = Deadlines(hello_s=60.0, phrase_s=60.0, urgent_s=60.0)
    children = _Children("time.sleep(60)")
    with _library(tmp_path, children, "one", deadlines=slow) as library:
        _until(lambda: bool(children.made) and library.hello is not None)
        process = children.made[0]._process
        began = time.monotonic()
    assert time.monotonic() - began < DEADLINE_S
    assert process is not None and process.wait(DEADLINE_S) is not None


def test_pieces_make_a_phrase_with_numbers() -> None:
    """ "Climb speed, seven two" from its first half and two digits; unknown words make nothing."""
    have = {"Climb speed": tone(0.5), "seven": tone(0.3), "two": tone(0.2)}.get
    made = from_pieces("Climb speed, Seven two", have)
    assert made is not None
    assert made.duration_s == pytest.approx(0.5 + 0.12 + 0.3 + 0.02 + 0.2, abs=0.01)
    for text in ("Climb speed, seven three", "Best glide, seven two", "seven flaps", ",", ""):
        assert from_pieces(text, have) is None
