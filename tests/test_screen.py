"""The dashboard's layout: pictures at several sizes, and promises that hold for any snapshot and any size."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from rich.cells import cell_len

from monitor.bigtype import big, rows_of
from monitor.screen import LEAST_HEIGHT, LEAST_WIDTH, plan_for, screen
from monitor.screen_parts import CAUTIONS, Surroundings, View
from monitor.snapshot import Gauge, Said, Snapshot
from monitor.spans import ASCII, ROLES, UNICODE, Glyphs, Line, cells, clean
from tests.screen_scenes import ABORT, AROUND, CLIMB, FOLDER, GAUGES, HELD, LOST, ROLL, SCENES, SIZES, pictures

DASHBOARDS = [(60, 16), (80, 24), (110, 36), (200, 60)]


def _text(lines: list[Line]) -> list[str]:
    return ["".join(span.text for span in line) for line in lines]


def _roles(lines: list[Line], words: str) -> set[str]:
    return {span.role for line in lines for span in line if words in span.text}


@pytest.mark.parametrize("name", sorted(pictures()))
def test_picture(name: str) -> None:
    """Every scene looks as recorded, colours included; a picture that is not there fails."""
    assert pictures()[name] == (FOLDER / name).read_text(encoding="utf-8")


def test_no_picture_without_a_scene() -> None:
    """No recorded picture has lost its scene."""
    assert {path.name for path in FOLDER.glob("*.txt")} == set(pictures())


_VALUE = st.none() | st.floats(-1e9, 1e9) | st.integers(-300, 3000)
_WORDS = st.text(max_size=30) | st.sampled_from(
    ["Abort: oil pressure low", "Rotate at 52 kt", "日本語の警告", "\x1b[2J\n"]
)
_GAUGE = st.builds(
    Gauge,
    channel=st.sampled_from(["rpm", "oil_pressure_psi", "bus_v"]) | _WORDS,
    value=_VALUE,
    state=st.sampled_from(["green", "caution", "red", "unmarked", "off"]),
    green=st.none() | st.tuples(st.floats(-500, 500), st.floats(-500, 500)),
    low=_VALUE,
    high=_VALUE,
)
_SAID = st.builds(
    Said,
    t_s=_VALUE,
    kind=st.sampled_from(["callout", "warning", "caution", "advisory", "check", "feed"]),
    id=_WORDS,
    text=_WORDS,
    spoken=st.booleans(),
)
_SNAPSHOT = st.builds(
    Snapshot,
    t_s=_VALUE,
    feed=st.sampled_from(["waiting", "on", "paused", "lost"]),
    phase=st.none() | _WORDS,
    takeoff=st.none() | st.integers(1, 10**6),
    next_text=st.none() | _WORDS,
    target_name=st.none() | _WORDS,
    on_wheels=st.none() | st.booleans(),
    gauges=st.lists(_GAUGE, max_size=14).map(tuple),
    said=st.lists(_SAID, max_size=30).map(tuple),
    warning=st.none() | _WORDS,
    held=st.lists(_WORDS, max_size=3).map(tuple),
    off=st.lists(_WORDS, max_size=5).map(tuple),
    **{
        name: _VALUE
        for name in Snapshot.__struct_fields__
        if name.endswith(("_kt", "_ft", "_fpm", "_deg", "_kt_s")) or name == "throttle"
    },
)
_AROUND = st.builds(
    Surroundings,
    title=_WORDS,
    aircraft=_WORDS,
    source=_WORDS,
    caption=st.none() | _WORDS,
    notices=st.lists(_WORDS, max_size=4).map(tuple),
    keys=_WORDS,
    stale_s=st.none() | st.floats(0, 1e6),
)


def test_every_character_is_as_wide_as_the_painter_takes_it_for() -> None:
    """What is let through of any character takes as many columns as rich, the painter, measures."""
    for code in range(0x20, 0x20000):
        shown = clean(chr(code))
        assert cells(shown) == cell_len(shown), hex(code)


@settings(max_examples=100, deadline=None)
@given(
    view=st.builds(View, shot=_SNAPSHOT, around=_AROUND),
    width=st.integers(1, 210),
    height=st.integers(1, 70),
    glyphs=st.sampled_from([UNICODE, ASCII]),
)
@example(view=View(), width=1, height=1, glyphs=UNICODE)
def test_no_line_too_long(view: View, width: int, height: int, glyphs: Glyphs) -> None:
    """Whatever the snapshot and the size: as many rows as the screen has, none wider (as rich measures), no control
    character, only known roles; in ASCII nothing but ASCII."""
    lines = screen(view, width, height, glyphs)
    assert len(lines) == height
    for line in lines:
        text = "".join(span.text for span in line)
        assert cell_len(text) <= width
        assert cell_len(text) == cells(text)
        assert text.isprintable()
        assert all(span.role in ROLES for span in line)
        assert text.isascii() or not glyphs.ascii


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=20))
def test_width_as_rich_measures(text: str) -> None:
    """The width of any cleaned text is what rich's own table says."""
    assert cells(clean(text)) == cell_len(clean(text))


