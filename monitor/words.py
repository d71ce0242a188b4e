"""Event to words: the procedure's phrases with the profile's speeds read digit by digit, and all phrases to render."""

from __future__ import annotations

from monitor.aircraft import Aircraft
from monitor.procedure import Procedure

DIGITS = "zero one two three four five six seven eight nine"


class Words:
    """The phrases of one procedure for one aeroplane."""

    def __init__(self, procedure: Procedure, aircraft: Aircraft) -> None:
        digits = procedure.words.get("digits", DIGITS).split()
        speeds = aircraft.speeds_kias
        named = {"vr": speeds.rotate, "vy": speeds.best_rate, "vx": speeds.best_angle, "glide": speeds.best_glide}
        self._speeds = {name: spoken(value, digits) if value is not None else "" for name, value in named.items()}
        self._said = {key: self._fill(text) for key, text in procedure.words.items() if key != "digits"}

    def _fill(self, text: str) -> str | None:
        for name, said in self._speeds.items():
            text = text.replace(". {" + name + "}", ". " + said.capitalize()).replace("{" + name + "}", said)
        # A speed that the profile lacks leaves the rest of the phrase, without the comma before it.
        return text.strip().rstrip(",").strip() or None

    def say(self, key: str, *others: str) -> str | None:
        """The words for the first of the keys that the procedure has; None where it has none or says nothing."""
        for name in (key, *others):
            if name in self._said:
                return self._said[name]
        return None

    def phrases(self) -> list[str]:
        """Every phrase that can be said, each once, in a steady order."""
        return sorted({text for text in self._said.values() if text})


def spoken(value: float, digits: list[str]) -> str:
    """A whole number read digit by digit: 72 is "seven two"."""
    return " ".join(digits[int(digit)] for digit in str(round(value)))
