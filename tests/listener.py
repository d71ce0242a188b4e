"""Hears what a device was given: pocketsphinx with a grammar of the phrases that may have been said.

Recipe (measured on these voices): 16 kHz, a quarter of a second of padding, white noise of 100 of 32,767 added, since
digital silence upsets the recogniser; then 74 to 75 of the 76 phrases of the normal procedure are told from each other.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np
from pocketsphinx import Config, Decoder, get_model_path

from adapters.speech.clip import RATE_HZ

_HZ = 16000
_PAD = _HZ // 4
_OWN_WORDS = {"overspeed": "OW V ER S P IY D"}


def words_of(text: str) -> str:
    """A phrase as the recogniser gives it: small letters, no punctuation."""
    return " ".join(re.findall(r"[a-z]+", text.lower()))


class Listener:
    """Tells which of the phrases a piece of sound is, or None."""

    def __init__(self, phrases: Iterable[str]) -> None:
        """Load the model, with a grammar of alternatives."""
        model = f"{get_model_path()}/en-us"
        settings = {"hmm": f"{model}/en-us", "dict": f"{model}/cmudict-en-us.dict", "samprate": _HZ}
        self._decoder = Decoder(Config(**settings, lm=None, bestpath=False, loglevel="FATAL"))
        for word, sounds in _OWN_WORDS.items():
            self._decoder.add_word(word, sounds, True)
        choices = " | ".join(sorted({words_of(text) for text in phrases}))
        self._decoder.add_jsgf_string("calls", f"#JSGF V1.0; grammar calls; public <call> = {choices};")
        self._decoder.activate_search("calls")

    def hear(self, pcm: bytes) -> str | None:
        """The phrase in `pcm` (one channel, 16 bits, the clips' rate), as `words_of` gives it."""
        sound = _resample(np.frombuffer(pcm, "<i2").astype(float))
        quiet = np.zeros(_PAD)
        noise = np.random.default_rng(1).normal(0.0, 100.0, len(sound) + 2 * _PAD)
        heard = np.clip(np.concatenate([quiet, sound, quiet]) + noise, -32768, 32767).astype("<i2")
        self._decoder.start_utt()
        self._decoder.process_raw(heard.tobytes(), full_utt=True)
        self._decoder.end_utt()
        found = self._decoder.hyp()
        return str(found.hypstr) if found and found.hypstr else None


def _resample(sound: np.ndarray) -> np.ndarray:
    count = len(sound) * _HZ // RATE_HZ
    return np.fft.irfft(np.fft.rfft(sound)[: count // 2 + 1], count) * (count / len(sound))
