"""Floods over real UDP, live: junk from another address beside a good feed, and a good feed at a great rate.

Nothing asserts how long anything takes or how fast the senders get on this machine; what they reached is printed (-s).
A machine too busy to read the socket loses packets of all senders alike, before we see them: the system counts those,
and then the calls must still be the same ones, though their times may be found from other samples.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from adapters.feed import load_feed, make_source
from adapters.library import open_procedure
from adapters.live import Live
from adapters.outputs import Outputs
from adapters.ports import Packet
from adapters.session import Session
from adapters.udp import UdpSource
from monitor.aircraft_file import load_aircraft
from monitor.events import Event, to_json
from monitor.options import Options
from monitor.snapshot import Snapshot
from tests.flights_jsbsim.aeroplanes import profile_text
from tests.flights_jsbsim.flight import fly
from tests.test_formats_agree import channels, rows
from tests.test_udp import free_port

JUNK_S, SETTLE_S = 14.0, 2.0
SENDER = """
import json, socket, sys, time
lines, port, rate = json.load(open(sys.argv[1])), int(sys.argv[2]), float(sys.argv[3])
sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
sock.bind(("127.0.0.1", 0))
begin = time.monotonic()
for number, line in enumerate(lines):
    wait = begin + number / rate - time.monotonic()
    if wait > 0:
        time.sleep(wait)
    sock.sendto(line.encode(), ("127.0.0.1", port))
print(len(lines) / max(time.monotonic() - begin, 1e-9))
"""
JUNK = """
import os, random, socket, sys, time
port, rate, seconds = int(sys.argv[1]), float(sys.argv[2]), float(sys.argv[3])
sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
sock.bind(("127.0.0.2", 0))
kinds = [os.urandom(n) for n in (1, 40, 300, 1400)]
kinds += [b"9e99," * 25 + b"9e99\\n", b"a,b,c\\n", b"{}", b"1,2,3\\n", b"nan\\n" * 50]
begin, sent = time.monotonic(), 0
while (now := time.monotonic() - begin) < seconds:
    while sent < now * rate:
        for _ in range(25):
            sock.sendto(random.choice(kinds), ("127.0.0.1", port))
        sent += 25
    time.sleep(0.0002)
print(sent / seconds)
"""


class Heard:
    """An output that keeps the events."""

    showing = False

    def __init__(self) -> None:
        """None yet."""
        self.events: list[Event] = []

    def start(self) -> str | None:
        """Nothing to say."""
        return None

    def event(self, event: Event) -> None:
        """Keep it."""
        self.events.append(event)

    def show(self, snapshot: Snapshot) -> None:
        """No screen."""

    def close(self) -> None:
        """Nothing to close."""


def description(port: int, more: str = "") -> str:
    """The flight's text over UDP."""
    names = list(rows()[0])
    columns = ", ".join(f'"{name}"' for name in names)
    head = f'[transport]\nkind = "udp"\nport = {port}\n{more}\n[decode]\nformat = "delimited"\ncolumns = [{columns}]\n'
    return head + channels(names)


def lines_of_the_roll() -> list[str]:
    """The flight from a second before the brakes come off, for fourteen seconds, as sent."""
    begin = (fly().truth.brake_release or 0.0) - 1.0
    chosen = [row for row in rows() if begin <= row["time_s"] <= begin + JUNK_S]
    return [",".join(repr(row[name]) for name in row) + "\n" for row in chosen]


def session(port: int, more: str = "") -> Session:
    """A session with the real coach."""
    feed = load_feed(description(port, more), "feed x")
    return Session(feed, load_aircraft(profile_text(fly().profile), "aircraft x"), open_procedure("normal"), Options())


def alone(lines: list[str]) -> list[Event]:
    """What the coach says to the feed alone, packets at their nominal times."""
    quiet = session(5501)
    packets = [Packet(number * 50_000_000, "127.0.0.1:1", line.encode()) for number, line in enumerate(lines)]
    return [event for packet in packets for event in quiet.packet(packet)]


