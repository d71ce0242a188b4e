"""Made-up moments of a flight for the screen's tests. Record their pictures: `python -m tests.screen_scenes`."""

from __future__ import annotations

from pathlib import Path

from msgspec.structs import replace

from monitor.screen import screen
from monitor.screen_parts import Surroundings, View
from monitor.snapshot import Gauge, Said, Snapshot
from monitor.spans import ASCII, ROLES, UNICODE, Glyphs, cells

FOLDER = Path(__file__).parent / "screens"
SIZES = ((40, 10), (60, 16), (80, 24), (110, 36), (200, 60))

GAUGES = (
    Gauge("rpm", 2315.0, "green", (2100, 2600), None, 2600),
    Gauge("oil_pressure_psi", 62.0, "green", (50, 90), 25, 110),
    Gauge("oil_temperature_degf", 128.0, "green", (110, 220), None, 235),
    Gauge("fuel_flow_gph", 9.84, "unmarked"),
    Gauge("suction_inhg", None, "off", (4.5, 5.5), None, None),
)
SAID = (
    Said(8.0, "callout", "clock", "Clock", True),
    Said(11.2, "callout", "power-set", "Power set, green", True),
    Said(13.1, "callout", "airspeed-alive", "Airspeed alive", True),
    Said(16.0, "callout", "acceleration", "acceleration", False),
)
OFF = ("centreline: no surveyed runway thresholds", "manifold pressure: not supplied")
AROUND = Surroundings(title="demo", aircraft="Example trainer", source="built-in trainer", keys="q quit")

ROLL = Snapshot(
    t_s=19.1,
    feed="on",
    phase="takeoff-roll",
    takeoff=1,
    next_id="rotate",
    next_text="Rotate at 52 kt",
    ias_kt=47.3,
    target_kt=52.0,
    target_name="VR",
    groundspeed_kt=44.0,
    height_ft=0.2,
    altitude_ft=1204.0,
    vertical_speed_fpm=3.0,
    acceleration_kt_s=2.4,
    pitch_deg=1.2,
    bank_deg=0.2,
    heading_deg=264.0,
    runway_heading_deg=262.0,
    throttle=1.0,
    flaps_deg=0.0,
    on_wheels=True,
    gauges=GAUGES,
    said=SAID,
    off=OFF,
)
_LOW_OIL = tuple(replace(one, value=18.0, state="red") if one.channel == "oil_pressure_psi" else one for one in GAUGES)
ABORT = replace(
    ROLL,
    gauges=_LOW_OIL,
    warning="Abort: oil pressure low",
    next_text=None,
    next_id=None,
    said=(*SAID, Said(18.9, "warning", "abort", "Abort, abort. Oil pressure", True)),
)
HELD = replace(ROLL, gauges=_LOW_OIL, held=("oil-pressure-low",), ias_kt=51.0)
CLIMB = replace(
    ROLL,
    t_s=48.0,
    phase="initial-climb",
    next_id="flaps-up",
    next_text="Turn altitude at 500 ft",
    ias_kt=64.6,
    target_kt=72.0,
    target_name="VY",
    target_low_kt=67.0,
    target_high_kt=82.0,
    height_ft=342.0,
    altitude_ft=1546.0,
    vertical_speed_fpm=688.0,
    acceleration_kt_s=0.1,
    pitch_deg=9.4,
    bank_deg=-3.3,
    on_wheels=False,
    said=(
        *SAID,
        Said(21.0, "callout", "rotate", "Rotate", True),
        Said(40.2, "callout", "flaps-up", "Flaps checked", True),
        Said(44.0, "advisory", "heading", "Come right", True),
        Said(46.8, "caution", "speed-low", "Speed, nose down", True),
    ),
)
LOST = replace(CLIMB, feed="lost")

SCENES: dict[str, View] = {
    "waiting": View(Snapshot(off=OFF), replace(AROUND, notices=("listening on udp 127.0.0.1:5501",))),
    "roll": View(ROLL, replace(AROUND, caption="Airspeed alive")),
    "abort": View(ABORT, replace(AROUND, caption="Abort, abort. Oil pressure")),
    "held": View(HELD, AROUND),
    "climb": View(CLIMB, replace(AROUND, caption="Speed, nose down")),
    "lost": View(LOST, replace(AROUND, stale_s=4.0)),
}


def picture(view: View, width: int, height: int, glyphs: Glyphs = UNICODE) -> str:
    """The frame as text, a bar at the right edge, and under it each row's roles: one letter a column, see the end."""
    lines = screen(view, width, height, glyphs)
    letters = dict(zip(ROLES, ".dstCgwcalA", strict=True))
    rows, roles = [], []
    for line in lines:
        text = "".join(span.text for span in line)
        rows.append(text + " " * (width - cells(text)) + "|")
        roles.append("".join(letters[span.role] * cells(span.text) for span in line))
    key = " ".join(f"{letter}={role}" for role, letter in letters.items())
    return "\n".join([*rows, "", *roles, "", key, ""])


def pictures() -> dict[str, str]:
    """File name to picture, for every scene and size, and one in ASCII."""
    named = {f"{name}-{w}x{h}.txt": picture(view, w, h) for name, view in SCENES.items() for w, h in SIZES}
    named["roll-80x24-ascii.txt"] = picture(SCENES["roll"], 80, 24, ASCII)
    return named


if __name__ == "__main__":
    for name, text in pictures().items():
        (FOLDER / name).write_text(text, encoding="utf-8")
    print(f"wrote {len(pictures())} pictures to {FOLDER}; read the diff before you commit it")
