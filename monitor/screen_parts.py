"""The blocks of the screen: heading line, the next thing due, airspeed and height, gauges, calls, what is off."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import product

import msgspec

from monitor.bigtype import big, rows_of
from monitor.scales import number
from monitor.snapshot import Said, Snapshot
from monitor.spans import Glyphs, Line, Span, cells, clean, fit, length, pad, two_ends

CAUTIONS = (
    "simulator and training use; the aeroplane's handbook and your instructor rule",
    "simulator and training use; handbook and instructor rule",
    "simulator and training use only",
)
"""The caution of the last row: the longest that fits."""

FEED_WORDS = {
    "waiting": ("waiting for data", "strong"),
    "on": ("feed on", "dim"),
    "paused": ("FEED PAUSED", "strong"),
    "lost": ("FEED LOST", "caution"),
}
KIND_WORDS = {"warning": "WARNING", "caution": "CAUTION", "advisory": "advisory", "check": "check", "feed": "feed"}
"""Said before the words, so that an alert is told from a routine call without its colour."""


class Surroundings(msgspec.Struct, frozen=True):
    """What the session adds to the coach's snapshot; "" or None = nothing to show.

    title: what is running ("demo", "replay at 4x"). aircraft, source: their names. caption: the words being said now.
    notices: lines for a person, oldest first. keys: which keys do what. stale_s: how long the coach sent nothing.
    """

    title: str = ""
    aircraft: str = ""
    source: str = ""
    caption: str | None = None
    notices: tuple[str, ...] = ()
    keys: str = ""
    stale_s: float | None = None


class View(msgspec.Struct, frozen=True):
    """All that one frame shows."""

    shot: Snapshot = Snapshot()
    around: Surroundings = Surroundings()


def phase_words(shot: Snapshot) -> str:
    """The phase in capitals, or what is being waited for."""
    if shot.phase is not None:
        return shot.phase.replace("-", " ").upper()
    return "NO DATA YET" if shot.feed == "waiting" else "PHASE NOT KNOWN YET"


def feed_span(view: View) -> Span:
    """The state of the feed in words; silence from the coach itself comes first."""
    if view.around.stale_s is not None:
        return Span(f"SCREEN {view.around.stale_s:.0f} s OLD", "caution")
    return Span(*FEED_WORDS.get(view.shot.feed, (view.shot.feed, "strong")))


def title_line(view: View, width: int, glyphs: Glyphs) -> Line:
    """Program, what runs, which aeroplane; at the right the takeoff's number, time and feed."""
    shot, around = view.shot, view.around
    names = "   ".join(part for part in (around.title, around.aircraft) if part)
    right = [f"takeoff {shot.takeoff}"] if shot.takeoff is not None else []
    right += [f"{shot.t_s:.1f} s"] if shot.t_s is not None else []
    left = (Span("climbout", "title"), Span(f"  {names}", "dim"))
    return two_ends(left, (Span("   ".join([*right, ""]), "dim"), feed_span(view)), width, "plain", glyphs)


def phase_line(view: View, width: int, glyphs: Glyphs) -> Line:
    """The phase, and the words being said."""
    alert = (Span("  "), Span(" WARNING ", "warning")) if view.shot.warning else ()
    source = f"   from {view.around.source}" if view.shot.feed == "waiting" and view.around.source else ""
    left = (Span(phase_words(view.shot), "strong"), *alert, Span(source))
    if not view.around.caption:
        return fit(left, width, glyphs)
    gap = max(3, 26 - length(left))
    return fit((*left, Span(" " * gap), Span(f'"{view.around.caption}"', "caption")), width, glyphs)


def due_words(shot: Snapshot) -> str:
    """The one thing that matters now: the warning, else the feed's trouble, else the next thing due."""
    if shot.warning:
        return shot.warning.replace("-", " ")
    if shot.feed == "lost":
        return "no data"
    return shot.next_text or ("waiting" if shot.feed == "waiting" else "")


def due_block(view: View, scale: int, width: int, glyphs: Glyphs) -> list[Line]:
    """The one thing that matters now in the largest type up to `scale` that fits, in a block of constant height.

    Of a warning the deciding word is the largest ("ABORT"), its reason stands beside it; what is due is drawn whole
    where that fits.
    """
    shot = view.shot
    words = clean(due_words(shot), glyphs.ascii)
    role = "warning" if shot.warning else "strong"
    height = rows_of(scale, glyphs) if scale else 1
    splits = ((words, ""), _head(words), (words.partition(" ")[0], words.partition(" ")[2]))
    rows = _largest(splits[1:] if shot.warning else splits, scale, width - 2, glyphs) or (words,)
    return _centred([(Span(f" {row}", role),) for row in rows], height, width, role, glyphs)


