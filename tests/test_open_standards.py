"""NMEA 0183 and MAVLink: published sentences, frames, layouts and checksums, against what the decoders read.

NMEA sentences: README.md and test/test_types.py of the public library pynmea2, and the raw GPS file of 14 January
2020 of a NOAA PSL cruise. MAVLink: the common message set (message_definitions/v1.0/common.xml), the MAVLink guide,
"Packet Serialization", and frames packed with the public reference package pymavlink 2.4.50.
"""

from __future__ import annotations

from typing import Any

import pytest

from adapters.decoders.mavlink import frame_size
from adapters.feed import load_feed, make_decoder, make_tally
from adapters.ports import Decoder

NEEDED = '[channels]\ngroundspeed_kt = { field = "a" }\naltitude_ft = { field = "b" }\n'


def decoder(name: str) -> Decoder:
    """A decoder of that format."""
    feed = load_feed(f'[decode]\nformat = "{name}"\n{NEEDED}', "feed x")
    return make_decoder(feed, make_tally(feed))


def nmea(sentence: str) -> dict[str | int, Any]:
    """The fields of one sentence."""
    records = decoder("nmea").decode(sentence.encode() + b"\r\n")
    return dict(records[0]) if records else {}


@pytest.mark.parametrize(
    ("sentence", "wanted"),
    [
        ("$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D",
         {"GGA.latitude": -19.484083, "GGA.longitude": 24.1751, "GGA.altitude": 100.0, "GGA.time_s": 67433.07}),
        ("$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68",
         {"RMC.spd_over_grnd": 0.5, "RMC.true_course": 54.7, "RMC.latitude": 49.274167, "RMC.longitude": -123.185333,
          "RMC.time_s": 82486.0, "RMC.mag_variation": 20.3}),
        ("$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48",
         {"VTG.true_track": 54.7, "VTG.mag_track": 34.4, "VTG.spd_over_grnd_kts": 5.5, "VTG.spd_over_grnd_kmph": 10.2}),
        ("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
         {"GGA.altitude": 545.4, "GGA.latitude": 48.1173}),
        ("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", {"RMC.spd_over_grnd": 22.4}),
        ("$GPHDT,74.20,T*34", {"HDT.heading": 74.2}),
        ("$GPVTG,147.44,T,164.31,M,0.26,N,0.49,K,D*2C", {"VTG.true_track": 147.44, "VTG.spd_over_grnd_kts": 0.26}),
        ("$GPRMC,195959.00,A,1541.31258893,N,05130.51204125,W,0.26,147.44,140120,16.9,W,D*0B",
         {"RMC.latitude": 15.688543, "RMC.longitude": -51.508534, "RMC.time_s": 71999.0}),
        ("$IIMWV,271.0,R,000.2,N,A*3B", {"MWV.wind_angle": 271.0, "MWV.wind_speed": 0.2}),
    ],
)  # fmt: skip
def test_published_sentences_are_read(sentence: str, wanted: dict[str, float]) -> None:
    """Each published sentence gives the values printed in it, positions in signed degrees, time in seconds."""
    got = nmea(sentence)
    assert {name: float(got[name]) for name in wanted} == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize("place", range(1, 35))
def test_a_changed_sentence_is_refused(place: int) -> None:
    """With any one character of the body changed, the checksum no longer holds and nothing is read."""
    body = "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48"
    changed = body[:place] + chr(ord(body[place]) ^ 1) + body[place + 1 :]
    assert nmea(changed) == {}


def crc(data: bytes) -> int:
    """CRC-16/MCRF4XX bit by bit: polynomial 0x1021 reflected, start 0xFFFF, no final inversion."""
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = (value >> 1) ^ 0x8408 if value & 1 else value >> 1
    return value


VFR_HUD = "fd1300000001014a000000000442000000420000f042000060400e0164c94a"
ATTITUDE = "fd1000000001011e0000e8030000000000000000003e0000c03f6426"
EFI_STATUS = (
    "fd410000000101e100000000000000201945000000000000fa430000c8420000c8420000000066a6ca420000c4420000a041000034430000c841"
    "00000000000034440000c8420000000001cf24"
)
# CRC_EXTRA by message id, as the message set's definition gives them.
EXTRA = {74: 20, 30: 39, 225: 208, 0: 50, 33: 104}


