"""The guided procedure as data: what the pilot is asked, one control or state at a time, and the answers given.

The order is that of a flight: still, controls on the ground, takeoff, climb, one attitude at a time, level. Every
step can be skipped; a skipped one only makes the result less sure. Times are arrival seconds of the stream.
"""

from __future__ import annotations

import re

import msgspec

from adapters.units import UnitError, conversion
from monitor.sample import CHANNELS


class Step(msgspec.Struct, frozen=True):
    """One thing asked.

    watch_s: seconds of data it needs at least; moves: the channels it moves; reads: gauges typed after it.
    ground: made standing still, where nothing else moves, so that what moves is the control itself. hands_off: ends by
    itself after watch_s.
    """

    id: str
    ask: str
    watch_s: float = 0.0
    moves: tuple[str, ...] = ()
    reads: tuple[str, ...] = ()
    ground: bool = False
    hands_off: bool = False


_ENGINE = ("rpm", "oil_pressure_psi", "oil_temperature_degf")

STEPS: tuple[Step, ...] = (
    Step(
        "rest",
        "Stand on the runway or the apron, engine idling, brakes set, controls centred. Press Enter, touch nothing.",
        watch_s=8.0,
        reads=("altitude_ft", "heading_deg", *_ENGINE),
        ground=True,
        hands_off=True,
    ),
    Step(
        "throttle",
        "Hold the brakes. Press Enter, then move the throttle smoothly from closed to full, wait 2 seconds, and back.",
        watch_s=4.0,
        moves=("throttle", "rpm", "manifold_pressure_inhg", "fuel_flow_gph", "oil_pressure_psi"),
        ground=True,
    ),
    Step(
        "flaps",
        "Press Enter, then extend the flaps fully and, when they have stopped, retract them fully.",
        watch_s=3.0,
        moves=("flaps_deg",),
        ground=True,
    ),
    Step(
        "elevator",
        "Press Enter, then pull the elevator control fully back, push it fully forward, and let it centre.",
        watch_s=2.0,
        moves=("elevator",),
        ground=True,
    ),
    Step(
        "aileron",
        "Press Enter, then turn the aileron control fully left, fully right, and let it centre.",
        watch_s=2.0,
        moves=("aileron",),
        ground=True,
    ),
    Step(
        "rudder",
        "Press Enter, then push the left rudder pedal fully, the right one fully, and let them centre.",
        watch_s=2.0,
        moves=("rudder",),
        ground=True,
    ),
    Step(
        "trim",
        "Press Enter, then move the elevator trim some way nose up, some way nose down, and back to takeoff.",
        watch_s=2.0,
        moves=("elevator_trim",),
        ground=True,
    ),
    Step(
        "brake",
        "Press Enter, then release the wheel brakes, press them fully for 2 seconds, and release them again.",
        watch_s=2.0,
        moves=("brake",),
        ground=True,
    ),
    Step(
        "parking-brake",
        "Press Enter, then set the parking brake if it is off, release it, set it, and release it.",
        watch_s=2.0,
        moves=("parking_brake",),
        ground=True,
    ),
    Step(
        "mixture",
        "Press Enter, then pull the mixture about a quarter back, and push it fully rich again.",
        watch_s=2.0,
        moves=("mixture",),
        ground=True,
    ),
    Step(
        "carburettor-heat",
        "Press Enter, then put the carburettor heat on, and off again.",
        watch_s=2.0,
        moves=("carburettor_heat",),
        ground=True,
    ),
    Step(
        "takeoff",
        "Press Enter, then take off and climb straight ahead to about 1,000 feet above the field.",
        watch_s=20.0,
        moves=("ias_kt", "groundspeed_kt", "altitude_ft", "height_ft", "vertical_speed_fpm", "on_ground"),
        reads=("ias_kt", "altitude_ft", "heading_deg", "vertical_speed_fpm", "pitch_deg", *_ENGINE),
    ),
    Step(
        "pitch",
        "Press Enter, then raise the nose about 5 degrees, hold 4 seconds, lower it about 10 degrees, hold 4 seconds.",
        watch_s=6.0,
        moves=("pitch_deg", "vertical_speed_fpm"),
    ),
    Step(
        "bank",
        "Press Enter, then bank about 20 degrees left, hold 4 seconds, 20 degrees right, hold 4 seconds, and level.",
        watch_s=6.0,
        moves=("bank_deg",),
    ),
    Step(
        "turn",
        "Press Enter, then turn right through about 90 degrees and roll out.",
        watch_s=8.0,
        moves=("heading_deg", "track_deg"),
    ),
    Step(
        "level",
        "Press Enter, then level off and reduce the power to cruise; wait 10 seconds or more.",
        watch_s=8.0,
        reads=("ias_kt", "altitude_ft", "heading_deg", *_ENGINE),
    ),
)

