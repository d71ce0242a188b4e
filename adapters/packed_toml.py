"""Reads and checks the byte layout of a packed feed."""

from __future__ import annotations

from adapters.description import Kind, Layout, Part
from monitor.toml_check import Table, shown

TYPES = {
    "int8": "b",
    "uint8": "B",
    "int16": "h",
    "uint16": "H",
    "int32": "i",
    "uint32": "I",
    "int64": "q",
    "uint64": "Q",
    "float16": "e",
    "float32": "f",
    "float64": "d",
}
"""Type names of a layout, and the letter each has in Python's `struct` with a stated byte order (no padding)."""
WHOLE = {name: code for name, code in TYPES.items() if code in "bBhHiIqQ"}
MOST_BYTES = 65_507
"""The most a UDP datagram carries over IPv4: 65,535 less 20 bytes of IP and 8 of UDP header (RFC 768, RFC 791)."""


def read_layout(table: Table) -> Layout:
    """The layout; faults are left in the table's checker."""
    order = {"little": "<", "big": ">", None: "<"}[table.text("byte_order", ["little", "big"], required=True)]
    start = _start(table)
    skip = table.whole("skip", 0, MOST_BYTES) or 0
    tail = table.whole("tail", 0, MOST_BYTES) or 0
    given = [key for key in ("fields", "records", "kinds") if key in table]
    if len(given) != 1:
        got = " and ".join(given) or "none"
        table.fault("fields", f"got {got} of fields, records and kinds; wanted exactly one of them")
    parts = _parts(table, "fields") if "fields" in table else ()
    index, value, values = _records(table.table("records")) if "records" in table else (None, "f", 0)
    tag = _type(table, "tag", WHOLE) if "tag" in table or "kinds" in table else None
    length = _type(table, "length", WHOLE) if "length" in table else None
    kinds = _kinds(table) if "kinds" in table else ()
    return Layout(order, start, skip, tail, parts, index, value, values, tag, length, kinds)


def _start(table: Table) -> bytes:
    """Bytes in hexadecimal that each datagram begins with."""
    text = table.text("start")
    if text is None:
        return b""
    try:
        return bytes.fromhex(text)
    except ValueError:
        table.fault("start", f'got {shown(text)}, wanted bytes in hexadecimal, such as "c0 1f"')
        return b""


def _type(table: Table, key: str, types: dict[str, str]) -> str | None:
    name = table.text(key, list(types), required=True)
    return types.get(name) if name else None


def _records(table: Table) -> tuple[str | None, str, int]:
    index = _type(table, "index", WHOLE)
    value = _type(table, "type", TYPES) or "f"
    values = table.whole("values", 1, 1000, required=True) or 1
    table.finish()
    return index, value, values


def _parts(table: Table, key: str) -> tuple[Part, ...]:
    """The parts of a record; each text is "NAME TYPE", or "skip N" for N bytes passed over."""
    found: list[Part] = []
    seen: set[str] = set()
    for index, text in enumerate(table.texts(key, required=True)):
        part = _part(text)
        if part is None or part.name in seen:
            what = "another name, since this one is taken" if part else f'"NAME TYPE" ({", ".join(TYPES)}) or "skip N"'
            table.checker.fault(f"{table.at(key)}[{index}]", f"got {shown(text)}, wanted {what}")
            continue
        if part.name:
            seen.add(part.name)
        found.append(part)
    if not seen and not table.checker.faults:
        table.fault(key, "got no named field, wanted one or more")
    return tuple(found)


def _part(text: str) -> Part | None:
    name, _, kind = text.strip().rpartition(" ")
    name = name.strip()
    if name == "skip" and kind.isascii() and kind.isdigit():
        return Part(None, f"{int(kind)}x") if 0 < int(kind) <= MOST_BYTES else None
    return Part(name, TYPES[kind]) if name and kind in TYPES else None


def _kinds(table: Table) -> tuple[Kind, ...]:
    found: list[Kind] = []
    for index, item in enumerate(table.items("kinds", required=True)):
        path = f"{table.at('kinds')}[{index}]"
        if not isinstance(item, dict):
            table.checker.fault(path, f"got {shown(item)}, wanted a table with tag, name and fields")
            continue
        kind = Table(table.checker, item, path)
        tag = kind.whole("tag", -(2**63), 2**64 - 1, required=True)
        name = kind.text("name", required=True)
        parts = _parts(kind, "fields")
        kind.finish()
        if any(old.tag == tag or old.name == name for old in found):
            kind.fault("tag", "got a tag or name that another kind has, wanted one of its own")
        found.append(Kind(tag or 0, name or "", parts))
    return tuple(found)
