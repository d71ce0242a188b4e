"""The debrief as a table for a person: what was measured, the band, the verdict in words, the sources below."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from monitor.toml_check import plain
from replay.debrief import Debrief, TakeoffDebrief
from replay.heard import in_words
from replay.items import Item

LABELS: dict[str, str] = {
    "rotation-speed": "Rotation speed",
    "lift-off-speed": "Lift-off speed",
    "stall-margin": "Lift-off over stall speed",
    "ground-roll": "Ground roll",
    "full-power-after": "Full power after",
    "takeoff-rpm": "Rpm at the end of the roll",
    "heading-on-wheels": "Worst heading, wheels",
    "centreline": "Farthest off the centreline",
    "pitch-on-wheels": "Highest pitch, wheels",
    "best-rate-after": "From lift-off to VY",
    "lowest-speed": "Lowest speed until then",
    "climb-speed": "Climb speed, 300-1,000 ft",
    "climb-speed-share": "Time inside VY +10/-5",
    "hands-off-speed": "Speed kept hands off, +/-",
    "drift": "Worst drift to 500 ft",
    "bank-to-500-ft": "Most bank to 500 ft",
    "bank-in-turn": "Most bank in the first turn",
    "flaps-up-height": "Flaps up, height",
    "flaps-up-speed": "Flaps up, speed",
    "first-turn-height": "Height of the first turn",
    "power-to-500-ft": "Least power to 500 ft",
    "obstacle-speed": "Speed to the obstacle",
    "cue-to-throttle": "Call to throttle closed",
    "cue-to-brakes": "Call to brakes",
    "speed-at-throttle": "Speed at throttle closed",
    "distance-to-stop": "Roll start to stop",
    "runway-left": "Runway left at the stop",
}
OUTCOMES = {
    "climbed": "climbed away",
    "rejected": "rejected",
    "landed-ahead": "landed ahead",
    "incomplete": "the data ends before it was decided",
}
_VERDICTS = {
    "within": Text("within", style="green"),
    "outside": Text("OUTSIDE", style="bold yellow"),
    "not-measured": Text("-", style="dim"),
}
_MOMENTS = (
    ("roll_start_s", "roll"),
    ("rotation_s", "rotation"),
    ("liftoff_s", "lift-off"),
    ("height_200_s", "200 ft"),
    ("height_300_s", "300 ft"),
    ("height_500_s", "500 ft"),
    ("height_1000_s", "1,000 ft"),
    ("throttle_closed_s", "throttle closed"),
    ("stopped_s", "stopped"),
)


def print_debrief(result: Debrief, console: Console | None = None) -> None:
    """Print every takeoff of a flight, or that there was none."""
    console = console or Console()
    if not result.takeoffs:
        console.print("No takeoff was found in this flight.")
    for takeoff in result.takeoffs:
        _print_takeoff(takeoff, console)


def _print_takeoff(takeoff: TakeoffDebrief, console: Console) -> None:
    console.print()
    console.print(Text(f"Takeoff {takeoff.takeoff}: {OUTCOMES[takeoff.outcome]}", style="bold"))
    console.print(Text(_moments(takeoff)))
    console.print(Text(_summary(takeoff.items)))
    console.print()
    measured = [item for item in takeoff.items if item.actual is not None]
    sources = list(dict.fromkeys(item.source for item in measured))
    console.print(_table(measured, sources))
    for item in takeoff.items:
        if item.verdict == "not-measured":
            word = "measured" if item.actual is None else "judged"
            console.print(Text(f"Not {word}: {LABELS[item.id]}: {item.why}", style="dim"))
    for number, source in enumerate(sources, 1):
        console.print(Text(f"[{number}] {source}", style="dim"))
    _print_heard(takeoff, console)


def _print_heard(takeoff: TakeoffDebrief, console: Console) -> None:
    """What became of each call that the voice was given."""
    if takeoff.heard is None:
        console.print(Text(f"When the calls were heard is not known: {takeoff.why.get('heard', '')}", style="dim"))
        return
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("call")
    table.add_column("heard")
    for call in takeoff.heard:
        table.add_row(Text(call.say), Text(in_words(call)))
    console.print()
    console.print(table)


def _summary(items: Sequence[Item]) -> str:
    """What matters first: what is outside its band, then how much was measured."""
    outside = [LABELS[item.id].lower() for item in items if item.verdict == "outside"]
    within = sum(item.verdict == "within" for item in items)
    if outside:
        return f"Outside the band: {'; '.join(outside)}. Within: {within}."
    return f"All {within} figures that could be judged are within their band."


def _table(items: Sequence[Item], sources: Sequence[str]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("", no_wrap=True)
    table.add_column("measured", justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    table.add_column("wanted", no_wrap=True)
    table.add_column("", justify="right", style="dim", no_wrap=True)
    for item in items:
        measured = f"{figure(item.actual or 0.0)} {item.unit}"
        number = Text(f"[{sources.index(item.source) + 1}]")
        table.add_row(LABELS[item.id], measured, _VERDICTS[item.verdict], _wanted(item), number)
    return table


def _moments(takeoff: TakeoffDebrief) -> str:
    """The moments in order, counted from the start of the roll."""
    start = takeoff.figures["roll_start_s"]
    moments = [(word, at) for key, word in _MOMENTS[1:] if (at := takeoff.figures[key]) is not None]
    parts = ", ".join(f"{word} {at - (start or 0.0):.1f} s" for word, at in moments)
    if start is None:
        return "The data begins on the roll" + (f"; by its own time {parts}" if parts else "") + "."
    return f"The roll began at {start:.1f} s" + (f"; then {parts}" if parts else "") + "."


def _wanted(item: Item) -> str:
    """The band, with the target before it where there is one inside it."""
    band = _band(item)
    if item.target is None or item.target in (item.low, item.high, 0.0):
        return band
    return f"{figure(item.target)}, {band}" if band else figure(item.target)


def _band(item: Item) -> str:
    if item.low is not None and item.high is not None:
        return f"{figure(item.low)} to {figure(item.high)}"
    if item.low is not None:
        return f"{figure(item.low)} or more"
    return "" if item.high is None else f"{figure(item.high)} or less"


def figure(value: float) -> str:
    """At most as many decimals as can be read: none from 100 on, one below, two below 3."""
    digits = 0 if abs(value) >= 100 else (1 if abs(value) >= 3 else 2)
    rounded = round(value, digits)
    return f"{rounded:,.0f}" if rounded >= 1000 else plain(rounded)
