"""One flight of the flight-dynamics library sent in every format: the coach says the very same.

What may differ is the format's own rounding, and it is listed here: packed float32 and MAVLink carry 24 bits of a value
(a knot to about 0.000006), MAVLink's heading and throttle whole degrees and whole percent, its height millimetres, and
its message set has no ground switch, no flaps and no oil pressure at all.
"""

from __future__ import annotations

import json
import math
import struct
from collections.abc import Callable, Iterator
from functools import cache

import msgspec
import pytest

from adapters.feed import load_feed
from adapters.ports import Packet
from adapters.session import Session
from monitor.aircraft_file import load_aircraft
from monitor.events import Event, to_json
from monitor.options import Options
from monitor.sample import CHANNELS
from tests.flights_jsbsim.aeroplanes import profile_text
from tests.flights_jsbsim.flight import fly

Rows = list[dict[str, float]]
KT_MS, FT_M = 1852 / 3600, 0.3048
MAVLINK = [
    *("time_s", "ias_kt", "groundspeed_kt", "altitude_ft", "height_ft", "vertical_speed_fpm", "pitch_deg", "bank_deg"),
    *("heading_deg", "rpm", "throttle", "manifold_pressure_inhg", "cht_degf", "egt_degf", "fuel_flow_gph"),
    *("latitude_deg", "longitude_deg"),
]


@cache
def rows() -> Rows:
    """The flight's samples, and its channels in the table's order."""
    return [{name: row[name] for name in CHANNELS if name in row} for row in fly().samples]


def channels(names: list[str], field: Callable[[str], str] = str) -> str:
    """A [channels] table of fields in the channels' own units."""
    return "[channels]\n" + "\n".join(f'{name} = {{ field = "{field(name)}" }}' for name in names)


def events(description: str, payloads: Iterator[bytes] | list[bytes], times: list[float]) -> list[Event]:
    """What the coach says to packets that arrive at these times."""
    from adapters.library import open_procedure

    feed = load_feed(description, "feed x")
    aircraft = load_aircraft(profile_text(fly().profile), "aircraft x")
    session = Session(feed, aircraft, open_procedure("normal"), Options())
    found: list[Event] = []
    for time_s, payload in zip(times, payloads, strict=True):
        found += session.packet(Packet(round(time_s * 1e9), "127.0.0.1:1", payload))
    found += session.end(round(times[-1] * 1e9))
    assert session.samples == len(times)
    return found


def as_lines(found: list[Event]) -> list[str]:
    """The events as printed."""
    return [to_json(event).decode() for event in found]


def times(data: Rows) -> list[float]:
    """Arrival is feed time here."""
    return [row["time_s"] for row in data]


def delimited(data: Rows) -> list[Event]:
    """The reference: text with every digit of a double."""
    names = list(data[0])
    columns = ", ".join(f'"{name}"' for name in names)
    text = f'[decode]\nformat = "delimited"\ncolumns = [{columns}]\n' + channels(names)
    return events(text, [",".join(repr(row[name]) for name in names).encode() + b"\n" for row in data], times(data))


@cache
def reference() -> list[str]:
    """What the coach says to the whole flight."""
    found = as_lines(delimited(rows()))
    assert sum('"callout"' in line for line in found) >= 6  # a flight with nothing to say would prove nothing
    return found


def key_value(data: Rows) -> list[Event]:
    """name=value text."""
    text = '[decode]\nformat = "key-value"\n' + channels(list(data[0]))
    return events(
        text, [" ".join(f"{name}={value!r}" for name, value in row.items()).encode() for row in data], times(data)
    )


def as_json(data: Rows) -> list[Event]:
    """Nested JSON."""
    text = '[decode]\nformat = "json"\n' + channels(list(data[0]), lambda name: f"aeroplane.{name}")
    return events(text, [json.dumps({"aeroplane": row}).encode() for row in data], times(data))


def msgpack(data: Rows) -> list[Event]:
    """MessagePack maps."""
    text = '[decode]\nformat = "msgpack"\n' + channels(list(data[0]))
    return events(text, [msgspec.msgpack.encode(row) for row in data], times(data))


def packed(data: Rows, kind: str = "float64", code: str = "d") -> list[Event]:
    """One fixed record; time is a double in any case."""
    names = list(data[0])
    layout = ", ".join(f'"{name} {"float64" if name == "time_s" else kind}"' for name in names)
    text = f'[decode]\nformat = "packed"\nbyte_order = "big"\nfields = [{layout}]\n' + channels(names)
    record = struct.Struct(">" + "".join("d" if name == "time_s" else code for name in names))
    return events(text, [record.pack(*row.values()) for row in data], times(data))


