"""The speech engine's own process: reads phrases, answers with sound. Run as `python -P -m adapters.speech.render`.

pyttsx3 2.99 loses phrases, cannot be cut off, can hang, crash or end the process, and cannot tell that nothing was
heard. So it only renders to files, here, in the main thread of a process that can be killed and started again.

Lines of JSON: in `{"job": 1, "text": "Rotate"}`; out first `{"engine", "voice", "version", "missing", "fits",
"voices"}` or `{"error"}`, then for every job `{"job", "pcm"}` (base64 of a trimmed clip) or `{"job", "error"}`.
"""

from __future__ import annotations

import argparse
import base64
import contextlib
import ctypes
import importlib.metadata
import json
import os
import queue
import signal
import sys
import threading
import time
import types
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TextIO

from adapters.speech.clip import load

ESPEAK_VOICE = "gmw/en-us"  # the voice of espeak-ng that a recogniser understood best (204 of 204 phrases, measured)


def preload_espeak() -> str | None:
    """Make the pip-installed espeak-ng the one that pyttsx3 finds; its version, or None when it is not installed.

    Linux only: the library's soname is then already loaded. Without ESPEAK_DATA_PATH the C library ends the process.
    """
    if not sys.platform.startswith("linux"):
        return None
    try:
        import espeakng_loader
    except ImportError:
        return None
    os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()
    ctypes.CDLL(espeakng_loader.get_library_path())
    return importlib.metadata.version("espeakng-loader")


def _wait_until(true: Callable[[], bool], limit_s: float) -> bool:
    end = time.monotonic() + limit_s
    while not true():
        if time.monotonic() > end:
            return False
        time.sleep(0.002)
    return True


def _tongues(voice: Any) -> list[str]:
    """The language tags of a voice, in small letters: "de", "en-us"; drivers write them with either dash."""
    return [str(item).replace("_", "-").lower() for item in (voice.languages or []) if item]


def fitting(voices: Sequence[Any], language: str) -> list[str]:
    """The ids of the voices that speak a language, those of its very region first."""
    wanted = language.replace("_", "-").lower()
    ours = [v for v in voices if any(tongue.split("-")[0] == wanted.split("-")[0] for tongue in _tongues(v))]
    return [str(v.id) for v in sorted(ours, key=lambda v: wanted not in _tongues(v))]  # sorting keeps the rest's order


def best_of(ours: Sequence[str], language: str, engine: str, default: str) -> str:
    """The voice to speak with when none is named, of those that fit; empty for the engine's own default.

    espeak lists every accent, so there the one that is understood best speaks for English at large.
    """
    if engine == "espeak":
        return ESPEAK_VOICE if ESPEAK_VOICE in ours and "-" not in language else next(iter(ours), "")
    return "" if default in ours and "-" not in language else next(iter(ours), "")


