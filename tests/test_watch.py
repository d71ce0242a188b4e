"""What `feed watch` counts, decodes and says is wrong; bounded work and memory; the command over a real socket."""

from __future__ import annotations

import io
import json
import random
import socket
import subprocess
import sys
import threading
import time
import tracemalloc
from collections.abc import Iterable, Iterator
from pathlib import Path

import msgspec
import pytest

from adapters.capture import read_capture
from adapters.description import Transport
from adapters.feed import load_feed
from adapters.ports import Packet
from adapters.watch import MOST_SENDERS, Watch
from adapters.watch_paint import as_data, frame, plain_lines, raw_lines
from adapters.watch_receive import Receiver
from adapters.watch_stats import MOST_FIELDS, PAYLOADS_KEPT, FieldStats
from adapters.watch_view import SenderView, WatchView
from tests.trainer_packets import free_port

S = 1_000_000_000
START = 77 * S
GOOD, BAD = "192.0.2.1:4000", "192.0.2.9:9"

FEED = """
name = "bench"
[transport]
kind = "udp"
port = 5502
[decode]
format = "json"
[channels]
time_s = { field = "t" }
ias_kt = { field = "v", unit = "m/s" }
height_ft = { field = "h", unit = "m" }
oil_pressure_psi = { field = "oil", unit = "bar" }
heading_deg = { field = "hdg", unit = "rad" }
"""


