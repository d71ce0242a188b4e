"""Guessing how unknown packets are decoded: the project's own captures, made layouts, junk."""

from __future__ import annotations

import math
import random
import struct
from pathlib import Path

import msgspec
import pytest

from adapters.capture import read_capture
from adapters.identify_capture import by_sender, own_clock, read_stream
from adapters.identify_format import guess_formats
from adapters.identify_layout import guess_packed
from adapters.ports import Packet
from monitor.toml_check import Faults

FEEDS = Path(__file__).parent / "feeds"


def course(i: int) -> list[float]:
    """Twelve quantities of an invented flight at packet `i`."""
    t = i / 20
    return [
        t, 20 + t, 612 + 8 * t, 262 + 3 * math.sin(t / 3), 5 * math.sin(t / 4), -9 * math.cos(t / 5),
        2300 + 40 * math.sin(t), 0.98, 61 - 0.05 * t, 174 + 0.1 * t, 46.9 + 1e-4 * t, 7.4 - 2e-4 * t,
    ]  # fmt: skip


RUN = [course(i) for i in range(300)]

KNOWN = {  # what each capture was made as; see tests/feeds/make_feeds.py
    "delimited": "text", "delimited-quoted": "text", "decimal-comma": "decimal comma", "key-value": "pairs of name =",
    "key-value-colons": "pairs of name :", "json": "JSON", "json-array": "JSON",
    "jsbsim-header": "with a header", "msgpack": "MessagePack", "nmea": "NMEA", "mavlink": "MAVLink",
    "packed-records": "records of an index",
}  # fmt: skip


@pytest.mark.parametrize("name", KNOWN)
def test_captures_are_told_for_what_they_are(name: str) -> None:
    """The first guess for a captured feed is the format it was sent in, jsbsim's own output among them."""
    packets = [packet.payload for packet in read_capture(FEEDS / name / "packets.txt")]
    copies = packets * (60 // len(packets) + 1)
    guesses = guess_formats(copies)
    assert guesses, name
    assert KNOWN[name] in guesses[0].words


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("code", ["f", "d"])
@pytest.mark.parametrize("head", [b"", b"HEAD*", b"\x01\x02\x03\x04\x05\x06\x07"])
def test_a_packed_layout_is_found(order: str, code: str, head: bytes) -> None:
    """Type, byte order and place of packed floats come out right, whatever bytes are in front."""
    payloads = [head + struct.pack(f"{order}{len(row)}{code}", *row) for row in RUN]
    guess = guess_formats(payloads)[0]
    records = guess.records((i / 20, payload) for i, payload in enumerate(payloads))
    values = list(records[150][1].values())
    expected = [struct.unpack(order + code, struct.pack(order + code, value))[0] for value in RUN[150]]
    assert values[-len(expected) :] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("form", "expected"), [("<i4f", ("little", 5, 4, "int32", "float32")), (">H4d", ("big", 5, 4, "uint16", "float64"))]
)
def test_records_of_an_index_and_values_are_found(form: str, expected: tuple[str, int, int, str, str]) -> None:
    """Repeated records of a whole number and four floats after a head of five bytes come out as such."""
    rows = [
        b"DATA\x00" + b"".join(struct.pack(form, 3 + 9 * k, *row[4 * k : 4 * k + 4]) for k in range(3)) for row in RUN
    ]
    guess = guess_packed(rows)[0]
    assert (guess.order, guess.skip, guess.values, guess.index, guess.value) == expected


def test_floats_doubles_and_whole_numbers_may_be_mixed() -> None:
    """A count, four floats, two doubles and six floats are told apart by what each looks like."""
    rows = [struct.pack("<I4f2d6f", i, *row[:4], row[10], row[11], *row[4:10]) for i, row in enumerate(RUN)]
    types = [field.split()[-1] for field in guess_packed(rows)[0].fields]
    assert types == ["int32", *["float32"] * 4, *["float64"] * 2, *["float32"] * 6]


def test_a_text_log_brings_its_own_clock(tmp_path: Path) -> None:
    """The arrival times of a log's lines are those of the column that runs like a clock, wherever it stands."""
    log = tmp_path / "log.csv"
    lines = [f"{612 + i},{i},{100 + i * 0.05:.2f},{math.sin(i):.3f}\n" for i in range(100)]
    log.write_text("height,count,time,x\n" + "".join(lines), encoding="utf-8")
    packets = read_stream(log)
    assert packets[60].arrival_ns - packets[10].arrival_ns == pytest.approx(50 * 0.05e9, rel=1e-6)


def test_a_log_without_a_clock_goes_by_the_rate_given(tmp_path: Path) -> None:
    """Lines without a time are as far apart as the rate says, 20 a second when it is not said."""
    log = tmp_path / "log.txt"
    log.write_text("".join(f"{math.sin(i):.3f} {math.cos(i):.3f}\n" for i in range(60)), encoding="utf-8")
    assert read_stream(log, 10.0)[20].arrival_ns == 2_000_000_000
    assert read_stream(log)[20].arrival_ns == 1_000_000_000
    assert own_clock([b"1,2\n"] * 50) is None


@pytest.mark.parametrize(("content", "says"), [(b"", "empty"), (b"a\x00b" * 50, "neither")])
def test_what_is_no_stream_is_refused_in_words(tmp_path: Path, content: bytes, says: str) -> None:
    """An empty and a binary file each give one clear line."""
    path = tmp_path / "x"
    path.write_bytes(content)
    with pytest.raises(Faults, match=says):
        read_stream(path)
    with pytest.raises(Faults, match="cannot be read"):
        read_stream(tmp_path / "missing")


def junk(rng: random.Random) -> list[bytes]:
    """Packets of one kind of nonsense."""
    size = rng.randrange(0, 400)
    alphabet = rng.choice([bytes(range(256)), b"01,;. \n", b'{}[]":,1', b"abc=:1 ", b"$*,AB0\r\n", b"\x00\x01\x80\xff"])
    return [bytes(rng.choice(alphabet) for _ in range(size)) for _ in range(rng.randrange(1, 40))]


def test_junk_never_raises() -> None:
    """120 runs of nonsense packets of many kinds give a list of guesses, each of which decodes without raising."""
    rng = random.Random(8)
    for _ in range(120):
        payloads = junk(rng)
        for guess in guess_formats(payloads):
            assert 0 <= guess.score <= 1
            guess.records((0.0, payload) for payload in [*payloads, b"", b"\xff" * 9])


def test_truncated_packets_never_raise() -> None:
    """Good packets cut at every length, beside whole ones, neither raise nor turn the guess."""
    good = [msgspec.json.encode({"a": row[1], "b": {"c": row[2]}}) for row in RUN[:60]]
    for cut in range(len(good[0])):
        guesses = guess_formats([*good, good[0][:cut]])
        assert guesses[0].words == "JSON"


def test_a_sender_with_a_new_port_for_each_packet_is_one_sender() -> None:
    """Packets from ports used once are one sender's; one with a port of its own beside it stays apart."""
    fresh = [Packet(i, f"192.0.2.5:{50_000 + i % 90}", b"a") for i in range(100)]
    steady = [Packet(i, "192.0.2.5:6000", b"b") for i in range(40)]
    found = by_sender([*fresh, *steady])
    assert {name: len(packets) for name, packets in found.items()} == {"192.0.2.5:*": 100, "192.0.2.5:6000": 40}
    assert list(by_sender(steady)) == ["192.0.2.5:6000"]
