"""What receiving costs: `python -m tests.bench.bench_receive [rounds]`.

For each format, 26 channels a packet: a burst of packets lies in the socket's buffer, and is taken out once by a bare
`recv` loop, once by a bare `recvfrom` loop (which also tells the sender), and once by source + decoder + mapping, in
turn, in the same run. Printed are microseconds a packet of each (processor time of the thread, medians of the rounds)
and the ratios. The goal is 4 times the bare loop or less for delimited text and JSON.
"""

from __future__ import annotations

import json
import socket
import statistics
import struct
import sys
import time
from collections.abc import Callable

import msgspec

from adapters.description import FeedDescription
from adapters.feed import load_feed, make_source
from adapters.pipeline import Pipeline, make_pipeline
from adapters.ports import Source
from monitor.sample import CHANNELS

NAMES = list(CHANNELS)[:26]
BURST = 400
UNITS = {"ias_kt": "m/s", "altitude_ft": "m", "height_ft": "m", "pitch_deg": "rad", "oil_pressure_psi": "kPa"}


def values() -> list[float]:
    """One invented value a channel, within range in whatever unit, with digits enough to cost something."""
    found = []
    for number, name in enumerate(NAMES):
        channel = CHANNELS[name]
        found.append(0.0 if channel.high == 1.0 else 1.2345678 + number * 0.0001)
    return found


def packets() -> dict[str, tuple[str, bytes]]:
    """Format to the rest of its [decode] table and a packet."""
    row = values()
    keyed = {f"f{number}": value for number, value in enumerate(row)}
    columns = ", ".join(f'"{key}"' for key in keyed)
    layout = ", ".join(f'"{key} float32"' for key in keyed)
    return {
        "delimited": (f"columns = [{columns}]", (",".join(f"{value:12.7g}" for value in row) + "\n").encode()),
        "delimited, not plain": (
            f'columns = [{columns}]\ndelimiter = ";"\ndecimal = ","',
            (";".join(f"{value:12.7g}".replace(".", ",") for value in row) + "\n").encode(),
        ),
        "json": ("", json.dumps(keyed).encode()),
        "msgpack": ("", msgspec.msgpack.encode(keyed)),
        "key-value": ("", (" ".join(f"{key}={value:.7g}" for key, value in keyed.items()) + "\n").encode()),
        "packed": (f'byte_order = "little"\nfields = [{layout}]', struct.pack("<26f", *row)),
    }


def description(name: str, rest: str, port: int) -> FeedDescription:
    """The feed on that port."""
    lines = ['[transport]\nkind = "udp"', f"port = {port}", f'[decode]\nformat = "{name.partition(",")[0]}"', rest]
    lines.append("[channels]")
    for number, channel in enumerate(NAMES):
        unit = f', unit = "{UNITS[channel]}"' if channel in UNITS else ""
        lines.append(f'{channel} = {{ field = "f{number}"{unit} }}')
    return load_feed("\n".join(lines), f"feed {name}")


def free_port() -> int:
    """A port that nobody uses just now."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def fill(sender: socket.socket, packet: bytes) -> None:
    """A burst into the receiver's buffer."""
    for _ in range(BURST):
        sender.send(packet)


def bare(receiver: socket.socket) -> int:
    """The bare loop; the packets it got."""
    count = 0
    for _ in range(BURST):
        receiver.recv(65535)
        count += 1
    return count


def bare_from(receiver: socket.socket) -> int:
    """The bare loop that also learns who sent."""
    count = 0
    for _ in range(BURST):
        receiver.recvfrom(65535)
        count += 1
    return count


def whole(source: Source, pipeline: Pipeline) -> int:
    """Source, decoder and mapping; the samples it got."""
    count = 0
    for _ in range(BURST):
        packet = source.receive(0.1)
        if packet is not None:
            count += len(pipeline.samples(packet.payload, packet.arrival_ns))
    return count


def timed(work: Callable[[], int]) -> float:
    """Microseconds a packet; the burst must have come whole."""
    began = time.thread_time()  # of this thread's own work: other programs on the machine do not count
    count = work()
    taken = time.thread_time() - began
    assert count == BURST, f"{count} of {BURST}"
    return taken / BURST * 1e6


def measure(name: str, rest: str, packet: bytes, rounds: int) -> tuple[float, float, float]:
    """Medians of the bare loop, of the bare loop with senders, and of the whole."""
    port = free_port()
    feed = description(name, rest, port)
    source, pipeline = make_source(feed), make_pipeline(feed)
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other,
    ):
        sender.connect(("127.0.0.1", port))
        receiver.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4 * 1024 * 1024)
        receiver.bind(("127.0.0.1", 0))
        other.connect(receiver.getsockname())
        found = []
        for _ in range(rounds + 1):
            fill(other, packet)
            first = timed(lambda: bare(receiver))
            fill(other, packet)
            second = timed(lambda: bare_from(receiver))
            fill(sender, packet)
            found.append((first, second, timed(lambda: whole(source, pipeline))))
    source.close()
    one, two, three = (statistics.median(column) for column in zip(*found[1:], strict=True))  # the first learns
    return one, two, three


def main() -> None:
    """Print a line a format."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    for name, (rest, packet) in packets().items():
        first, second, third = measure(name, rest, packet, rounds)
        print(
            f"{name:22} {len(packet):4} bytes  recv {first:5.2f} us  recvfrom {second:5.2f} us  whole {third:6.2f} us  "
            f"ratio {third / first:5.2f} to recv, {third / second:5.2f} to recvfrom"
        )


if __name__ == "__main__":
    main()
