"""What is told to the coach before the flight: the field, the runway, the briefing's values, the voice."""

from __future__ import annotations

import msgspec


class Options(msgspec.Struct, frozen=True):
    """The session's own values; None = not given. A recording holds them, so that a replay is told the same.

    field_elevation_ft: of the runway, above sea level. runway_heading_deg: 0 to 360, as the feed's heading.
    runway_length_ft, obstacle_height_ft, level_off_ft (indicated altitude), pattern_height_ft (above the field).
    level: of coaching, over the procedure's; levels: of single items, as the logbook's takeoffs suggest.
    abort_point_ft: along the runway from the start of the roll; not airborne there: abort. runway_start, runway_end:
    surveyed thresholds on the centreline, (latitude, longitude) in degrees, WGS 84. runway_width_ft: edge to edge.
    voice: words are spoken; voice_latency_s: call to first sound, as first known.
    """

    field_elevation_ft: float | None = None
    runway_heading_deg: float | None = None
    runway_length_ft: float | None = None
    obstacle_height_ft: float | None = None
    level_off_ft: float | None = None
    pattern_height_ft: float | None = None
    headwind_kt: float | None = None
    voice: bool = False
    voice_latency_s: float = 0.0
    level: str | None = None
    levels: dict[str, str] = {}
    abort_point_ft: float | None = None
    runway_start: tuple[float, float] | None = None
    runway_end: tuple[float, float] | None = None
    runway_width_ft: float | None = None