def _largest(splits: Sequence[tuple[str, str]], scale: int, width: int, glyphs: Glyphs) -> tuple[str, ...] | None:
    """As large as it goes, the first split that fits: its first part large, the second as text beside it."""
    for size in range(scale, 0, -1):
        for (large, rest), columns in product(splits, (size, size - 1)):
            beside = f"   {rest}" if rest else ""
            drawn = big(large, size, width - cells(beside), glyphs, columns) if columns else None
            if drawn is not None:
                middle = len(drawn) // 2
                return tuple(row + (beside if index == middle else "") for index, row in enumerate(drawn))
    return None


def _head(words: str) -> tuple[str, str]:
    """The deciding word or words, and the rest: "Abort" and "oil pressure low", "Rotate" and "at 52 kt"."""
    first = re.match(r"(.+?)(?::| (?=at |above |below )|, |\. )\s*(.*)", words)
    if first is None:
        return words, ""
    said_twice = re.match(rf"{re.escape(first[1])}[.,:]?\s*", first[2], re.IGNORECASE)  # "Abort, abort. Oil pressure"
    return first[1], first[2][said_twice.end() :] if said_twice else first[2]


def _centred(rows: list[Line], height: int, width: int, role: str, glyphs: Glyphs) -> list[Line]:
    """The rows in the middle of `height` rows; a warning's ground covers the whole block."""
    ground = role if role == "warning" else "plain"
    above = (height - len(rows)) // 2
    blank: Line = pad((), width, ground, glyphs) if ground == "warning" else ()
    padded = [pad(row, width, ground, glyphs) if ground == "warning" else row for row in rows]
    return ([blank] * above + padded + [blank] * height)[:height]


def against_target(shot: Snapshot, seconds: bool = True) -> str:
    """Airspeed against its target in words: "VR 52, 7 to go", "VY 72, 4 slow", "VY 72, in band"."""
    if shot.target_kt is None:
        return ""
    target = f"{shot.target_name or 'target'} {shot.target_kt:.0f}"
    if shot.ias_kt is None:
        return target
    off = round(shot.ias_kt) - round(shot.target_kt)
    if shot.target_low_kt is None and shot.target_high_kt is None:
        left_to_go = f", {-off} to go{_seconds_to_go(shot) if seconds else ''}" if off < 0 else ""
        return target + (f", {off} past" if off > 0 else left_to_go)
    slow = shot.target_low_kt is not None and shot.ias_kt < shot.target_low_kt
    fast = shot.target_high_kt is not None and shot.ias_kt > shot.target_high_kt
    if slow and (shot.acceleration_kt_s or 0.0) > 0.5:
        return f"{target}, {abs(off)} to go"
    return f"{target}, {abs(off)} SLOW" if slow else f"{target}, {abs(off)} FAST" if fast else f"{target}, in band"


def _seconds_to_go(shot: Snapshot) -> str:
    """ ", about 4 s" at the acceleration now; "" when that means nothing."""
    if not shot.acceleration_kt_s or shot.acceleration_kt_s < 0.5 or shot.ias_kt is None or shot.target_kt is None:
        return ""
    seconds = (shot.target_kt - shot.ias_kt) / shot.acceleration_kt_s
    return f", about {seconds:.0f} s" if 0.5 <= seconds < 30 else ""


def climb_words(shot: Snapshot) -> str:
    """Vertical speed in words, to the nearest 10 ft/min (a trainer's instrument is read no finer)."""
    if shot.vertical_speed_fpm is None:
        return ""
    tens = round(shot.vertical_speed_fpm, -1)
    return f"{tens:+.0f} ft/min" if tens else "0 ft/min"


def _figures(value: float | None, scale: int, width: int, glyphs: Glyphs) -> list[Line]:
    text = "--" if value is None else number(value)
    drawn = big(text, scale, width, glyphs) if scale else None
    rows: list[Line] = [(Span(row, "strong"),) for row in drawn or (text,)]
    return (rows + [()] * rows_of(scale, glyphs))[: max(1, rows_of(scale, glyphs))]


