"""The checks that are off, in lines for a person: by what a feed's description maps, and by what its data lacks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.aircraft import Aircraft
from monitor.options import Options
from monitor.procedure import Procedure

if TYPE_CHECKING:
    from adapters.feed import FeedDescription

NONE: frozenset[str] = frozenset()


class ChecksOff:
    """What cannot be checked of a flight with this feed, aeroplane and procedure."""

    def __init__(self, feed: FeedDescription, aircraft: Aircraft, procedure: Procedure, options: Options) -> None:
        self._mapped = frozenset(channel.channel for channel in feed.channels)
        self._aircraft = aircraft
        self._procedure = procedure
        self._options = options
        self._absent = NONE

    def lines(self, absent: frozenset[str] = NONE) -> list[str]:
        """A line each with the reason. absent: channels mapped to fields that the data does not have."""
        from monitor.capabilities import checks_off

        off = checks_off(self._aircraft, self._procedure, self._options, self._mapped - absent)
        return [f"off: {check} ({why})" for check, why in off]

    def more_lines(self, absent: frozenset[str]) -> list[str]:
        """Those that are off besides, for want of channels that turn out to be absent; each told once."""
        if absent <= self._absent:
            return []
        told = set(self.lines(self._absent))
        self._absent |= absent
        return [line for line in self.lines(self._absent) if line not in told]
