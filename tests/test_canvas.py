"""What lies between the dashboard and the terminal: messages, the inbox, styles."""

from __future__ import annotations

import io

import pytest
from msgspec.structs import replace
from rich.style import Style

from adapters import frames
from adapters.canvas import COLOURS, NO_COLOURS, glyphs_for
from adapters.painter import Inbox
from monitor.screen_parts import View
from monitor.snapshot import Snapshot
from monitor.spans import ASCII, ROLES, UNICODE
from tests.screen_scenes import ABORT, AROUND


def test_message_round_trip() -> None:
    """A view arrives at the painter as it was sent, markers included; a cut or wild message ends the reading."""
    frame = frames.Frame(View(ABORT, replace(AROUND, caption="Öl", notices=("one", "two"))), ("cue",))
    data = frames.encode(frame)
    stream = io.BytesIO(data + data)
    assert [frames.read(stream) for _ in range(3)] == [frame, frame, None]
    assert frames.read(io.BytesIO(data[:-1])) is None
    assert frames.read(io.BytesIO(b"\xff" * 20)) is None


def test_reports() -> None:
    """A report is read back; what is none, such as a traceback, is told from it."""
    report = frames.Report(marker="cue", shown_ns=12)
    assert frames.read_report(frames.encode_report(report).encode()) == report
    assert frames.read_report(b"ModuleNotFoundError: no module\n") is None
    assert frames.read_report(b"\xff\n") is None


def test_newest_wins() -> None:
    """Of the frames that came since the last painting the newest is painted; no marker is lost with the others."""
    inbox = Inbox()
    for index in range(3):
        inbox.put(frames.Frame(View(Snapshot(t_s=float(index))), (f"marker {index}",)))
    frame = inbox.take(0.0)
    assert frame is not None
    assert frame.view.shot.t_s == 2.0
    assert frame.markers == ("marker 0", "marker 1", "marker 2")
    assert inbox.take(0.0) is None


def test_alert_colours() -> None:
    """14 CFR 25.1322(e)(1): warning red, caution amber or yellow, advisory neither red nor green; 25.1322(f): no other
    role wears those colours but the marks of 25.1549 (green arc, yellow arc, red line)."""
    colour = {
        role: (Style.parse(text).bgcolor or Style.parse(text).color) if text else None for role, text in COLOURS.items()
    }
    names = {role: each.name if each else None for role, each in colour.items()}
    assert names["warning"] == "red"
    assert names["caution"] == "yellow"
    assert names["advisory"] not in ("red", "green", "yellow")
    assert {role for role, name in names.items() if name == "red"} == {"warning", "limit"}
    assert {role for role, name in names.items() if name == "yellow"} == {"caution", "arc"}
    assert {role for role, name in names.items() if name == "green"} == {"green"}


def test_every_role_has_a_style() -> None:
    """Every role has a style; without colour the three alerts are told apart from each other and from the rest."""
    assert set(COLOURS) == set(ROLES)
    plain = {**COLOURS, **NO_COLOURS}
    alerts = [plain[role] for role in ("warning", "caution", "advisory")]
    assert len(set(alerts)) == 3
    assert not set(alerts) & {text for role, text in plain.items() if role not in ("warning", "caution", "advisory")}
    for text in plain.values():
        style = Style.parse(text) if text else Style.null()
        assert text in COLOURS.values() or (style.color is None and style.bgcolor is None)


@pytest.mark.parametrize(
    ("encoding", "ascii_only"), [("utf-8", False), ("UTF8", False), ("cp437", True), ("ascii", True), (None, True)]
)
def test_signs_for_encoding(encoding: str | None, ascii_only: bool) -> None:
    """Only UTF-8 gets block characters."""
    assert glyphs_for(encoding) == (ASCII if ascii_only else UNICODE)
