"""What the dashboard shows: one view and the terminal's size in, rows of text with roles out. Pure.

From the top: what matters most, largest. The phase and the words being said; the one thing due in large type; the
airspeed and the height in large figures; then what a look inside may take longer for: gauges, past calls, what is off.
Which blocks there are and how large depends on the size alone, so that nothing jumps while the aeroplane flies.
"""

from __future__ import annotations

import msgspec

from monitor.bigtype import rows_of
from monitor.scales import gauge_row, speed_scale
from monitor.screen_parts import (
    View,
    against_target,
    attitude_line,
    climb_words,
    due_block,
    due_words,
    flight_block,
    foot_line,
    heading_words,
    phase_line,
    phase_words,
    said_row,
    status_rows,
    title_line,
)
from monitor.snapshot import Snapshot
from monitor.spans import UNICODE, Glyphs, Line, Span, beside, fit

LEAST_WIDTH, LEAST_HEIGHT = 60, 16
"""Below this the narrow screen is shown: a few rows of words."""
LEAST_LISTS = 3


class Plan(msgspec.Struct, frozen=True):
    """How the rows are shared out: scale of the thing due and of the figures, blank rows, rows for what is off."""

    due: int
    figures: int
    gaps: int
    status: int


_PLANS = (
    Plan(4, 4, 4, 3),
    Plan(3, 4, 4, 3),
    Plan(3, 3, 4, 2),
    Plan(2, 3, 4, 3),
    Plan(2, 2, 4, 3),
    Plan(2, 2, 2, 1),
    Plan(1, 2, 2, 1),
)
_PLANS_SMALL = (Plan(1, 2, 0, 1), Plan(1, 1, 0, 1), Plan(0, 1, 0, 1), Plan(0, 0, 0, 1))
_WIDTHS = {4: 150, 3: 100, 2: 72, 1: 0, 0: 0}
"""The least width at which each scale of figures leaves room for three of airspeed and four of height."""


def _fixed_rows(plan: Plan, glyphs: Glyphs) -> int:
    """Rows all but the lists take: title, phase, due, label, figures, scale, attitude, status, foot, gaps."""
    return 6 + max(1, rows_of(plan.due, glyphs)) + max(1, rows_of(plan.figures, glyphs)) + plan.status + plan.gaps


def plan_for(width: int, height: int, glyphs: Glyphs = UNICODE) -> Plan:
    """The largest plan that leaves the lists their least rows; the smallest one when none does."""
    for plan in (*_PLANS, *_PLANS_SMALL):
        wanted = LEAST_LISTS + (2 if plan.gaps else 0)
        if _WIDTHS[plan.figures] <= width and _fixed_rows(plan, glyphs) + wanted <= height:
            return plan
    return _PLANS_SMALL[-1]


def _without_old_values(shot: Snapshot) -> Snapshot:
    """Values of a feed that is lost or not there yet are not shown: an old figure reads like a good one."""
    if shot.feed not in ("waiting", "lost"):
        return shot
    gone = [msgspec.structs.replace(gauge, value=None, state="off") for gauge in shot.gauges]
    kept = ("t_s", "feed", "phase", "takeoff", "said", "warning", "held", "off", "runway_heading_deg")
    return Snapshot(gauges=tuple(gone), **{name: getattr(shot, name) for name in kept})


def _lists(shot: Snapshot, rows: int, width: int, glyphs: Glyphs) -> list[Line]:
    """Gauges at the left, those in trouble first when not all fit; past calls at the right, newest first."""
    half = width * 11 // 20 if 76 <= width < 110 else width // 2
    gauges = list(shot.gauges)
    if len(gauges) > rows:
        gauges.sort(key=lambda gauge: {"red": 0, "caution": 1}.get(gauge.state, 2))
    left = [fit(gauge_row(gauge, half - 2, glyphs), half - 2, glyphs) for gauge in gauges[:rows]]
    said = list(reversed(shot.said))[:rows]
    right = [said_row(one, index == 0, width - half, glyphs) for index, one in enumerate(said)]
    return beside(left, right, half, width, glyphs) + [()] * (rows - max(len(left), len(right)))


def _narrow(view: View, width: int, height: int, glyphs: Glyphs) -> list[Line]:
    """A terminal too small for the dashboard: the essentials, most important first, a row each."""
    shot = view.shot
    rows: list[Line] = [
        (Span(due_words(shot) or phase_words(shot), "warning" if shot.warning else "strong"),),
        (Span(f"IAS {'--' if shot.ias_kt is None else round(shot.ias_kt)}  {against_target(shot)}"),),
        (Span(f"{'--' if shot.height_ft is None else round(shot.height_ft)} ft  {climb_words(shot)}"),),
        (Span(phase_words(shot), "strong"),),
        (Span(f'"{view.around.caption}"' if view.around.caption else "", "caption"),),
        *status_rows(view, 1, width, glyphs),
        (Span(heading_words(shot)),),
        *(gauge_row(gauge, width, glyphs) for gauge in shot.gauges if gauge.state in ("red", "caution")),
        (Span("small terminal; simulator and training use only", "dim"),),
    ]
    return ([fit(row, width, glyphs) for row in rows] + [()] * height)[:height]


def screen(view: View, width: int, height: int, glyphs: Glyphs = UNICODE) -> list[Line]:
    """The frame: exactly `height` rows, none longer than `width` columns. Any size from 1 by 1 is answered."""
    view = msgspec.structs.replace(view, shot=_without_old_values(view.shot))
    if width < LEAST_WIDTH or height < LEAST_HEIGHT:
        return _narrow(view, width, height, glyphs)
    plan = plan_for(width, height, glyphs)
    gap: list[list[Line]] = [[()] if index < plan.gaps else [] for index in range(4)]
    rows = [title_line(view, width, glyphs), *gap[3], phase_line(view, width, glyphs)]
    rows += [*due_block(view, plan.due, width, glyphs), *gap[0]]
    rows += [*flight_block(view.shot, plan.figures, width, glyphs), *gap[2]]
    rows += [speed_scale(view.shot, width, glyphs), attitude_line(view.shot, width, glyphs), *gap[1]]
    rows += _lists(view.shot, max(LEAST_LISTS, height - len(rows) - plan.status - 1), width, glyphs)
    rows += [*status_rows(view, plan.status, width, glyphs), foot_line(width, glyphs)]
    return rows[:height]
