"""The rendering process and its keeper: every way it can fail is a `SpeechError` in words, within its deadline."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import threading
import time
from pathlib import Path

import pytest

from adapters.speech.child import RenderChild, SpeechError, render_command
from tests.fake_speech import fake_child

DEADLINE_S = 10.0


def test_a_phrase_comes_back_as_sound() -> None:
    """The process greets, renders two phrases, and is gone after `close`."""
    child = fake_child()
    assert child.start(DEADLINE_S).engine == "fake"
    assert child.render("one two", DEADLINE_S).duration_s == pytest.approx(0.2)
    assert child.render("one", DEADLINE_S).duration_s == pytest.approx(0.1)
    process = child._process
    child.close()
    child.close()
    assert process is not None and process.poll() is not None


@pytest.mark.parametrize(
    ("job", "why", "gone"),
    [
        ("time.sleep(60)", "did not answer within 0.3 s and was ended", True),
        ("os._exit(7)", "ended by itself .status 7.", True),
        ("os.abort()", "ended by itself", True),
        ("answer = {'job': job['job'], 'error': 'no voice'}", "no voice", False),
        ("answer = {'job': job['job'], 'pcm': '%%%'}", "cannot be read", False),
        ("answer = {'job': job['job']}", "nonsense", False),
    ],
)
def test_a_bad_answer_is_an_error_in_words(job: str, why: str, gone: bool) -> None:
    """An engine that hangs, exits, crashes, refuses or babbles: said in words, and told whether the process is gone."""
    child = fake_child(job)
    child.start(DEADLINE_S)
    deadline_s = 0.3 if "sleep" in job else DEADLINE_S
    with pytest.raises(SpeechError, match=why) as caught:
        child.render("one", deadline_s)
    assert caught.value.gone is gone
    assert (child.pid is None) is gone
    child.close()


def test_noise_and_late_answers_are_passed_over() -> None:
    """A driver's prints and the answer to an earlier phrase are not taken for this one's."""
    child = fake_child("print('Audio saved'); print('{}'); print(json.dumps({'job': 0, 'pcm': 'AAAA'}))")
    child.start(DEADLINE_S)
    assert child.render("one", DEADLINE_S).duration_s == pytest.approx(0.1)
    child.close()


@pytest.mark.parametrize(
    ("hello", "why"),
    [
        ("time.sleep(60)", "did not answer"),
        ("os._exit(1)", "ended by itself .status 1."),
        ("hello = {'error': 'no engine here'}", "no engine here"),
        ("hello = {'voices': 3}", "nonsense"),
    ],
)
def test_an_engine_that_does_not_come_up(hello: str, why: str) -> None:
    """A process that hangs, dies, reports a fault or babbles at its start is ended and said."""
    child = fake_child(hello=hello)
    with pytest.raises(SpeechError, match=why):
        child.start(0.3 if "sleep" in hello else DEADLINE_S)
    assert child.pid is None


def test_a_program_that_is_not_there() -> None:
    """No interpreter to start: an error in words, not an OSError."""
    with pytest.raises(SpeechError, match="could not be started"):
        RenderChild(["/no/such/program"]).start()


def test_killed_from_another_thread_while_it_works() -> None:
    """`kill` from the closing thread ends the wait of the thread that asked."""
    child = fake_child("time.sleep(60)")
    child.start(DEADLINE_S)
    threading.Timer(0.1, child.kill).start()
    began = time.monotonic()
    with pytest.raises(SpeechError):
        child.render("one", DEADLINE_S)
    assert time.monotonic() - began < DEADLINE_S


def test_the_real_engine_renders_and_ends_with_its_starter() -> None:
    """pyttsx3 in its process gives a phrase of a plausible length, and goes away when its input ends."""
    child = RenderChild(render_command("", "", "en", 190, 1.0))
    hello = child.start()
    assert hello.voice in [voice[0] for voice in hello.voices]
    # "rotate" at 190 words/min has 0.42 s of voice with espeak-ng 1.52 (measured when this was written)
    assert 0.3 < child.render("Rotate", DEADLINE_S).duration_s < 0.7
    process = child._process
    assert process is not None and process.stdin is not None
    process.stdin.close()
    assert process.wait(DEADLINE_S) == 0
    child.close()


def test_a_voice_that_is_not_installed_is_told() -> None:
    """Asked for a voice that is not there, the engine speaks with its usual one and says so."""
    child = RenderChild(render_command("", "no/such-voice", "en", 190, 1.0))
    hello = child.start()
    assert hello.missing
    assert hello.voice != "no/such-voice"
    assert child.render("Rotate", DEADLINE_S).frames > 1000
    child.close()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="espeak's language choice; others speak their own")
def test_a_voice_of_the_language_is_chosen() -> None:
    """Without a voice named, a German procedure gets a German voice."""
    child = RenderChild(render_command("", "", "de", 190, 1.0))
    hello = child.start()
    child.close()
    assert hello.voice.endswith("de")


def test_without_pyttsx3_it_says_so(tmp_path: Path) -> None:
    """No pyttsx3: the answer names the package instead of a traceback."""
    (tmp_path / "pyttsx3.py").write_text("raise ModuleNotFoundError(\"No module named 'pyttsx3'\", name='pyttsx3')")
    code = f"import sys; sys.path.insert(0, {str(tmp_path)!r}); from adapters.speech.render import main; main()"
    child = RenderChild([sys.executable, "-c", code])
    with pytest.raises(SpeechError, match="package pyttsx3 is not installed"):
        child.start()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the other systems bring their own engine")
def test_without_espeak_it_says_how_to_get_it(tmp_path: Path) -> None:
    """No eSpeak NG anywhere: the answer names the package to install."""
    (tmp_path / "espeakng_loader.py").write_text("raise ImportError")
    hide = "import ctypes\nreal = ctypes.cdll.LoadLibrary\ndef load(name):\n    raise OSError(name)\n"
    code = f"import sys; sys.path.insert(0, {str(tmp_path)!r})\n{hide}ctypes.cdll.LoadLibrary = load\n"
    child = RenderChild([sys.executable, "-c", code + "from adapters.speech.render import main; main()"])
    with pytest.raises(SpeechError, match="espeakng-loader"):
        child.start()


def test_files_of_a_killed_engine_are_cleared() -> None:
    """The folder for the engine's files is gone after `close`, however the process ended."""
    child = fake_child("os._exit(1)")
    child.start(DEADLINE_S)
    assert child._folder is not None
    folder = Path(child._folder.name)
    assert folder.is_dir()
    with contextlib.suppress(SpeechError):
        child.render("one", DEADLINE_S)
    assert not folder.exists()
    assert os.path.lexists(folder.parent)


def test_an_engine_that_hangs_on_a_full_disk_is_told_as_that(monkeypatch: pytest.MonkeyPatch) -> None:
    """The engine hangs when it cannot write its file: the reason given is the disk, not the engine."""
    usage = type(shutil.disk_usage(Path.cwd()))(100, 100, 0)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage)
    child = fake_child("time.sleep(60)")
    child.start(DEADLINE_S)
    with pytest.raises(SpeechError, match="no space left in .* for the speech engine's files"):
        child.render("one", 0.2)
