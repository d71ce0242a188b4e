"""Reads a feed description from TOML text and checks it whole: every fault at once, each with its place."""

from __future__ import annotations

from adapters import units
from adapters.decode_toml import read_decode
from adapters.description import ChannelMap, DecodeSettings, FeedDescription, Layout
from adapters.standard_units import standard_unit
from adapters.transport_toml import read_transport
from monitor.sample import CHANNELS
from monitor.toml_check import Checker, Table, nearest, parse, shown

FLAGS = frozenset(name for name, channel in CHANNELS.items() if not channel.unit)
NORTH = frozenset({"heading_deg", "track_deg"})
_ARRAYS = frozenset({"json", "msgpack"})
LARGEST = 1e9
"""Of a factor, an offset or a threshold: common practice, no source."""
ONE_OF = (("ias_kt", "groundspeed_kt"), ("height_ft", "altitude_ft"))


def load_feed(text: str, where: str) -> FeedDescription:
    """The description in `text`. `where` names it in messages ("feed bay1.toml"). Raises `Faults` holding them all."""
    checker = Checker(where)
    top = Table(checker, parse(text, where))
    name = top.text("name") or "feed"
    transport = read_transport(top.table("transport")) if "transport" in top else None
    decode = read_decode(top.table("decode", required=True))
    channels = _channels(top.table("channels", required=True), decode)
    top.finish()
    checker.done()
    assert decode is not None  # a faulty one has left a fault, which `done` has raised
    return FeedDescription(name, transport, decode, channels, text, where)


def _channels(table: Table, decode: DecodeSettings | None) -> tuple[ChannelMap, ...]:
    found = []
    for name in table.data:
        if name not in CHANNELS:
            table.take(name, "")
            table.fault(name, f"not a known channel{nearest(name, CHANNELS)}")
        elif (channel := _channel(table.table(name), name, decode)) is not None:
            found.append(channel)
    if table.data:
        for names in ONE_OF:
            if not any(name in table for name in names):
                table.checker.fault(table.path, f"got neither of {names[0]} and {names[1]}, wanted one or both")
    order = list(CHANNELS)
    return tuple(sorted(found, key=lambda channel: order.index(channel.channel)))


def _channel(table: Table, name: str, decode: DecodeSettings | None) -> ChannelMap | None:
    field = _field(table, decode)
    unit = table.text("unit", empty=True) or None
    if unit is None and decode is not None and isinstance(field, str):
        unit = standard_unit(decode.format, field)
    scale = _number(table, "factor")
    shift = _number(table, "offset") or 0.0
    above = _number(table, "above")
    density = table.number("density_kg_per_l", 0.1, 2.0, "kg/L")
    declination = _declination(table, name)
    table.finish()
    if scale == 0:
        table.fault("factor", "got 0, which would make every value the same; wanted another number")
    if above is not None and name not in FLAGS:
        table.fault("above", f"makes 1 or 0 of a value, and {name} is in {CHANNELS[name].unit}; wanted no such key")
    conversion = _conversion(table, unit if above is None else None, name, density)
    if field is None or conversion is None:
        return None
    factor = (1.0 if scale is None else scale) * conversion.factor
    offset = shift * conversion.factor + conversion.offset
    scale = 1.0 if scale is None else scale
    return ChannelMap(name, field, unit, scale, shift, factor, offset, above, declination, density)


def _number(table: Table, key: str) -> float | None:
    """A number of a size that leaves digits for the value."""
    number = table.number(key)
    if number is not None and abs(number) > LARGEST:
        table.fault(key, f"got {number:g}, wanted {LARGEST:,.0f} or less either way")
        return None
    return number


def _field(table: Table, decode: DecodeSettings | None) -> str | int | None:
    wanted = 'a column or key name in quotes, such as "v", or a column number from 0'
    field = table.take("field", wanted, required=True)
    if field is None:
        return None
    if isinstance(field, bool) or not isinstance(field, int | str) or field == "":
        table.fault("field", f"got {shown(field)}, wanted {wanted}")
        return None
    if isinstance(field, int) and not 0 <= field < 10_000:
        table.fault("field", f"got {field}, wanted a column number from 0 to 9,999")
        return None
    if decode is None:
        return field if isinstance(field, int) else str(field)
    if decode.format == "delimited":
        return _column(table, field, decode)
    if isinstance(field, int) and decode.format not in _ARRAYS and not decode.settings:
        table.fault("field", f"got column number {field}, wanted a name: {decode.format} has no columns")
    elif decode.layout is not None and isinstance(field, str):
        _in_layout(table, field, decode.layout)
    return field if isinstance(field, int) else str(field)


def _in_layout(table: Table, field: str, layout: Layout) -> None:
    """A fault when a packed layout has no such field."""
    if layout.index is not None:
        index, _, place = field.partition(".")
        if not (_is_whole(index) and _is_whole(place) and int(place) < layout.values):
            wanted = f'"INDEX.POSITION" with a position from 0 to {layout.values - 1}, such as "3.0"'
            table.fault("field", f"got {shown(field)}, wanted {wanted}")
        return
    names = [part.name for part in layout.parts if part.name]
    names += [f"{kind.name}.{part.name}" for kind in layout.kinds for part in kind.parts if part.name]
    if names and field not in names:
        known = ", ".join(names[:8]) + (", ..." if len(names) > 8 else "")
        table.fault("field", f"got {shown(field)}, wanted a field of the layout ({known}){nearest(field, names)}")


def _is_whole(text: str) -> bool:
    return text.isascii() and text.isdigit()


def _column(table: Table, field: str | int, decode: DecodeSettings) -> str | int | None:
    """The field, checked against the columns when the file alone says what they are."""
    if isinstance(field, int):
        if decode.columns and field >= len(decode.columns):
            table.fault("field", f"got column {field}, wanted 0 to {len(decode.columns) - 1} ([decode] columns)")
            return None
        return field
    if decode.header == "none" and units.find_label(field, decode.columns) is None:
        known = f"one of columns{nearest(field, decode.columns)}" if decode.columns else "a column number from 0"
        table.fault("field", f'got {shown(field)}, wanted {known}, since header = "none"')
        return None
    return field


def _declination(table: Table, name: str) -> float:
    """Degrees to take from the field's heading: the stated variation when the field is true, else 0."""
    reference = table.text("reference", ["true", "magnetic"])
    variation = table.number("variation_deg", -180, 180, "deg")
    if (reference or variation is not None) and name not in NORTH:
        key = "reference" if reference else "variation_deg"
        table.fault(key, "has a meaning only for heading_deg and track_deg")
    if reference == "true" and variation is None:
        table.fault("variation_deg", "got nothing, wanted degrees, east positive, since the reference is true north")
    if variation is not None and reference != "true":
        table.fault("reference", 'got no reference, wanted reference = "true" with a variation')
    return variation if variation is not None and reference == "true" else 0.0


def _conversion(table: Table, unit: str | None, name: str, density: float | None) -> units.Conversion | None:
    try:
        return units.conversion(unit, name, density)
    except units.UnitError as error:
        table.fault("unit", f"got {shown(unit)}, which {error}")
        return None
