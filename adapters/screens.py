"""Which outputs a flight has: JSON lines, the dashboard or plain lines, and the voice."""

from __future__ import annotations

import argparse
import os
import sys

from adapters.outputs import JsonLines, Output, Queued


def in_background() -> bool:
    """Whether this is a job in the terminal's background, which must not paint over what is in front."""
    try:
        return os.tcgetpgrp(sys.stdout.fileno()) != os.getpgrp()  # type: ignore[attr-defined,unused-ignore]
    except (AttributeError, OSError, ValueError):
        return False


def make_screen(
    args: argparse.Namespace, *, title: str, aircraft: str, source: str, live: bool, keys: str = ""
) -> Output:
    """What shows the flight: JSON lines with --json, the dashboard on a terminal that can paint it, else lines.

    live: nothing may wait, so lines are written by a thread. A replay with --fast has lines only.
    """
    if args.json:
        return Queued(JsonLines()) if live else JsonLines()
    from adapters.plain import PlainLines
    from adapters.terminal import Dashboard, cannot_paint
    from monitor.screen_parts import Surroundings

    if not getattr(args, "fast", False) and not in_background() and cannot_paint(sys.stdout) is None:
        return Dashboard(Surroundings(title=title, aircraft=aircraft, source=source, keys=keys))
    return Queued(PlainLines()) if live else PlainLines()
