"""SIGINT and SIGTERM, by handlers of our own: Python's default is absent in a job started in the background.

A command without a loop of its own is stopped by KeyboardInterrupt (`raising`). One that has a loop to end tidily
asks a `Stop` between two turns (`watching`), so that nothing is cut off between judging and recording.
"""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Iterator
from typing import Any, NoReturn

_NUMBERS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGBREAK") if hasattr(signal, name))


class Stop:
    """Whether an interrupt came. A second one raises KeyboardInterrupt, for when the tidy end hangs."""

    def __init__(self) -> None:
        """None came yet."""
        self.asked = False

    def handle(self, _number: int, _frame: object) -> None:
        """The signal handler."""
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True


@contextlib.contextmanager
def _installed(handler: Callable[[int, Any], Any]) -> Iterator[None]:
    before: dict[int, Any] = {}
    for number in _NUMBERS:
        with contextlib.suppress(ValueError):  # not the main thread: whoever owns it owns its signals
            before[number] = signal.signal(number, handler)
    try:
        yield
    finally:
        for number, old in before.items():
            signal.signal(number, signal.SIG_DFL if old is None else old)


def _raise(_number: int, _frame: object) -> NoReturn:
    raise KeyboardInterrupt


@contextlib.contextmanager
def raising() -> Iterator[None]:
    """Inside, an interrupt raises KeyboardInterrupt."""
    with _installed(_raise):
        yield


@contextlib.contextmanager
def watching() -> Iterator[Stop]:
    """Inside, a first interrupt only sets the `Stop` that is given."""
    stop = Stop()
    with _installed(stop.handle):
        yield stop
