"""The voice speaks the procedure's language where a voice for it is installed, and says so where none is."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

import numpy as np
import pytest

from adapters import cli, common, library
from adapters.speaking import open_voice
from adapters.speech.cache import ClipCache, ClipKey
from adapters.speech.child import Hello
from adapters.speech.clip import Clip
from adapters.speech.library import Library
from adapters.speech.render import ESPEAK_VOICE, best_of, fitting
from adapters.voice import VoiceSettings, make_child, make_library
from monitor.callouts import phrases
from replay.trainer_feed import feed_text
from tests.fake_speech import fake_child

DEADLINE_S = 20.0
DIGITS = {"null", "eins", "zwo", "drei", "vier", "fünf", "sechs", "sieben", "acht", "neun"}


class _Voice:
    """A voice as the engines' drivers list it."""

    def __init__(self, id_: str, *languages: str | None) -> None:
        self.id, self.languages = id_, list(languages)


WINDOWS = [_Voice("HKLM/EN-US", "en-US"), _Voice("HKLM/DE-AT", "de-AT"), _Voice("HKLM/DE-DE", "de-DE")]
MACOS = [_Voice("com.anna", "de_DE"), _Voice("com.samantha", "en_US"), _Voice("com.daniel", "en_GB")]
LINUX = [_Voice("gmw/de", "de"), _Voice("gmw/en", "en-gb"), _Voice(ESPEAK_VOICE, "en-us"), _Voice("odd", None)]


@pytest.mark.parametrize(
    ("voices", "engine", "default", "language", "speaks"),
    [
        (WINDOWS, "sapi5", "HKLM/EN-US", "en", ""),
        (WINDOWS, "sapi5", "HKLM/EN-US", "de", "HKLM/DE-AT"),
        (WINDOWS, "sapi5", "HKLM/DE-DE", "de", ""),
        (WINDOWS, "sapi5", "HKLM/EN-US", "de-DE", "HKLM/DE-DE"),
        (WINDOWS, "sapi5", "HKLM/EN-US", "fr", ""),
        (MACOS, "nsss", "com.anna", "en", "com.samantha"),
        (MACOS, "nsss", "com.samantha", "en-GB", "com.daniel"),
        (MACOS, "nsss", "com.samantha", "de", "com.anna"),
        (LINUX, "espeak", "gmw/en", "en", ESPEAK_VOICE),
        (LINUX, "espeak", "gmw/en", "en-GB", "gmw/en"),
        (LINUX, "espeak", "gmw/en", "de", "gmw/de"),
        (LINUX, "espeak", "gmw/en", "de-CH", "gmw/de"),
        (LINUX, "espeak", "gmw/en", "fr", ""),
    ],
)
def test_the_voice_that_fits_the_language(
    voices: list[_Voice], engine: str, default: str, language: str, speaks: str
) -> None:
    """Its very region first, then the language; the engine's own default stays when it fits, or when nothing does."""
    assert best_of(fitting(voices, language), language, engine, default) == speaks


def test_a_language_without_a_voice_is_one_line(tmp_path: Path) -> None:
    """No voice for the language: the default speaks, which is said once, however often the engine is started."""
    made = Library(
        ["one", "two"],
        ClipKey("fake", "", "fr", 190, 1.0, "1"),
        ClipCache(tmp_path),
        lambda: fake_child("if job['text'] == 'two': os._exit(7)", "hello['fits'] = False"),
    )
    made.start()
    assert made.ready.wait(DEADLINE_S)
    made.close()
    lines = [line for line in made.take_notices() if "language" in line]
    assert len(lines) == 1 and 'no voice for the language "fr" is installed; speaking with "one"' in lines[0]


