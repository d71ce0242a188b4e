"""Values drawn on their marks: the engine gauges and the airspeed scale. State is always in words, never colour alone.

Colours of the marks by 14 CFR 25.1549: green arc normal, yellow arc precaution, red line limit.
"""

from __future__ import annotations

from monitor.snapshot import Gauge, Snapshot
from monitor.spans import Glyphs, Line, Span, clean, crop

LABELS: dict[str, tuple[str, str, int]] = {
    "rpm": ("rpm", "", 0),
    "manifold_pressure_inhg": ("manifold", "inHg", 1),
    "oil_pressure_psi": ("oil press", "psi", 0),
    "oil_temperature_degf": ("oil temp", "°F", 0),
    "egt_degf": ("EGT", "°F", 0),
    "cht_degf": ("CHT", "°F", 0),
    "fuel_flow_gph": ("fuel flow", "gal/h", 1),
    "fuel_pressure_psi": ("fuel press", "psi", 1),
    "suction_inhg": ("suction", "inHg", 1),
    "ammeter_a": ("ammeter", "A", 0),
    "bus_v": ("bus", "V", 1),
    "fuel_quantity_gal": ("fuel", "gal", 0),
}
"""Channel to what stands on the screen: name, unit, decimals. A channel not listed is shown by its own name."""

LEAST_BAR = 6
"""A bar of fewer columns tells nothing."""

STATES = {"green": ("green", "green"), "unmarked": ("no marks", "dim"), "off": ("no value", "dim")}
"""Gauge state to words and role; caution and red depend on the side, see `state_words`."""


def _side(gauge: Gauge) -> str:
    """ " low" or " high" of the green arc or the red lines, "" when it cannot be told."""
    low = gauge.green[0] if gauge.green else gauge.low
    high = gauge.green[1] if gauge.green else gauge.high
    if gauge.value is None:
        return ""
    if low is not None and gauge.value < low:
        return " LOW"
    return " HIGH" if high is not None and gauge.value > high else ""


def state_words(gauge: Gauge) -> tuple[str, str]:
    """What the gauge says, in words, and the role they are shown in."""
    if gauge.state == "red":
        return f"RED{_side(gauge)}", "warning"
    if gauge.state == "caution":
        return f"CAUTION{_side(gauge)}", "caution"
    return STATES.get(gauge.state, (gauge.state, "plain"))


def _span_of(gauge: Gauge) -> tuple[float, float] | None:
    """The scale's ends: the outermost marks and a sixth more, so that it never moves with the value."""
    marks = [*(gauge.green or ()), *(mark for mark in (gauge.low, gauge.high) if mark is not None)]
    if not marks or max(marks) <= min(marks):
        return None
    margin = (max(marks) - min(marks)) / 6
    return min(marks) - margin, max(marks) + margin


def column(value: float, low: float, high: float, width: int) -> int:
    """The column, 0 to width - 1, in which a value stands; values beyond an end stand at that end."""
    part = (value - low) / (high - low) if high > low else 0.0
    return min(width - 1, int(max(0.0, min(1.0, part)) * width))  # held first: a band next to nothing makes it infinite


def merged(cells: list[tuple[str, str]]) -> Line:
    """Single signs with their roles as as few spans as there are changes of role."""
    spans: list[Span] = []
    for sign, role in cells:
        if spans and spans[-1].role == role:
            spans[-1] = Span(spans[-1].text + sign, role)
        else:
            spans.append(Span(sign, role))
    return tuple(spans)


def _point(cells: list[tuple[str, str]], value: float, low: float, high: float, glyphs: Glyphs) -> None:
    """Put the value's pointer on the scale; an arrowhead at the end when it is off the scale."""
    sign = "<" if value < low else ">" if value > high else glyphs.pointer
    cells[column(value, low, high, len(cells))] = (sign, "strong")


def _between(gauge: Gauge, at: float) -> tuple[str, str] | None:
    """Which arc a value lies in: (glyph's field, role), None outside every mark."""
    if gauge.green and gauge.green[0] <= at <= gauge.green[1]:
        return "arc", "green"
    below = gauge.low is not None and at < gauge.low
    above = gauge.high is not None and at > gauge.high
    return None if below or above else ("scale", "arc")


def gauge_bar(gauge: Gauge, width: int, glyphs: Glyphs) -> Line:
    """The value on its marks, in exactly `width` columns; empty when the gauge has no marks."""
    ends = _span_of(gauge)
    if ends is None:
        return ()
    low, high = ends
    cells: list[tuple[str, str]] = []
    for index in range(width):
        arc = _between(gauge, low + (index + 0.5) * (high - low) / width)
        cells.append((getattr(glyphs, arc[0]), arc[1]) if arc else (" ", "plain"))
    for mark in (gauge.low, gauge.high):
        if mark is not None:
            cells[column(mark, low, high, width)] = (glyphs.limit, "limit")
    if gauge.value is not None and gauge.state != "off":
        _point(cells, gauge.value, low, high, glyphs)
    return merged(cells)


def number(value: float | None, decimals: int = 0) -> str:
    """The value as it stands on the screen; dashes when there is none. Never "-0"."""
    return "---" if value is None else f"{round(value, decimals) + 0.0:.{decimals}f}"


def gauge_row(gauge: Gauge, width: int, glyphs: Glyphs) -> Line:
    """One gauge: name, value, unit, the bar when there is room, and its state in words."""
    name, unit, decimals = LABELS.get(gauge.channel, (gauge.channel.replace("_", " "), "", 1))
    words, role = state_words(gauge)
    value = None if gauge.state == "off" else gauge.value
    figures = f" {number(value, decimals):>5} "
    if width >= 50:
        figures += f"{clean(unit, glyphs.ascii):<6}"
    label = crop(clean(name, glyphs.ascii), 10, glyphs.ellipsis)
    room = min(40, width - 10 - len(figures) - 13)
    bar: Line = ()
    if room >= LEAST_BAR:
        bar = (*(gauge_bar(gauge, room, glyphs) or (Span(" " * room),)), Span("  "))
    return (Span(f"{label:<10}"), Span(figures, "strong"), *bar, Span(words, role))


def _scale_ends(shot: Snapshot) -> tuple[float, float] | None:
    """What the airspeed scale spans: from rest to past VR on the wheels, 25 kt about the target in the air."""
    if shot.target_kt is None:
        return None
    return (0.0 if shot.on_wheels else max(0.0, shot.target_kt - 25)), shot.target_kt + 25


def speed_scale(shot: Snapshot, width: int, glyphs: Glyphs) -> Line:
    """The airspeed on a scale with the target and its band; empty without a target or room."""
    ends = _scale_ends(shot)
    if ends is None or width < 24 or shot.target_kt is None:
        return ()
    low, high = ends
    begin, end = f"{low:>3.0f} ", f" {high:.0f}"
    cells = [(glyphs.scale, "dim")] * (width - len(begin) - len(end))
    if shot.target_low_kt is not None and shot.target_high_kt is not None:
        first = column(shot.target_low_kt, low, high, len(cells))
        last = column(shot.target_high_kt, low, high, len(cells))
        cells[first : last + 1] = [(glyphs.arc, "strong")] * (last + 1 - first)
    cells[column(shot.target_kt, low, high, len(cells))] = (glyphs.limit, "strong")
    if shot.ias_kt is not None:
        _point(cells, shot.ias_kt, low, high, glyphs)
    return (Span(begin, "dim"), *merged(cells), Span(end, "dim"))
