"""`key=value` text: one record a datagram, or several when a key comes again."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from adapters.decoders.lines import Lines
from adapters.description import FeedDescription
from adapters.ports import Fields, Value
from adapters.tally import Tally, shown

MOST_PAIRS = 4000


class KeyValueDecoder:
    """Decodes the pairs of one sender's datagrams."""

    def __init__(self, feed: FeedDescription, tally: Tally) -> None:
        """Ready at once."""
        settings = feed.decode
        self._tally = tally
        self._assign = settings.assign
        self._lines = Lines(settings.encoding, tally)
        self._pair = _pair_pattern(settings.assign, settings.delimiter, settings.decimal)

    def decode(self, payload: bytes) -> Sequence[Fields]:
        """The records in the datagram."""
        self._tally.packets += 1
        records: list[dict[str | int, Value]] = [{}]
        lines = self._lines.split(payload)
        for key, value in self._pairs(lines):
            if key in records[-1]:
                records.append({})
            records[-1][key] = value
        if not records[0]:
            if lines:
                text = f"got {shown(lines[0])}, wanted pairs such as {shown('v' + self._assign + '12.5')}"
                self._tally.note("no pair", text, "packet skipped")
            return []
        return records

    def _pairs(self, lines: Sequence[str]) -> Iterator[tuple[str, Value]]:
        count = 0
        for line in lines:
            for found in self._pair.finditer(line):
                count += 1
                if count > MOST_PAIRS:
                    return
                yield found["key"], (found["value"].strip().strip('"') or None)

    def take_notices(self) -> list[str]:
        """What was wrong since the last call."""
        return self._tally.take()


def _pair_pattern(assign: str, delimiter: str, decimal: str) -> re.Pattern[str]:
    """A pair: the key, the sign, and the value up to the next separator.

    Without a stated delimiter any of white space, `;`, `&`, `|` and (unless it is the decimal sign) `,` separates.
    """
    sign = re.escape(assign)
    if delimiter in {"any", "whitespace"}:
        apart = r"\s" if delimiter == "whitespace" else r"\s;&|" if decimal == "," else r"\s;&|,"
        return re.compile(
            rf'(?P<key>[^{apart}{sign}]+)[ \t]*{sign}[ \t]*(?P<value>"[^"]*"|[^{apart}{sign}]*(?=[{apart}]|$))'
        )
    apart = re.escape(delimiter)
    return re.compile(rf"[ \t]*(?P<key>[^{apart}{sign}]*[^{apart}{sign}\s])[ \t]*{sign}(?P<value>[^{apart}]*)")
