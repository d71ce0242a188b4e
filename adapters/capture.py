"""Captures: packets as they arrived, in a text file that a person can read and a test can keep.

First line `# climbout packets 1`; then one packet a line: arrival in seconds, the sender, and the bytes, in
hexadecimal or, when they are plain text, as a JSON string. Lines that begin with `#` are remarks.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator
from pathlib import Path

from adapters.ports import Packet
from monitor.toml_check import Faults

FIRST_LINE = "# climbout packets 1"


def is_capture(path: Path) -> bool:
    """Whether the file's content is a capture."""
    try:
        with path.open("rb") as file:
            return file.read(len(FIRST_LINE)) == FIRST_LINE.encode()
    except OSError:
        return False


def packet_line(packet: Packet) -> str:
    """One packet as a line, without its end."""
    plain = packet.payload.isascii() and all(byte >= 32 or byte in b"\t\r\n" for byte in packet.payload)
    data = json.dumps(packet.payload.decode("ascii")) if plain else packet.payload.hex()
    return f"{packet.arrival_ns / 1e9:.6f}\t{packet.origin.replace(' ', '_') or '-'}\t{data}"


def write_capture(path: Path, packets: Iterable[Packet], remarks: Iterable[str] = ()) -> int:
    """Write the packets; gives their number."""
    count = 0
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write("\n".join([FIRST_LINE, *(f"# {remark}" for remark in remarks)]) + "\n")
        for packet in packets:
            file.write(packet_line(packet) + "\n")
            count += 1
    return count


def read_capture(path: Path) -> Iterator[Packet]:
    """The packets in order. Raises `Faults` at the first line that is none."""
    try:
        with path.open(encoding="utf-8") as file:
            for number, line in enumerate(file, 1):
                if line.strip() and not line.startswith("#"):
                    yield _packet(line.rstrip("\r\n"), f"capture {path}: line {number}")
    except (OSError, UnicodeDecodeError) as error:
        raise Faults([f"capture {path}: cannot be read: {error}"]) from None


def _packet(line: str, where: str) -> Packet:
    try:
        seconds, origin, data = line.split("\t", 2)
        arrival_s = float(seconds)
        if not math.isfinite(arrival_s):
            raise ValueError("not a time")
        payload = json.loads(data).encode() if data.startswith('"') else bytes.fromhex(data)
    except (ValueError, AttributeError):
        raise Faults([f"{where}: got {line[:40]!r}, wanted seconds, sender and bytes with tabs between"]) from None
    return Packet(round(arrival_s * 1e9), origin, payload)