class Engine:
    """pyttsx3 with what its version 2.99 needs: voice before rate, nothing queued behind them, busy before a phrase."""

    def __init__(self, args: argparse.Namespace) -> None:
        """Start the engine with the voice, rate and volume asked for. Raises what pyttsx3 raises."""
        import pyttsx3

        self._engine = pyttsx3.init(args.engine or None)
        self.name = str(self._engine)
        self._done = threading.Event()
        self._engine.connect("finished-utterance", lambda name, completed: self._done.set())
        self._wake_early()
        self._engine.proxy.setBusy(False)  # properties act at once, with nothing behind them to cancel them
        found = self._engine.getProperty("voices")
        ours = fitting(found, args.language)
        self.voices = [(str(v.id), str(v.name), str(v.id) in ours) for v in found]
        self.missing = bool(args.voice) and args.voice not in [voice[0] for voice in self.voices]
        named = "" if self.missing else args.voice
        self.voice = self._set_voice(named or best_of(ours, args.language, self.name, self._current()))
        self.fits = bool(named) or self.voice in ours
        self._set("rate", args.rate)
        self._set("volume", args.volume)

    def _wake_early(self) -> None:
        """Let the espeak driver's 10 ms naps end when the phrase does: they are nearly all of a phrase's time there."""
        driver = sys.modules.get("pyttsx3.drivers.espeak")
        if self.name == "espeak" and hasattr(driver, "time"):
            driver.time = types.SimpleNamespace(sleep=self._done.wait)  # type: ignore[union-attr]

    def _current(self) -> str:
        return str(self._engine.getProperty("voice"))

    def _set_voice(self, wanted: str) -> str:
        if wanted:
            self._set("voice", wanted)
        return self._current()

    def _set(self, name: str, value: Any) -> None:
        self._engine.setProperty(name, value)
        if self.name == "espeak":  # the call is only queued in the C library; the others answer at once
            _wait_until(lambda: self._engine.getProperty(name) in (value, None), 1.0)

    def render(self, text: str, path: Path) -> None:
        """Write `text` as sound to the new file `path`. May hang: whoever started this process keeps the time."""
        self._done.clear()
        self._engine.proxy.setBusy(True)  # 2.99 otherwise loses every phrase but the first on Windows and macOS
        self._engine.save_to_file(text, str(path))
        self._engine.runAndWait()
        if self.name == "espeak":
            self._done.wait(5.0)  # its file may not be complete when runAndWait returns


def _in_words(error: Exception) -> str:
    """Why there is no engine, and what to do about it where we know."""
    if isinstance(error, ModuleNotFoundError):
        return f"the package {error.name} is not installed"
    if isinstance(error, RuntimeError) and "espeak" in str(error).lower():
        return "eSpeak NG was not found; the package espeakng-loader brings it"
    return str(error) or type(error).__name__


def _answer_jobs(engine: Engine, folder: Path, jobs: queue.SimpleQueue[bytes], say: Callable[[Any], None]) -> None:
    while True:
        job = json.loads(jobs.get())
        path = folder / f"{job['job']}.wav"
        try:
            engine.render(job["text"], path)
            say({"job": job["job"], "pcm": base64.b64encode(load(path).pcm).decode()})
        except Exception as error:  # any engine's error is an answer, and the next phrase may work
            say({"job": job["job"], "error": f"{type(error).__name__}: {error}"})
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)


def _read_jobs(jobs: queue.SimpleQueue[bytes]) -> None:
    for line in sys.stdin.buffer:  # bytes: the words are UTF-8 whatever the system's own encoding
        jobs.put(line)
    os._exit(0)  # whoever started this process is gone; an engine that hangs must not outlive it


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    parser.add_argument(
        "--folder", type=Path, required=True, help="for the engine's files; whoever starts this clears it"
    )
    parser.add_argument("--engine", default="")
    parser.add_argument("--voice", default="")
    parser.add_argument("--language", default="en")
    parser.add_argument("--rate", type=int, default=190)
    parser.add_argument("--volume", type=float, default=1.0)
    return parser.parse_args()


def _own_stdout() -> TextIO:
    """The answers' own channel: the engine's drivers print on standard output, which becomes standard error."""
    channel = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    return channel


def main() -> None:
    """Answer jobs until standard input ends."""
    signal.signal(
        signal.SIGINT, signal.SIG_IGN
    )  # an interrupt at the keyboard is for the program, which then ends this
    args = _arguments()
    channel = _own_stdout()

    def say(line: dict[str, Any]) -> None:
        channel.write(json.dumps(line) + "\n")
        channel.flush()

    jobs: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    threading.Thread(target=_read_jobs, args=(jobs,), daemon=True).start()
    try:
        version = preload_espeak()
        engine = Engine(args)
    except Exception as error:
        say({"error": _in_words(error)})
        os._exit(1)
    say(
        {
            "engine": engine.name,
            "voice": engine.voice,
            "version": version or "",
            "missing": engine.missing,
            "fits": engine.fits,
            "voices": engine.voices,
        }
    )
    _answer_jobs(engine, args.folder, jobs, say)


if __name__ == "__main__":
    main()
