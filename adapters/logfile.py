"""The rotating log file in the data folder: what was told, when, for looking into things afterwards.

Lines are written by a thread of their own, so a slow disk never holds up a flight.
"""

from __future__ import annotations

import contextlib
import logging
import logging.handlers
import queue
from collections.abc import Iterator
from pathlib import Path

from monitor.events import Event
from monitor.snapshot import Snapshot

NAME = "climbout.log"
BYTES_MAX, KEPT = 1_000_000, 3
"""One megabyte a file, three older ones kept."""

log = logging.getLogger("climbout")


class _Quiet(logging.handlers.RotatingFileHandler):
    """A disk that is full ends the log, not the flight."""

    def handleError(self, record: logging.LogRecord) -> None:
        """Say nothing: the log is a convenience."""


class LoggedEvents:
    """An output that keeps each event in the log, in a few words."""

    name = "the log"
    shows = False

    def start(self) -> str | None:
        """Nothing to say."""
        return None

    def event(self, event: Event) -> None:
        """One line."""
        said = "" if event.say is None else f' "{event.say}"'
        when = "" if event.t_s is None else f"{event.t_s:.3f} s "
        log.info("%s%s %s%s", when, event.kind, event.id, said)

    def show(self, snapshot: Snapshot) -> None:
        """Not kept."""

    def close(self) -> None:
        """Nothing to close."""


@contextlib.contextmanager
def logging_to(folder: Path) -> Iterator[str | None]:
    """Inside, `log` writes to `folder`/climbout.log. Gives a line for a person when it cannot, else None."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handler = _Quiet(folder / NAME, maxBytes=BYTES_MAX, backupCount=KEPT, encoding="utf-8")
    except OSError as error:
        yield f"no log file: {folder / NAME}: {error.strerror or error}"
        return
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    waiting: queue.SimpleQueue[logging.LogRecord] = queue.SimpleQueue()
    feeder = logging.handlers.QueueHandler(waiting)
    listener = logging.handlers.QueueListener(waiting, handler)
    log.setLevel(logging.INFO)
    log.propagate = False
    log.addHandler(feeder)
    listener.start()
    try:
        yield None
    finally:
        log.removeHandler(feeder)
        listener.stop()
        handler.close()
