"""Writes what was found as a feed description that loads, each channel with how sure it is and why."""

from __future__ import annotations

import json
from collections.abc import Sequence

from adapters.identify_format import FormatGuess
from adapters.identify_result import Found, Identification
from adapters.identify_table import Field, Table

LEAST_CONFIDENCE = 0.5
"""A channel less sure than this is written as a comment, for a person to decide."""
NEEDED = (("ias_kt", "groundspeed_kt"), ("height_ft", "altitude_ft"))
"""Of each pair a feed needs one."""


def quoted(text: str) -> str:
    """A TOML basic string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def number(value: float) -> str:
    """A number as TOML has it, with no more digits than it needs."""
    text = f"{value:.10g}"
    return text if any(c in text for c in ".e") else f"{text}.0" if value != int(value) else text


def channel_line(found: Found, field: Field) -> str:
    """`ias_kt = { field = 3, unit = "m/s" }`."""
    reading, flag = found.reading, found.channel in {"on_ground", "door_open", "stall_warning", "parking_brake"}
    parts = [f"field = {field if isinstance(field, int) else quoted(field)}"]
    if not flag and reading.unit != "1":
        parts.append(f"unit = {quoted(reading.unit)}")
    if reading.unit == "1":
        scale, shift = reading.factor, reading.offset
    else:
        scale, shift = (-1.0, _end(found) - reading.trim) if reading.flip else (1.0, reading.trim)
    if scale != 1:
        parts.append(f"factor = {number(scale)}")
    if shift:
        parts.append(f"offset = {number(shift)}")
    if flag:
        parts.append("above = 0.5")
    return f"{found.channel} = {{ {', '.join(parts)} }}"


def _end(found: Found) -> float:
    """For a lever counted from its other end: that end, in the field's own unit; 0 for a sign."""
    return found.reading.offset / -found.reading.factor


def why(found: Found, most: int = 3) -> str:
    """The heaviest reasons in a line."""
    reasons = [reason.words for reason in found.reasons if reason.points > 0][:most]
    return "; ".join(reasons) or "nothing speaks for it but its values"


def feed_toml(
    name: str, transport: Sequence[str], guess: FormatGuess, result: Identification, merge: bool = False
) -> str:
    """The text of the feed description. transport: the lines of that table, empty for a log."""
    lines = ["# Found by `climbout feed identify`. Check it with `climbout feed check`, and look with `feed watch`."]
    lines += [f"# Not found: {channel}: {reason}." for channel, reason in result.missing]
    lines += [f"name = {quoted(name)}", ""]
    if transport:
        lines += ["[transport]", *transport, ""]
    lines += ["[decode]", *guess.lines]
    if guess.labels:
        lines.append(f"columns = [{', '.join(map(quoted, guess.labels))}]")
    if merge:
        lines.append("merge = true")
    lines += ["", "[channels]"]
    for found in result.found:
        lines += _channel(found, label(found.field, guess))
    return "\n".join(lines) + "\n"


def _channel(found: Found, field: Field) -> list[str]:
    lines = [f"# {found.word}, {found.confidence:.0%}: {why(found)}"]
    lines += [f"#   or else {', or '.join(found.rivals[:3])}"] if found.rivals else []
    line = channel_line(found, field)
    return [*lines, line if found.confidence >= LEAST_CONFIDENCE else f"# {line}"]


def label(field: Field, guess: FormatGuess) -> Field:
    """A column number as the header's name for it, when the header has one that is its own."""
    if isinstance(field, int) and field < len(guess.labels) and guess.labels.count(guess.labels[field]) == 1:
        return guess.labels[field]
    return field


def needs_merge(table: Table, result: Identification) -> bool:
    """Whether the channels come in different records: then no record holds most of them."""
    wanted = [table.columns[found.field] for found in result.found if found.field in table.columns]
    if len(wanted) < 2 or not len(table.t_s):
        return False
    there = [sum(1 for value in column if value == value) / len(column) for column in wanted]  # noqa: PLR0124
    return min(there) < 0.6


def lacking(result: Identification) -> list[str]:
    """What the coach needs and the description will not have: one line each."""
    sure = {found.channel for found in result.found if found.confidence >= LEAST_CONFIDENCE}
    return [f"neither {one} nor {other} was found; the coach needs one of them"
            for one, other in NEEDED if not sure & {one, other}]  # fmt: skip


def report_lines(result: Identification, guess: FormatGuess | None = None) -> list[str]:
    """The result for a person: one line a channel, then what is not sure and what is missing."""
    lines = []
    for found in result.found:
        field = label(found.field, guess) if guess else found.field
        sign = ", other way round" if found.reading.flip else ""
        trim = f", {found.reading.trim:+.4g} first" if found.reading.trim else ""
        unit = found.reading.unit if found.reading.unit != "1" else "0 to 1"
        what = f"field {field} in {unit}{sign}{trim}"
        span = f"{found.low:.5g} to {found.high:.5g}"
        lines.append(f"{found.channel:<24} {what:<44} {found.word:<7} {found.confidence:>4.0%}  {span}")
    for found in result.found:
        if found.word == "unsure":
            rivals = f"; or else {', or '.join(found.rivals[:3])}" if found.rivals else ""
            lines.append(f"unsure of {found.channel}: {why(found)}{rivals}")
    lines += [f"not found: {channel}: {reason}" for channel, reason in result.missing]
    return [*lines, *result.notes, *lacking(result)]
