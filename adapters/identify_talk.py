"""The guided talk: asks for one step after another, takes the readings, and keeps when what was done.

No terminal and no clock in here: asking, telling, waiting and the time are handed in, so a test plays the pilot.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Protocol

import msgspec

from adapters.identify_labels import WORDS
from adapters.identify_steps import (
    STEPS,
    AnswerError,
    Answers,
    Step,
    Typed,
    Window,
    gauge,
    parse_reading,
)
from monitor.sample import CHANNELS

LEAST_STEP_S = 1.5
"""A step shorter than this was a slip of the key."""


class Cancelled(Exception):
    """The pilot asked to stop; nothing is to be written."""


class _Enough(Exception):
    """The pilot wants the result of what there is."""


class Talk(Protocol):
    """How the talk reaches the pilot."""

    def ask(self, text: str) -> str:
        """Show a prompt and give the line typed; raises EOFError when no more can come."""
        ...

    def tell(self, text: str) -> None:
        """Show a line."""
        ...

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        ...

    def now_s(self) -> float:
        """Arrival seconds of the stream, now."""
        ...


class Progress(msgspec.Struct):
    """What has been answered so far."""

    windows: list[Window] = []
    typed: list[Typed] = []

    def answers(self) -> Answers:
        """As the identification takes them."""
        return Answers(tuple(self.windows), tuple(self.typed))


HOW = (
    "One thing at a time is asked for. Enter = begin, or done;  s = skip this one;  r = do it again;",
    "e = that is enough, work it out;  q = cancel.  Readings: a number as the gauge shows it, with a unit if it is",
    "not the one asked for (82 degC); Enter alone skips. Pause the simulator while you read, if it can.",
)


def guide(
    talk: Talk,
    remark: Callable[[Window], Sequence[str]] = lambda _window: (),
    skip: Sequence[str] = (),
    progress: Progress | None = None,
) -> Answers:
    """Go through the steps with the pilot. remark: what to say of a step just made. Raises `Cancelled`."""
    progress = progress or Progress()
    steps = [step for step in STEPS if step.id not in skip]
    for line in HOW:
        talk.tell(line)
    try:
        for number, step in enumerate(steps, 1):
            talk.tell("")
            if _make(talk, step, f"{number}/{len(steps)}  ", progress, remark):
                _readings(talk, step, progress)
    except (_Enough, EOFError):
        talk.tell("Working with what there is.")
    return progress.answers()


def _make(talk: Talk, step: Step, place: str, progress: Progress, remark: Callable[[Window], Sequence[str]]) -> bool:
    """One step, again until it is as the pilot wants it. False when it was skipped."""
    while True:
        if _command(talk.ask(f"{place}{step.ask} ")) == "s":
            return False
        begun = talk.now_s()
        if step.hands_off:
            talk.tell(f"   … {step.watch_s:.0f} seconds …")
            talk.wait(step.watch_s)
        elif _command(talk.ask("   Enter when done: ")) == "s":
            return False
        window = Window(step.id, begun, talk.now_s())
        if window.to_s - window.from_s < LEAST_STEP_S:
            talk.tell(f"   That was only {window.to_s - window.from_s:.1f} s. Once more, please.")
            continue
        for line in remark(window):
            talk.tell(f"   {line}")
        if step.hands_off or _command(talk.ask("   Enter = on,  r = again: ")) != "r":
            progress.windows.append(window)
            return True


def _command(line: str) -> str:
    """The letter typed; raises when it ends the talk."""
    word = line.strip().lower()
    if word in {"q", "quit"}:
        raise Cancelled
    if word in {"e", "end", "enough"}:
        raise _Enough
    return word[:1]


def _readings(talk: Talk, step: Step, progress: Progress) -> None:
    for channel in step.reads:
        typed = _reading(talk, channel)
        if typed is not None:
            progress.typed.append(typed)
    while step.reads:
        line = talk.ask("   another gauge, as in `oat 12 degC` or `fuel flow 9.5` (Enter: no more): ")
        if not line.strip():
            return
        _command(line)
        try:
            progress.typed.append(other_reading(line, talk.now_s()))
        except AnswerError as error:
            talk.tell(f"   {error}")


def _reading(talk: Talk, channel: str) -> Typed | None:
    while True:
        line = talk.ask(f"   {gauge(channel)}: ")
        if not line.strip():
            return None
        if not any(letter.isdigit() for letter in line):
            if _command(line) == "s":
                return None
            talk.tell("   A number, please, or Enter to skip.")
            continue
        try:
            return parse_reading(channel, line, talk.now_s())
        except AnswerError as error:
            talk.tell(f"   {error}")


def other_reading(line: str, at_s: float) -> Typed:
    """A reading that names its gauge: "oat 12 degC", "bus_v 13.8". Raises `AnswerError`."""
    found = re.match(r"\s*([A-Za-z_ ]+?)\s*[:=]?\s*([-+]?[\d.,].*)$", line)
    if found is None:
        raise AnswerError(f"got {line.strip()!r}, wanted a gauge's name and a number")
    channel = channel_named(found[1])
    if channel is None:
        raise AnswerError(f"got {found[1]!r}, wanted a channel such as oat_degc, or words such as fuel flow")
    return parse_reading(channel, found[2], at_s)


def channel_named(text: str) -> str | None:
    """The channel a person means: by its own name, or the one that most of the words point at, if there is just one."""
    if text.strip() in CHANNELS:
        return text.strip()
    said = set(re.findall(r"[a-z]+", text.lower()))
    hits = {channel: len(said & set(words.split())) for channel, words in WORDS.items()}
    best = max(hits.values())
    named = [channel for channel, count in hits.items() if count == best]
    return named[0] if best and (len(named) == 1 or best == len(said)) else None
