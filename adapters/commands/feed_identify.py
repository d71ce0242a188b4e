"""`climbout feed identify`: find out which field of a feed is which, by asking for one control or state at a time."""

from __future__ import annotations

import argparse

from adapters import watch_listen
from adapters.identify_steps import STEPS

NAME = "identify"
HELP = "find which field is which, by moving one control at a time"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Where to listen or what recorded stream to take, and where to write."""
    watch_listen.add_arguments(parser)
    parser.add_argument("--out", metavar="FILE", help="write the feed description to FILE (default: standard output)")
    parser.add_argument("--name", default="my simulator", metavar="TEXT", help="the feed's name in the description")
    parser.add_argument(
        "--skip", default="", metavar="STEPS", help=f"steps not to ask for: {', '.join(s.id for s in STEPS)}"
    )
    parser.add_argument(
        "--save", metavar="NAME", help="keep what came and what you answered in NAME.packets and NAME.answers"
    )
    group = parser.add_argument_group("on a recorded stream, with nothing asked")
    group.add_argument("--stream", metavar="FILE", help="a recording, a capture, or a text log")
    group.add_argument("--answers", metavar="FILE", help="what was done and read, as --save keeps it")
    group.add_argument(
        "--rate", type=float, metavar="HZ", help="lines a second of a text log without a clock of its own"
    )
    parser.add_argument("--json", action="store_true", help="the result as one JSON object on standard output")


def run(args: argparse.Namespace) -> int:
    """Identify. 0 done or cancelled; 1 no format fits, or what the coach needs was not found; 2 a file is wrong."""
    from adapters.commands.feed_identify_run import identify  # not before: it brings numpy

    return identify(args)
