"""Where events go: every consumer with its own `try`, and its own bounded queue and thread where it could wait.

A consumer that fails is let go of with one line for a person; the others and the coach never notice.
"""

from __future__ import annotations

import contextlib
import os
import queue
import sys
import threading
from collections.abc import Callable
from typing import BinaryIO, Protocol

from monitor.events import Event, to_json
from monitor.snapshot import Snapshot

QUEUE_MAX = 10_000
CLOSE_S = 5.0
"""Seconds given to a consumer that is behind to catch up at the end."""


class Output(Protocol):
    """One consumer of events. No call may block."""

    def start(self) -> str | None:
        """Begin. One line for a person on what it is or why it is not there, or None."""
        ...

    def event(self, event: Event) -> None:
        """One event, as it was noticed."""
        ...

    def show(self, snapshot: Snapshot) -> None:
        """The moment as it stands now; as often as the loop likes."""
        ...

    def close(self) -> None:
        """The end: what is still waiting goes out, then nothing more."""
        ...


def name_of(output: Output) -> str:
    """What a person is told an output is: its `name` when it has one."""
    name = getattr(output, "name", None)
    return name if isinstance(name, str) else type(output).__name__


class Outputs:
    """All consumers as one. Lines for a person go to `tell`."""

    def __init__(self, outputs: list[Output], tell: Callable[[str], None]) -> None:
        """Keep the consumers in the order they are to be served."""
        self._outputs = list(outputs)
        self._tell = tell

    @property
    def showing(self) -> bool:
        """Whether any consumer has a use for snapshots (`shows` is not False)."""
        return any(getattr(output, "shows", True) for output in self._outputs)

    def start(self) -> None:
        """Begin with each; what one says about itself is told."""
        for output in list(self._outputs):
            line = self._safely(output, output.start)
            if line:
                self._tell(line)

    def event(self, event: Event) -> None:
        """Hand an event to each."""
        for output in list(self._outputs):
            self._safely(output, lambda output=output: output.event(event))  # type: ignore[misc]

    def show(self, snapshot: Snapshot) -> None:
        """Hand a snapshot to each."""
        for output in list(self._outputs):
            self._safely(output, lambda output=output: output.show(snapshot))  # type: ignore[misc]

    def notice(self, text: str) -> bool:
        """Show a line for a person on those that have room for one (`notice`); False when none has."""
        shown = False
        for output in list(self._outputs):
            notice = getattr(output, "notice", None)
            if notice is not None:
                self._safely(output, lambda notice=notice: notice(text))  # type: ignore[misc]
                shown = True
        return shown

    def close(self) -> None:
        """End with each, the last begun first."""
        for output in reversed(list(self._outputs)):
            self._safely(output, output.close)

    def _safely(self, output: Output, call: Callable[[], str | None]) -> str | None:
        try:
            return call()
        except BrokenPipeError:
            raise
        except Exception as error:  # whatever a consumer does, the others go on
            if output in self._outputs:
                self._outputs.remove(output)
            self._tell(f"{name_of(output)} failed and is off, the rest goes on: {type(error).__name__}: {error}")
            with contextlib.suppress(Exception):
                output.close()
            return None


class JsonLines:
    """Events as JSON lines on a binary stream, each flushed at once. For a replay: writes where it stands."""

    name = "the output of JSON lines"
    shows = False
    """It has no use for snapshots."""

    def __init__(self, stream: BinaryIO | None = None) -> None:
        """Write to `stream`, standard output when None."""
        self._stream = sys.stdout.buffer if stream is None else stream

    def start(self) -> str | None:
        """Nothing to say: standard output holds JSON only."""
        return None

    def event(self, event: Event) -> None:
        """Write one line. Raises BrokenPipeError when the reader has gone."""
        self._stream.write(to_json(event) + b"\n")
        self._stream.flush()

    def show(self, snapshot: Snapshot) -> None:
        """Snapshots are not printed."""

    def close(self) -> None:
        """The stream is not ours to close."""


class Queued:
    """Another output behind a bounded queue and a thread of its own: a slow reader never holds up the coach.

    `broken` tells that the reader of a pipe has gone. When `QUEUE_MAX` events wait, the output gives up rather than
    skip one.
    """

    def __init__(self, output: Output) -> None:
        """Wrap `output`; its calls are made from the thread, but for `start`."""
        self._output = output
        self._queue: queue.Queue[Callable[[], object] | None] = queue.Queue(QUEUE_MAX)
        self._thread = threading.Thread(target=self._serve, name=type(output).__name__, daemon=True)
        self._error: Exception | None = None
        self.broken = False
        self.name = name_of(output)
        self.shows: bool = getattr(output, "shows", True)
        self.notice: Callable[[str], None] | None = self._notice if hasattr(output, "notice") else None

    def start(self) -> str | None:
        """Start the output, then the thread."""
        line = self._output.start()
        self._thread.start()
        return line

    def event(self, event: Event) -> None:
        """Hand an event over. Raises what the output raised in its thread, or RuntimeError when it is far behind."""
        self._put(lambda: self._output.event(event))

    def _notice(self, text: str) -> None:
        """Hand a line for a person over."""
        self._put(lambda: self._output.notice(text))  # type: ignore[attr-defined]

    def show(self, snapshot: Snapshot) -> None:
        """Hand a snapshot over, unless the output is behind."""
        if self.shows and self._queue.empty():
            self._put(lambda: self._output.show(snapshot))

    def close(self) -> None:
        """Wait for what is in the queue, `CLOSE_S` at most when the reader does not read, and close the output."""
        with contextlib.suppress(queue.Full):
            self._queue.put(None, timeout=CLOSE_S)
        if self._thread.is_alive():
            self._thread.join(CLOSE_S)
        if not self._thread.is_alive():
            self._output.close()

    def _put(self, call: Callable[[], object]) -> None:
        if self._error is not None:
            raise self._error
        if self.broken:
            return
        try:
            self._queue.put_nowait(call)
        except queue.Full:
            raise RuntimeError(f"{QUEUE_MAX:,} lines wait to be read") from None

    def _serve(self) -> None:
        while (call := self._queue.get()) is not None:
            if self.broken or self._error is not None:
                continue
            try:
                call()
            except BrokenPipeError:
                self.broken = True
                silence_stdout()
            except Exception as error:  # told at the next event
                self._error = error


def silence_stdout() -> None:
    """Point standard output at nothing, so that Python's flush at exit does not complain of a broken pipe."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


class Teller:
    """Tells a person one line: on what has room for it, else on standard error; always in the log file."""

    def __init__(self, log: Callable[[str], None] = lambda _line: None) -> None:
        """`log` keeps each line."""
        self.outputs: Outputs | None = None
        self._log = log

    def __call__(self, line: str) -> None:
        """Tell one line."""
        self._log(line)
        if self.outputs is None or not self.outputs.notice(line):
            with contextlib.suppress(OSError, ValueError):
                print(line, file=sys.stderr, flush=True)
