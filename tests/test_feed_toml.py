"""Feed descriptions: everything that is wrong is told at once, with its place."""

from __future__ import annotations

import pytest

from adapters.description import FeedDescription
from adapters.feed import load_feed, source_name
from monitor.toml_check import Faults

CHANNELS = '[channels]\nias_kt = { field = "v" }\nheight_ft = { field = "h" }\n'
DECODE = '[decode]\nformat = "delimited"\n'
UDP = '[transport]\nkind = "udp"\nport = 5501\n'


def load(text: str) -> FeedDescription:
    """The description in a text."""
    return load_feed(text, "feed bay1.toml")


def faults(text: str) -> list[str]:
    """The faults of a text, without what names the file."""
    with pytest.raises(Faults) as caught:
        load(text)
    assert all(fault.startswith("feed bay1.toml: ") for fault in caught.value.faults)
    return [fault.removeprefix("feed bay1.toml: ") for fault in caught.value.faults]


def test_the_documented_example_loads() -> None:
    """The feed description that the documentation shows loads, and each value is where it belongs."""
    feed = load("""
name = "training bay 1"

[transport]
kind = "udp"
bind = "127.0.0.1"
port = 5501
group = "239.255.40.1"
only_from = ["127.0.0.1"]

[decode]
format = "delimited"
delimiter = ","
header = "optional"
columns = ["Time", "v", "h"]

[channels]
time_s      = { field = "Time" }
ias_kt      = { field = "v", unit = "m/s" }
height_ft   = { field = "h", unit = "m", offset = -1.2 }
heading_deg = { field = "hdg" }
on_ground   = { field = "wow", above = 0.5 }
oat_degc    = { field = "oat", unit = "degF" }
""")
    assert feed.name == "training bay 1"
    assert feed.transport is not None and feed.transport.only_from == ("127.0.0.1",)
    assert source_name(feed) == "udp 239.255.40.1:5501"
    by_name = {channel.channel: channel for channel in feed.channels}
    assert by_name["ias_kt"].factor == pytest.approx(3600 / 1852)
    height = by_name["height_ft"]
    assert 3.2 * height.factor + height.offset == pytest.approx(
        2.0 / 0.3048
    )  # the offset is in metres, and comes first
    assert by_name["on_ground"].above == 0.5


def test_five_faults_are_told_at_once() -> None:
    """Five different mistakes in one file give five faults, each with its place."""
    found = faults("""
[transport]
kind = "udp"
port = 70000
[decode]
format = "delimitd"
[channels]
ias_kt = { field = "v", unit = "psi" }
altitude_ft = { filed = "a" }
hight_ft = { field = "h" }
""")
    places = [fault.partition(": ")[0] for fault in found]
    assert places == [
        "transport.port", "decode.format", "channels.ias_kt.unit", "channels.altitude_ft.field",
        "channels.altitude_ft.filed", "channels.hight_ft",
    ]  # fmt: skip
    assert "got 70000, wanted 65535 or less" in found[0]
    assert 'did you mean "delimited"?' in found[1]
    assert "is a unit of pressure; wanted a unit of speed" in found[2]
    assert 'did you mean "height_ft"?' in found[5]


WRONG = [
    ("not toml", "not valid TOML"),
    ("", "decode: got nothing"),
    (DECODE, "channels: got nothing"),
    (DECODE + "[channels]\nias_kt = { field = 'v' }\n", "got neither of height_ft and altitude_ft"),
    (DECODE + "[channels]\nheight_ft = { field = 'v' }\n", "got neither of ias_kt and groundspeed_kt"),
    (DECODE + "[channels]\nias_kt = 3\nheight_ft = { field = 1 }", "channels.ias_kt: got 3, wanted a table"),
    (DECODE + CHANNELS.replace('"v"', "-1"), "wanted a column number from 0"),
    (DECODE + CHANNELS.replace('"v"', "true"), "wanted a column or key name"),
    (DECODE + CHANNELS.replace('"v"', '""'), "wanted a column or key name"),
    (DECODE + 'header = "none"\n' + CHANNELS, "wanted a column number from 0"),
    (DECODE + 'header = "none"\ncolumns = ["v", "hh"]\n' + CHANNELS, 'did you mean "hh"?'),
    (DECODE + 'columns = ["v"]\n' + CHANNELS.replace('"h"', "4"), "got column 4, wanted 0 to 0"),
    (DECODE + 'delimiter = ",,"\n' + CHANNELS, "decode.delimiter"),
    (DECODE + 'delimiter = "a"\n' + CHANNELS, "decode.delimiter"),
    (DECODE + 'decimal = ","\n' + CHANNELS, "is the delimiter too"),
    (DECODE + 'encoding = "utf-9"\n' + CHANNELS, "wanted a text encoding"),
    (DECODE + 'quote = "ab"\n' + CHANNELS, "decode.quote"),
    (DECODE + 'delimeter = ";"\n' + CHANNELS, 'decode.delimeter: not a known key (did you mean "delimiter"?)'),
    (DECODE + 'pace = "speed"\n' + CHANNELS, "decode.pace"),
    (DECODE + CHANNELS + 'pitch_deg = { field = "p", above = 1 }', "pitch_deg.above"),
    (DECODE + CHANNELS + 'pitch_deg = { field = "p", factor = 0 }', "got 0, which would make every value the same"),
    (DECODE + CHANNELS + 'pitch_deg = { field = "p", offset = nan }', "pitch_deg.offset: got nan, wanted a number"),
    (DECODE + CHANNELS + 'pitch_deg = { field = "p", factor = 1e30 }', "got 1e+30, wanted 1,000,000,000 or less"),
    (DECODE + CHANNELS + 'pitch_deg = { field = "p", reference = "true" }', "has a meaning only for heading_deg"),
    (DECODE + CHANNELS + 'heading_deg = { field = "p", reference = "true" }', "heading_deg.variation_deg: got nothing"),
    (DECODE + CHANNELS + 'heading_deg = { field = "p", variation_deg = 3 }', "heading_deg.reference"),
    (DECODE + CHANNELS + 'fuel_flow_gph = { field = "p", unit = "kg/h" }', "density_kg_per_l"),
    ('[transport]\nkind = "udp"\n' + DECODE + CHANNELS, "transport.port: got nothing"),
    (UDP + 'bind = "here"\n' + DECODE + CHANNELS, "wanted an IP address"),
    (UDP + 'group = "10.0.0.1"\n' + DECODE + CHANNELS, "wanted a multicast address"),
    (UDP + "only_from = []\n" + DECODE + CHANNELS, "which would let nobody in"),
    (UDP + 'only_from = ["1.2.3.4", "5.6.7"]\n' + DECODE + CHANNELS, "transport.only_from[1]"),
    (UDP + 'topic = "x"\n' + DECODE + CHANNELS, "transport.topic: not a known key"),
    ('[transport]\nkind = "zeromq"\n' + DECODE + CHANNELS, "got neither connect and bind"),
    ('[transport]\nkind = "zeromq"\nbind = "tcp://*"\n' + DECODE + CHANNELS, "wanted a port from 1 to 65,535"),
    ('[transport]\nkind = "zeromq"\nconnect = "5601"\n' + DECODE + CHANNELS, "wanted an endpoint"),
    ('[transport]\nkind = "zeromq"\nbind = "tcp://*:1"\npattern = "pull"\ntopic = "x"\n' + DECODE + CHANNELS, "only"),
    ('[transport]\nkind = "carrier pigeon"\n' + DECODE + CHANNELS, 'wanted "udp" or "zeromq"'),
    ('[decode]\nformat = "nmea"\n' + CHANNELS.replace('"v"', "1"), "nmea has no columns"),
    ('[decode]\nformat = "key-value"\nassign = "=="\n' + CHANNELS, "decode.assign"),
    ('[decode]\nformat = "packed"\n' + CHANNELS, "decode.byte_order: got nothing"),
    ('[decode]\nformat = "packed"\n' + CHANNELS, "got none of fields, records and kinds"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "words"), WRONG, ids=range(len(WRONG)))
