"""Nested objects and arrays to flat records with dotted names, for JSON and MessagePack."""

from __future__ import annotations

from typing import Any

from adapters.ports import Fields, Value

DEEPEST = 16
MOST_FIELDS = 4000


def records_of(value: Any) -> list[Fields]:
    """The records in a decoded value: one of an object or an array of values, several of an array of objects."""
    if isinstance(value, dict):
        return [_flat(value)] if value else []
    if isinstance(value, list):
        if any(isinstance(item, dict | list) for item in value):
            return [_flat(item) for item in value if isinstance(item, dict | list) and item]
        return [_flat(value)] if value else []
    return []


def _flat(value: Any) -> Fields:
    found: dict[str | int, Value] = {}
    if isinstance(value, list):
        for index, item in enumerate(value[:MOST_FIELDS]):
            if isinstance(item, dict | list):
                _into(found, str(index), item, 1)
            else:
                found[index] = _plain(item)
        return found
    for key, item in value.items():
        _put(found, str(key), item, 1)
    return found


def _put(found: dict[str | int, Value], name: str, item: Any, depth: int) -> None:
    if isinstance(item, dict | list):
        _into(found, name, item, depth)
    elif len(found) < MOST_FIELDS:
        found[name] = _plain(item)


def _into(found: dict[str | int, Value], name: str, value: Any, depth: int) -> None:
    if depth >= DEEPEST:
        return
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for key, item in items:
        _put(found, f"{name}.{key}", item, depth + 1)


def _plain(item: Any) -> Value:
    """A float, a text, or None; whatever else (bytes, a date) is its text, which no channel takes for a number."""
    if item is None or isinstance(item, str | float):
        return item
    if isinstance(item, int):  # bool too: true is 1
        try:
            return float(item)
        except OverflowError:
            return "a number too large"
    return str(item)[:60]
