"""Decoders and sources that other packages bring, by entry point.

Groups: `climbout.decoders` (name = the `format`) and `climbout.sources` (name = the `kind`). Each names a callable
that is given the `FeedDescription` and returns a `Decoder` or a `Source` (`adapters.ports`). The keys of its table
are in `feed.decode.settings` or `feed.transport.settings`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib.metadata import entry_points
from typing import Any

from adapters.ports import Decoder, Fields
from adapters.tally import Tally

DECODERS = "climbout.decoders"
SOURCES = "climbout.sources"


class GuardedDecoder:
    """Another package's decoder, kept from ending the program: what it raises becomes a counted notice."""

    def __init__(self, inner: Decoder, tally: Tally) -> None:
        """Guard `inner`."""
        self._inner = inner
        self._tally = tally

    def decode(self, payload: bytes) -> Sequence[Fields]:
        """The records the decoder finds; none when it raises."""
        self._tally.packets += 1
        try:
            return list(self._inner.decode(payload))
        except Exception as error:  # another package's code may fail in any way
            self._tally.note("decoder", f"the decoder failed: {type(error).__name__}: {error}", "packet skipped")
            return []

    def take_notices(self) -> list[str]:
        """The decoder's notices and ours."""
        try:
            return [*self._inner.take_notices(), *self._tally.take()]
        except Exception as error:
            self._tally.note("notices", f"the decoder's notices failed: {type(error).__name__}: {error}")
            return self._tally.take()


def installed(group: str) -> list[str]:
    """The names that installed packages bring to a group, sorted."""
    return sorted({entry.name for entry in entry_points(group=group)})


def load(group: str, name: str) -> Callable[..., Any]:
    """The callable of that name; raises `LookupError` with a clear text when it is missing or cannot be imported."""
    for entry in entry_points(group=group):
        if entry.name == name:
            try:
                found = entry.load()
            except Exception as error:  # another package's import may fail in any way
                raise LookupError(f"{group} {name!r} ({entry.value}) could not be loaded: {error}") from error
            if callable(found):
                return found  # type: ignore[no-any-return]
            raise LookupError(f"{group} {name!r} ({entry.value}) is not callable")
    raise LookupError(f"no installed package brings {name!r} to {group}")