def test_each_mistake_is_told_in_its_place(text: str, words: str) -> None:
    """A mistake gives a fault that says where it is, what was got and what was wanted."""
    assert any(words in fault for fault in faults(text)), faults(text)


PACKED = '[decode]\nformat = "packed"\nbyte_order = "little"\n'


@pytest.mark.parametrize(
    ("layout", "words"),
    [
        ('fields = ["v float32", "h flot32"]', "decode.fields[1]"),
        ('fields = ["v float32", "v float32", "h int8"]', "wanted another name"),
        ('fields = ["v float32"]', 'got "h", wanted a field of the layout'),
        ('fields = ["v float32", "skip 0", "h int8"]', "decode.fields[1]"),
        ('start = "xyz"\nfields = ["v float32", "h float32"]', "wanted bytes in hexadecimal"),
        ('fields = ["v float32", "h float32"]\nrecords = { index = "int32", values = 3 }', "wanted exactly one"),
        ('records = { index = "float32", values = 3, type = "float32" }', "decode.records.index"),
        ('records = { index = "int32", values = 0, type = "float32" }', "decode.records.values"),
        ('records = { index = "int32", values = 3, type = "float32" }', '"INDEX.POSITION"'),
        ('kinds = [{ tag = 1, name = "a", fields = ["v int8"] }]', "decode.tag"),
        ('tag = "uint8"\nkinds = [{ tag = 1, name = "a", fields = ["v int8"] }]', "wanted a field of the layout (a.v)"),
        ('tag = "uint8"\nkinds = [{ tag = 1, name = "a", fields = ["v int8"] }, { tag = 1, name = "b", fields = [] }]',
         "wanted one of its own"),
        ('tag = "uint8"\nkinds = [3]', "decode.kinds[0]"),
    ],
)  # fmt: skip
def test_each_mistake_in_a_layout_is_told(layout: str, words: str) -> None:
    """A mistake in a byte layout gives a fault in its place."""
    found = faults(PACKED + layout + "\n" + CHANNELS)
    assert any(words in fault for fault in found), found


def test_secret_keys_are_never_shown() -> None:
    """A faulty key in the file is not printed with the fault: it may be the secret one."""
    text = ('[transport]\nkind = "zeromq"\nconnect = "tcp://127.0.0.1:5601"\n[transport.curve]\n'
            'public_key = "PUBLIC-TOO-SHORT"\nsecret_key = "SECRET-TOO-SHORT"\nserver_key = "SHORT-TOO"\n')  # fmt: skip
    found = "\n".join(faults(text + DECODE + CHANNELS))
    assert "transport.curve.secret_key" in found
    assert "TOO" not in found


def test_a_log_needs_no_transport() -> None:
    """A description without [transport] loads; it is for logs."""
    feed = load(DECODE + CHANNELS)
    assert feed.transport is None
    assert source_name(feed) == ""


def test_standard_units_need_not_be_said() -> None:
    """A field of an open standard has the standard's own unit: VFR_HUD's airspeed is in m/s (MAVLink common.xml)."""
    feed = load('[decode]\nformat = "mavlink"\n[channels]\nias_kt = { field = "VFR_HUD.airspeed" }\n'
                'altitude_ft = { field = "GLOBAL_POSITION_INT.alt" }\n')  # fmt: skip
    assert [channel.unit for channel in feed.channels] == ["m/s", "mm"]
