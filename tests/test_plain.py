"""Plain lines: one aligned line an event, whatever is in it."""

from __future__ import annotations

import io

import pytest

from adapters.plain import LEVELS, PlainLines, importance, line
from monitor.events import KINDS, Event
from monitor.snapshot import Snapshot

ROTATE = Event(26.35, "callout", "rotate", 1, "takeoff-roll", "Rotate", 51.74, 0.2)
SILENT = Event(21.0, "callout", "acceleration", 1, "takeoff-roll", None, 40.0, 0.0)
ABORT = Event(14.2, "warning", "abort", 1, "takeoff-roll", "Abort", 31.0, 0.0,
              {"reason": "oil-pressure-low"})  # fmt: skip
CHECK_OK = Event(5.0, "check", "line-up.flaps", 1, "lined-up", None, 0.0, 0.0, {"state": "ok"})
CHECK_WRONG = Event(5.0, "check", "line-up.flaps", 1, "lined-up", "Flaps", 0.0, 0.0, {"state": "not-ok"})
ADVISORY = Event(40.0, "advisory", "heading", 1, "takeoff-roll", None, 44.0, 0.0)
FEED = Event(None, "feed", "lost")


def _printed(event: Event, level: str = "normal") -> str:
    stream = io.StringIO()
    PlainLines(stream, level).event(event)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("event", "expected"),
    [
        (ROTATE, "   26.4 s  takeoff-roll       51.7 kt     0 ft  Rotate"),
        (SILENT, "   21.0 s  takeoff-roll       40.0 kt     0 ft  [acceleration]"),
        (ABORT, "   14.2 s  takeoff-roll       31.0 kt     0 ft  WARNING abort (oil pressure low): Abort"),
        (Event(53.3, "warning", "power-loss", 1, "climb", "Power", 68.8, 421.0, {"reason": "power-loss"}),
         "   53.3 s  climb              68.8 kt   421 ft  WARNING power loss: Power"),
        (CHECK_WRONG, "    5.0 s  lined-up            0.0 kt     0 ft  Flaps"),
        (Event(4.0, "phase", "takeoff-roll", 1, "takeoff-roll", None, 1.0, -0.4),
         "    4.0 s  takeoff-roll        1.0 kt     0 ft  -- takeoff roll"),
        (FEED, "                                                feed: lost"),
        (Event(9.0, "drill", "result", 1, "rejected-takeoff", None, None, None, {"verdict": "hit", "reaction_s": 0.71}),
         "    9.0 s  rejected-takeoff                     drill: result (verdict hit, reaction_s 0.71)"),
    ],
)  # fmt: skip
def test_line(event: Event, expected: str) -> None:
    """Every kind of event has its line, its words in the same column; what was silent stands in brackets."""
    assert line(event) == expected


def test_words_in_one_column() -> None:
    """The words begin in the same column whatever is known of time, speed and height, up to 9,999 s and 99,999 ft."""
    events = [
        Event(t_s, kind, "x-y", 1, "rejected-takeoff", None, ias_kt, height_ft)
        for kind in KINDS
        for t_s in (None, 0.0, 9999.94)
        for ias_kt in (None, 0.0, 199.9)
        for height_ft in (None, -12.0, 99999.0)
    ]
    assert len({len(line(event)) - len(line(event)[48:]) for event in events}) == 1
    assert all(line(event)[47] == " " and line(event)[48] != " " for event in events)


@pytest.mark.parametrize(
    ("level", "expected"),
    [("quiet", [ROTATE, ABORT, CHECK_WRONG]), ("normal", [ROTATE, SILENT, ABORT, CHECK_WRONG, FEED])],
)
def test_levels(level: str, expected: list[Event]) -> None:
    """Quieter levels leave out what was not said; no level leaves out a warning."""
    events = [ROTATE, SILENT, ABORT, CHECK_OK, CHECK_WRONG, ADVISORY, FEED]
    assert [event for event in events if _printed(event, level)] == expected
    assert all(_printed(event, "all") for event in events)


def test_alerts_are_always_important() -> None:
    """A warning or a caution is printed at every level even when it was silent."""
    for kind in ("warning", "caution"):
        silent = Event(1.0, kind, "oil-pressure")
        assert importance(silent) == 2
        assert all(_printed(silent, level) for level in LEVELS)


def test_nothing_moves_the_cursor() -> None:
    """Words from a file or a feed cannot carry control characters onto the terminal, nor break the line in two."""
    text = _printed(Event(1.0, "callout", "rotate", 1, "takeoff-roll", "Ro\x1b[2Jta\r\nte\x07"))
    assert text.count("\n") == 1
    assert text[:-1].isprintable()


def test_encoding_without_the_sign() -> None:
    """A sign the stream's encoding lacks becomes a question mark instead of an error."""
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="ascii")
    PlainLines(stream).notice("Öl 5 °C")
    assert raw.getvalue().rstrip() == b"         -  ?l 5 ?C"


def test_every_line_is_flushed() -> None:
    """A line is on its way as soon as its event is, also into a pipe."""
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="utf-8", newline="\n")
    PlainLines(stream).event(ROTATE)
    assert raw.getvalue().endswith(b"Rotate\n")


def test_checks_that_are_off() -> None:
    """Which checks are off is printed once, and again only when it changes."""
    stream = io.StringIO()
    lines = PlainLines(stream)
    for off in (("centreline: no thresholds",), ("centreline: no thresholds",), ()):
        lines.show(Snapshot(off=off))
    assert stream.getvalue() == "         -  off: centreline: no thresholds\n"