def _asked(*line: str) -> VoiceSettings:
    """The settings of the voice that a command with these options would open."""
    parser = cli.Parser()
    common.add_common(parser)
    args: argparse.Namespace = parser.parse_args(line)
    setup = common.resolve(args, use_config=False, assumed_feed=feed_text(), env={})
    speaking = open_voice(args, setup, {}, print, env={})
    assert speaking is not None
    key = speaking.voice._library._key
    return VoiceSettings(engine=key.engine, voice=key.voice, language=key.language)


def test_the_language_is_the_procedures() -> None:
    """The built-in German procedure asks for a German voice, the normal one for an English; a named voice is kept."""
    assert _asked().language == "en"
    assert _asked("--procedure", "normal-de").language == "de"
    assert _asked("--procedure", "normal-de", "--voice", "gmw/fr").voice == "gmw/fr"


def _hello(settings: VoiceSettings) -> Hello:
    child = make_child(settings)
    try:
        return child.start(DEADLINE_S)
    finally:
        child.close()


espeak = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the voices that pip brings are Linux's")


@espeak
@pytest.mark.parametrize(
    ("language", "voice", "fits"),
    [("de", "gmw/de", True), ("de-AT", "gmw/de", True), ("pt-BR", "roa/pt-br", True), ("tlh-x-none", "", False)],
)
def test_the_real_engine_finds_it(language: str, voice: str, fits: bool) -> None:
    """espeak-ng's own list of voices: German for German, the very region where it has one, and "none" is told."""
    pytest.importorskip("espeakng_loader")
    hello = _hello(VoiceSettings(language=language))
    assert hello.fits is fits
    assert hello.voice == voice or not fits


@espeak
def test_every_german_phrase_sounds(tmp_path: Path) -> None:
    """The real engine renders the German procedure whole: each phrase loud and long enough, and none like another."""
    pytest.importorskip("espeakng_loader")
    said = phrases(library.open_procedure("normal-de"), library.open_aircraft("sedge"))
    clips = _rendered(said, "de", tmp_path)
    assert len(said) > 60 and set(clips) == set(said)
    for text, clip in clips.items():
        level = np.sqrt(np.mean(np.frombuffer(clip.pcm, "<i2").astype(float) ** 2))
        assert level > 500, text  # of 32,767; silence is 0, espeak-ng's phrases are 2,000 to 4,000
        assert 0.02 * len(text) <= clip.duration_s <= 0.25 + 0.11 * len(text), text
    assert len({clip.pcm for clip in clips.values()}) == len(said)
    english = _rendered(said[:5], "en", tmp_path)
    assert all(clips[text].pcm != clip.pcm for text, clip in english.items())


def _rendered(said: list[str], language: str, folder: Path) -> dict[str, Clip]:
    made = make_library(said, VoiceSettings(language=language, cache_dir=folder))
    made.start()
    assert made.ready.wait(DEADLINE_S)
    made.close()
    return {text: clip for text in said if (clip := made.get(text)) is not None}


def test_a_german_demo_says_german_words(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    """Same calls as in English, at the same times, in words of the German procedure, numbers digit by digit."""
    monkeypatch.setenv("CLIMBOUT_HOME", str(tmp_path))
    german, english = (_demo(capfdbinary, *more) for more in (("--procedure", "normal-de"), ()))
    known = phrases(library.open_procedure("normal-de"), library.open_aircraft("sedge"))
    assert [(line["t"], line["id"]) for line in german] == [(line["t"], line["id"]) for line in english]
    assert {line["say"] for line in german} <= set(known)
    assert {line["say"] for line in german}.isdisjoint({line["say"] for line in english})
    climb = next(line["say"] for line in german if line["id"] == "climb-speed")
    assert climb.startswith("Steigfahrt, ") and set(climb.removeprefix("Steigfahrt, ").split()) <= DIGITS


def _demo(printed: pytest.CaptureFixture[bytes], *options: str) -> list[dict[str, str]]:
    printed.readouterr()
    assert cli.main(["demo", "--fast", "--json", *options]) == 0
    return [line for line in map(json.loads, printed.readouterr().out.splitlines()) if line["say"]]
