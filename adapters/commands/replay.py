"""`climbout replay FLIGHT`: a recording or a text log through the very same coach."""

from __future__ import annotations

import argparse

from adapters import common, interrupts
from adapters.cli import EXIT_INTERRUPTED
from adapters.closing import closing_lines
from adapters.outputs import Outputs, Teller
from monitor.toml_check import shown

NAME = "replay"
HELP = "play a recording or a text log through the coach"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The flight, the pace, and the common options."""
    parser.add_argument("flight", metavar="FLIGHT", help="a recording, or a text log read with --feed")
    parser.add_argument("--speed", metavar="X", default="1", help="times as fast as it was flown (default 1)")
    parser.add_argument("--fast", action="store_true", help="no waiting")
    common.add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Replay one flight: to its end (0), or to an interrupt (130)."""
    from adapters.screens import make_screen
    from adapters.session import Session
    from replay.opening import open_flight
    from replay.player import Pacer, Player

    flight = open_flight(args, args.flight, speed_fault(args.speed))
    setup, tell = flight.setup, Teller()
    for line in flight.notes:
        tell(line)
    session = Session(setup.feed, setup.aircraft, setup.procedure, setup.options)
    title = f"replay at {float(args.speed):g}x"
    outputs = Outputs([make_screen(args, title=title, aircraft=setup.aircraft.name, source="", live=False)], tell)
    outputs.start()
    with interrupts.watching() as stop:
        try:
            pacer = Pacer(None if args.fast else float(args.speed))
            played = Player(session, outputs, pacer, lambda: stop.asked).play(flight.steps)
        finally:
            outputs.close()
    for line in (*closing_lines(session), *flight.closing_notes()):
        tell(line)
    return 0 if played.whole else EXIT_INTERRUPTED


def speed_fault(text: str) -> list[str]:
    """What is wrong with --speed, at most one fault."""
    try:
        good = 0.01 <= float(text) <= 10_000
    except ValueError:
        good = False
    return [] if good else [f"--speed: got {shown(text)}, wanted a number from 0.01 to 10000"]
