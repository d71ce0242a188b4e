"""Reads typed fields from a parsed TOML file and collects every fault with its place, so that all are told at once.

A fault reads `WHERE: key.path[i]: got X, wanted Y`, for instance
`aircraft example.toml: engine.oil_pressure_psi.green[0]: got -5, wanted 0 or more`.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Iterable, Iterator, Sequence
from typing import Any


class Faults(ValueError):
    """A file or a command line is wrong. `faults` holds every fault, one line each; `str()` is the lines joined."""

    def __init__(self, faults: Sequence[str]) -> None:
        """Keep the faults in the order found; at least one."""
        self.faults: tuple[str, ...] = tuple(faults)
        super().__init__("\n".join(self.faults))


def shown(value: object) -> str:
    """A TOML value as a person would find it in the file: text in quotes, true/false, a table as "a table"."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + (value if len(value) <= 60 else value[:57] + "...") + '"'
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        text = "[" + ", ".join(shown(item) for item in value) + "]"
        return text if len(text) <= 60 else "a list"
    return plain(value) if isinstance(value, float) else str(value)


def plain(number: float) -> str:
    """A number without a needless ".0", inf and nan as TOML writes them."""
    return str(int(number)) if math.isfinite(number) and number == int(number) else str(number)


def nearest(word: str, known: Iterable[str]) -> str:
    """The known word most like `word`, as ` (did you mean "x"?)`, or "" when none is like it."""
    found = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f' (did you mean "{found[0]}"?)' if found else ""


