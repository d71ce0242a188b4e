"""NMEA 0183 sentences, read by pynmea2. Fields are named "RMC.spd_over_grnd", "GGA.latitude", "HDT.heading".

Sentences of one datagram are one record until a kind comes again. `KIND.time_s` is the sentence's time of day in
seconds, carried on over midnight. A sentence without a good checksum is skipped, and so is one that says of itself
that it holds no valid data (RMC status V, GGA quality 0, mode N).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pynmea2

from adapters.decoders.lines import Lines
from adapters.description import FeedDescription
from adapters.ports import Fields, Value
from adapters.tally import Tally, shown

_DAY_S = 86_400.0
MOST_SENTENCES = 1000
_INVALID = {"status": "V", "gps_qual": "0", "faa_mode": "N", "mode_indicator": "N"}


class NmeaDecoder:
    """Decodes the sentences of one sender; remembers the day's turn."""

    def __init__(self, feed: FeedDescription, tally: Tally) -> None:
        """No time known yet."""
        del feed
        self._tally = tally
        self._lines = Lines("latin-1", tally)  # any byte is a character of it: one bad byte costs one sentence
        self._days = 0
        self._last_s: float | None = None

    def decode(self, payload: bytes) -> Sequence[Fields]:
        """The records in the datagram."""
        self._tally.packets += 1
        records: list[dict[str | int, Value]] = [{}]
        seen: set[str] = set()
        for line in self._lines.split(payload)[:MOST_SENTENCES]:
            kind, fields = self._sentence(line.strip())
            if not fields:
                continue
            if kind in seen:
                records.append({})
                seen.clear()
            seen.add(kind)
            records[-1].update(fields)
        return [record for record in records if record]

    def _sentence(self, line: str) -> tuple[str, dict[str | int, Value]]:
        try:
            sentence = pynmea2.parse(line, check=True)
            if not isinstance(sentence, pynmea2.TalkerSentence):
                return "", {}
            kind = str(sentence.sentence_type)
            return kind, self._fields(kind, sentence)
        except Exception as error:  # pynmea2 lets ValueError, TypeError and more pass from odd field contents
            reason = "checksum missing or wrong" if "hecksum" in str(error) else "not a sentence"
            self._tally.note(reason, f"got {shown(line)}: {reason}", "sentence skipped")
            return "", {}

    def _fields(self, kind: str, sentence: Any) -> dict[str | int, Value]:
        raw = {field[1]: text for field, text in zip(sentence.fields, sentence.data, strict=False)}
        if any(raw.get(name) == mark for name, mark in _INVALID.items()):
            self._tally.note(f"{kind} void", f"{kind} says that it holds no valid data", "sentence skipped")
            return {}
        found: dict[str | int, Value] = {f"{kind}.{name}": text or None for name, text in raw.items()}
        if raw.get("lat") and raw.get("lon"):
            found[f"{kind}.latitude"] = float(sentence.latitude)
            found[f"{kind}.longitude"] = float(sentence.longitude)
        if raw.get("timestamp"):
            found[f"{kind}.time_s"] = self._time_s(raw["timestamp"])
        return found

    def _time_s(self, text: str) -> float:
        """hhmmss.ss as seconds of the day, and a day more after each midnight."""
        seconds = int(text[0:2]) * 3600.0 + int(text[2:4]) * 60.0 + float(text[4:])
        if not 0.0 <= seconds < _DAY_S + 1.0:  # a leap second is 23:59:60
            raise ValueError("not a time of day")
        if self._last_s is not None and seconds < self._last_s - _DAY_S / 2:
            self._days += 1
        self._last_s = seconds
        return self._days * _DAY_S + seconds

    def take_notices(self) -> list[str]:
        """What was wrong since the last call."""
        return self._tally.take()