def calls(events: list[Event]) -> list[Event]:
    """The events about the flight; those about the feed itself go by the wall clock."""
    return [event for event in events if event.kind != "feed"]


def script(code: str, *arguments: object) -> subprocess.Popen[str]:
    """A sender in a process of its own."""
    command = [sys.executable, "-P", "-c", code, *map(str, arguments)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def resident_bytes() -> int:
    """Memory of this process; 0 where the system does not say it this way."""
    try:
        return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * 4096
    except OSError:
        return 0


@pytest.mark.long
@pytest.mark.parametrize("only_from", [True, False])
def test_a_flood_of_junk_changes_no_call(only_from: bool, tmp_path: Path) -> None:
    """50,000 junk packets a second asked of another address: the good feed's calls are unchanged, memory flat."""
    if sys.platform != "linux":
        pytest.skip("needs a second loopback address")
    lines = lines_of_the_roll()
    path = tmp_path / "lines.json"
    path.write_text(json.dumps(lines), encoding="utf-8")
    port = free_port()
    more = 'only_from = ["127.0.0.1"]' if only_from else ""
    live_session, heard = session(port, more), Heard()
    source = make_source(load_feed(description(port, more), "feed x"))
    assert isinstance(source, UdpSource)
    notices: list[str] = []
    live = Live(source, live_session, Outputs([heard], notices.append), notice=notices.append)
    done = threading.Event()
    thread = threading.Thread(target=live.run, args=(done.is_set,))
    thread.start()
    good = script(SENDER, path, port, 20.0)
    time.sleep(0.3)
    before = resident_bytes()
    junk = script(JUNK, port, 50_000.0, JUNK_S - SETTLE_S)
    junk_rate = float(junk.communicate(timeout=120)[0])
    good.communicate(timeout=120)
    after = resident_bytes()
    time.sleep(1.0)
    done.set()
    thread.join(timeout=60)
    lost = source.lost()
    source.close()
    seen = source.refused + sum(live_session.refused().values())
    print(f"\njunk sent {junk_rate:,.0f}/s, seen {seen:,}, lost by the system {lost}, good samples "
          f"{live_session.samples} of {len(lines)}, memory {(after - before) / 1e6:+.1f} MB")  # fmt: skip
    assert not thread.is_alive()
    assert live_session.samples == len(lines) or lost
    said, wanted = calls(heard.events), calls(alone(lines))
    assert [(e.kind, e.id, e.reason) for e in said][: len(wanted)] == [(e.kind, e.id, e.reason) for e in wanted]
    if live_session.samples == len(lines):
        assert [to_json(event) for event in said][: len(wanted)] == [to_json(event) for event in wanted]
    assert seen > 1000
    assert after - before < 40e6
    assert only_from or any("is not heard" in notice for notice in notices)


@pytest.mark.long
def test_nothing_is_lost_at_a_great_rate(tmp_path: Path) -> None:
    """5,000 packets a second asked, with the coach on: every packet sent becomes a sample the coach is given."""
    first = rows()[0]
    names = list(first)
    lines = []
    for number in range(20_000):
        row = {**rows()[min(number // 10, len(rows()) - 1)], "time_s": 100 + number / 5000}
        lines.append(",".join(repr(row[name]) for name in names) + "\n")
    path = tmp_path / "lines.json"
    path.write_text(json.dumps(lines), encoding="utf-8")
    port = free_port()
    live_session = session(port)
    source = make_source(load_feed(description(port), "feed x"))
    done = threading.Event()
    live = Live(source, live_session, Outputs([Heard()], print))
    thread = threading.Thread(target=live.run, args=(done.is_set,))
    thread.start()
    sender = script(SENDER, path, port, 5000.0)
    rate = float(sender.communicate(timeout=120)[0])
    until = time.monotonic() + 30
    while live_session.samples < len(lines) and time.monotonic() < until:
        time.sleep(0.05)
    done.set()
    thread.join(timeout=60)
    source.close()
    print(f"\nsent {rate:,.0f}/s, samples {live_session.samples} of {len(lines)}")
    assert live_session.samples == len(lines)
