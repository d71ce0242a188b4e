"""What can happen: one frozen `Event` with a kind, and its one-line JSON form.

Kinds and ids are the product's outer skin; see the tables in README.md. `t_s` is the moment the thing fell due or
happened, never the moment it was noticed.
"""

from __future__ import annotations

from typing import Any

import msgspec

KINDS = ("phase", "callout", "check", "advisory", "caution", "warning", "drill", "feed")


class Event(msgspec.Struct, frozen=True):
    """One thing that fell due or happened.

    t_s: feed time in seconds, None before any time is known. kind: one of `KINDS`. id: what, within the kind.
    takeoff: 1, 2, ... within the stream, None outside one. phase: the phase at that moment (for kind "phase" the
    one that begins), None before any is known. say: the words spoken, None when the event is silent.
    ias_kt, height_ft: the values at `t_s`, None when unknown. more: further keys, in the order they are printed
    (`reason` of a warning, `state` of a check, measured figures).
    """

    t_s: float | None
    kind: str
    id: str
    takeoff: int | None = None
    phase: str | None = None
    say: str | None = None
    ias_kt: float | None = None
    height_ft: float | None = None
    more: dict[str, Any] = {}

    @property
    def reason(self) -> str | None:
        """The reason of a warning, or None."""
        value = self.more.get("reason")
        return value if isinstance(value, str) else None


def _round(value: float | None, digits: int) -> float | None:
    if value is None:
        return None
    return round(value, digits) + 0.0  # + 0.0 turns -0.0 into 0.0, which would differ in bytes


def as_dict(event: Event) -> dict[str, Any]:
    """The event as the JSON object it is printed as: t in three decimals, speeds and heights in one."""
    line: dict[str, Any] = {
        "t": _round(event.t_s, 3),
        "kind": event.kind,
        "id": event.id,
        "takeoff": event.takeoff,
        "phase": event.phase,
        "say": event.say,
        "ias_kt": _round(event.ias_kt, 1),
        "height_ft": _round(event.height_ft, 1),
    }
    line.update(event.more)
    return line


def to_json(event: Event) -> bytes:
    """The event as one line of JSON in UTF-8, without the line's end; the same event gives the same bytes."""
    return msgspec.json.encode(as_dict(event))
