"""The layout of packed numbers nobody has described: type, byte order and place of each, from a run of datagrams.

The right reading of bytes as numbers is told from a wrong one by two things: measured quantities have ordinary
magnitudes (a float read in the wrong byte order or at the wrong offset has any exponent at all), and they move little
from one datagram to the next against how far they move in all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

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
_CODES = {"float32": "f4", "float64": "f8", "int32": "i4"}


class PackedGuess(msgspec.Struct, frozen=True):
    """A layout that fits.

    score: 0 to 1. order: "little" or "big". skip, tail: bytes passed over at the start and the end. fields: "NAME TYPE"
    or "skip N", one after another; or values: floats in each record that begins with an index.
    """

    score: float
    order: str
    skip: int
    tail: int = 0
    fields: tuple[str, ...] = ()
    values: int = 0

    def toml(self) -> list[str]:
        """The lines of the `[decode]` table."""
        lines = ['format = "packed"', f'byte_order = "{self.order}"']
        lines += [f"skip = {self.skip}"] if self.skip else []
        lines += [f"tail = {self.tail}"] if self.tail else []
        if self.values:
            return [*lines, f'records = {{ index = "int32", type = "float32", values = {self.values} }}']
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
    whole = _whole(_matrix(payloads, start, f"{sign}i4"))
    doubles = [plausible(_matrix(payloads, start + half, f"{sign}f8")) for half in (0, 4)]
    mostly = [
        float(np.mean(d > GOOD)) > 0.7 and float(np.mean(d > GOOD)) > float(np.mean(words > GOOD)) for d in doubles
    ]
    found: list[tuple[str, float]] = []
    at = 0
    while at < len(words):
        double = doubles[at % 2][at // 2] if at + 1 < len(words) else 0.0
        pair = (words[at] + words[at + 1]) / 2 if at + 1 < len(words) else 1.0
        if at + 1 < len(words) and (mostly[at % 2] or (double > GOOD and double > pair + 0.05)):
            found.append(("float64", float(double)))
            at += 2
            continue
        found.append(_word(float(words[at]), bool(whole[at])))
        at += 1
    return found


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
    """Records of a whole number and n floats, one after another: the numbers come at an even stride, and differ."""
    longest = max(payloads, key=len, default=b"")
    for values in range(1, 17):
        stride = 4 * (values + 1)
        for head in range(min(MOST_HEAD, len(longest))):
            fitting = [p for p in payloads[:MOST_PACKETS] if len(p) > head and (len(p) - head) % stride == 0]
            if len(fitting) < max(LEAST_PACKETS, len(payloads[:MOST_PACKETS]) * 0.9):
                continue
            if max((len(p) - head) // stride for p in fitting) >= 2 and _is_indexed(fitting, head, stride, sign):
                return PackedGuess(0.97, order, head, values=values)
    return None


def _is_indexed(payloads: Sequence[bytes], head: int, stride: int, sign: str) -> bool:
    """Whether every record begins with an index of its own and holds ordinary floats."""
    seen: set[int] = set()
    floats = []
    for payload in payloads:
        table = np.frombuffer(payload, dtype=f"{sign}i4", offset=head).reshape(-1, stride // 4)
        indexes = table[:, 0]
        if ((indexes < 0) | (indexes > 9999)).any() or len(set(indexes.tolist())) < len(indexes):
            return False
        seen.update(indexes.tolist())
        floats.append(table[:, 1:].view(f"{sign}f4").astype(np.float64).ravel())
    values = np.concatenate(floats)
    with np.errstate(invalid="ignore"):
        ordinary = (values == 0) | ((np.abs(values) > SMALLEST) & (np.abs(values) < LARGEST))
    return len(seen) >= 2 and bool(ordinary.mean() > 0.9) and bool((values != 0).mean() > 0.05)
