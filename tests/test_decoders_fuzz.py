"""Decoders under any bytes: nothing raises, nothing wild comes out, memory is bounded, and both ways agree."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from adapters.pipeline import make_pipeline
from adapters.tally import MOST_KINDS, MOST_WAITING
from tests.test_feeds import CASES, assert_in_range, carefully, feed_of, packets_of

FORMATS = [case for case in CASES if not case.startswith(("jsbsim", "units", "delimited-header", "delimited-other"))]
# Pieces that text and numbers go wrong by.
NASTY = [
    *b', ; \r \t = : " [ { } ] . - _ e nan inf 9e99 1e400 -0 1_0 true null <T> # $GP *6D'.split(b" "),
    *(b"\n", b" ", b"\x00", b"\xff", b"\xc1", b"\xef\xbb\xbf", b"\xe2\x80\x8b", b"1" * 400),
    *(b"\x1c", b"\x85", b"\xfd", b"\xfe"),
]
ORDINARY = settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
LONG = settings(max_examples=400, deadline=None, suppress_health_check=list(HealthCheck))


@st.composite
def streams(draw: st.DrawFn, case: str) -> list[bytes]:
    """Up to thirty packets: a feed's own, the same damaged, and junk."""
    own = [packet.payload for packet in packets_of(case)]
    packets = []
    for _ in range(draw(st.integers(1, 30))):
        packet = draw(st.sampled_from(own))
        for _ in range(draw(st.sampled_from([0, 0, 0, 1, 2, 6]))):
            packet = draw(damaged(packet, own))
        packets.append(packet)
    return packets


@st.composite
def damaged(draw: st.DrawFn, packet: bytes, own: list[bytes]) -> bytes:
    """The packet with one thing done to it."""
    place = draw(st.integers(0, len(packet)))
    end = draw(st.integers(place, min(len(packet), place + 12)))
    piece = draw(st.one_of(st.sampled_from(NASTY), st.binary(max_size=8), st.sampled_from(own)))
    return packet[:place] + piece + packet[end:] if draw(st.booleans()) else packet[:place] + packet[end:]


def check_stream(case: str, packets: list[bytes]) -> None:
    """What every stream must keep to."""
    feed = feed_of(case)
    pipeline = make_pipeline(feed)
    stream = [packet_of(number, payload) for number, payload in enumerate(packets)]
    got = [pipeline(packet.payload, packet.arrival_ns) for packet in stream]
    for samples in got:
        for sample in samples:
            assert_in_range(sample)
    assert got == carefully(feed, stream)
    assert len(pipeline.tally.counts) <= MOST_KINDS + 1
    assert len(pipeline.take_notices()) <= MOST_WAITING


def packet_of(number: int, payload: bytes):  # type: ignore[no-untyped-def]
    """A packet 20 ms after the one before."""
    from adapters.ports import Packet

    return Packet(number * 20_000_000, "127.0.0.1:40000", payload)


@pytest.mark.parametrize("case", FORMATS)
def test_damaged_streams_do_no_harm(case: str) -> None:
    """A feed's packets, damaged anyhow and in any order, raise nothing, give nothing wild, and both ways agree."""

    @ORDINARY
    @given(streams(case))
    def run(packets: list[bytes]) -> None:
        check_stream(case, packets)

    run()


@pytest.mark.parametrize("case", FORMATS)
def test_junk_does_no_harm(case: str) -> None:
    """Packets of random bytes raise nothing and give nothing wild."""

    @ORDINARY
    @given(st.lists(st.binary(max_size=300), max_size=10))
    def run(packets: list[bytes]) -> None:
        check_stream(case, packets)

    run()


@pytest.mark.long
@pytest.mark.parametrize("case", CASES)
def test_damaged_streams_do_no_harm_at_length(case: str) -> None:
    """The same for every kept feed, with sixteen times the examples."""

    @LONG
    @given(streams(case))
    def run(packets: list[bytes]) -> None:
        check_stream(case, packets)

    run()


@ORDINARY
@given(st.lists(st.text(alphabet="0123456789.,-+eE_ \tinfa\"'", max_size=8), min_size=4, max_size=5), st.booleans())
def test_numbers_in_any_spelling_agree(cells: list[str], ended: bool) -> None:
    """However a line spells its numbers, the short way takes them exactly as the careful way does."""
    good = [b"%d,50,2,1" % n + b"\n" * ended for n in range(6)]
    line = ",".join(cells).encode() + b"\n" * ended
    check_stream("delimited-hostile", [*good, line, *good[:1]])
