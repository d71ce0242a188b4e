"""Makes the feed cases of this folder: `python -m tests.feeds.make_feeds` from the top of the tree.

A case is a folder: `feed.toml` (absent: the shipped example of that name), `packets.txt` (a capture), and
`expected.jsonl` (the samples that should come out, each with the number of its packet). Nothing of the product is
used to make them: truth is in the channels' own units, and turned into the sender's with the constants below.
The three `jsbsim-...` cases are captured from that library's own UDP output; truth is read from its properties.

Constants: knot 1852 m an hour, foot 0.3048 m, US gallon 3.785411784 L (definitions); psi 6.894757 kPa, inHg 3.386389 kPa
(NIST SP 811).
"""

# ruff: noqa: E501 - tables read better in one line

from __future__ import annotations

import json
import math
import struct
from pathlib import Path

import msgspec

HERE = Path(__file__).parent
KT_MS = 1852 / 3600
FT_M = 0.3048
PSI_KPA = 6.894757293168
INHG_KPA = 3.386389


def truth() -> list[dict[str, float]]:
    """Eight moments of an invented takeoff, in the channels' own units."""
    moments = []
    for n in range(8):
        flying = n >= 5
        moments.append(
            {
                "time_s": 100.0 + 0.5 * n,
                "ias_kt": 30.0 + 6.5 * n,
                "groundspeed_kt": 28.0 + 6.0 * n,
                "altitude_ft": 312.0 + (35.0 * (n - 4) if flying else 0.0),
                "height_ft": 35.0 * (n - 4) if flying else 0.0,
                "vertical_speed_fpm": 640.0 if flying else 0.0,
                "pitch_deg": 8.25 if flying else 0.5,
                "bank_deg": -2.5 + 0.5 * n,
                "heading_deg": (358.0 + n) % 360.0,
                "latitude_deg": 48.125 + 0.0005 * n,
                "longitude_deg": -11.5 - 0.00025 * n,
                "rpm": 2310.0 + 12.0 * n,
                "manifold_pressure_inhg": 28.75,
                "oil_pressure_psi": 61.5 - 0.5 * n,
                "oil_temperature_degf": 140.0 + 0.9 * n,
                "throttle": 1.0,
                "on_ground": 0.0 if flying else 1.0,
                "flaps_deg": 10.0,
                "fuel_flow_gph": 9.5,
                "cht_degf": 302.0,
                "egt_degf": 1340.0,
                "oat_degc": 21.5,
            }
        )
    return moments