@given(_SNAPSHOT, _SNAPSHOT, st.sampled_from(DASHBOARDS))
@settings(max_examples=30, deadline=None)
def test_nothing_jumps(one: Snapshot, other: Snapshot, size: tuple[int, int]) -> None:
    """The label row of airspeed and height stays in its row, whatever happens in flight."""
    at = [
        next(index for index, row in enumerate(_text(screen(View(shot), *size))) if "HEIGHT ft" in row)
        for shot in (replace(one, said=()), replace(other, said=()))
    ]
    assert at[0] == at[1]


@pytest.mark.parametrize("size", SIZES)
def test_warning_is_red_and_in_words(size: tuple[int, int]) -> None:
    """A warning stands in the warning role, which is red by 14 CFR 25.1322(e)(1), and in words, at every size."""
    lines = screen(SCENES["abort"], *size)
    due = [line for line in lines[:14] if any(span.role == "warning" for span in line)]
    assert due
    assert any("oil pressure low" in row for row in _text(lines))
    assert size[0] < LEAST_WIDTH or any(" WARNING " in row for row in _text(lines))


@pytest.mark.parametrize("size", SIZES)
def test_held_warning_is_shown(size: tuple[int, int]) -> None:
    """A warning that is held until after lift-off can be read, and is not dressed as one to act on now."""
    lines = screen(View(HELD, AROUND), *size)
    assert any("held: oil pressure low" in row for row in _text(lines))
    assert _roles(lines, "held:") == {"caution"}
    assert {span.text for line in lines for span in line if span.role == "warning"} == {"RED LOW"}


@pytest.mark.parametrize("size", SIZES)
def test_lost_feed_shows_no_old_values(size: tuple[int, int]) -> None:
    """When the feed is lost no figure of it stays on the screen, and the loss is said."""
    with_feed = " ".join(_text(screen(View(CLIMB), *size)))
    lost = " ".join(_text(screen(View(LOST), *size)))
    for figure in ("VY 72", "+690 ft/min", "heading 264"):
        assert figure in with_feed or size == (40, 10)
        assert figure not in lost
    assert "FEED LOST" in lost or size[0] < LEAST_WIDTH
    assert "2315" not in lost


def test_screen_that_is_old_says_so() -> None:
    """When the coach sends nothing the screen says how old it is instead of looking live."""
    view = View(ROLL, replace(AROUND, stale_s=4.0))
    assert "SCREEN 4 s OLD" in _text(screen(view, 80, 24))[0]


@pytest.mark.parametrize("size", DASHBOARDS)
def test_what_is_asked_for_is_there(size: tuple[int, int]) -> None:
    """Phase, thing due, airspeed against target, vertical speed, heading against the runway, gauges, calls with times,
    the words being said, what is off, feed, caution and keys: all on the screen from 60 by 16 up."""
    rows = " ".join(_text(screen(SCENES["roll"], *size)))
    for words in (
        "TAKEOFF ROLL",
        "VR 52, 5 to go",
        "0 ft/min",
        "heading 264  runway 262  2 right",
        "rpm",
        "2315",
        "green",
        "16.0  [acceleration]",
        '"Airspeed alive"',
        "off (2): centreline",
        "feed on",
        "simulator and training use",
        "q quit",
    ):
        assert words in rows


