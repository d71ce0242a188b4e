"""The screen's parts: gauges on their marks, values in words, large letters, lines that fit."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from monitor.bigtype import big, rows_of
from monitor.scales import column, gauge_bar, number, state_words
from monitor.screen_parts import against_target, climb_words, heading_words, turn_from
from monitor.snapshot import Gauge, Snapshot
from monitor.spans import ASCII, UNICODE, Glyphs, Span, cells, crop, fit
from tests.screen_scenes import CLIMB, ROLL


@pytest.mark.parametrize(
    ("gauge", "words"),
    [
        (Gauge("rpm", 2315, "green", (2100, 2600), None, 2600), "green"),
        (Gauge("rpm", 2001, "caution", (2100, 2600), None, 2600), "CAUTION LOW"),
        (Gauge("rpm", 2700, "red", (2100, 2600), None, 2600), "RED HIGH"),
        (Gauge("oil_pressure_psi", 18, "red", None, 25, 110), "RED LOW"),
        (Gauge("oil_pressure_psi", 18, "red"), "RED"),
        (Gauge("egt_degf", 1300, "unmarked"), "no marks"),
        (Gauge("egt_degf", None, "off"), "no value"),
    ],
)
def test_state_in_words(gauge: Gauge, words: str) -> None:
    """The state of every gauge is in words of its own, so that no colour is needed to read it."""
    assert state_words(gauge)[0] == words


def test_marks_on_the_bar() -> None:
    """The bar has the green arc, yellow beside it and red lines where the profile puts them (14 CFR 25.1549)."""
    bar = gauge_bar(Gauge("oil_pressure_psi", 62.0, "green", (50, 90), 25, 110), 60, UNICODE)
    roles = [span.role for span in bar for _ in span.text]
    low, high = 25 - 85 / 6, 110 + 85 / 6
    assert len(roles) == 60
    assert [roles[column(value, low, high, 60)] for value in (25, 110)] == ["limit", "limit"]
    assert [roles[column(value, low, high, 60)] for value in (55, 70, 85)] == ["green"] * 3
    assert [roles[column(value, low, high, 60)] for value in (35, 100)] == ["arc", "arc"]
    assert roles[column(62, low, high, 60)] == "strong"


def test_value_off_the_bar() -> None:
    """A value beyond the scale stands at its end as an arrowhead, never outside."""
    gauge = Gauge("oil_pressure_psi", 999.0, "red", (50, 90), 25, 110)
    text = "".join(span.text for span in gauge_bar(gauge, 20, UNICODE))
    assert text[-1] == ">"
    assert len(text) == 20


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"ias_kt": 47.3}, "VR 52, 5 to go, about 2 s"),
        ({"ias_kt": 47.3, "acceleration_kt_s": None}, "VR 52, 5 to go"),
        ({"ias_kt": 47.3, "acceleration_kt_s": -2.0}, "VR 52, 5 to go"),
        ({"ias_kt": 52.4}, "VR 52"),
        ({"ias_kt": 55.0}, "VR 52, 3 past"),
        ({"ias_kt": None}, "VR 52"),
        ({"target_kt": None}, ""),
    ],
)
def test_airspeed_to_go(changes: dict[str, float | None], words: str) -> None:
    """On the roll the words tell what is missing to VR, and about how long at the acceleration now."""
    assert against_target(replace(ROLL, **changes)) == words


@pytest.mark.parametrize(
    ("ias_kt", "acceleration_kt_s", "words"),
    [
        (64.6, 0.1, "VY 72, 7 SLOW"),
        (60.0, 1.5, "VY 72, 12 to go"),
        (66.9, 0.0, "VY 72, 5 SLOW"),
        (67.0, 0.0, "VY 72, in band"),
        (82.0, 0.0, "VY 72, in band"),
        (84.0, 0.0, "VY 72, 12 FAST"),
    ],
)
def test_airspeed_in_band(ias_kt: float, acceleration_kt_s: float, words: str) -> None:
    """In the climb the words tell in, below or above the band of +10/-5 kt (FAA-S-ACS-6C, PA.IV.A.S11)."""
    shot = replace(CLIMB, ias_kt=ias_kt, acceleration_kt_s=acceleration_kt_s)
    assert against_target(shot) == words


@pytest.mark.parametrize(
    ("heading", "runway", "words"),
    [
        (264.0, 262.0, "heading 264  runway 262  2 right"),
        (358.0, 3.0, "heading 358  runway 003  5 left"),
        (2.0, 358.0, "heading 002  runway 358  4 right"),
        (359.8, 360.0, "heading 360  runway 360  aligned"),
        (0.2, 0.0, "heading 360  runway 360  aligned"),
        (90.0, None, "heading 090"),
        (None, 90.0, ""),
    ],
)
def test_heading(heading: float | None, runway: float | None, words: str) -> None:
    """The side off the runway heading is right across north; north is 360, as it is spoken (common practice)."""
    assert heading_words(Snapshot(heading_deg=heading, runway_heading_deg=runway)) == words


@given(st.floats(0, 360), st.floats(-180, 179.9))
def test_turn_from(reference: float, off: float) -> None:
    """The difference of two headings is what was added, whichever side of north they are."""
    assert turn_from((reference + off) % 360, reference) == pytest.approx(off, abs=1e-6)


def test_vertical_speed_is_rounded() -> None:
    """Vertical speed stands to the nearest ten with its sign, and never as minus zero."""
    shown = [climb_words(Snapshot(vertical_speed_fpm=value)) for value in (688.0, -43.0, -3.0, 4.9)]
    assert shown == ["+690 ft/min", "-40 ft/min", "0 ft/min", "0 ft/min"]
    assert climb_words(Snapshot()) == ""
    assert number(-0.2) == "0"


def test_alphabet() -> None:
    """Every letter and digit is drawn, and no two alike, so that none can be taken for another."""
    signs = string.ascii_uppercase + string.digits
    drawn = {big(sign, 1, 20, UNICODE) for sign in signs}
    assert None not in drawn
    assert len(drawn) == len(signs)


@pytest.mark.parametrize("scale", [1, 2, 3, 4])
@pytest.mark.parametrize("glyphs", [UNICODE, ASCII])
def test_large_type_size(scale: int, glyphs: Glyphs) -> None:
    """Large type is as high as announced, every row equally wide, and refused rather than cut when too wide."""
    drawn = big("Rotate 52", scale, 500, glyphs)
    assert drawn is not None
    assert len(drawn) == rows_of(scale, glyphs)
    assert len({len(row) for row in drawn}) == 1
    assert big("Rotate 52", scale, len(drawn[0]) - 1, glyphs) is None


def test_cut_is_marked() -> None:
    """A text that does not fit ends in a mark, and no column is used beyond the width, wide characters included."""
    assert crop("Airspeed", 5) == "Airs…"
    assert cells(crop("警告警告", 4)) <= 4
    assert fit((Span("Air"), Span("speed")), 5) == (Span("Air"), Span("s…"))
    assert crop("abc", 0) == ""


def test_a_band_next_to_nothing_has_columns_too() -> None:
    """Ends that differ by less than a number can hold: a value far beyond stands at that end, as in any band."""
    assert column(1.0, -3.7e-310, 2.6e-309, 9) == 8
    assert column(-1.0, -3.7e-310, 2.6e-309, 9) == 0
