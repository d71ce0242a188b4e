"""Receives in a thread of its own, so that a packet is stamped when it arrives, not when the screen is done."""

from __future__ import annotations

import threading
from collections import deque

from adapters.ports import Packet, Source

MOST_BYTES = 8 * 1024 * 1024
"""Bytes of packets kept until they are taken, usually; what comes on top is dropped and counted."""
PACKET_COST = 300
"""Bytes that a waiting packet costs beside its payload."""
WAIT_S = 0.1


class Receiver:
    """Takes packets from a source until it is closed. dropped: packets that came faster than they were taken."""

    def __init__(self, source: Source, most_bytes: int = MOST_BYTES) -> None:
        """Start receiving; from now on nobody else may use the source. most_bytes: kept until they are taken."""
        self._most_bytes = most_bytes
        self.dropped = 0
        self.failed: BaseException | None = None
        self._source = source
        self._waiting: deque[Packet] = deque()
        self._bytes = 0
        self._lock = threading.Lock()
        self._there = threading.Event()
        self._ending = False
        self._thread = threading.Thread(target=self._run, name="receiver", daemon=True)
        self._thread.start()

    def take(self, timeout_s: float) -> list[Packet]:
        """The packets that came since the last call, oldest first; waits up to `timeout_s` for the first."""
        self._there.wait(timeout_s)
        with self._lock:
            taken, self._waiting, self._bytes = list(self._waiting), deque(), 0
            self._there.clear()
        return taken

    def close(self) -> None:
        """Stop receiving; the source is free, and still open. Safe to call twice."""
        self._ending = True
        self._thread.join(10 * WAIT_S)

    def _run(self) -> None:
        try:
            while not self._ending:
                packet = self._source.receive(WAIT_S)
                if packet is not None:
                    self._keep(packet)
        except Exception as error:  # whatever a source of another package raises: told, not lost in a thread
            self.failed = error
            self._there.set()

    def _keep(self, packet: Packet) -> None:
        cost = len(packet.payload) + PACKET_COST
        with self._lock:
            if self._bytes + cost > self._most_bytes:
                self.dropped += 1
                return
            self._waiting.append(packet)
            self._bytes += cost
        self._there.set()
