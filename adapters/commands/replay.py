"""`climbout replay FLIGHT`: a recording or a text log through the very same coach."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from adapters import common, interrupts
from adapters.cli import EXIT_INTERRUPTED
from adapters.outputs import Outputs, Teller
from adapters.speaking import Speaking, open_voice
from adapters.telling import closing_lines, more_off_lines, off_lines
from monitor.toml_check import shown

if TYPE_CHECKING:
    from adapters.common import Setup
    from adapters.keys import Key
    from replay.opening import Flight
    from replay.player import Pacer

NAME = "replay"
HELP = "play a recording or a text log through the coach"
KEYS = "space pause   q quit"
LAST_WORDS_S = 5.0
"""Time given to the voice to finish what it is saying at the end."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The flight, the pace, and the common options."""
    parser.add_argument("flight", metavar="FLIGHT", help="a recording, or a text log read with --feed")
    parser.add_argument("--speed", metavar="X", default="1", help="times as fast as it was flown (default 1)")
    parser.add_argument("--fast", action="store_true", help="no waiting")
    common.add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Replay one flight: to its end or the key q (0), or to an interrupt (130)."""
    from replay.opening import open_flight

    flight = open_flight(args, args.flight, speed_fault(args.speed))
    tell = Teller()
    for line in (*flight.notes, *off_lines(flight.setup)):
        tell(line)
    with interrupts.watching() as stop:
        _play(args, flight, tell, stop)
    return EXIT_INTERRUPTED if stop.asked else 0


def _play(args: argparse.Namespace, flight: Flight, tell: Teller, stop: interrupts.Stop) -> None:
    from adapters.keys import open_keys
    from adapters.session import Session
    from replay.player import Pacer, Player
    from replay.trainer_setup import Ears

    setup = flight.setup
    session = Session(setup.feed, setup.aircraft, setup.procedure, setup.options)
    outputs, speaking = _outputs(args, setup, tell)
    with open_keys() as keys:
        hand = Hand()
        pacer = Pacer(None if args.fast else float(args.speed), sleep_s=Ears(keys, hand.heard).sleep)
        hand.pacer = pacer
        outputs.start()
        tell.outputs = outputs
        try:
            Player(session, outputs, pacer, lambda: stop.asked or hand.quit).play(flight.steps)
            if speaking is not None and not (stop.asked or hand.quit):
                speaking.drain(LAST_WORDS_S, lambda: stop.asked)
        finally:
            tell.outputs = None
            outputs.close()
    for line in (*closing_lines(session), *flight.closing_notes(), *more_off_lines(setup, flight.absent())):
        tell(line)


def _outputs(args: argparse.Namespace, setup: Setup, tell: Teller) -> tuple[Outputs, Speaking | None]:
    """The screen, and the voice when the flight is played as fast as it was flown; words take the time they take."""
    from adapters.screens import make_screen

    speed = float(args.speed)
    title = "replay" if speed == 1 else f"replay at {speed:g}x"
    screen = make_screen(args, title=title, aircraft=setup.aircraft.name, source="", live=False, keys=KEYS)
    speaking = open_voice(args, setup, {}, tell) if speed == 1 and not args.fast else None
    if speaking is None:
        return Outputs([screen], tell), None
    speaking.caption = getattr(screen, "caption", None)
    return Outputs([speaking, screen], tell), speaking


class Hand:
    """What the keys do in a replay: space pauses and goes on, q and escape end it."""

    def __init__(self) -> None:
        """Nothing pressed yet."""
        self.quit = False
        self.pacer: Pacer | None = None

    def heard(self, key: Key) -> None:
        """One key."""
        if key.name in ("q", "escape"):
            self.quit = True
        elif key.name == "space" and self.pacer is not None:
            self.pacer.paused = not self.pacer.paused


def speed_fault(text: str) -> list[str]:
    """What is wrong with --speed, at most one fault."""
    try:
        good = 0.01 <= float(text) <= 10_000
    except ValueError:
        good = False
    return [] if good else [f"--speed: got {shown(text)}, wanted a number from 0.01 to 10000"]