def flight_block(shot: Snapshot, scale: int, width: int, glyphs: Glyphs) -> list[Line]:
    """Airspeed with its target at the left, height with vertical speed at the right, each under its label."""
    half = width // 2
    label = "AIRSPEED kt" if half >= 50 else "IAS kt"
    target = against_target(shot, seconds=len(label) + 2 + len(against_target(shot)) <= half - 2)
    left = fit((Span(label, "dim"), Span(f"  {target}", "strong")), half - 2, glyphs)
    right = fit((Span("HEIGHT ft", "dim"), Span(f"  {climb_words(shot)}", "strong")), width - half, glyphs)
    rows: list[Line] = [(*pad(left, half, "plain", glyphs), *right)]
    speed = _figures(shot.ias_kt, scale, half - 2, glyphs)
    height = _figures(shot.height_ft, scale, width - half, glyphs)
    return rows + [(*pad(one, half, "plain", glyphs), *two) for one, two in zip(speed, height, strict=True)]


def turn_from(heading: float, reference: float) -> float:
    """How far a heading is from a reference in degrees, right positive, -180 to 180."""
    return (heading - reference + 180.0) % 360.0 - 180.0


def heading_words(shot: Snapshot) -> str:
    """Heading against the runway in words: "heading 264  runway 262  2 right"."""
    if shot.heading_deg is None:
        return ""
    text = f"heading {round(shot.heading_deg) % 360 or 360:03d}"
    if shot.runway_heading_deg is None:
        return text
    off = round(turn_from(shot.heading_deg, shot.runway_heading_deg))
    side = f"{abs(off)} {'right' if off > 0 else 'left'}" if off else "aligned"
    return f"{text}  runway {round(shot.runway_heading_deg) % 360 or 360:03d}  {side}"


def _sided(name: str, value: float | None, positive: str, negative: str) -> str:
    if value is None:
        return ""
    size = abs(round(value))
    return f"{name} {size} {positive if value > 0 else negative}" if size else f"{name} 0"


def attitude_line(shot: Snapshot, width: int, glyphs: Glyphs) -> Line:
    """Heading, pitch, bank, flaps, throttle: as many of them, in this order, as there is room for."""
    parts = [
        heading_words(shot),
        _sided("pitch", shot.pitch_deg, "up", "down"),
        _sided("bank", shot.bank_deg, "right", "left"),
        f"flaps {shot.flaps_deg:.0f}" if shot.flaps_deg is not None else "",
        f"throttle {shot.throttle * 100:.0f} %" if shot.throttle is not None else "",
        f"groundspeed {shot.groundspeed_kt:.0f} kt" if shot.groundspeed_kt is not None else "",
        f"altitude {shot.altitude_ft:.0f} ft" if shot.altitude_ft is not None else "",
    ]
    line = ""
    for part in filter(None, parts):
        joined = f"{line}   {part}" if line else part
        if len(joined) > width:
            break
        line = joined
    return fit((Span(line),), width, glyphs)


def said_row(said: Said, newest: bool, width: int, glyphs: Glyphs) -> Line:
    """One past call: its time, what kind it was unless routine, and its words; in brackets when it was silent."""
    stamp = "      " if said.t_s is None else f"{said.t_s:>6.1f}"
    kind = KIND_WORDS.get(said.kind)
    alert = said.kind in ("warning", "caution", "advisory")
    tag = (Span(kind, said.kind if alert else "plain"), Span(" ")) if kind else ()
    text = said.text if said.spoken or said.kind == "feed" else f"[{said.text}]"
    role = "strong" if newest else "plain" if said.spoken else "dim"
    return fit((Span(f"{stamp}  ", "dim"), *tag, Span(text, role)), width, glyphs)


def status_rows(view: View, rows: int, width: int, glyphs: Glyphs) -> list[Line]:
    """What must not be forgotten: held warnings, notices (newest first), checks that are off; sharing the last row."""
    shot = view.shot
    held = ", ".join(word.replace("-", " ") for word in shot.held)
    parts: list[Line] = [(Span("held:", "caution"), Span(f" {held}", "strong"))] if held else []
    parts += [(Span(notice),) for notice in reversed(view.around.notices)]
    parts += [(Span(f"off ({len(shot.off)}): {'; '.join(shot.off)}", "dim"),)] if shot.off else []
    if len(parts) > rows:
        joined = [span for part in parts[rows - 1 :] for span in (*part, Span("   "))]
        parts = [*parts[: rows - 1], tuple(joined)]
    lines: list[Line] = [fit(part, width, glyphs) for part in parts] + [()] * (rows - len(parts))
    return [*lines[:-1], two_ends(lines[-1], (Span(view.around.keys),), width, "plain", glyphs)]


def foot_line(width: int, glyphs: Glyphs) -> Line:
    """The caution, the longest that fits."""
    return fit((Span(next((words for words in CAUTIONS if len(words) <= width), CAUTIONS[-1]), "dim"),), width, glyphs)
