"""The logbook for a person: the last takeoffs, one a line, and the trends below."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from rich.console import Console
from rich.table import Table
from rich.text import Text

from replay.debrief_table import LABELS, figure
from replay.logbook import Line
from replay.logbook_trends import FEW, Trend

OUTCOMES = {"climbed": "climbed", "rejected": "rejected", "landed-ahead": "landed ahead", "incomplete": "incomplete"}
WIDE = 100
"""From this width on, procedure and level have columns of their own."""
MARKS_MOST = 20
TREND_LABELS = LABELS | {"takeoff-rpm": "Rpm, end of the roll"}
"""As the debrief has them, but for one that would be too long with what it is less than."""


def print_lines(lines: Sequence[Line], total: int, console: Console) -> None:
    """The takeoffs, oldest first. total: how many the logbook holds."""
    wide = console.width >= WIDE
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("no.", justify="right", no_wrap=True)
    table.add_column("flown", no_wrap=True)
    for name in ("aeroplane", *(["procedure", "level"] if wide else []), "outcome"):
        table.add_column(name, no_wrap=True, max_width=18 if wide else 14, overflow="ellipsis")
    table.add_column("within", justify="right", no_wrap=True)
    table.add_column("outside the band", ratio=1)
    for line in lines:
        more = [line.procedure, line.level] if wide else []
        cells = [str(line.no), _when(line), line.aircraft, *more, OUTCOMES.get(line.outcome, line.outcome)]
        table.add_row(*map(Text, cells), Text(_within(line)), _outside(line), style="dim" if line.struck else "")
    head = f"The last {len(lines)} of {total} takeoffs" if len(lines) < total else f"{_count(total)} in the logbook"
    console.print(Text(head, style="bold"))
    console.print(table)


def _count(n: int) -> str:
    return f"{n} takeoff{'s' if n != 1 else ''}"


def _when(line: Line) -> str:
    try:
        when = datetime.fromisoformat(line.started).strftime("%Y-%m-%d %H:%M")
    except ValueError:
        when = line.started[:16]
    return when if line.number == 1 else f"{when} /{line.number}"


def _within(line: Line) -> str:
    judged = [item for item in line.items if item.verdict != "not-measured"]
    return f"{sum(item.verdict == 'within' for item in judged)} of {len(judged)}" if judged else "-"


def _outside(line: Line) -> Text:
    if line.struck:
        return Text("struck, counts for nothing")
    parts = [f"warned: {reason.replace('-', ' ')}" for reason in dict.fromkeys(line.warnings)]
    parts += [LABELS.get(item.id, item.id).lower() for item in line.items if item.verdict == "outside"]
    return Text(", ".join(parts), style="yellow" if parts else "")


def print_trends(trends: Sequence[Trend], last: int, console: Console) -> None:
    """The items over their last takeoffs."""
    if not trends:
        console.print(Text("No figure could be judged yet, so there is no trend."))
        return
    wide = console.width >= WIDE
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("", no_wrap=True, max_width=41)
    for name in ("within", "last", "mean", *(["spread", "mean before"] if wide else [])):
        table.add_column(name, justify="right", no_wrap=True)
    if wide:
        table.add_column("", no_wrap=True)
    for trend in trends:
        more = [_value(trend, trend.spread, sign=False), _value(trend, trend.before)] if wide else []
        cells = [
            _label(trend),
            f"{trend.within} of {trend.judged}",
            _value(trend, trend.last),
            _value(trend, trend.mean),
        ]
        table.add_row(*map(Text, [*cells, *more]), *([_marks(trend)] if wide else []))
    console.print()
    console.print(Text(f"Each figure over its last {last} takeoffs that could be judged", style="bold"))
    console.print(table)
    key = "+ within, x outside the band, the latest at the right. " if wide else ""
    if key or few_line(trends):
        console.print(Text((key + few_line(trends)).rstrip(), style="dim"))


def _marks(trend: Trend) -> Text:
    marks = Text()
    for mark in trend.marks[-MARKS_MOST:]:
        marks.append(mark, style="green" if mark == "+" else "bold yellow")
    return marks


def few_line(trends: Sequence[Trend]) -> str:
    """What is not claimed for want of takeoffs; empty when all is."""
    few = sum(trend.mean is None for trend in trends)
    return f"No mean from fewer than {FEW} ({few} of {len(trends)} figures)." if few else ""


def _label(trend: Trend) -> str:
    label = TREND_LABELS.get(trend.item, trend.item)
    return label if trend.less is None else f"{label} less {trend.less}"


def _value(trend: Trend, value: float | None, sign: bool = True) -> str:
    if value is None:
        return "-"
    plus = "+" if sign and trend.less is not None and value > 0 else ""
    return f"{plus}{figure(value)} {trend.unit}"
