"""Channels that come in different records at different rates, put together into one sample; each keeps its own age."""

from __future__ import annotations

from adapters.description import FeedDescription
from monitor.sample import Sample

_PACES = ("ias_kt", "groundspeed_kt", "time_s")


class Merger:
    """The latest value of each channel. A record with the pace channel makes a sample of all that are fresh enough.

    The pace is `[decode] pace`, else the first of airspeed, groundspeed and time that is mapped. When the pace channel
    itself is no longer fresh, every record makes a sample, so that its loss is seen and the rest goes on.
    """

    def __init__(self, feed: FeedDescription) -> None:
        """Nothing known yet."""
        mapped = {channel.channel for channel in feed.channels}
        self._pace = feed.decode.pace or next((name for name in _PACES if name in mapped), None)
        self._max_age_s = feed.decode.max_age_s
        self._timed = "time_s" in mapped
        self._values: dict[str, float] = {}
        self._stamps: dict[str, float] = {}

    def sample(self, values: dict[str, float], arrival_ns: int | None) -> Sample | None:
        """The merged sample, or None when this record makes none. Without an arrival, ages count in feed time."""
        self._values.update(values)
        now = arrival_ns / 1e9 if arrival_ns is not None else self._values.get("time_s", 0.0)
        for name in values:
            self._stamps[name] = now
        if self._pace is not None:
            self._stamps.setdefault(self._pace, now)  # until it has had its time to come, it is waited for
        if self._pace is not None and self._pace not in values and self._fresh(self._pace, now):
            return None
        fresh = {name: value for name, value in self._values.items() if self._fresh(name, now)}
        if self._timed and "time_s" not in fresh:
            return None
        if not any(name != "time_s" for name in fresh):
            return None
        return Sample(**fresh)

    def _fresh(self, name: str, now: float) -> bool:
        """Whether the channel's value may still be used; one stamped in the future (time went back) may not."""
        stamp = self._stamps.get(name)
        return stamp is not None and 0.0 <= now - stamp <= self._max_age_s

    def ages_s(self, arrival_ns: int) -> dict[str, float]:
        """Seconds since each channel's latest value."""
        return {name: arrival_ns / 1e9 - stamp for name, stamp in self._stamps.items() if name in self._values}