class Case:
    """One case being made."""

    def __init__(self, name: str, why: str, feed: str | None = None) -> None:
        """Begin a case; `why` it is kept goes into its capture."""
        self.name, self.why, self.feed = name, why, feed
        self.packets: list[bytes] = []
        self.expected: list[dict[str, float]] = []

    def add(self, packet: bytes, *samples: dict[str, float]) -> None:
        """A packet and the samples it should give."""
        self.packets.append(packet)
        self.expected += [{"packet": len(self.packets), **sample} for sample in samples]

    def write(self) -> None:
        """Write the folder."""
        folder = HERE / self.name
        folder.mkdir(exist_ok=True)
        if self.feed is not None:
            (folder / "feed.toml").write_text(self.feed.lstrip("\n"), encoding="utf-8")
        lines = ["# climbout packets 1", f"# {self.why}"]
        for number, packet in enumerate(self.packets):
            plain = packet.isascii() and all(byte >= 32 or byte in b"\t\r\n" for byte in packet)
            data = json.dumps(packet.decode("ascii")) if plain else packet.hex()
            lines.append(f"{1000 + number * 0.05:.6f}\t127.0.0.1:40000\t{data}")
        (folder / "packets.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
        rows = [json.dumps({key: round(value, 9) for key, value in row.items()}) for row in self.expected]
        (folder / "expected.jsonl").write_text("\n".join(rows) + "\n", encoding="utf-8")


def pick(moment: dict[str, float], names: str) -> dict[str, float]:
    """Those channels only."""
    return {name: moment[name] for name in names.split()}


def c_of(fahrenheit: float) -> float:
    """Degrees Celsius."""
    return (fahrenheit - 32) / 1.8


EXAMPLE_NAMES = (
    "time_s ias_kt height_ft altitude_ft vertical_speed_fpm pitch_deg bank_deg heading_deg groundspeed_kt rpm throttle "
    "oil_pressure_psi oil_temperature_degf on_ground flaps_deg"
)


def example_row(m: dict[str, float]) -> list[float]:
    """The columns of the delimited example."""
    return [
        m["time_s"], m["ias_kt"] * KT_MS, m["height_ft"] * FT_M + 1.2, m["altitude_ft"] * FT_M,
        m["vertical_speed_fpm"] * FT_M / 60, m["pitch_deg"], m["bank_deg"], math.radians(m["heading_deg"]),
        m["groundspeed_kt"] * 1.852, m["rpm"] / 60, m["throttle"] * 100, m["oil_pressure_psi"] * PSI_KPA / 100,
        c_of(m["oil_temperature_degf"]), m["on_ground"], m["flaps_deg"] / 30,
    ]  # fmt: skip


def delimited() -> list[Case]:
    """The delimited cases that are made here."""
    names = EXAMPLE_NAMES
    seen = Case("delimited", "header once, then numbers padded with spaces")
    seen.add(b"t,cas,hgt,alt,vs,pitch,roll,psi,gs,eng,thr,oilp,oilt,wow,flap\n")
    missed = Case("delimited-header-missed", "joined late: only `columns` tells the order", example("delimited"))
    for m in truth():
        line = (",".join(f"{value:14.9f}" for value in example_row(m)) + "\n").encode()
        seen.add(line, pick(m, names))
        missed.add(line, pick(m, names))
    comma = Case("decimal-comma", "semicolons, decimal commas, units in the labels, true heading, nose down positive")
    comma.add(b"Zeit [s];v [km/h];H (m);Kurs [deg];Nick;n [rev/min];Wer\r\n")
    for m in truth():
        row = [m["time_s"], m["ias_kt"] * 1.852, m["altitude_ft"] * FT_M, (m["heading_deg"] + 3.5) % 360,
               -m["pitch_deg"], m["rpm"]]  # fmt: skip
        line = ";".join(f"{value:.8f}".replace(".", ",") for value in row) + ";Platz 3\r\n"
        comma.add(line.encode(), pick(m, "time_s ias_kt altitude_ft heading_deg pitch_deg rpm"))
    return [seen, missed, comma, quoted(), numbers(), widths(), hostile(), labels_differ()]


def example(name: str) -> str:
    """A shipped example's text."""
    return (HERE.parents[1] / "adapters" / "examples" / f"{name}.toml").read_text(encoding="utf-8")


def quoted() -> Case:
    """Tabs, quoted fields with the delimiter in them, three lines a datagram, an empty field."""
    case = Case("delimited-quoted", "quoted fields, tabs, several lines a datagram, an empty field is not supplied", """
name = "Quoted"
[decode]
format = "delimited"
delimiter = "\\t"
header = "required"
[channels]
time_s = { field = "seconds since start" }
ias_kt = { field = "IAS" }
height_ft = { field = "Height, m", unit = "m" }
oat_degc = { field = "OAT", unit = "degF" }
""")  # fmt: skip
    lines, samples = [], []
    for n, m in enumerate(truth()[:6]):
        oat = "" if n == 1 else f"{m['oat_degc'] * 1.8 + 32:.6f}"
        name = f'"Seat\t{n}, ""left"""'
        lines.append(f'{m["time_s"]}\t"{m["ias_kt"]}"\t{m["height_ft"] * FT_M:.9f}\t{name}\t{oat}\n')
        samples.append(pick(m, "time_s ias_kt height_ft" + ("" if n == 1 else " oat_degc")))
    case.add(b'"seconds since start"\tIAS\t"Height, m"\tWho\tOAT\n')
    case.add("".join(lines[:3]).encode(), *samples[:3])
    case.add("".join(lines[3:]).encode(), *samples[3:])
    return case


def numbers() -> Case:
    """White space between the columns, no header at all, columns by number."""
    case = Case("delimited-numbers", "white space, no header, columns by number, scientific notation", """
name = "Numbers"
[decode]
format = "delimited"
delimiter = "whitespace"
header = "none"
[channels]
time_s = { field = 0 }
ias_kt = { field = 2, unit = "ft/s" }
altitude_ft = { field = 5, unit = "cm" }
bank_deg = { field = 4, unit = "rad", factor = -1 }
""")  # fmt: skip
    for m in truth():
        row = [
            m["time_s"],
            7.0,
            m["ias_kt"] * KT_MS / FT_M,
            -0.0,
            -math.radians(m["bank_deg"]),
            m["altitude_ft"] * FT_M * 100,
        ]
        case.add(("  ".join(f"{value: .9e}" for value in row) + "\n").encode(),
                 pick(m, "time_s ias_kt altitude_ft bank_deg"))  # fmt: skip
    return case


def widths() -> Case:
    """The header's number of columns is not the data's: the configured columns win."""
    case = Case("delimited-header-disagrees", "the header has one column too many; `columns` wins", """
name = "Disagreeing"
[decode]
format = "delimited"
columns = ["time", "speed", "height"]
[channels]
time_s = { field = "time" }
ias_kt = { field = "speed" }
height_ft = { field = "height" }
""")  # fmt: skip
    case.add(b"time,seat,speed,height\n")
    for m in truth():
        case.add(f"{m['time_s']},{m['ias_kt']},{m['height_ft']}\n".encode(), pick(m, "time_s ias_kt height_ft"))
    return case


def labels_differ() -> Case:
    """The header has the right number of columns but other names: the configured columns hold."""
    case = Case("delimited-other-names", "a header in other words, and a column order that says what they are", """
name = "Other names"
[decode]
format = "delimited"
columns = ["time", "speed", "height"]
[channels]
time_s = { field = "time" }
ias_kt = { field = "speed" }
height_ft = { field = "height" }
""")  # fmt: skip
    case.add(b"time (UTC),Geschwindigkeit,height\n")
    for m in truth():
        case.add(f"{m['time_s']},{m['ias_kt']},{m['height_ft']}\n".encode(), pick(m, "time_s ias_kt height_ft"))
    return case


def hostile() -> Case:
    """What goes wrong on a network and in a sender, between good lines."""
    case = Case("delimited-hostile", "cut-off lines, extra columns, text, nan, inf, 9e99, random bytes", """
name = "Hostile"
[decode]
format = "delimited"
columns = ["time", "speed", "height", "wow"]
[channels]
time_s = { field = "time" }
ias_kt = { field = "speed" }
height_ft = { field = "height" }
on_ground = { field = "wow", above = 0.5 }
""")  # fmt: skip
    good = {"ias_kt": 50.0, "height_ft": 2.0, "on_ground": 1.0}
    for n in range(4):
        case.add(f"{n},50,2,1\n".encode(), {"time_s": float(n), **good})
    for bad in (b"4,50,2", b"4,50\n", b"4,50,2,1,9\n", b"\n", b"", b"9e99,9e99,9e99,9e99\n", b"nan,50,2,1\n",
                b"text,50,2,1\n", b"-1,50,2,1\n", b",50,2,1\n", bytes(range(256)), b"\xff\xfe\x00" * 40,
                b"4,50,2,1", b"speed,of,the,wind\n", b"{\"time\": 4}\n"):  # fmt: skip
        case.add(bad)
    case.add(b"5,inf,2,1\n", {"time_s": 5.0, "height_ft": 2.0, "on_ground": 1.0})
    case.add(b"6,50,nan,1\n", {"time_s": 6.0, "ias_kt": 50.0, "on_ground": 1.0})
    case.add(b"7,9e99,9e99,9e99\n")
    case.add(b"8,fifty,2,1\n", {"time_s": 8.0, "height_ft": 2.0, "on_ground": 1.0})
    case.add(b"9,1_0,2,1\n", {"time_s": 9.0, "height_ft": 2.0, "on_ground": 1.0})
    case.add(b"10,50,2,maybe\n", {"time_s": 10.0, "ias_kt": 50.0, "height_ft": 2.0})
    case.add(b"11, 5.0e+01 ,2,1,\r\n", {"time_s": 11.0, **good})
    case.add(b"12,50,2,true\n", {"time_s": 12.0, **good})
    return case


def key_value() -> list[Case]:
    """The key=value cases."""
    first = Case("key-value", "name=value in changing order, with names that nobody asked for")
    for n, m in enumerate(truth()):
        pairs = [f"t={m['time_s'] * 1000:.0f}", f"ias={m['ias_kt']}", f"alt={m['altitude_ft']}", f"hdg={m['heading_deg']}",
                 f"rpm={m['rpm']}", f"lever={m['throttle'] * 100}",
                 f"ff={m['fuel_flow_gph'] * 3.785411784 * 0.72:.9f}", f"wheels={m['on_ground'] * 3}", "gear=down"]  # fmt: skip
        pairs = pairs[n:] + pairs[:n]
        first.add((" ".join(pairs) + "\n").encode(),
                  pick(m, "time_s ias_kt altitude_ft heading_deg rpm throttle fuel_flow_gph on_ground"))  # fmt: skip
    second = Case("key-value-colons", "a line a pair, colons, decimal commas; a key that comes again begins a record", """
name = "Colons"
[decode]
format = "key-value"
assign = ":"
delimiter = ";"
decimal = ","
[channels]
time_s = { field = "time" }
ias_kt = { field = "air speed", unit = "mph" }
altitude_ft = { field = "alt", unit = "hft" }
""")  # fmt: skip
    moments = truth()
    for m, other in zip(moments[::2], moments[1::2], strict=True):
        text = ""
        for moment in (m, other):
            text += f"time: {moment['time_s']};air speed : {moment['ias_kt'] * 1852 / 1609.344:.9f};\nalt:{moment['altitude_ft'] / 100:.9f}\n"
        names = "time_s ias_kt altitude_ft"
        second.add(text.replace(".", ",").encode(), pick(m, names), pick(other, names))
    return [first, second]


def nested(m: dict[str, float]) -> dict[str, object]:
    """The object of the JSON example."""
    return {
        "time": m["time_s"],
        "air": {"ias": m["ias_kt"] * KT_MS, "altitude": m["altitude_ft"] * FT_M},
        "ground": {"height": m["height_ft"] * FT_M, "wheels": int(m["on_ground"]) * 2},
        "attitude": {"heading": m["heading_deg"] - 360, "pitch": m["pitch_deg"], "bank": m["bank_deg"]},
        "engine": [
            {
                "rpm": m["rpm"],
                "oil": {"pressure": m["oil_pressure_psi"] * PSI_KPA, "temperature": c_of(m["oil_temperature_degf"])},
            },
            {"rpm": 1.0},
        ],
        "controls": {"throttle": m["throttle"]},
    }


def json_cases() -> list[Case]:
    """The JSON cases."""
    deep = Case("json", "nested objects and a list; heading from -180 to 180 and beyond")
    names = ("time_s ias_kt altitude_ft height_ft heading_deg pitch_deg bank_deg rpm oil_pressure_psi "
             "oil_temperature_degf throttle on_ground")  # fmt: skip
    for m in truth():
        deep.add(json.dumps(nested(m)).encode(), pick(m, names))
    several = Case("json-several", "several objects a datagram, by lines and on end; a cut-off one loses only itself", """
name = "Several"
[decode]
format = "json"
[channels]
time_s = { field = "t" }
ias_kt = { field = "v" }
height_ft = { field = "h" }
stall_warning = { field = "horn" }
""")  # fmt: skip
    moments = truth()
    objects = [json.dumps({"t": m["time_s"], "v": m["ias_kt"], "h": m["height_ft"], "horn": False}) for m in moments]
    samples = [{**pick(m, "time_s ias_kt height_ft"), "stall_warning": 0.0} for m in moments]
    several.add("\n".join(objects[:3]).encode(), *samples[:3])
    several.add("".join(objects[3:5]).encode(), *samples[3:5])
    several.add(("[" + ",".join(objects[5:7]) + "]").encode(), *samples[5:7])
    several.add((objects[7] + objects[7][:20]).encode(), samples[7])
    bad_rest = {"time_s": 200.0, "height_ft": 5.0}
    several.add(b'{"t": 200, "v": NaN, "h": 5, "horn": null}', bad_rest)
    several.add(
        b'{"t": 201, "v": "54.5", "h": 5, "horn": "true"}',
        {"time_s": 201.0, "ias_kt": 54.5, "height_ft": 5.0, "stall_warning": 1.0},
    )
    several.add(b'{"t": 202, "v": 1e400, "h": 5}', {"time_s": 202.0, "height_ft": 5.0})
    several.add(b'{"t": 203, "v": [1], "h": {"x": 2}}')
    several.add(b'{"t": "soon", "v": 54, "h": 5}')
    several.add(b"[" * 5000)
    several.add(b"null")
    flat = Case("json-array", "an array of numbers: columns by number", """
name = "Array"
[decode]
format = "json"
[channels]
time_s = { field = 0 }
ias_kt = { field = 1 }
altitude_ft = { field = 2, unit = "km" }
""")  # fmt: skip
    for m in truth():
        flat.add(json.dumps([m["time_s"], m["ias_kt"], m["altitude_ft"] * FT_M / 1000]).encode(),
                 pick(m, "time_s ias_kt altitude_ft"))  # fmt: skip
    return [deep, several, flat]


def msgpack_cases() -> list[Case]:
    """The MessagePack cases."""
    case = Case("msgpack", "flat maps; two maps on end in one packet; a cut-off one")
    names = "time_s ias_kt groundspeed_kt height_ft heading_deg pitch_deg bank_deg rpm on_ground"
    packed = []
    for m in truth():
        packed.append(msgspec.msgpack.encode({
            "t": m["time_s"], "ias": m["ias_kt"], "gs": m["groundspeed_kt"], "agl": m["height_ft"], "hdg": m["heading_deg"],
            "theta": math.radians(m["pitch_deg"]), "phi": math.radians(m["bank_deg"]), "rpm": int(m["rpm"]),
            "wow": bool(m["on_ground"]), "who": b"seat"}))  # fmt: skip
    samples = [pick(m, names) for m in truth()]
    for data, sample in zip(packed[:6], samples[:6], strict=True):
        case.add(data, sample)
    case.add(packed[6] + packed[7], samples[6], samples[7])
    case.add(packed[0][:-3])
    return [case]


def packed_cases() -> list[Case]:
    """The packed cases, one for each way to lay out a datagram."""
    fixed = Case("packed", "one fixed record, little-endian, with bytes passed over")
    for n, m in enumerate(truth()):
        body = struct.pack("<IffhhHHxxB", round(m["time_s"] * 1000), m["ias_kt"] * KT_MS, m["height_ft"] * FT_M,
                           round(m["pitch_deg"] * 100), round(m["bank_deg"] * 100), round(m["heading_deg"] / 360 * 65536),
                           round(m["rpm"]), int(m["on_ground"]))  # fmt: skip
        fixed.add(b"\xc7\x01" + struct.pack("<I", n) + body + b"\x55",
                  pick(m, "time_s ias_kt height_ft pitch_deg bank_deg heading_deg rpm on_ground"))  # fmt: skip
    fixed.add(b"\xc7\x02" + bytes(30))
    fixed.add(b"\xc7\x01" + bytes(5))
    return [fixed, by_index(), by_kind()]


def by_index() -> Case:
    """Records of an index and six values; the engine's come with every second packet only, and are carried on."""
    case = Case("packed-records", "records of an index and six values, big-endian, at different rates")
    engine: dict[str, float] = {}
    for n, m in enumerate(truth()):
        records = [(1, [m["time_s"]]), (14, [math.radians(m[k]) for k in ("pitch_deg", "bank_deg", "heading_deg")]),
                   (77, [1e9] * 6)]  # fmt: skip
        if n % 2 == 0:
            records.append((30, [m["rpm"], 0, 0, 0, m["oil_pressure_psi"] * PSI_KPA / 100]))
            engine = pick(m, "rpm oil_pressure_psi")
        records.append((12, [m["ias_kt"] * 1.852, 0, 0, m["altitude_ft"] * FT_M]))
        data = b"".join(struct.pack(">H6d", index, *(values + [0.0] * 6)[:6]) for index, values in records)
        case.add(b"\0" * 8 + data, {**pick(m, "time_s pitch_deg bank_deg heading_deg ias_kt altitude_ft"), **engine})
    return case


def by_kind() -> Case:
    """Tagged records with a length; an unknown kind is passed over; kinds also come in packets of their own."""
    case = Case("packed-kinds", "tagged records with a length, an unknown kind, kinds in packets of their own")
    engine: dict[str, float] = {}
    for n, m in enumerate(truth()):
        air = struct.pack("<dff", m["time_s"], m["ias_kt"], m["altitude_ft"])
        body = struct.pack("<fff", m["pitch_deg"], m["bank_deg"], m["heading_deg"])
        oil_c = round(c_of(m["oil_temperature_degf"]))
        motor = struct.pack("<HHh", round(m["rpm"]), round(m["oil_pressure_psi"] * PSI_KPA), oil_c)
        parts = [(17, body), (99, b"skipped"), (16, air)]
        if n % 3 == 0:
            kind = struct.pack("<BH", 40, len(motor)) + motor
            case.add(kind)
            engine = {"rpm": m["rpm"], "oil_temperature_degf": oil_c * 1.8 + 32,
                      "oil_pressure_psi": round(m["oil_pressure_psi"] * PSI_KPA) / PSI_KPA}  # fmt: skip
        data = b"".join(struct.pack("<BH", tag, len(part)) + part for tag, part in parts)
        case.add(data, {**pick(m, "time_s ias_kt altitude_ft pitch_deg bank_deg heading_deg"), **engine})
    return case


def nmea() -> Case:
    """Published sentences: README and tests of pynmea2, and a NOAA PSL cruise log of 14 January 2020."""
    case = Case("nmea", "published sample sentences with their checksums, midnight, a void fix, a wrong checksum")
    rmc, gga = (
        "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
        "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    )
    first = {"time_s": 45319.0, "groundspeed_kt": 22.4, "track_deg": 84.4, "latitude_deg": 48.1173, "longitude_deg": 11.516667,
             "altitude_ft": 545.4 / FT_M}  # fmt: skip
    first["longitude_deg"] = 11 + 31.0 / 60
    first["latitude_deg"] = 48 + 7.038 / 60
    case.add(f"{rmc}\r\n{gga}\r\n".encode(), first)
    case.add(b"$GPHDT,74.20,T*34\r\n")
    second = {"time_s": 71999.0, "groundspeed_kt": 0.26, "track_deg": 147.44, "latitude_deg": 15 + 41.31258893 / 60,
              "longitude_deg": -(51 + 30.51204125 / 60), "heading_deg": 74.2, "altitude_ft": 545.4 / FT_M}  # fmt: skip
    case.add(b"$GPRMC,195959.00,A,1541.31258893,N,05130.51204125,W,0.26,147.44,140120,16.9,W,D*0B\r\n", second)
    case.add(b"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*69\r\n")  # the right checksum is 68
    case.add(b"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E\r\n")  # and one must be there
    void = "GPRMC,000001.50,V,,,,,,,150120,,,N"
    case.add(sentence(void))
    late = "GPRMC,000002.50,A,1541.31258893,N,05130.51204125,W,1.00,147.44,150120,16.9,W,D"
    third = {**second, "time_s": 86400 + 2.5, "groundspeed_kt": 1.0}
    case.add(sentence(late), third)
    return case


def sentence(body: str) -> bytes:
    """A sentence with its checksum: all characters between $ and *, exclusive-or."""
    value = 0
    for character in body:
        value ^= ord(character)
    return f"${body}*{value:02X}\r\n".encode()


def mavlink() -> Case:
    """Whole frames of the common message set, packed with the public reference package pymavlink 2.4.50."""
    case = Case("mavlink", "reference frames: VFR_HUD, ATTITUDE (both cut by the zero rule) and EFI_STATUS")
    vfr = bytes.fromhex("fd1300000001014a000000000442000000420000f042000060400e0164c94a")
    att = bytes.fromhex("fd1000000001011e0000e8030000000000000000003e0000c03f6426")
    efi = bytes.fromhex(
        "fd410000000101e100000000000000201945000000000000fa430000c8420000c8420000000066a6ca420000c4420000a041000034430000c8"
        "4100000000000034440000c8420000000001cf24"
    )
    hud = {"ias_kt": 33 / KT_MS, "groundspeed_kt": 32 / KT_MS, "altitude_ft": 120 / FT_M, "heading_deg": 270.0,
           "vertical_speed_fpm": 3.5 * 60 / FT_M, "throttle": 1.0, "time_s": 1.0, "pitch_deg": math.degrees(0.125),
           "bank_deg": 0.0}  # fmt: skip
    engine = {"rpm": 2450.0, "fuel_flow_gph": 500 * 60 / 1e6 / 3.785411784e-3, "manifold_pressure_inhg": 98 / INHG_KPA,
              "cht_degf": 180 * 1.8 + 32, "egt_degf": 720 * 1.8 + 32}  # fmt: skip
    case.add(vfr)  # no time yet, so no sample
    case.add(att)
    case.add(vfr, hud)
    case.add(efi)
    case.add(att + vfr, {**hud, **engine})
    broken = bytearray(vfr)
    broken[12] ^= 1
    case.add(bytes(broken))
    case.add(b"junk" + vfr[:20])
    case.add(b"junk" + vfr + b"\xfe\x00", {**hud, **engine})
    return case


def odd_units() -> Case:
    """Every dimension in a unit that is not the channel's."""
    case = Case("units", "every dimension in another unit, flat JSON", """
name = "Units"
[decode]
format = "json"
[channels]
time_s = { field = "time", unit = "min" }
ias_kt = { field = "ias", unit = "furlong/fortnight" }
altitude_ft = { field = "alt", unit = "NM" }
vertical_speed_fpm = { field = "vs", unit = "m/s" }
pitch_deg = { field = "pitch", unit = "mrad" }
rpm = { field = "rpm", unit = "rad/s" }
manifold_pressure_inhg = { field = "map", unit = "hPa" }
oil_pressure_psi = { field = "op", unit = "kPa" }
oil_temperature_degf = { field = "ot", unit = "K" }
throttle = { field = "thr", unit = "%" }
fuel_flow_gph = { field = "ff", unit = "L/h" }
cht_degf = { field = "cht", unit = "degC" }
oat_degc = { field = "oat", unit = "degF" }
longitude_deg = { field = "lon", unit = "rad" }
""")  # fmt: skip
    names = ("time_s ias_kt altitude_ft vertical_speed_fpm pitch_deg rpm manifold_pressure_inhg oil_pressure_psi "
             "oil_temperature_degf throttle fuel_flow_gph cht_degf oat_degc longitude_deg")  # fmt: skip
    for m in truth():
        case.add(json.dumps({
            "time": m["time_s"] / 60, "ias": m["ias_kt"] * KT_MS * 14 * 86400 / 201.168402337,  # US survey furlong
            "alt": m["altitude_ft"] * FT_M / 1852, "vs": m["vertical_speed_fpm"] * FT_M / 60,
            "pitch": math.radians(m["pitch_deg"]) * 1000, "rpm": m["rpm"] * math.pi / 30,
            "map": m["manifold_pressure_inhg"] * INHG_KPA * 10, "op": m["oil_pressure_psi"] * PSI_KPA,
            "ot": c_of(m["oil_temperature_degf"]) + 273.15, "thr": m["throttle"] * 100,
            "ff": m["fuel_flow_gph"] * 3.785411784, "cht": c_of(m["cht_degf"]), "oat": m["oat_degc"] * 1.8 + 32,
            "lon": math.radians(m["longitude_deg"]) + 2 * math.pi}).encode(), pick(m, names))  # fmt: skip
    return case


def main() -> None:
    """Write every case that is made; the captured ones are made by `capture_jsbsim`."""
    cases = [
        *delimited(),
        *key_value(),
        *json_cases(),
        *msgpack_cases(),
        *packed_cases(),
        nmea(),
        mavlink(),
        odd_units(),
    ]
    for case in cases:
        case.write()
    print(f"{len(cases)} cases written")


if __name__ == "__main__":
    main()