@pytest.mark.parametrize("send", [key_value, as_json, msgpack, packed])
def test_formats_of_doubles_say_the_very_same(send: Callable[[Rows], list[Event]]) -> None:
    """Text with all digits, JSON, MessagePack and packed doubles give the same events, byte for byte."""
    assert as_lines(send(rows())) == reference()


def close(found: list[Event], wanted: list[Event], time_s: float, speed_kt: float, height_ft: float) -> None:
    """The same events in the same order, their times and values within what rounding makes."""
    assert [(e.kind, e.id, e.phase, e.say, e.reason) for e in found] == [
        (e.kind, e.id, e.phase, e.say, e.reason) for e in wanted
    ]
    for one, other in zip(found, wanted, strict=True):
        assert one.t_s == pytest.approx(other.t_s, abs=time_s), one.id
        assert one.ias_kt == pytest.approx(other.ias_kt, abs=speed_kt), one.id
        assert one.height_ft == pytest.approx(other.height_ft, abs=height_ft), one.id


def test_packed_floats_differ_by_their_rounding_only() -> None:
    """24 bits a value: the same events, their times within 2 ms and their values within 0.01."""
    close(packed(rows(), "float32", "f"), delimited(rows()), 0.002, 0.01, 0.01)


def frames(row: dict[str, float]) -> bytes:
    """The messages of one moment, packed by the public reference package."""
    common = pytest.importorskip("pymavlink.dialects.v20.common")
    writer = common.MAVLink(None, 1, 1)
    clock, mm = round(row["time_s"] * 1000), FT_M * 1000
    bank, pitch = math.radians(row["bank_deg"]), math.radians(row["pitch_deg"])
    place = round(row["latitude_deg"] * 1e7), round(row["longitude_deg"] * 1e7)
    heights = round(row["altitude_ft"] * mm), round(row["height_ft"] * mm)
    cht, egt = (row["cht_degf"] - 32) / 1.8, (row["egt_degf"] - 32) / 1.8
    flow, manifold = row["fuel_flow_gph"] * 3785.411784 / 60, row["manifold_pressure_inhg"] * 3.386389
    speeds = row["ias_kt"] * KT_MS, row["groundspeed_kt"] * KT_MS
    levers = round(row["heading_deg"]) % 360, round(row["throttle"] * 100)
    made = [
        common.MAVLink_attitude_message(clock, bank, pitch, 0, 0, 0, 0),
        common.MAVLink_global_position_int_message(clock, *place, *heights, 0, 0, 0, 65535),
        common.MAVLink_efi_status_message(1, 0, row["rpm"], 0, flow, 0, 0, 0, 0, manifold, 0, cht, 0, 0, egt, 0, 0),
        common.MAVLink_vfr_hud_message(
            *speeds, *levers, row["altitude_ft"] * FT_M, row["vertical_speed_fpm"] * FT_M / 60
        ),
    ]
    return b"".join(bytes(message.pack(writer)) for message in made)


def mavlink_description() -> str:
    """The shipped example."""
    from tests.test_feeds import EXAMPLES

    return (EXAMPLES / "mavlink.toml").read_text(encoding="utf-8")


def whole_numbers(row: dict[str, float]) -> dict[str, float]:
    """What MAVLink's whole numbers make of a moment, worked out apart from the decoder."""
    kept = {name: row[name] for name in MAVLINK}
    kept["time_s"] = round(row["time_s"] * 1000) / 1000
    kept["heading_deg"] = round(row["heading_deg"]) % 360
    kept["throttle"] = round(row["throttle"] * 100) / 100
    kept["height_ft"] = round(row["height_ft"] * FT_M * 1000) / 1000 / FT_M
    kept["latitude_deg"] = round(row["latitude_deg"] * 1e7) / 1e7
    kept["longitude_deg"] = round(row["longitude_deg"] * 1e7) / 1e7
    return kept


def test_mavlink_says_what_its_whole_numbers_hold() -> None:
    """The flight over MAVLink gives the events of the same channels in text, rounded as the messages round them."""
    pytest.importorskip("pymavlink")
    sent = [{name: row[name] for name in MAVLINK} for row in rows()]
    found = events(mavlink_description(), [frames(row) for row in sent], times(sent))
    close(found, delimited([whole_numbers(row) for row in sent]), 0.002, 0.01, 0.01)
