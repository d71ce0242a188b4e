"""`climbout fly`: ride along live."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from adapters import common, config, interrupts
from adapters.cli import CAUTION, EXIT_INTERRUPTED, our_version
from adapters.logfile import LoggedEvents, log, logging_to
from adapters.outputs import Outputs, Queued, Teller
from adapters.ports import Source
from adapters.speaking import Speaking, open_voice
from adapters.telling import closing_lines, off_lines
from monitor.toml_check import Faults

if TYPE_CHECKING:
    from replay.recording import Recorder

NAME = "fly"
HELP = "ride along live: listen to a feed, coach, record"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Where to record, and the common options."""
    group = parser.add_mutually_exclusive_group()
    group.add_argument("--record", metavar="FILE", help="record to FILE (default: a new file in the data folder)")
    group.add_argument("--no-record", action="store_true", help="record nothing, and enter nothing in the logbook")
    common.add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Fly until the key q (0), an interrupt (130), or until nobody reads standard output any more (0)."""
    folder = config.data_dir(args.data_dir)
    setup, levels = _with_levels(common.resolve(args, voice=True), folder)
    user = config.load(folder)
    tell = Teller(log.info)
    speaking = open_voice(args, setup, user, tell)
    setup = msgspec.structs.replace(setup, options=msgspec.structs.replace(setup.options, voice=speaking is not None))
    with ExitStack() as stack:
        stop = stack.enter_context(interrupts.watching())
        no_log = stack.enter_context(logging_to(folder))
        source = stack.enter_context(_open_source(setup))
        recorder, not_recorded = _recorder(args, setup, folder, tell)
        if recorder is not None:
            stack.callback(recorder.close)
        recording = not_recorded if recorder is None else recording_line(recorder.path, folder)
        for line in start_lines(setup, source, recording):
            tell(line)
        if levels is not None:
            tell(levels)
        for line in getattr(source, "remarks", list)():
            tell(line)
        if no_log:
            tell(no_log)
        _fly(args, setup, source, recorder, tell=tell, stop=stop, speaking=speaking)
    interrupted = stop.asked
    if recorder is not None:
        tell(f"recorded: climbout replay {recorder.path}")
        interrupted = not _entered(recorder.path, folder, tell) or interrupted
    return EXIT_INTERRUPTED if interrupted else 0


def _with_levels(setup: common.Setup, folder: Path) -> tuple[common.Setup, str | None]:
    """At level auto, what the logbook says of each call becomes part of the options, and so of the recording."""
    if "auto" not in (setup.options.level or setup.procedure.level, *setup.procedure.levels.values()):
        return setup, None
    from replay.logbook_levels import with_levels

    return with_levels(setup, folder, time.time())


def _entered(recording: Path, folder: Path, tell: Callable[[str], None]) -> bool:
    """Enter the flight in the logbook; False when an interrupt skipped it."""
    from replay.logbook_entry import enter_flight

    return enter_flight(recording, folder, tell)


def _fly(
    args: argparse.Namespace,
    setup: common.Setup,
    source: Source,
    recorder: Recorder | None,
    *,
    tell: Teller,
    stop: interrupts.Stop,
    speaking: Speaking | None,
) -> None:
    from adapters.keys import open_keys
    from adapters.live import Live, no_record
    from adapters.screens import make_screen
    from adapters.session import Session

    # Other threads (recorder, voice) hand the interpreter back sooner than after the usual 5 ms.
    sys.setswitchinterval(0.0005)
    session = Session(setup.feed, setup.aircraft, setup.procedure, setup.options)
    where = source.describe()
    screen = make_screen(args, title="fly", aircraft=setup.aircraft.name, source=where, live=True, keys="q quit")
    outputs = Outputs([*([] if speaking is None else [speaking]), screen, LoggedEvents()], tell)
    if speaking is not None:
        speaking.caption = getattr(screen, "caption", None)
        speaking.keep = None if recorder is None else recorder.said
    with open_keys() as keys:
        live = Live(
            source,
            session,
            outputs,
            record=no_record if recorder is None else recorder.record,
            notice=tell,
            latency_s=(lambda: None) if speaking is None else speaking.latency_s,
            keys=lambda: [key.name for key in iter(lambda: keys.read(0), None)],
        )
        outputs.start()
        tell.outputs = outputs
        try:
            live.run(lambda: stop.asked or (isinstance(screen, Queued) and screen.broken))
        finally:
            tell.outputs = None
            outputs.close()
    for line in closing_lines(session, source):
        tell(line)


@contextmanager
def _open_source(setup: common.Setup) -> Iterator[Source]:
    from adapters.feed import SourceError, make_source

    try:
        source = make_source(setup.feed)
    except SourceError as error:
        raise Faults([str(error)]) from None
    try:
        yield source
    finally:
        source.close()


def _recorder(
    args: argparse.Namespace, setup: common.Setup, folder: Path, tell: Callable[[str], None]
) -> tuple[Recorder | None, str]:
    """The recorder, or None and why. A file asked for that cannot be made is a fault; else the flight goes on."""
    from replay.keeping import start_recorder

    if args.no_record:
        return None, "recording: off"
    try:
        recorder = start_recorder(
            setup,
            None if args.record is None else Path(args.record).expanduser(),
            folder,
            command=NAME,
            version=our_version(),
            started=datetime.now().astimezone(),
            keep_gb=_keep_gb(config.load(folder)),
            tell=tell,
        )
    except Faults as faults:
        if args.record is not None:
            raise
        return None, f"recording: off; {faults}"
    return recorder, ""


def _keep_gb(user: Mapping[str, Any]) -> float:
    return float(user.get("keep_gb", config.KEEP_GB))


def recording_line(path: Path, folder: Path) -> str:
    """Where it records, and how much is kept there."""
    keep_gb = _keep_gb(config.load(folder))
    kept = f"; the newest {keep_gb:g} GB in the data folder are kept" if keep_gb and folder in path.parents else ""
    return f"recording: {path}{kept}"


def start_lines(setup: common.Setup, source: Source, recording: str) -> list[str]:
    """What a person is told before the flight: the caution, where it listens and records, which checks are off."""
    return [
        CAUTION,
        *setup.notes,
        f"listening: {source.describe()}; aeroplane: {setup.aircraft.name}; procedure: {setup.procedure.name}",
        recording,
        *off_lines(setup),
    ]
