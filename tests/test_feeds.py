"""Feeds kept in tests/feeds: each case's packets give the samples that are kept beside them, whichever way they go."""

from __future__ import annotations

import json
from pathlib import Path

import msgspec
import pytest

from adapters.capture import read_capture
from adapters.description import FeedDescription
from adapters.feed import load_feed, make_decoder, make_tally
from adapters.mapping import Mapper
from adapters.pipeline import make_pipeline
from adapters.ports import Packet
from monitor.sample import CHANNELS, Sample

FEEDS = Path(__file__).parent / "feeds"
EXAMPLES = Path(__file__).parents[1] / "adapters" / "examples"
CASES = sorted(path.parent.name for path in FEEDS.glob("*/packets.txt"))
TOLERANCE = {"heading_deg": 0.003}  # a 16-bit compass resolves 0.0055 degrees
ROUNDING = 2e-5  # of 32-bit floats and of nine decimals


def feed_of(case: str) -> FeedDescription:
    """The case's own description, else the shipped example of its name."""
    own = FEEDS / case / "feed.toml"
    path = own if own.exists() else EXAMPLES / f"{case}.toml"
    return load_feed(path.read_text(encoding="utf-8"), f"feed {path.name}")


def packets_of(case: str) -> list[Packet]:
    """The case's packets."""
    return list(read_capture(FEEDS / case / "packets.txt"))


def expected_of(case: str) -> list[dict[str, float]]:
    """The samples that should come, with the number of their packet."""
    lines = (FEEDS / case / "expected.jsonl").read_text(encoding="utf-8").splitlines()
    return [json.loads(line) for line in lines]


def supplied(sample: Sample) -> dict[str, float]:
    """The channels a sample has."""
    return {name: value for name, value in msgspec.structs.asdict(sample).items() if value is not None}


def carefully(feed: FeedDescription, packets: list[Packet]) -> list[list[Sample]]:
    """The samples of each packet by decoder and mapper, without the short way."""
    tally = make_tally(feed)
    decoder, mapper = make_decoder(feed, tally), Mapper(feed, tally)
    return [
        [s for record in decoder.decode(p.payload) if (s := mapper.sample(record, p.arrival_ns)) is not None]
        for p in packets
    ]


def test_there_are_sixteen_feeds_or_more() -> None:
    """At least sixteen captured or made feeds are kept, and every shipped example but the encrypted one has a case."""
    assert len(CASES) >= 16
    assert {path.stem for path in EXAMPLES.glob("*.toml")} - set(CASES) == {"encrypted"}


@pytest.mark.parametrize("case", CASES)
def test_packets_give_the_expected_samples(case: str) -> None:
    """Each packet of a kept feed gives just the samples kept with it: the same channels, the same values."""
    pipeline = make_pipeline(feed_of(case))
    got = [
        (number, supplied(sample))
        for number, packet in enumerate(packets_of(case), 1)
        for sample in pipeline(packet.payload, packet.arrival_ns)
    ]
    wanted = [(int(row.pop("packet")), row) for row in expected_of(case)]
    assert [(number, sorted(sample)) for number, sample in got] == [(number, sorted(row)) for number, row in wanted]
    for (_, sample), (number, row) in zip(got, wanted, strict=True):
        for name, value in row.items():
            close = pytest.approx(value, rel=1e-6, abs=TOLERANCE.get(name, ROUNDING))
            assert sample[name] == close, f"packet {number}, {name}"


@pytest.mark.parametrize("case", CASES)
def test_the_short_way_gives_what_the_careful_way_gives(case: str) -> None:
    """The pipeline's samples are those of decoder and mapper, exactly, the feed gone through twice."""
    feed, packets = feed_of(case), packets_of(case) * 2
    pipeline = make_pipeline(feed)
    assert [pipeline(p.payload, p.arrival_ns) for p in packets] == carefully(feed, packets)


@pytest.mark.parametrize("case", CASES)
def test_a_packet_cut_at_any_byte_does_no_harm(case: str) -> None:
    """Every packet cut off after every byte (every few, when long) raises nothing and gives no value out of range."""
    packets = packets_of(case)[-4:]
    pipeline = make_pipeline(feed_of(case))
    for packet in packets_of(case):
        pipeline(packet.payload, packet.arrival_ns)
    for packet in packets:
        length = len(packet.payload)
        for size in range(0, length, max(1, length // 600)):
            for sample in pipeline(packet.payload[:size], packet.arrival_ns):
                assert_in_range(sample)


def assert_in_range(sample: Sample) -> None:
    """Every value is finite and within its channel's range (a NaN is within none)."""
    for name, value in supplied(sample).items():
        assert CHANNELS[name].low <= value <= CHANNELS[name].high, name


@pytest.mark.parametrize("case", ["delimited", "key-value", "json", "msgpack", "packed", "packed-records", "mavlink"])
def test_a_cut_packet_gives_no_wrong_value(case: str) -> None:
    """A packet cut off short gives nothing, or only values that the whole packet has too."""
    feed = feed_of(case)
    packets = packets_of(case)
    if feed.decode.merge:
        packets = packets[-1:]
    warm = packets[:5]
    for packet in packets[-2:]:
        for size in range(len(packet.payload)):
            pipeline = make_pipeline(feed)
            for before in warm:
                pipeline(before.payload, before.arrival_ns)
            whole = make_pipeline(feed)
            for before in warm:
                whole(before.payload, before.arrival_ns)
            good = [supplied(sample) for sample in whole(packet.payload, packet.arrival_ns)]
            for sample in pipeline(packet.payload[:size], packet.arrival_ns):
                assert any(supplied(sample).items() <= one.items() for one in good)
