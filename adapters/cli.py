"""The `climbout` command: finds the command asked for, imports only that one, and turns faults into exit statuses.

A command is a module in `adapters/commands` with NAME, HELP, `add_arguments(parser)` and `run(args) -> int`. Exit
status: 0 done; 1 ran and found faults; 2 the command line or a file is wrong (one message on standard error with
every fault, no traceback); 130 after SIGINT or SIGTERM. A broken pipe is quiet.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import importlib.util
import os
import re
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any, NoReturn

from adapters import interrupts
from monitor.toml_check import Faults, nearest

COMMANDS = ("demo", "fly", "replay", "debrief", "brief", "drill", "logbook", "feed", "aircraft", "voice")
"""Every command there may be, in the order shown; one whose module is not there stays out."""

CAUTION = (
    "For simulators and training talk only, never for use in a real aeroplane: "
    "the aeroplane's handbook, local regulations and a licensed instructor rule."
)
WHAT = (
    "climbout is the right seat for takeoff practice on a desktop simulator: "
    "it calls what is due, says abort, records, replays and debriefs."
)
EXIT_FAULTS, EXIT_USAGE, EXIT_INTERRUPTED = 1, 2, 130


class Usage(SystemExit):
    """The command line is wrong; the message has been printed."""


class Parser(argparse.ArgumentParser):
    """argparse with its errors in our form on standard error; "-31.25,-48.5" is a value, not an option."""

    def __init__(self, **more: Any) -> None:
        """As `argparse.ArgumentParser`."""
        super().__init__(**more)
        self._negative_number_matcher = re.compile(r"^-\.?\d[\d.,\s-]*$")

    def error(self, message: str) -> NoReturn:
        """Print what is wrong and where help is, exit 2."""
        print(f"{self.prog}: {message}\nSee: {self.prog} --help", file=sys.stderr)
        raise Usage(EXIT_USAGE)


def available() -> list[str]:
    """The commands whose module is there."""
    return [name for name in COMMANDS if importlib.util.find_spec(f"adapters.commands.{name}") is not None]


def command_module(name: str) -> ModuleType:
    """A command's module, imported now."""
    return importlib.import_module(f"adapters.commands.{name}")


def overview() -> str:
    """What climbout is, its commands, and the one line to try first."""
    names = available()
    rows = [f"  climbout {name:<9} {command_module(name).HELP}" for name in names]
    first = "climbout demo" if "demo" in names else "climbout fly"
    return "\n".join(
        [
            textwrap.fill(WHAT, 100),
            "",
            "Commands:",
            *rows,
            "",
            f"Try first:  {first}",
            "",
            "climbout COMMAND --help tells a command's options. climbout --version tells the version.",
            textwrap.fill(CAUTION, 100),
        ]
    )


def build_parser(name: str) -> argparse.ArgumentParser:
    """The parser of one command."""
    module = command_module(name)
    parser = Parser(
        prog=f"climbout {name}", description=module.HELP, epilog=textwrap.fill(CAUTION, 80), allow_abbrev=False,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    module.add_arguments(parser)
    return parser


def our_version() -> str:
    """The installed version, "unknown" when run from a bare tree."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("climbout")
    except PackageNotFoundError:
        return "unknown"


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command line and return its exit status."""
    given = list(sys.argv[1:] if argv is None else argv)
    _plain_streams()
    with _quiet_endings():
        return _run(given)


def _run(given: list[str]) -> int:
    if not given or given[0] in ("-h", "--help", "help"):
        print(overview())
        return 0
    if given[0] == "--version":
        print(f"climbout {our_version()}")
        return 0
    name = given[0]
    if name not in available():
        hint = nearest(name, available())
        print(f"climbout: no command {name!r}{hint}; there are: {', '.join(available())}", file=sys.stderr)
        return EXIT_USAGE
    try:
        args = build_parser(name).parse_args(given[1:])
        run: Callable[[argparse.Namespace], int] = command_module(name).run
        return run(args)
    except Faults as error:
        print(fault_message(name, error), file=sys.stderr)
        return EXIT_USAGE


def fault_message(name: str, error: Faults) -> str:
    """Every fault on a line of its own, and what happens now."""
    count = len(error.faults)
    head = f"climbout {name}: {'one thing is' if count == 1 else f'{count} things are'} wrong; nothing was started"
    return "\n".join([head, *(f"  {fault}" for fault in error.faults)])


def _plain_streams() -> None:
    """UTF-8 on both streams, whatever the system's own encoding; one that was closed by the caller leads nowhere."""
    sys.stdout = sys.stdout or Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  # open to the end
    sys.stderr = sys.stderr or Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")


@contextlib.contextmanager
def _quiet_endings() -> Iterator[None]:
    """Interrupts end a command with 130, in a background job too, where SIGINT is off by default; pipes are quiet."""
    with interrupts.raising():
        try:
            yield
            sys.stdout.flush()
        except KeyboardInterrupt:
            raise SystemExit(EXIT_INTERRUPTED) from None
        except BrokenPipeError:
            # Python flushes stdout again at exit; into nothing, so that no second error is told.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            raise SystemExit(0) from None


if __name__ == "__main__":
    main()
