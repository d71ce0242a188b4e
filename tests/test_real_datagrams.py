"""The flight-dynamics library's own datagrams, captured once, through decoder, mapping and coach; no socket, no
waiting.

Facts of the library's output (jsbsim 1.3.3, measured): one text line a datagram; the header line once, at the
start, with one label more than there are numbers; without captions labels repeat; 7 digits unless asked for more.
"""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest

from adapters.feed_toml import load_feed
from adapters.ports import Packet
from adapters.session import Session
from monitor.events import Event
from monitor.options import Options
from tests.accuracy.setup import aircraft, normal_procedure
from tests.flights_jsbsim.scenario import Scenario
from tests.flights_jsbsim.udp import Capture, captured, feed_by_number_toml, feed_toml

FLIGHT = Scenario("c172p", seed=31, wind_kt=8.0, wind_from_deg=30.0, gust_kt=1.0)
STEP_NS = 50_000_000
START_NS = 7_003_000_000_000
CALLS = ["power-set", "engine-green", "airspeed-alive", "rotate", "climb-speed", "flaps-up", "turn", "after-takeoff"]


def session(text: str) -> Session:
    """A session on the feed, as `fly` makes it."""
    return Session(load_feed(text, "feed test"), aircraft("c172p"), normal_procedure(), Options(field_elevation_ft=0.0))


def play(part: Session, datagrams: Sequence[bytes]) -> list[Event]:
    """The datagrams at 20 a second, a tick between each two, and the end."""
    events: list[Event] = []
    now = START_NS
    for payload in datagrams:
        now += STEP_NS
        events += part.packet(Packet(now, "127.0.0.1:40112", payload))
        events += part.tick(now + STEP_NS // 3)
    return events + part.end(now + STEP_NS)


def calls(events: Sequence[Event]) -> list[tuple[str, float]]:
    """Routine calls with their times to a twentieth of a second."""
    return [(e.id, round((e.t_s or 0.0) * 20) / 20) for e in events if e.kind == "callout"]


def feed_of(capture: Capture) -> str:
    """The feed description with the column order given."""
    return feed_toml(5501, capture.rest_ft)


def test_a_receiver_that_missed_the_header_hears_the_same_calls() -> None:
    """With the column order given, joining after the header (and 3 s of standing) changes no call."""
    capture = captured(FLIGHT)
    whole = play(session(feed_of(capture)), capture.datagrams)
    late = play(session(feed_of(capture)), capture.datagrams[60:])
    assert [c for c in CALLS if [i for i, _ in calls(whole)].count(c) != 1] == []
    assert calls(late) == calls(whole)


def test_the_library_s_header_alone_gives_the_columns_in_spite_of_its_extra_label() -> None:
    """Without a configured order the header's names serve, though it has a label (`<LABELS>`) more than there are
    numbers."""
    capture = captured(FLIGHT)
    text = "\n".join(line for line in feed_of(capture).splitlines() if not line.startswith("columns"))
    events = play(session(text), capture.datagrams)
    assert calls(events) == calls(play(session(feed_of(capture)), capture.datagrams))


def test_without_header_and_order_nothing_is_guessed() -> None:
    """With neither a header nor a configured order no value is taken from any column, and a notice says so."""
    capture = captured(FLIGHT)
    text = "\n".join(line for line in feed_of(capture).splitlines() if not line.startswith("columns"))
    part = session(text)
    assert [e for e in play(part, capture.datagrams[60:300]) if e.kind != "feed"] == []
    assert part.take_notices()


def test_output_without_captions_is_read_by_column_number() -> None:
    """Repeated labels and 7 digits: fields taken by number give the same calls, within a twentieth of a second or
    two."""
    named, bare = captured(FLIGHT), captured(FLIGHT, captions=False)
    assert bare.datagrams[0].count(b"WOW") == 2
    first = calls(play(session(feed_of(named)), named.datagrams))
    second = calls(play(session(feed_by_number_toml(bare.rest_ft)), bare.datagrams))
    assert [i for i, _ in second] == [i for i, _ in first]
    assert [t for _, t in second] == pytest.approx([t for _, t in first], abs=0.1)


@pytest.mark.parametrize("seed", range(3))
def test_lost_doubled_swapped_and_spoiled_datagrams_bring_no_false_warning(seed: int) -> None:
    """A fifth lost, some doubled, neighbours swapped, junk and truncated lines between: no warning, and the calls
    still come."""
    capture, dice = captured(FLIGHT), random.Random(seed)
    sent: list[bytes] = []
    for payload in capture.datagrams:
        if dice.random() < 0.2:
            continue
        sent.append(payload)
        if dice.random() < 0.05:
            sent.append(payload)
        if dice.random() < 0.05 and len(sent) > 1:
            sent[-1], sent[-2] = sent[-2], sent[-1]
        if dice.random() < 0.03:
            sent.append(
                dice.choice(
                    [dice.randbytes(80), payload[:40], payload + payload, b"", b"nan," * 20, b"9e99," * 19 + b"9e99"]
                )
            )
    part = session(feed_of(capture))
    events = play(part, sent)
    assert [e for e in events if e.kind == "warning"] == []
    heard = [i for i, _ in calls(events)]
    assert [c for c in CALLS if heard.count(c) != 1] == []
    assert part.take_notices()


def test_every_number_of_a_record_at_9e99_is_never_a_value() -> None:
    """A record of the right number of columns full of 9e99, or inf, in the middle of the roll changes no call."""
    capture = captured(FLIGHT)
    columns = capture.datagrams[5].count(b",") + 1
    wild = [b",".join([value] * columns) + b"\n" for value in (b"9e99", b"inf", b"-inf", b"nan")]
    spoiled = [*capture.datagrams[:400], *wild, *capture.datagrams[400:]]
    clean = play(session(feed_of(capture)), capture.datagrams)
    events = play(session(feed_of(capture)), spoiled)
    assert [e for e in events if e.kind == "warning"] == []
    assert [i for i, _ in calls(events)] == [i for i, _ in calls(clean)]
