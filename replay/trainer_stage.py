"""What the demo and the drill play to: the screen, the voice, and a pilot's ear, as one set of outputs."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Iterator
from types import TracebackType
from typing import TYPE_CHECKING

import msgspec

from adapters import config
from adapters.common import Setup
from adapters.outputs import Output, Outputs, Teller
from adapters.screens import make_screen
from adapters.session import Input
from adapters.speaking import Speaking, open_voice

if TYPE_CHECKING:
    from replay.player import Pacer
    from replay.recording import Recorder

SOURCE = "built-in trainer"
LAST_WORDS_S = 5.0
"""Time given to the voice to finish what it is saying at the end."""


class Stage:
    """Screen and voice for a flight in real time; with `spoken` False (no waiting, another speed) the screen alone.

    Raises `Faults` when the voice's options are wrong. `setup`: as given, told whether a voice speaks.
    """

    def __init__(
        self, args: argparse.Namespace, setup: Setup, tell: Teller, *, title: str, keys: str, spoken: bool
    ) -> None:
        """Nothing is started yet."""
        user = config.load(config.data_dir(args.data_dir))
        self.speaking: Speaking | None = open_voice(args, setup, user, tell) if spoken else None
        told = msgspec.structs.replace(setup.options, voice=self.speaking is not None)
        self.setup = msgspec.structs.replace(setup, options=told)
        self.screen = make_screen(args, title=title, aircraft=setup.aircraft.name, source=SOURCE, live=False, keys=keys)
        self._tell = tell
        self.outputs = Outputs([], tell)

    def open(self, *listeners: Output) -> Stage:
        """Add further outputs; use the result in a `with` block."""
        speaking: list[Output] = [] if self.speaking is None else [self.speaking]
        if self.speaking is not None:
            self.speaking.caption = getattr(self.screen, "caption", None)
        self.outputs = Outputs([*speaking, self.screen, *listeners], self._tell)
        return self

    def __enter__(self) -> Stage:
        """Start the outputs; lines for a person go to the screen from here on."""
        self.outputs.start()
        self._tell.outputs = self.outputs
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the outputs, the terminal given back."""
        self._tell.outputs = None
        self.outputs.close()

    def keep_spoken(self, recorder: Recorder, pacer: Pacer) -> None:
        """Put the voice's log into a recording, its times in the flight's own, as those of the packets are."""
        if self.speaking is not None:
            self.speaking.keep = lambda log: recorder.said(
                [entry._replace(at_ns=pacer.arrival_ns(entry.at_ns)) for entry in log]
            )

    def finish_speaking(self, stop: Callable[[], bool]) -> None:
        """Let the voice finish what it is saying, until `stop` says so."""
        if self.speaking is not None:
            self.speaking.drain(LAST_WORDS_S, stop)

    def with_latency(self, inputs: Iterable[Input]) -> Iterator[Input]:
        """The inputs, and the voice's latency among them whenever it is measured anew."""
        last: float | None = None
        for given in inputs:
            now = None if self.speaking is None else self.speaking.latency_s()
            if now is not None and now != last:
                last = now
                yield Input("voice", given.arrival_ns, "", repr(now).encode())
            yield given
