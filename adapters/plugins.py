"""Decoders and sources that other packages bring, by entry point.

Groups: `climbout.decoders` (name = the `format`) and `climbout.sources` (name = the `kind`). Each names a callable
that is given the `FeedDescription` and returns a `Decoder` or a `Source` (`adapters.ports`). The keys of its table
are in `feed.decode.settings` or `feed.transport.settings`.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import entry_points
from typing import Any

DECODERS = "climbout.decoders"
SOURCES = "climbout.sources"


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
