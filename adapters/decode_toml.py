"""Reads and checks the `[decode]` table of a feed description."""

from __future__ import annotations

import codecs
from typing import Any

from adapters.description import DecodeSettings
from adapters.packed_toml import read_layout
from adapters.plugins import DECODERS, installed
from monitor.sample import CHANNELS
from monitor.toml_check import Table, shown

FORMATS = ("delimited", "key-value", "json", "msgpack", "packed", "nmea", "mavlink")
_TEXT = frozenset({"delimited", "key-value"})
_ALWAYS_MERGED = frozenset({"nmea", "mavlink"})


def read_decode(table: Table) -> DecodeSettings | None:
    """The settings, or None when they are faulty (the faults are in the table's checker)."""
    others = [] if table.data.get("format") in FORMATS else installed(DECODERS)  # looking takes time
    name = table.text("format", [*FORMATS, *others], required=True)
    if name is None:
        return None
    merge, pace, max_age_s = _merging(table, name)
    if name in others:
        own = ("format", "merge", "pace", "max_age_s")
        settings = {key: value for key, value in table.data.items() if key not in own}
        return DecodeSettings(name, merge=merge, pace=pace, max_age_s=max_age_s, settings=settings)
    layout = read_layout(table) if name == "packed" else None
    if layout is not None and (layout.index or layout.kinds) and "merge" not in table:
        merge = True
    text_settings: dict[str, Any] = _text_settings(table, name) if name in _TEXT else {}
    found = DecodeSettings(
        name,
        **text_settings,
        layout=layout,
        merge=merge,
        pace=pace,
        max_age_s=max_age_s,
    )
    table.finish()
    return found


def _merging(table: Table, name: str) -> tuple[bool, str | None, float]:
    merge = table.boolean("merge", name in _ALWAYS_MERGED)
    pace = table.text("pace", list(CHANNELS))
    max_age_s = table.number("max_age_s", 0.01, 60, "s")
    return merge, pace, 2.0 if max_age_s is None else max_age_s


def _text_settings(table: Table, name: str) -> dict[str, object]:
    decimal = table.text("decimal", [".", ","]) or "."
    encoding = table.text("encoding") or "utf-8"
    try:
        codecs.lookup(encoding)
    except LookupError:
        table.fault("encoding", f'got {shown(encoding)}, wanted a text encoding such as "utf-8" or "latin-1"')
    found: dict[str, object] = {"decimal": decimal, "encoding": encoding}
    return found | (_delimited(table, decimal) if name == "delimited" else _key_value(table, decimal))


def _delimited(table: Table, decimal: str) -> dict[str, object]:
    delimiter = _delimiter(table) or ","
    quote = table.text("quote", empty=True)
    if quote is not None and len(quote) > 1:
        table.fault("quote", f"got {shown(quote)}, wanted one character, or nothing for no quoting")
    if decimal == "," == delimiter:
        table.fault("decimal", 'got ",", which is the delimiter too; wanted another delimiter, such as ";"')
    header = table.text("header", ["required", "optional", "none"]) or "optional"
    columns = tuple(text.strip() for text in table.texts("columns"))
    return {
        "delimiter": delimiter,
        "quote": '"' if quote is None else quote,
        "header": header,
        "columns": columns,
    }


def _delimiter(table: Table) -> str | None:
    """One character, or "whitespace" for any run of spaces and tabs."""
    value = table.take("delimiter", 'one character, such as "," or "\\t", or "whitespace"')
    if value is None:
        return None
    if isinstance(value, str) and value in {"whitespace", " "}:
        return "whitespace"
    if not isinstance(value, str) or len(value) != 1 or value in "\r\n" or value.isalnum() or value in '+-."':
        table.fault("delimiter", f'got {shown(value)}, wanted one character, such as "," or "\\t", or "whitespace"')
        return None
    return value


def _key_value(table: Table, decimal: str) -> dict[str, object]:
    assign = table.text("assign") or "="
    if len(assign) != 1 or assign.isalnum() or assign in "+-._" or assign.isspace():
        table.fault("assign", f'got {shown(assign)}, wanted one character, such as "=" or ":"')
    delimiter = _delimiter(table) if "delimiter" in table else "any"
    if decimal == "," == delimiter:
        table.fault("decimal", 'got ",", which is the delimiter too; wanted another delimiter, such as ";"')
    return {"assign": assign, "delimiter": delimiter or "any"}
