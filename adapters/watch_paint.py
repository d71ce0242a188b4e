"""How a view of the watch is shown: as a frame for a terminal, as plain lines, as plain data for JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import msgspec

from adapters.identify_format import as_text
from adapters.watch_view import FieldView, SenderView, WatchView

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table
    from rich.text import Text

RAW_LINES = 4


def summary(view: WatchView) -> str:
    """One line: where, how long, how many."""
    refused = f", {view.refused:,} not let in" if view.refused else ""
    return f"{view.source}: {view.packets:,} packets in {view.listening_s:.0f} s{refused}"


def sender_line(sender: SenderView) -> str:
    """One sender in a line."""
    size = f"{sender.smallest}" if sender.smallest == sender.largest else f"{sender.smallest} to {sender.largest}"
    loss = f", {sender.lost:,} lost ({sender.lost_how})" if sender.lost_how else ""
    again = f", {sender.repeated:,} repeated" if sender.repeated else ""
    pace = f"{sender.rate_hz:.1f}/s, {sender.interval_ms:.1f} ms apart, jitter {sender.jitter_ms:.1f} ms"
    part = f", {sender.looked_share:.1%} of them looked into" if 0 < sender.looked_share < 0.9 else ""
    mark = " (used)" if sender.owns else ""
    mark += " (a new port for each packet)" if sender.origin.endswith(":*") else ""
    return f"{sender.origin}{mark}: {sender.packets:,} packets, {pace}, {size} bytes{loss}{again}{part}"


def shown(value: float | str | None) -> str:
    """A value in few characters, nothing unprintable."""
    if value is None:
        return "-"
    if isinstance(value, str):
        return "".join(c if c.isprintable() else "?" for c in value[:24])
    return f"{value:.6g}"


def raw_lines(raw: bytes, width: int = 96, most: int = RAW_LINES) -> list[str]:
    """The latest packet: as text when it is text, else in hexadecimal with its place."""
    text = as_text(raw)
    if text is not None:
        lines = [line[i : i + width] for line in text.splitlines() for i in range(0, max(1, len(line)), width)]
    else:
        per = 32 if width >= 104 else 16
        lines = [f"{i:04x}  {raw[i : i + per].hex(' ')}" for i in range(0, len(raw), per)]
    return lines if len(lines) <= most else [*lines[: most - 1], "…"]


def _range(field: FieldView) -> str:
    return "text" if field.low is None else f"{shown(field.low)} to {shown(field.high)}"


def _changes(field: FieldView) -> str:
    share = field.change_share
    return "never" if share == 0 else "always" if share > 0.98 else f"{share:.0%}" if share >= 0.01 else "rarely"


def plain_lines(view: WatchView, most_fields: int = 40) -> list[str]:
    """The view for an output that is no terminal."""
    lines = [summary(view), *(f"  {sender_line(sender)}" for sender in view.senders)]
    if view.decoded_as:
        lines.append(f"  decoded as {view.decoded_as}")
    lines += [f"  fits: {way}" for way in view.ways]
    for channel in view.channels:
        age = "never" if channel.age_s is None else f"{channel.age_s:.1f} s old"
        lines.append(f"  {channel.channel} = {shown(channel.value)} {channel.unit}, {age}, field {channel.field}")
    for field in view.fields[:most_fields]:
        lines.append(f"  field {field.field}: {shown(field.last)}, {_range(field)}, changes {_changes(field)}")
    if len(view.fields) > most_fields:
        lines.append(f"  and {len(view.fields) - most_fields} more fields")
    lines += [f"  {line}" for line in view.notices[-5:]]
    return lines + trouble_lines(view)


def trouble_lines(view: WatchView) -> list[str]:
    """What is wrong, and what to try."""
    lines: list[str] = []
    for trouble in view.troubles:
        lines += [f"  ! {trouble.what}", *(f"    - {text}" for text in trouble.tries)]
    return lines


def as_data(view: WatchView) -> dict[str, Any]:
    """The view as plain data; the latest packet as text, or in hexadecimal."""
    text = as_text(view.raw)
    data: dict[str, Any] = msgspec.to_builtins(msgspec.structs.replace(view, raw=b""))
    data["raw"] = text if text is not None else view.raw.hex(" ")
    return data


def frame(view: WatchView, width: int, height: int) -> RenderableType:
    """The whole screen, not taller than `height`."""
    from rich.console import Group
    from rich.text import Text

    top: list[RenderableType] = [Text(summary(view), style="bold")]
    top += [
        Text(f"{'▸' if s.owns else ' '} {sender_line(s)}", no_wrap=True, overflow="ellipsis") for s in view.senders[:4]
    ]
    if len(view.senders) > 4:
        top.append(Text(f"  and {len(view.senders) - 4 + view.forgotten:,} more senders"))
    used = len(top)
    wrong = _trouble_texts(view, width, max(4, height // 3))
    used += sum(_rows(text.plain, width) for text in wrong)
    raw = raw_lines(view.raw, max(20, width - 2), RAW_LINES if height >= 30 else 2) if view.raw else []
    ways = [f"decoded as {view.decoded_as}"] * bool(view.decoded_as) + [f"fits: {way}" for way in view.ways[:3]]
    middle = [Text(line, style="dim", no_wrap=True, overflow="crop") for line in raw]
    middle += [Text(way, no_wrap=True, overflow="ellipsis") for way in ways]
    used += len(middle) + 2
    tables = _tables(view, width, max(4, height - used - 2))
    foot = Text("q quit", style="dim")
    return Group(*top, *wrong, *middle, tables, foot)


def _rows(text: str, width: int) -> int:
    """The most rows a text can take when it is broken at its blanks."""
    longest = max(map(len, text.split(" ")), default=0)
    return max(1, -(-len(text) // max(1, width - min(longest, width // 2))))


def _trouble_texts(view: WatchView, width: int, most: int) -> list[Text]:
    """What is wrong and what to try, then the latest notices, in no more rows than `most`."""
    from rich.text import Text

    texts = []
    for trouble in view.troubles:
        texts.append(Text(f"! {trouble.what}", style="bold yellow"))
        texts += [Text(f"  - {text}") for text in trouble.tries]
    texts += [Text(f"  {line}", style="dim") for line in view.notices[-2:]]
    kept = []
    for text in texts:
        most -= _rows(text.plain, width)
        if most < 0:
            break
        kept.append(text)
    return kept


def _tables(view: WatchView, width: int, rows: int) -> RenderableType:
    from rich.columns import Columns

    tables = [_channels(view, rows)] if view.channels else []
    room = 1 if view.channels or width < 120 else 2
    shown_fields = view.fields[: rows * room]
    for start in range(0, len(shown_fields), rows):
        tables.append(_fields(view, shown_fields[start : start + rows]))
    if view.channels and width < 110:
        tables = tables[:1]
    return Columns(tables, padding=(0, 3))


def _bare_table(*columns: str) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, header_style="bold")
    for number, column in enumerate(columns):
        table.add_column(column, no_wrap=True, justify="left" if number == 0 else "right")
    return table


def _channels(view: WatchView, rows: int) -> Table:
    table = _bare_table("channel", "value", "unit", "age")
    ordered = sorted(view.channels, key=lambda channel: channel.value is not None)
    kept = {channel.channel for channel in ordered[:rows]}
    for channel in view.channels:
        if channel.channel not in kept:
            continue
        age = "never" if channel.age_s is None else f"{channel.age_s:.1f} s"
        late = channel.age_s is None or channel.age_s > 2.0
        table.add_row(channel.channel, shown(channel.value), channel.unit, age, style="yellow" if late else "")
    return table


def _fields(view: WatchView, fields: tuple[FieldView, ...]) -> Table:
    from rich.markup import escape

    table = _bare_table("field", "last", "range", "changes")
    for field in fields:
        style = "" if field.channels or not view.channels else "dim"
        table.add_row(
            escape(str(field.field)[:28]),
            escape(shown(field.last)),
            escape(_range(field)),
            _changes(field),
            style=style,
        )
    return table
