"""The layout of packed numbers nobody has described: type, byte order and place of each, from a run of datagrams.

The right reading of bytes as numbers is told from a wrong one by two things: measured quantities have ordinary
magnitudes (a float read in the wrong byte order or at the wrong offset has any exponent at all), and they move little
from one datagram to the next against how far they move in all.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from adapters.identify_table import Floats

LEAST_PACKETS = 20
MOST_PACKETS = 400
LARGEST, SMALLEST = 1e8, 1e-7
"""Magnitudes of what an aeroplane measures; 0 is ordinary too. Own values."""
GOOD = 0.85
"""The score of a column that is taken for a measured quantity."""
LEAST_ORDINARY = 0.09
"""The score of a column of ordinary magnitudes that is mere noise: kept as a number, since its neighbours are."""
MOST_HEAD = 64
"""Bytes of a head searched for the start of the numbers."""

_ORDERS = (("little", "<"), ("big", ">"))
USUAL_HEAD = 12
"""Bytes of a head that are nothing odd."""
MOST_SETS = 16
"""Different sets of records that a sender may take turns with."""
_CODES = {"float32": "f4", "float64": "f8", "int32": "i4", "uint16": "u2", "uint8": "u1"}


class PackedGuess(msgspec.Struct, frozen=True):
    """A layout that fits.

    score: 0 to 1. order: "little" or "big". skip, tail: bytes passed over at the start and the end. fields: "NAME TYPE"
    or "skip N", one after another; or index, value and values: records of an index and so many values, and their types.
    """

    score: float
    order: str
    skip: int
    tail: int = 0
    fields: tuple[str, ...] = ()
    values: int = 0
    index: str = ""
    value: str = ""

    def toml(self) -> list[str]:
        """The lines of the `[decode]` table."""
        lines = ['format = "packed"', f'byte_order = "{self.order}"']
        lines += [f"skip = {self.skip}"] if self.skip else []
        lines += [f"tail = {self.tail}"] if self.tail else []
        if self.values:
            return [*lines, f'records = {{ index = "{self.index}", type = "{self.value}", values = {self.values} }}']
        return [*lines, "fields = [", *(f'    "{field}",' for field in self.fields), "]"]


def guess_packed(payloads: Sequence[bytes]) -> list[PackedGuess]:
    """The layouts that fit these datagrams (their order kept), the best first; empty when none does."""
    guesses = []
    for order, sign in _ORDERS:
        indexed = _indexed(payloads, order, sign)
        if indexed is not None:
            guesses.append(indexed)
    usual = _usual_size(payloads)
    if len(usual) >= LEAST_PACKETS:
        guesses += [guess for order, sign in _ORDERS if (guess := _fixed(usual, order, sign)) is not None]
    return sorted(guesses, key=lambda guess: -guess.score)


def _usual_size(payloads: Sequence[bytes]) -> list[bytes]:
    sizes = Counter(len(payload) for payload in payloads if len(payload) >= 8)
    if not sizes:
        return []
    size = sizes.most_common(1)[0][0]
    return [payload for payload in payloads if len(payload) == size][:MOST_PACKETS]


def _matrix(payloads: Sequence[bytes], start: int, code: str) -> Floats:
    """One row a datagram: its bytes from `start` on as numbers of one type, as many as there are whole ones."""
    size = int(code[2])
    count = (len(payloads[0]) - start) // size
    joined = b"".join(payload[start : start + count * size] for payload in payloads)
    with np.errstate(invalid="ignore", over="ignore"):
        return np.frombuffer(joined, dtype=code).reshape(len(payloads), count).astype(np.float64)


def plausible(columns: Floats) -> Floats:
    """For each column 0 to 1: does it look like a measured quantity? All noughts say nothing: 0.6."""
    if columns.shape[1] == 0:
        return np.zeros(0)
    finite = np.isfinite(columns)
    with np.errstate(invalid="ignore", over="ignore"):
        size = np.abs(np.where(finite, columns, np.inf))
        ordinary = finite & ((size == 0) | ((size > SMALLEST) & (size < LARGEST)))
    share = ordinary.mean(axis=0)
    x = np.where(ordinary, columns, 0.0)
    step = np.median(np.abs(np.diff(x, axis=0)), axis=0)
    apart = np.median(np.abs(x - np.roll(x, len(x) // 2 + 1, axis=0)), axis=0)
    usual = np.median(np.abs(x), axis=0)
    against_flight = 1 - _ratio(step, apart)  # little from one to the next against how far apart later ones are
    against_size = 1 - _ratio(step, usual)  # or against its own size, when nothing happens
    steady = np.clip(np.maximum(against_flight, against_size), 0.1, 1.0)
    nothing = (x == 0).all(axis=0) & (share > 0.9)
    return np.asarray(np.where(nothing, 0.6, share * steady))


def _ratio(part: Floats, whole: Floats) -> Floats:
    """part / whole, 0 when nothing changes at all, 1 at most."""
    return np.asarray(np.where(part == 0, 0.0, np.minimum(part / np.maximum(whole, 1e-300), 1.0)))


def _fixed(payloads: Sequence[bytes], order: str, sign: str) -> PackedGuess | None:
    """One record of numbers, each four or eight bytes; the start is where they look most like quantities."""
    best: PackedGuess | None = None
    for start in range(min(8, len(payloads[0]) - 4)):
        types = _types(payloads, start, sign)
        guess = _describe(types, len(payloads[0]), start, order)
        if guess is not None and (best is None or guess.score > best.score + 1e-9):
            best = guess
    return best


def _types(payloads: Sequence[bytes], start: int, sign: str) -> list[tuple[str, float]]:
    """The likeliest type of each place from `start` on and its score; "" for four bytes that are no number."""
    words = plausible(_matrix(payloads, start, f"{sign}f4"))
    raw = _matrix(payloads, start, f"{sign}i4")
    whole = _whole(raw)
    busy = ~whole & (np.ptp(raw, axis=0) > 0)  # the low half of a double is: any bits at all, always others
    low = 0 if sign == "<" else 1
    doubles = [plausible(_matrix(payloads, start + half, f"{sign}f8")) for half in (0, 4)]
    mostly = [_share(d) > 0.7 and _share(d) > _share(words) for d in doubles]
    found: list[tuple[str, float]] = []
    at = 0
    while at < len(words):
        double = doubles[at % 2][at // 2] if at + 1 < len(words) else 0.0
        pair = (words[at] + words[at + 1]) / 2 if at + 1 < len(words) else 1.0
        better = double > GOOD and double > pair + 0.05 and at + 1 < len(words) and busy[at + low]
        if at + 1 < len(words) and (mostly[at % 2] or better):
            found.append(("float64", float(double)))
            at += 2
            continue
        found.append(_word(float(words[at]), bool(whole[at])))
        at += 1
    return found


def _share(scores: Floats) -> float:
    """The share of columns that look like quantities."""
    return float(np.mean(scores > GOOD)) if len(scores) else 0.0


def _word(score: float, whole: bool) -> tuple[str, float]:
    if whole and score < GOOD:
        return "int32", 0.75
    return ("float32", score) if score > LEAST_ORDINARY else ("", score)


def _whole(columns: Floats) -> NDArray[np.bool_]:
    """Columns that look like whole numbers sent as such: small, and not all nought."""
    return np.asarray((np.abs(columns) < 2**24).all(axis=0) & (columns != 0).any(axis=0))


def _describe(types: list[tuple[str, float]], size: int, start: int, order: str) -> PackedGuess | None:
    """The guess for these types: what is no number at the start is skipped, the score is by bytes explained."""
    good = [i for i, (kind, score) in enumerate(types) if kind.startswith("float") and score > GOOD - 0.2]
    if not good or len(good) < 2:
        return None
    first, last = good[0], good[-1]
    while first > 0 and types[first - 1][0] == "int32":
        first -= 1
    width = [8 if kind == "float64" else 4 for kind, _ in types]
    skip = start + sum(width[:first])
    explained = sum(w * score for w, (kind, score) in zip(width, types, strict=True) if kind)
    fields = _fields(types[first : last + 1])
    tail = size - skip - sum(width[first : last + 1])
    return PackedGuess(explained / size - 0.002 * (start % 4), order, skip, tail, tuple(fields))


def _fields(types: list[tuple[str, float]]) -> list[str]:
    fields: list[str] = []
    for kind, _ in types:
        if kind:
            fields.append(f"f{len([f for f in fields if f.startswith('f')])} {kind}")
        elif fields and fields[-1].startswith("skip"):
            fields[-1] = f"skip {int(fields[-1].split()[1]) + 4}"
        else:
            fields.append("skip 4")
    return fields


def _indexed(payloads: Sequence[bytes], order: str, sign: str) -> PackedGuess | None:
    """Records of a whole number and n values, one after another: the numbers come at an even stride, and differ."""
    some = payloads[:MOST_PACKETS]
    sizes = Counter(map(len, some))
    best: PackedGuess | None = None
    for (index, index_bytes), (value, value_bytes) in itertools.product(_INDEXES, _VALUES):
        for values in range(1, 17):
            stride = index_bytes + value_bytes * values
            record = np.dtype([("index", sign + _CODES[index]), ("values", sign + _CODES[value], values)])
            for head, fitting in _fitting(sizes, stride):
                score = _indexed_score([payload for payload in some if len(payload) in fitting], head, record)
                score -= max(0, head - USUAL_HEAD) / max(fitting)  # what it leaves unexplained
                if score > (best.score if best else 0.0) + 0.01:
                    best = PackedGuess(score, order, head, values=values, index=index, value=value)
    return best


_INDEXES = (("int32", 4), ("uint16", 2), ("uint8", 1))
_VALUES = (("float64", 8), ("float32", 4))


def _fitting(sizes: Counter[int], stride: int) -> Iterator[tuple[int, set[int]]]:
    """Heads after which nearly all packets are a whole number of records, two or more in the longest."""
    for head in range(min(MOST_HEAD, max(sizes, default=0))):
        fitting = {size for size in sizes if size > head and (size - head) % stride == 0}
        enough = sum(sizes[size] for size in fitting) >= max(LEAST_PACKETS, 0.9 * sizes.total())
        if enough and max(fitting) >= head + 2 * stride:
            yield head, fitting


def _indexed_score(payloads: Sequence[bytes], head: int, record: np.dtype[np.void]) -> float:
    """How much these look like records: indexes that are names (few sets of them, none twice), values quantities."""
    groups: dict[tuple[int, ...], list[Floats]] = {}
    for payload in payloads:
        table = np.frombuffer(payload, dtype=record, offset=head)
        names = tuple(table["index"].tolist())
        if min(names) < 0 or max(names) > 9999 or len(set(names)) < len(names):
            return 0.0
        with np.errstate(invalid="ignore"):
            groups.setdefault(names, []).append(table["values"].astype(np.float64).ravel())
        if len(groups) > MOST_SETS:  # a counter, not the names of records
            return 0.0
    usual = max(groups.values(), key=len)
    if len(usual) < LEAST_PACKETS // 2 or len({name for names in groups for name in names}) < 2:
        return 0.0
    columns = plausible(np.stack(usual))
    return min(0.97, float(columns.mean()) + 0.1) if (columns > 0.5).mean() > 0.8 else 0.0
