"""What the screens show of one moment: plain values, no behaviour. Made by the coach, painted elsewhere."""

from __future__ import annotations

import msgspec


class Gauge(msgspec.Struct, frozen=True):
    """One engine or systems instrument: channel, value (None = not supplied now), its marks, and where it stands.

    state: "green", "caution", "red", "unmarked" (no band in the profile) or "off" (no value).
    """

    channel: str
    value: float | None
    state: str
    green: tuple[float, float] | None = None
    low: float | None = None
    high: float | None = None


class Said(msgspec.Struct, frozen=True):
    """One past event worth showing: when, kind, id, and the words (or the id's plain text when it was silent)."""

    t_s: float | None
    kind: str
    id: str
    text: str
    spoken: bool


class Snapshot(msgspec.Struct, frozen=True):
    """The moment as the coach knows it. Units as in the channel table; None = unknown.

    feed: "waiting", "on", "paused" or "lost". next_id and next_text: the next thing due and the condition it waits
    for ("Rotate at 52 kt"). target_kt with target_name ("VR", "VY", "VX", "best glide"), target_low_kt and
    target_high_kt: the airspeed to have now. held: warnings shown but not spoken (held until after lift-off).
    off: checks that are off, each with the reason, as told at the start.
    """

    t_s: float | None = None
    feed: str = "waiting"
    phase: str | None = None
    takeoff: int | None = None
    next_id: str | None = None
    next_text: str | None = None
    ias_kt: float | None = None
    target_kt: float | None = None
    target_name: str | None = None
    target_low_kt: float | None = None
    target_high_kt: float | None = None
    groundspeed_kt: float | None = None
    height_ft: float | None = None
    altitude_ft: float | None = None
    vertical_speed_fpm: float | None = None
    acceleration_kt_s: float | None = None
    pitch_deg: float | None = None
    bank_deg: float | None = None
    heading_deg: float | None = None
    runway_heading_deg: float | None = None
    throttle: float | None = None
    flaps_deg: float | None = None
    on_wheels: bool | None = None
    gauges: tuple[Gauge, ...] = ()
    said: tuple[Said, ...] = ()
    warning: str | None = None
    held: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
