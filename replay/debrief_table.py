"""The debrief as a table for a person: what was measured, the band, the verdict in words, the sources below."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Console
from rich.table import Table
from rich.text import Text

from monitor.toml_check import plain
from replay.debrief import Debrief, TakeoffDebrief
from replay.items import Item

LABELS: dict[str, str] = {
    "rotation-speed": "Rotation speed",
    "lift-off-speed": "Lift-off speed",
    "stall-margin": "Margin over stall at lift-off",
    "ground-roll": "Ground roll",
    "full-power-after": "Full power after",
    "takeoff-rpm": "Rpm at the end of the roll",
    "heading-on-wheels": "Worst heading on the wheels",
    "centreline": "Farthest from the centreline",
    "pitch-on-wheels": "Highest pitch on the wheels",
    "best-rate-after": "From lift-off to VY",
    "lowest-speed": "Lowest speed until then",
    "climb-speed": "Mean climb speed, 300 to 1,000 ft",
    "climb-speed-share": "Climb time inside VY +10/-5",
    "drift": "Worst drift of the track to 500 ft",
    "bank-to-500-ft": "Most bank to 500 ft",
    "bank-in-turn": "Most bank in the first turn",
    "flaps-up-height": "Height when the flaps came up",
    "flaps-up-speed": "Speed when the flaps came up",
    "first-turn-height": "Height of the first turn",
    "power-to-500-ft": "Least power to 500 ft",
    "obstacle-speed": "Mean speed to the obstacle",
    "cue-to-throttle": "From the call to throttle closed",
    "cue-to-brakes": "From the call to the brakes",
    "speed-at-throttle": "Speed at throttle closed",
    "distance-to-stop": "Distance from roll start to stop",
    "runway-left": "Runway left at the stop",
}
OUTCOMES = {
    "climbed": "climbed away",
    "rejected": "rejected",
    "landed-ahead": "landed ahead",
    "incomplete": "the data ends before it was decided",
}
_STYLES = {"within": "green", "outside": "bold yellow", "not-measured": "dim"}
_WORDS = {"within": "within", "outside": "outside", "not-measured": "not measured"}
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
    sources: list[str] = []
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    for name, justify in (("", "left"), ("measured", "right"), ("target", "right"), ("band", "left"), ("", "left")):
        table.add_column(name, justify=justify)  # type: ignore[arg-type]
    table.add_column("source", justify="right", style="dim")
    for item in takeoff.items:
        table.add_row(*_row(item, sources))
    console.print(table)
    for number, source in enumerate(sources, 1):
        console.print(Text(f"[{number}] {source}", style="dim"))


def _moments(takeoff: TakeoffDebrief) -> str:
    """The moments in order, counted from the start of the roll."""
    start = takeoff.figures["roll_start_s"] or 0.0
    parts = [f"{word} {at - start:.1f} s" for key, word in _MOMENTS[1:] if (at := takeoff.figures[key]) is not None]
    return f"The roll began at {start:.1f} s" + ("; then " + ", ".join(parts) if parts else "") + "."


def _row(item: Item, sources: list[str]) -> Iterable[str | Text]:
    if item.source not in sources:
        sources.append(item.source)
    measured = "" if item.actual is None else f"{_number(item.actual)} {item.unit}"
    target = "" if item.target is None else _number(item.target)
    style = _STYLES[item.verdict]
    words = _WORDS[item.verdict] if item.actual is None or item.verdict != "not-measured" else "for information"
    verdict = f"{words}: {item.why}" if item.why else words
    number = f"[{sources.index(item.source) + 1}]"
    return LABELS[item.id], Text(measured), target, _band(item), Text(verdict, style=style), Text(number)


def _band(item: Item) -> str:
    if item.low is not None and item.high is not None:
        return f"{_number(item.low)} to {_number(item.high)}"
    if item.low is not None:
        return f"{_number(item.low)} or more"
    return "" if item.high is None else f"{_number(item.high)} or less"


def _number(value: float) -> str:
    """At most as many decimals as can be read: none from 100 on, one below, two below 3."""
    digits = 0 if abs(value) >= 100 else (1 if abs(value) >= 3 else 2)
    rounded = round(value, digits)
    return f"{rounded:,.0f}" if rounded >= 1000 else plain(rounded)