def parse(text: str, where: str) -> dict[str, Any]:
    """The TOML text as a dictionary; raises `Faults` with line and column when it is no TOML."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.match(r"(?P<what>.*) \(at (?P<place>.*)\)$", str(error))
        place, what = (found["place"], found["what"]) if found else ("somewhere", str(error))
        raise Faults([f"{where}: {place}: not valid TOML: {what}"]) from None
    except RecursionError:
        raise Faults([f"{where}: not valid TOML: nested too deeply"]) from None


class Checker:
    """The faults of one file so far. `where` names the file ("aircraft example.toml")."""

    def __init__(self, where: str) -> None:
        """Start with no fault."""
        self.where = where
        self.faults: list[str] = []

    def fault(self, path: str, text: str) -> None:
        """Note one fault at a key path such as `speeds_kias.rotate`; `text` is usually "got X, wanted Y"."""
        self.faults.append(f"{self.where}: {path}: {text}" if path else f"{self.where}: {text}")

    def done(self) -> None:
        """Raise `Faults` when there was any fault."""
        if self.faults:
            raise Faults(self.faults)


def _bounds(low: float | None, high: float | None, unit: str) -> str:
    tail = f" {unit}" if unit else ""
    if low is not None and high is not None:
        return f", {plain(low)} to {plain(high)}{tail}"
    if low is not None:
        return f", {plain(low)}{tail} or more"
    return f", {plain(high)}{tail} or less" if high is not None else (f" in {unit}" if unit else "")


class Table:
    """One table of the file: its fields are taken by name, each checked; `finish` names the keys nobody took.

    A getter returns None (or the default) when the field is absent or wrong; wrong and missing ones are noted in
    the checker, so reading goes on to the end. Ask `checker.done()` before the values are used.
    """

    def __init__(self, checker: Checker, data: dict[str, Any], path: str = "", absent: bool = False) -> None:
        """Read `data`, found at `path` ("" = the top); `absent`: the table is not there, which has been told."""
        self.checker = checker
        self._absent = absent
        self.data = data
        self.path = path
        self._known: list[str] = []

    def at(self, key: str) -> str:
        """The full path of a key of this table; a key that TOML would want in quotes is shown in quotes."""
        shown_key = key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else f'"{key}"'
        return f"{self.path}.{shown_key}" if self.path else shown_key

    def fault(self, key: str, text: str) -> None:
        """Note a fault at a key of this table."""
        self.checker.fault(self.at(key), text)

    def __contains__(self, key: str) -> bool:
        """Whether the file gives this key at all."""
        return key in self.data

    def __iter__(self) -> Iterator[str]:
        """The keys of this table in the file's order."""
        return iter(self.data)

    def take(self, key: str, wanted: str, required: bool = False) -> Any:
        """The raw value of a key, now known; None when absent, which is a fault if required."""
        self._known.append(key)
        if key not in self.data and required and not self._absent:
            self.fault(key, f"got nothing, wanted {wanted}")
        return self.data.get(key)

    def number(
        self, key: str, low: float | None = None, high: float | None = None, unit: str = "", required: bool = False
    ) -> float | None:
        """A finite number (whole or not) from low to high, both allowed; true and false are no numbers."""
        value = self.take(key, f"a number{_bounds(low, high, unit)}", required)
        return None if value is None else self.as_number(self.at(key), value, low, high, unit)

    def as_number(self, path: str, value: object, low: float | None, high: float | None, unit: str) -> float | None:
        """The value as a checked number; None, and a fault at `path`, when it is none."""
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            self.checker.fault(path, f"got {shown(value)}, wanted a number{_bounds(low, high, unit)}")
            return None
        if low is not None and value < low:
            self.checker.fault(path, f"got {shown(value)}, wanted {plain(low)} or more")
            return None
        if high is not None and value > high:
            self.checker.fault(path, f"got {shown(value)}, wanted {plain(high)} or less")
            return None
        return float(value)

    def whole(self, key: str, low: int | None = None, high: int | None = None, required: bool = False) -> int | None:
        """A whole number from low to high, both allowed."""
        value = self.take(key, f"a whole number{_bounds(low, high, '')}", required)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int):
            self.fault(key, f"got {shown(value)}, wanted a whole number{_bounds(low, high, '')}")
            return None
        number = self.as_number(self.at(key), value, low, high, "")
        return None if number is None else value

    def pair(self, key: str, low: float | None = None, high: float | None = None) -> tuple[float, float] | None:
        """Two numbers `[low, high]`, the first below the second, both inside the range."""
        value = self.take(key, "two numbers [low, high]")
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != 2:
            self.fault(key, f"got {shown(value)}, wanted two numbers [low, high]")
            return None
        first, second = (self.as_number(f"{self.at(key)}[{i}]", v, low, high, "") for i, v in enumerate(value))
        if first is None or second is None:
            return None
        if first >= second:
            self.fault(key, f"got {shown(value)}, wanted the first below the second")
            return None
        return first, second

    def text(self, key: str, choices: Sequence[str] = (), required: bool = False, empty: bool = False) -> str | None:
        """A text, one of `choices` when given; an empty one only with `empty`."""
        wanted = " or ".join(shown(choice) for choice in choices) if choices else "a text in quotes"
        value = self.take(key, wanted, required)
        if value is None:
            return None
        if not isinstance(value, str) or not (value.strip() or empty):
            self.fault(key, f"got {shown(value)}, wanted {wanted}")
            return None
        if choices and value not in choices:
            self.fault(key, f"got {shown(value)}, wanted {wanted}{nearest(value, choices)}")
            return None
        return value

    def boolean(self, key: str, default: bool) -> bool:
        """`true` or `false`."""
        value = self.take(key, "true or false")
        if value is None:
            return default
        if not isinstance(value, bool):
            self.fault(key, f"got {shown(value)}, wanted true or false")
            return default
        return value

    def items(self, key: str, required: bool = False) -> list[Any]:
        """A list, its items unchecked; empty when absent."""
        value = self.take(key, "a list [...]", required)
        if value is None:
            return []
        if not isinstance(value, list):
            self.fault(key, f"got {shown(value)}, wanted a list [...]")
            return []
        return value

    def texts(self, key: str, required: bool = False) -> list[str]:
        """A list of texts; empty when absent."""
        good: list[str] = []
        for index, item in enumerate(self.items(key, required)):
            if isinstance(item, str):
                good.append(item)
            else:
                self.checker.fault(f"{self.at(key)}[{index}]", f"got {shown(item)}, wanted a text in quotes")
        return good

    def table(self, key: str, required: bool = False) -> Table:
        """A table within this one; an empty one when absent or wrong."""
        value = self.take(key, f"a table [{self.at(key)}]", required)
        if value is not None and not isinstance(value, dict):
            self.fault(key, f"got {shown(value)}, wanted a table [{self.at(key)}]")
        good = isinstance(value, dict)
        told = not good and (required or value is not None)
        return Table(self.checker, value if good else {}, self.at(key), absent=told or self._absent)

    def finish(self) -> None:
        """Note every key that nobody took, with the known one most like it."""
        for key in self.data:
            if key not in self._known:
                hint = nearest(key, self._known) or f" (known: {', '.join(self._known)})"
                self.fault(key, f"not a known key{hint}")