@pytest.mark.parametrize("size", DASHBOARDS)
def test_large_type(size: tuple[int, int]) -> None:
    """The airspeed is drawn large at every size, three rows high at the least, five from 80 by 24 up."""
    plan = plan_for(*size)
    assert rows_of(plan.figures, UNICODE) >= (3 if size[0] < 80 else 5)
    assert rows_of(plan.due, UNICODE) >= (3 if size[0] < 80 else 5)
    digits = big("47", plan.figures, size[0] // 2, UNICODE)
    assert digits is not None
    rows = _text(screen(View(ROLL), *size))
    assert any(digits[0] == row[: len(digits[0])] for row in rows)


@pytest.mark.parametrize("size", DASHBOARDS)
def test_thing_due_is_the_largest_words(size: tuple[int, int]) -> None:
    """The thing due is drawn in large letters at every size; what does not fit large stands beside them."""
    first = big("Rotate", 1, 60, UNICODE) if size[0] < 80 else None
    rows = _text(screen(View(ROLL), *size))
    height = rows_of(plan_for(*size).due, UNICODE)
    begin = next(index for index, row in enumerate(rows) if "TAKEOFF ROLL" in row) + 1
    due = [row for row in rows[begin : begin + height + 1] if any(sign in row for sign in "█▀▄")]
    assert len(due) == height
    assert first is None or all(row.strip().startswith(part.strip()) for row, part in zip(due, first, strict=True))
    assert size[0] >= 80 or any("at 52 kt" in row for row in due)


@pytest.mark.parametrize(
    ("warning", "large", "beside"),
    [
        ("Abort, abort. Oil pressure", "Abort", "Oil pressure"),
        ("Abort: oil pressure low", "Abort", "oil pressure low"),
        ("Nose down. Land ahead", "Nose down", "Land ahead"),
        ("Land ahead", "Land ahead", ""),
    ],
)
def test_deciding_word_of_a_warning(warning: str, large: str, beside: str) -> None:
    """Of a warning the deciding word is drawn large, said twice or not, and its reason stands beside it."""
    rows = _text(screen(View(replace(ROLL, warning=warning, said=())), 110, 36))
    drawn = [big(large, size, 108, UNICODE, columns) for size in (3, 2) for columns in (size, size - 1)]
    assert any(each and f" {each[0]}" in (row[: len(each[0]) + 1] for row in rows) for each in drawn)
    assert any(row.rstrip().endswith(f"   {beside}") for row in rows if "█" in row) or not beside
    assert not any("abort." in row.lower() for row in rows)


def test_longest_caution_that_fits() -> None:
    """The caution is whole from 80 columns up, and a short one is there at 60."""
    assert _text(screen(View(ROLL, AROUND), 80, 24))[-1].strip() == CAUTIONS[0]
    assert _text(screen(View(ROLL, AROUND), LEAST_WIDTH, LEAST_HEIGHT))[-1].strip() == CAUTIONS[1]


def test_gauges_in_trouble_come_first() -> None:
    """When not all gauges fit, those out of their green stay."""
    low = Gauge("bus_v", 9.0, "red", (13, 14.5), 11, 16)
    rows = _text(screen(View(replace(ROLL, gauges=(*GAUGES, low))), 60, 16))
    assert any("bus" in row and "RED LOW" in row for row in rows)


def test_signs_not_drawn() -> None:
    """Words in a script that is not drawn here are shown as ordinary text instead of being lost."""
    shot = replace(ROLL, warning="Abbruch: Öldruck zu niedrig")
    assert big("Ö", 1, 20, UNICODE) is None
    assert any("Öldruck zu niedrig" in row for row in _text(screen(View(shot), 80, 24)))


def test_abort_not_shown_without_warning() -> None:
    """The warning's ground is there only while there is a warning."""
    calm = screen(View(replace(ABORT, warning=None, said=(), gauges=GAUGES)), 80, 24)
    assert not any(span.role == "warning" for line in calm for span in line)