def packet(i: int, at_ns: int | None = None, origin: str = GOOD, **more: object) -> Packet:
    """Packet `i` of a good 20 Hz stream of JSON, its fields replaced by `more`; None leaves a field out."""
    fields: dict[str, object] = {"t": 100 + i / 20, "v": 20 + i / 100, "h": 0.0, "oil": 4.2, "hdg": 4.6, "n": i} | more
    sent = {name: value for name, value in fields.items() if value is not None}
    return Packet(START + i * S // 20 if at_ns is None else at_ns, origin, json.dumps(sent).encode())


def watched(packets: Iterable[Packet], feed: str | None = FEED, after_s: float = 0.0) -> WatchView:
    """The view after these packets, `after_s` after the last."""
    watch = Watch("udp 127.0.0.1:5502", START, load_feed(feed, "feed bench.toml") if feed else None)
    now = START
    for one in packets:
        watch.packet(one)
        now = one.arrival_ns
    watch.guess(now)
    return watch.view(now + round(after_s * S))


def said(view: WatchView) -> str:
    """Everything that is said to be wrong, and to try."""
    return "\n".join(f"{trouble.what}\n" + "\n".join(trouble.tries) for trouble in view.troubles)


def sender(view: WatchView, origin: str = GOOD) -> SenderView:
    """One sender's line."""
    return next(one for one in view.senders if one.origin == origin)


def test_a_good_stream_has_nothing_wrong() -> None:
    """Ten good seconds: 20 a second, no jitter, nothing lost, every channel with value, unit and age, no trouble."""
    view = watched(packet(i) for i in range(200))
    one = sender(view)
    assert (one.packets, one.owns, one.lost, one.repeated) == (200, True, 0, 0)
    assert one.rate_hz == pytest.approx(20, rel=0.01)
    assert one.interval_ms == pytest.approx(50) and one.jitter_ms < 0.01
    values = {channel.channel: channel for channel in view.channels}
    assert values["ias_kt"].value == pytest.approx((20 + 199 / 100) * 3600 / 1852)  # 1 kt = 1852/3600 m/s
    assert values["oil_pressure_psi"].value == pytest.approx(4.2 * 100 / 6.894757, rel=1e-5)  # NIST SP 811, B.8
    assert all(channel.age_s == 0 for channel in view.channels)
    assert view.troubles == ()
    assert view.ways[0] == "JSON"


def test_each_field_has_its_range_and_how_often_it_changes() -> None:
    """A field's last value, lowest, highest, share of changes, and the channels that use it."""
    view = watched(packet(i, h=float(i % 4 == 0), mode="cold") for i in range(101))
    fields = {field.field: field for field in view.fields}
    assert (fields["n"].low, fields["n"].high, fields["n"].last) == (0.0, 100.0, 100.0)
    assert fields["n"].change_share == 1.0
    assert fields["h"].change_share == pytest.approx(0.5, abs=0.01)
    assert (fields["oil"].change_share, fields["oil"].channels) == (0.0, ("oil_pressure_psi",))
    assert (fields["mode"].low, fields["mode"].last) == (None, "cold")


@pytest.mark.parametrize("mapped", [True, False])
def test_loss_is_told_by_a_count_or_by_time(mapped: bool) -> None:
    """Of 300 packets 30 left out are counted as lost, by a counter if there is one, else by the steps of the time."""
    left_out = set(range(20, 290, 9))
    kept = [i for i in range(300) if i not in left_out]
    view = watched(packet(i, n=i if mapped else None) for i in kept)
    assert sender(view).lost == len(left_out)
    assert ("count" if mapped else "time") in sender(view).lost_how
    assert "never came" in said(view)


def test_repeats_pauses_and_unevenness_are_told() -> None:
    """Packets that repeat the one before, come unevenly, or stop are each told in words."""
    assert sender(watched(packet(0, START + i * S // 20) for i in range(60))).repeated == 59
    rng = random.Random(3)
    uneven = watched(packet(i, START + i * S // 20 + rng.randrange(0, S // 10)) for i in range(200))
    assert sender(uneven).jitter_ms > 30
    assert "unevenly" in said(uneven)
    stopped = watched((packet(i) for i in range(60)), after_s=9)
    assert sender(stopped).rate_hz < 20
    assert "nothing for 9 s" in said(stopped)


@pytest.mark.parametrize(
    ("transport", "words"),
    [
        (Transport("udp", bind="127.0.0.1", port=5502), ("port 5502", "127.0.0.1", "firewall", "paused")),
        (Transport("udp", bind="0.0.0.0", port=5502), ("port 5502", "network address", "firewall", "paused")),
        (Transport("udp", bind="127.0.0.1", port=5502, group="239.255.40.1"), ("239.255.40.1", "firewall", "paused")),
        (
            Transport("zeromq", connect="tcp://127.0.0.1:5601", topic="air"),
            ("tcp://127.0.0.1:5601", "bind", "pub", "air"),
        ),
        (Transport("zeromq", bind="tcp://127.0.0.1:5601", pattern="pull"), ("connect", "push", "curve")),
    ],
)
def test_silence_names_the_place_and_the_usual_causes(transport: Transport, words: tuple[str, ...]) -> None:
    """When nothing arrives for two seconds, where it listens and three usual causes are told; not before."""
    watch = Watch("udp here", START, None, transport)
    assert watch.view(START + S).troubles == ()
    view = watch.view(START + 3 * S)
    assert len(view.troubles) == 1 and len(view.troubles[0].tries) == 3
    assert all(word in said(view) for word in words)


def test_senders_that_are_kept_out_are_told() -> None:
    """When all that comes is refused by only_from, that is what is said."""
    view = Watch("udp here", START).view(START + 3 * S, refused=40)
    assert "40 packets came" in said(view) and "only_from" in said(view)


def test_a_wrong_format_is_told_with_the_one_that_fits() -> None:
    """A description of JSON and a sender of text: the share that gives nothing, and that text fits."""
    lines = (Packet(START + i * S // 20, GOOD, f"{i},{i * 0.5},{i * 2}\n".encode()) for i in range(100))
    view = watched(lines)
    assert "100% of the packets give no record as json" in said(view)
    assert "they fit: text, 3 columns" in said(view)


def test_a_field_that_never_arrives_is_told_with_those_like_it() -> None:
    """A mapped field that is not there: its channel, and the names that are nearest."""
    view = watched(packet(i, v=None, velocity=20.0) for i in range(50))
    assert "ias_kt: no field 'v' arrives" in said(view)
    view = watched(packet(i, hdg=None, hdgT=1.0) for i in range(50))
    assert "there are hdgT" in said(view)


def test_a_value_out_of_range_is_told_with_the_unit_that_would_fit() -> None:
    """A heading of 262 sent in degrees but described in radians: what it comes to, and that deg would fit."""
    view = watched(packet(i, hdg=262.0) for i in range(50))
    assert "heading_deg" in said(view)
    assert "its unit may be deg" in said(view)
    assert any("heading_deg" in line for line in view.notices)


def test_two_senders_are_told_and_the_first_good_one_is_used() -> None:
    """The first sender of a valid sample is used until it has been silent for two seconds, then the next."""
    both = [one for i in range(100) for one in (packet(i), packet(i, START + i * S // 20 + 5, BAD))]
    view = watched(both)
    assert sender(view, GOOD).owns and not sender(view, BAD).owns
    assert "2 senders at once" in said(view)
    later = [packet(i, START + 8 * S + i * S // 20, BAD) for i in range(50)]
    assert sender(watched(both + later), BAD).owns


def test_without_a_description_the_format_is_guessed() -> None:
    """With nothing but a port, packets are decoded by the best guess and their fields shown."""
    watch = Watch("udp here", START)
    for i in range(100):
        watch.packet(packet(i))
        if i in (30, 99):
            watch.guess(START + i * S // 20)
    view = watch.view(START + 5 * S)
    assert view.decoded_as == "JSON"
    assert next(field for field in view.fields if field.field == "n").low == 0  # the packets before the guess too
    assert {"v", "h", "oil"} <= {str(field.field) for field in view.fields}
    assert view.channels == ()


def test_a_sender_with_a_new_port_for_each_packet_is_one_sender() -> None:
    """Packets that each come from another port of one address are shown as one sender, and its values are used."""
    for text in (FEED, None):
        watch = Watch("udp here", START, load_feed(text, "feed bench.toml") if text else None)
        for i in range(60):
            watch.packet(msgspec.structs.replace(packet(i), origin=f"192.0.2.5:{50_000 + i}"))
        view = watch.view(START + 3 * S)
        assert [sender.origin for sender in view.senders] == ["192.0.2.5:*"]
        assert view.senders[0].packets > 50
        assert "a new port for each packet" in "\n".join(plain_lines(view))
        assert text is None or view.senders[0].owns


def junk_senders(count: int) -> Iterator[Packet]:
    """Packets of junk, each from an address of its own, 50,000 a second."""
    rng = random.Random(5)
    blocks = [rng.randbytes(300) for _ in range(50)]
    for i in range(count):
        yield Packet(START + i * S // 50_000, f"198.51.100.{i % 250}:{i}", blocks[i % 50])


def test_a_flood_is_counted_in_bounded_memory() -> None:
    """20,000 junk packets from as many senders beside a good one: all counted, few kept, the good one still used."""
    watch = Watch("udp here", START, load_feed(FEED, "feed bench.toml"))
    for i in range(20):
        watch.packet(packet(i, START + i))
    tracemalloc.start()
    for i, one in enumerate(junk_senders(20_000)):
        watch.packet(one)
        if i == 5_000:
            before = tracemalloc.get_traced_memory()[0]
        if i % 2500 == 0:
            watch.packet(packet(20 + i // 2500, one.arrival_ns))
    grown = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()
    view = watch.view(START + 2 * S)
    assert view.packets == 20_000 + 20 + 8
    assert len(view.senders) <= MOST_SENDERS and view.forgotten > 19_000
    assert sender(view).owns
    assert grown < 1_000_000


def test_a_flood_from_one_sender_is_decoded_only_in_part() -> None:
    """At 50,000 packets a second from one address a part is decoded, and the rate shown is right."""
    watch = Watch("udp here", START, load_feed(FEED, "feed bench.toml"))
    for i in range(60_000):
        watch.packet(packet(i % 100, START + i * S // 50_000))
    one = sender(watch.view(START + 60_000 * S // 50_000))
    assert one.rate_hz == pytest.approx(50_000, rel=0.05)
    assert watch.shown_sender().tried < 2000  # type: ignore[union-attr]
    assert one.lost_how == ""
    assert one.looked_share < 0.05


def test_a_sender_of_ever_new_fields_cannot_fill_the_memory() -> None:
    """Each packet with fifty new names: as many fields as are allowed, and no more packets than are allowed."""
    watch = Watch("udp here", START, load_feed(FEED, "feed bench.toml"))
    for i in range(300):
        watch.packet(Packet(START + i * S // 20, GOOD, json.dumps({f"x{i}.{k}": 1 for k in range(50)}).encode()))
    stats = watch.shown_sender()
    assert stats is not None
    assert len(stats.fields) == MOST_FIELDS and stats.fields_left_out > 0
    assert len(stats.payloads) <= PAYLOADS_KEPT


def test_hostile_bytes_never_raise() -> None:
    """Random, huge, empty and half-good packets through counting, guessing, viewing and painting."""
    rng = random.Random(6)
    for feed in (None, load_feed(FEED, "feed bench.toml")):
        watch = Watch("udp here", START, feed)
        for i in range(600):
            size = rng.choice([0, 1, 7, 100, 65_507])
            payload = rng.choice([rng.randbytes(size), b"[" * size, packet(i).payload[: rng.randrange(80)], b"1," * 50])
            watch.packet(Packet(START + i * S // 100, f"a:{i % 3}", payload))
            if i % 60 == 0:
                watch.guess(START + i * S // 100)
                show(watch.view(START + i * S // 100), 80, 24)


def show(view: WatchView, width: int, height: int) -> list[str]:
    """The frame as lines of text; also the other two forms, which must not raise."""
    from rich.console import Console

    console = Console(width=width, height=height, file=io.StringIO(), record=True)
    console.print(frame(view, width, height))
    json.dumps(as_data(view))
    assert plain_lines(view)
    return console.export_text().splitlines()


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 36), (200, 60), (60, 20)])
def test_the_frame_fits_its_terminal(width: int, height: int) -> None:
    """Whatever there is to show, the frame is no wider and no taller than the terminal, and ends with the key."""
    good = [packet(i, hdg=262.0, **{f"extra{k}": i * k for k in range(40)}) for i in range(100)]
    other = [packet(i, START + i * S // 20 + 1, BAD) for i in range(100)]
    for view in (watched(good + other), watched(good, None), watched([], after_s=5)):
        lines = show(view, width, height)
        assert len(lines) <= height
        assert max(len(line) for line in lines) <= width
        assert "q quit" in lines[-1]


def test_the_raw_packet_is_shown_as_what_it_is() -> None:
    """Text as text, anything else in hexadecimal with its place; long ones cut."""
    assert raw_lines(b"1,2,3\n") == ["1,2,3"]
    assert raw_lines(b"\x00\xff" * 8) == ["0000  " + "00 ff " * 7 + "00 ff"]
    assert raw_lines(bytes(5000))[-1] == "…"


@pytest.mark.parametrize("name", ["json", "delimited", "msgpack", "packed-records"])
def test_captured_feeds_are_watched_without_a_description(name: str) -> None:
    """Each of the project's captures shows its fields with no description given."""
    packets = list(read_capture(Path(__file__).parent / "feeds" / name / "packets.txt")) * 12
    watch = Watch("udp here", START)
    for i, one in enumerate(packets):
        watch.packet(Packet(START + i * S // 20, GOOD, one.payload))
        if i % 40 == 39:
            watch.guess(START + i * S // 20)
    view = watch.view(START + 10 * S)
    assert view.decoded_as and len(view.fields) >= 4


def test_a_counter_is_told_from_a_measurement() -> None:
    """A field that goes up by one each time is a counter; one that rises unevenly is not."""
    counter, climb = FieldStats(), FieldStats()
    for i in range(100):
        counter.add(float(i))
        climb.add(i * 1.3)
    assert counter.is_counter and not climb.is_counter


class Flooding:
    """A source that always has a packet."""

    def receive(self, timeout_s: float) -> Packet | None:
        """At once."""
        return Packet(START, GOOD, bytes(60_000))

    def describe(self) -> str:
        """A name."""
        return "flood"

    def close(self) -> None:
        """Nothing to do."""


class Failing(Flooding):
    """A source that raises."""

    def receive(self, timeout_s: float) -> Packet | None:
        """Fail."""
        raise OSError("the cable is out")


def test_the_receiver_keeps_a_bounded_number_of_bytes() -> None:
    """Packets that nobody takes are dropped and counted beyond the limit; taking makes room again."""
    receiver = Receiver(Flooding(), most_bytes=1_000_000)
    end = time.monotonic() + 20
    while receiver.dropped < 100:
        assert time.monotonic() < end
        time.sleep(0.001)
    assert 10 <= len(receiver.take(0.1)) <= 17
    assert receiver.take(5.0)
    receiver.close()


def test_a_source_that_fails_is_told() -> None:
    """An exception in the receiving thread is kept for who asks, and a wait ends at once."""
    receiver = Receiver(Failing())
    receiver.take(5.0)
    receiver.close()
    assert isinstance(receiver.failed, OSError)


COMMAND = [sys.executable, "-P", "-c", "import sys; from adapters.cli import main; sys.exit(main())", "feed", "watch"]


def test_the_command_shows_what_a_socket_receives(tmp_path: Path) -> None:
    """`feed watch --json --for` over a real socket: packets counted, decoded, kept in a capture; status 0."""
    port, kept, stop = free_port(), tmp_path / "kept.packets", threading.Event()

    def send() -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
            i = 0
            while not stop.wait(0.02):
                i += 1
                out.sendto(packet(i).payload, ("127.0.0.1", port))

    thread = threading.Thread(target=send)
    thread.start()
    try:
        line = [*COMMAND, "--port", str(port), "--for", "2.5", "--json", "--save", str(kept)]
        done = subprocess.run(line, capture_output=True, text=True, encoding="utf-8", timeout=60, check=False)
    finally:
        stop.set()
        thread.join()
    assert done.returncode == 0, done.stderr
    last = json.loads(done.stdout.splitlines()[-1])
    assert last["packets"] >= 10 and last["decoded_as"] == "JSON"
    assert len(list(read_capture(kept))) == last["packets"]


def test_the_command_says_why_nothing_arrives() -> None:
    """On a port that nobody sends to: status 1, the port and the causes."""
    port = free_port()
    line = [*COMMAND, "--port", str(port), "--for", "2.2"]
    done = subprocess.run(line, capture_output=True, text=True, encoding="utf-8", timeout=60, check=False)
    assert done.returncode == 1
    assert f"port {port}" in done.stdout and "firewall" in done.stdout


def test_wrong_options_are_told_all_at_once() -> None:
    """A port out of range and a time of nought are both told, with status 2."""
    done = subprocess.run([*COMMAND, "--port", "70000", "--for", "0"], capture_output=True, text=True, encoding="utf-8",
                          timeout=60, check=False)  # fmt: skip
    assert done.returncode == 2
    assert "port" in done.stderr and "--for" in done.stderr
    assert "Traceback" not in done.stderr
