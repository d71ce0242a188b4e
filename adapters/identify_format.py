"""How unknown datagrams may be decoded: every format that fits, the best first, each as a `[decode]` table.

A guess is made of TOML text and read by the loader of feed descriptions, so that what is proposed is what will run.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterable, Sequence

import msgspec

from adapters.decode_toml import read_decode
from adapters.description import DecodeSettings, FeedDescription, SourceError
from adapters.feed import make_decoder
from adapters.identify_layout import guess_packed
from adapters.ports import Decoder, Fields
from monitor.toml_check import Checker, Table, parse

LOOKED_AT = 400
"""Datagrams looked at, taken evenly from all."""
LEAST_SHARE = 0.8
"""The share of datagrams that must have the form of a format without a mark of its own (columns)."""
MARKED_SHARE = 0.5
"""The same for a format that cannot be met by chance, and for those that a decoder must make something of."""

_PAIR = re.compile(r"[A-Za-z_][\w./\[\]-]*[ \t]*([=:])[ \t]*[-+]?\d")
_NUMBER = re.compile(r"[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?|[-+]?(inf|nan)", re.IGNORECASE)
_SENTENCE = re.compile(rb"\s*[$!][A-Z0-9]{3,}.*\*[0-9A-Fa-f]{2}\s*", re.DOTALL)


class FormatGuess(msgspec.Struct, frozen=True):
    """A way to decode.

    score: 0 to 1; words: for a person; lines: of the `[decode]` table; labels: a header's names. usable: False when the
    decoder needs a package that is not installed.
    """

    score: float
    words: str
    lines: tuple[str, ...]
    labels: tuple[str, ...] = ()
    usable: bool = True

    def settings(self) -> DecodeSettings:
        """The settings, as the loader of feed descriptions reads them. Raises `Faults` for a table it refuses."""
        checker = Checker("guess")
        found = read_decode(Table(checker, parse("\n".join(self.lines), "guess"), "decode"))
        checker.done()
        assert found is not None
        return found

    def decoder(self) -> Decoder:
        """A fresh decoder for one sender."""
        return make_decoder(FeedDescription("guess", None, self.settings(), (), ""))

    def records(self, stream: Iterable[tuple[float, bytes]]) -> list[tuple[float, Fields]]:
        """The records of a stream of (arrival in s, payload), with a decimal comma turned into a point."""
        decoder, comma = self.decoder(), self.settings().decimal == ","
        found = []
        for at_s, payload in stream:
            for record in decoder.decode(payload):
                found.append((at_s, _with_points(record) if comma else record))
        return found


def _with_points(record: Fields) -> Fields:
    return {k: v.replace(",", ".") if isinstance(v, str) else v for k, v in record.items()}


def guess_formats(payloads: Sequence[bytes]) -> list[FormatGuess]:
    """Every format that fits these datagrams of one sender (in order), the best first. Never raises on any bytes."""
    some = spread([payload for payload in payloads if payload], LOOKED_AT)
    if not some:
        return []
    texts = [text for payload in some if (text := as_text(payload)) is not None]
    guesses = _text_guesses(some, texts) if len(texts) >= LEAST_SHARE * len(some) else _binary_guesses(some)
    tried = [tested for guess in guesses if (tested := _tested(guess, some)) is not None]
    return sorted(tried, key=lambda guess: -guess.score)


def spread(items: Sequence[bytes], most: int) -> list[bytes]:
    """At most `most` of the items, taken in runs from the whole length: neighbours show how smoothly values move."""
    if len(items) <= most:
        return list(items)
    runs, length = 10, most // 10
    starts = [i * (len(items) - length) // (runs - 1) for i in range(runs)]
    return [item for start in starts for item in items[start : start + length]]


def as_text(payload: bytes) -> str | None:
    """The payload as text when it is text: no control characters but tabs and line ends."""
    for encoding in ("utf-8", "latin-1"):
        try:
            text = payload.decode(encoding)
        except UnicodeDecodeError:
            continue
        odd = sum(not (c.isprintable() or c in "\r\n\t") for c in text)
        return text if odd == 0 else None
    return None


def _tested(guess: FormatGuess, payloads: Sequence[bytes]) -> FormatGuess | None:
    """The guess if a decoder made of it gives records for nearly every datagram; marked when there is no decoder."""
    try:
        decoder = guess.decoder()
    except ValueError:
        return None
    except (SourceError, ImportError) as error:
        return msgspec.structs.replace(guess, usable=False, words=f"{guess.words} ({error})")
    enough = MARKED_SHARE * sum(payload.strip() != b"" for payload in payloads)
    return guess if sum(bool(decoder.decode(payload)) for payload in payloads) >= enough else None


def _text_guesses(payloads: Sequence[bytes], texts: Sequence[str]) -> list[FormatGuess]:
    guesses = []
    if sum(_is_json(payload) for payload in payloads) >= MARKED_SHARE * len(payloads):
        guesses.append(FormatGuess(0.99, "JSON", ('format = "json"',)))
    if sum(bool(_SENTENCE.fullmatch(payload)) for payload in payloads) >= MARKED_SHARE * len(payloads):
        guesses.append(FormatGuess(0.98, "NMEA 0183 sentences", ('format = "nmea"',)))
    pairs = _key_value(texts)
    if pairs is not None:
        guesses.append(pairs)
    return guesses + _delimited(texts)


def _is_json(payload: bytes) -> bool:
    lines = [line for line in payload.strip().splitlines() if line.strip()]
    for text in (payload, *lines[:1]):
        try:
            value = msgspec.json.decode(text)
        except (msgspec.DecodeError, ValueError, RecursionError):
            continue
        return isinstance(value, dict | list)
    return False


def _key_value(texts: Sequence[str]) -> FormatGuess | None:
    signs = Counter(sign for text in texts for sign in _PAIR.findall(text))
    if not signs:
        return None
    sign, count = signs.most_common(1)[0]
    bracketed = sum(text.lstrip()[:1] in "{[<" for text in texts)
    if count < 2 * len(texts) or bracketed > 0.5 * len(texts):
        return None
    lines = ['format = "key-value"'] + ([f'assign = "{sign}"'] if sign != "=" else [])
    return FormatGuess(0.95, f"pairs of name {sign} value", tuple(lines))


def _delimited(texts: Sequence[str]) -> list[FormatGuess]:
    lines = [line for text in texts for line in text.splitlines() if line.strip()]
    found: list[FormatGuess] = []
    if not lines:
        return found
    for name, separator in ((",", ","), (";", ";"), ("\\t", "\t"), ("|", "|"), ("whitespace", None)):
        guess = _by_delimiter(lines, name, separator)
        if guess is not None:
            found.append(guess)
    return found


def _by_delimiter(lines: Sequence[str], name: str, separator: str | None) -> FormatGuess | None:
    rows = [_cells(line, separator) for line in lines]
    widths = Counter(len(row) for row in rows)
    width, times = widths.most_common(1)[0]
    if width < 2 or times < LEAST_SHARE * len(rows) - 1:
        return None
    data = [row for row in rows if len(row) == width]
    numbers = [cell for row in data for cell in row if _NUMBER.fullmatch(cell)]
    share = len(numbers) / (width * len(data))
    if share < 0.5:
        return None
    comma = separator != "," and sum("," in cell for cell in numbers) > 0.3 * len(numbers)
    labels = _labels(rows, width)
    table = ['format = "delimited"', f'delimiter = "{name}"'] + (['decimal = ","'] if comma else [])
    table.append(f'header = "{"optional" if labels else "none"}"')
    words = f"text, {width} columns apart by {'white space' if separator is None else name}"
    words += ", decimal comma" * comma + (", with a header" if labels else ", no header seen")
    return FormatGuess(
        0.9 * share * times / len(rows) - (0.05 if separator is None else 0.0), words, tuple(table), labels
    )


def _cells(line: str, separator: str | None) -> list[str]:
    """The cells of a line; a separator inside quotes is none."""
    if '"' in line and separator is not None:
        try:
            return [cell.strip() for cell in next(csv.reader([line], delimiter=separator, skipinitialspace=True))]
        except (csv.Error, StopIteration):
            return []
    return [cell.strip() for cell in line.split(separator)]


def _labels(rows: Sequence[Sequence[str]], width: int) -> tuple[str, ...]:
    """The names of a header line, if there is one: no number in it. A tag such as "<...>" before them is left out."""
    for row in rows:
        cells = list(row)
        if cells and re.fullmatch(r"<[^<>]*>|#.*", cells[0]) and len(cells) == width + 1:
            cells = cells[1:]
        if len(cells) == width and all(cells) and not any(_NUMBER.fullmatch(cell) for cell in cells):
            return tuple(cells)
    return ()


def _binary_guesses(payloads: Sequence[bytes]) -> list[FormatGuess]:
    guesses = []
    if sum(payload[:1] in (b"\xfd", b"\xfe") for payload in payloads) >= MARKED_SHARE * len(payloads):
        guesses.append(FormatGuess(0.98, "MAVLink frames", ('format = "mavlink"',)))
    if sum(_is_msgpack(payload) for payload in payloads) >= MARKED_SHARE * len(payloads):
        guesses.append(FormatGuess(0.97, "MessagePack", ('format = "msgpack"',)))
    for packed in guess_packed(payloads)[:3]:
        kind = f"records of an index and {packed.values} numbers" if packed.values else f"{len(packed.fields)} numbers"
        words = f"packed, {kind}, {packed.order}-endian, {packed.skip} bytes before them"
        guesses.append(FormatGuess(0.95 * packed.score, words, tuple(packed.toml())))
    return guesses


def _is_msgpack(payload: bytes) -> bool:
    """A map, or an array of several values, and nothing after it."""
    try:
        value = msgspec.msgpack.decode(payload)
    except (msgspec.DecodeError, ValueError, RecursionError):
        return False
    return isinstance(value, dict | list) and len(value) > 1