BY_ID: dict[str, Step] = {step.id: step for step in STEPS}

_GAUGES: dict[str, str] = {
    "ias_kt": "the airspeed indicator (kt)",
    "altitude_ft": "the altimeter (ft)",
    "heading_deg": "the heading indicator (deg)",
    "vertical_speed_fpm": "the vertical speed indicator (ft/min, down negative)",
    "pitch_deg": "the attitude indicator's pitch (deg, nose down negative)",
    "bank_deg": "the attitude indicator's bank (deg, left negative)",
    "rpm": "the tachometer (rev/min)",
    "oil_pressure_psi": "the oil pressure gauge (psi)",
    "oil_temperature_degf": "the oil temperature gauge (degF)",
}


def gauge(channel: str) -> str:
    """What to call a channel's gauge when asking for a reading: "the altimeter (ft)"."""
    spec = CHANNELS[channel]
    return _GAUGES.get(channel, f"{spec.meaning} ({spec.unit})" if spec.unit else spec.meaning)


class Window(msgspec.Struct, frozen=True):
    """When a step was made: from the pilot's first key to the last, in arrival seconds of the stream."""

    step: str
    from_s: float
    to_s: float


class Typed(msgspec.Struct, frozen=True):
    """A reading the pilot typed, finished at `at_s`, in the channel's own unit. The eye was there just before."""

    channel: str
    at_s: float
    value: float


class Answers(msgspec.Struct, frozen=True):
    """All that the pilot did and typed."""

    windows: tuple[Window, ...] = ()
    typed: tuple[Typed, ...] = ()


class AnswerError(ValueError):
    """A reading or an answers file that cannot be understood; the text says where, what was got and what is wanted."""


_READING = re.compile(r"\s*([-+\u2212]?\d[\d ]*(?:[.,]\d+)?|[-+\u2212]?[.,]\d+)\s*(\S.*?)?\s*")


def parse_reading(channel: str, text: str, at_s: float) -> Typed:
    """A typed reading such as "72", "1 020", "3,5" or "82 degC"; without a unit it is in the channel's own.

    Raises `AnswerError` for what is no number, and for a unit of another dimension.
    """
    found = _READING.fullmatch(text)
    if found is None:
        raise AnswerError(f"{channel}: got {text.strip()!r}, wanted a number, with or without a unit")
    plain = found[1].replace(" ", "").replace(",", ".").replace("\u2212", "-")
    try:
        to = conversion(found[2], channel)
    except UnitError as error:
        raise AnswerError(f"{channel}: {found[2]!r} {error}") from None
    return Typed(channel, at_s, float(plain) * to.factor + to.offset)


class _File(msgspec.Struct, forbid_unknown_fields=True):
    step: list[Window] = []
    reading: list[dict[str, str | float]] = []


def read_answers(text: str, where: str) -> Answers:
    """An answers file: TOML, `[[step]]` and `[[reading]]` tables. Raises `AnswerError` holding every fault."""
    try:
        file = msgspec.toml.decode(text, type=_File)
    except (msgspec.MsgspecError, ValueError) as error:
        raise AnswerError(f"{where}: {error}") from None
    faults = [
        f"{where}: step[{i}]: got {w.step!r}, wanted one of {', '.join(BY_ID)}"
        for i, w in enumerate(file.step)
        if w.step not in BY_ID
    ]
    typed: list[Typed] = []
    for i, entry in enumerate(file.reading):
        try:
            typed.append(_entry(entry))
        except AnswerError as error:
            faults.append(f"{where}: reading[{i}]: {error}")
    if faults:
        raise AnswerError("\n".join(faults))
    return Answers(tuple(file.step), tuple(typed))


def _entry(entry: dict[str, str | float]) -> Typed:
    channel, at_s, value = entry.get("channel"), entry.get("at_s"), entry.get("value")
    if not isinstance(channel, str) or channel not in CHANNELS:
        raise AnswerError(f"channel: got {channel!r}, wanted a channel such as ias_kt")
    if isinstance(at_s, str) or at_s is None:
        raise AnswerError(f"at_s: got {at_s!r}, wanted seconds")
    return parse_reading(channel, str(value), float(at_s))


def write_answers(answers: Answers) -> str:
    """The text of an answers file; `read_answers` gives the same answers back."""
    lines = ["# What the pilot did, and read off the gauges. Seconds are those of the recorded stream."]
    for window in answers.windows:
        lines += ["", "[[step]]", f'step = "{window.step}"']
        lines += [f"from_s = {window.from_s:.3f}", f"to_s = {window.to_s:.3f}"]
    for typed in answers.typed:
        lines += ["", "[[reading]]", f'channel = "{typed.channel}"']
        lines += [f"at_s = {typed.at_s:.3f}", f"value = {typed.value:.6g}"]
    return "\n".join(lines) + "\n"