def test_the_checksum_is_mcrf4xx_and_not_x25() -> None:
    """MAVLink's checksum over 123456789 is 0x6F91 (CRC-16/MCRF4XX); X.25's, with a final inversion, is 0x906E."""
    assert crc(b"123456789") == 0x6F91
    assert crc(b"123456789") ^ 0xFFFF == 0x906E


@pytest.mark.parametrize("frame", [VFR_HUD, ATTITUDE, EFI_STATUS])
def test_the_sample_frames_hold_by_our_own_checksum(frame: str) -> None:
    """Each sample frame ends in the checksum of all but its first byte and CRC_EXTRA, low byte first."""
    data = bytes.fromhex(frame)
    message = int.from_bytes(data[7:10], "little")
    assert crc(data[1:-2] + bytes([EXTRA[message]])) == int.from_bytes(data[-2:], "little")
    assert frame_size(data, 0) == len(data)


def test_the_reference_package_has_the_same_extra_bytes() -> None:
    """pymavlink's CRC_EXTRA of the five messages used are those of the message set."""
    common = pytest.importorskip("pymavlink.dialects.v20.common")
    assert {number: common.mavlink_map[number].crc_extra for number in EXTRA} == EXTRA


@pytest.mark.parametrize(
    ("frame", "wanted"),
    [
        (VFR_HUD, {"VFR_HUD.airspeed": 33.0, "VFR_HUD.groundspeed": 32.0, "VFR_HUD.heading": 270.0,
                   "VFR_HUD.throttle": 100.0, "VFR_HUD.alt": 120.0, "VFR_HUD.climb": 3.5}),
        (ATTITUDE, {"ATTITUDE.time_boot_ms": 1000.0, "ATTITUDE.roll": 0.0, "ATTITUDE.pitch": 0.125, "ATTITUDE.yaw": 1.5,
                    "ATTITUDE.yawspeed": 0.0}),
        (EFI_STATUS, {"EFI_STATUS.rpm": 2450.0, "EFI_STATUS.fuel_flow": 500.0, "EFI_STATUS.engine_load": 100.0,
                      "EFI_STATUS.intake_manifold_pressure": 98.0, "EFI_STATUS.cylinder_head_temperature": 180.0,
                      "EFI_STATUS.exhaust_gas_temperature": 720.0, "EFI_STATUS.fuel_pressure": None}),
    ],
)  # fmt: skip
def test_sample_frames_are_read(frame: str, wanted: dict[str, float | None]) -> None:
    """Each frame gives the values it was packed with, those cut off by the zero rule included."""
    pytest.importorskip("pymavlink")
    (record,) = decoder("mavlink").decode(bytes.fromhex(frame))
    assert {name: record[name] for name in wanted} == wanted


def test_any_flipped_bit_is_refused() -> None:
    """With any one bit of a frame flipped nothing is read from it."""
    pytest.importorskip("pymavlink")
    data = bytes.fromhex(VFR_HUD)
    reader = decoder("mavlink")
    for bit in range(len(data) * 8):
        changed = bytearray(data)
        changed[bit // 8] ^= 1 << bit % 8
        assert list(reader.decode(bytes(changed))) == [], bit


def test_an_unknown_heading_is_not_supplied() -> None:
    """GLOBAL_POSITION_INT's heading of 65,535 means unknown, by the message set."""
    common = pytest.importorskip("pymavlink.dialects.v20.common")
    writer = common.MAVLink(None)
    message = common.MAVLink_global_position_int_message(5, 1, 2, 3000, 4000, 0, 0, 0, 65535)
    (record,) = decoder("mavlink").decode(bytes(message.pack(writer)))
    assert record["GLOBAL_POSITION_INT.hdg"] is None
    assert record["GLOBAL_POSITION_INT.relative_alt"] == 4000.0


def test_mavlink_1_frames_are_read() -> None:
    """Frames of the older version (first byte 0xFE, MAVLink guide) are read as well."""
    pytest.importorskip("pymavlink")
    payload = bytes.fromhex("00000442000000420000f042000060400e016400")
    head = bytes([len(payload), 7, 1, 1, 74])
    total = crc(head + payload + bytes([EXTRA[74]]))
    (record,) = decoder("mavlink").decode(b"\xfe" + head + payload + total.to_bytes(2, "little"))
    assert record["VFR_HUD.airspeed"] == 33.0
