"""Senders that open a new socket for each packet: each of their packets comes from another port of one address.

An address is taken for one sender, named "ADDRESS:*", once `FRESH_IN_A_ROW` packets in a row came from ports not seen
just before and are packets of the feed. That ends when as many packets as there are ports remembered came from known
ports. A port that comes again meanwhile is a socket that stays open, so another sender, which keeps its own name: two
simulators on one machine stay apart.
"""

from __future__ import annotations

from collections import OrderedDict, deque
from collections.abc import Callable, Sequence

from adapters.ports import Packet

FRESH_IN_A_ROW = 8
PORTS_KEPT = 16
"""Ports remembered of an address. A sender whose system picks ports at random from 28,000 (the usual range on Linux)
meets one of them again once in 1,760 packets."""
ADDRESSES_KEPT = 16
LONGEST_KEPT = 4096
"""Bytes of a packet kept for a look at it; a longer one ends the run."""

Arrived = tuple[int, bytes]
"""A packet's arrival and payload."""


class _Address:
    """One address: its latest ports, and the packets of the run of fresh ones."""

    def __init__(self) -> None:
        self.ports: OrderedDict[str, None] = OrderedDict()
        self.run: deque[Arrived] = deque(maxlen=FRESH_IN_A_ROW)
        self.known = 0
        self.whole = False

    def seen(self, port: str, packet: Packet) -> bool:
        """Whether the port is a fresh one; it and the packet are remembered."""
        fresh = port not in self.ports
        self.ports[port] = None
        self.ports.move_to_end(port)
        if len(self.ports) > PORTS_KEPT:
            self.ports.popitem(last=False)
        self.known = 0 if fresh else self.known + 1
        if not fresh or len(packet.payload) > LONGEST_KEPT:
            self.run.clear()
        else:
            self.run.append((packet.arrival_ns, packet.payload))
        if self.known >= PORTS_KEPT:
            self.whole = False
        return fresh


class FreshPorts:
    """Says who each packet is from."""

    def __init__(self, is_feed: Callable[[Sequence[Arrived]], bool]) -> None:
        """is_feed: whether packets, taken as one sender's, are of the feed."""
        self._is_feed = is_feed
        self._addresses: OrderedDict[str, _Address] = OrderedDict()

    def sender_of(self, packet: Packet, may_be_whole: Callable[[str], bool]) -> str:
        """The packet's own origin, or "ADDRESS:*". may_be_whole: whether that address may be taken whole just now."""
        address, _, port = packet.origin.rpartition(":")
        if not port.isdecimal():
            return packet.origin
        known = self._address(address)
        fresh = known.seen(port, packet)
        if not known.whole and len(known.run) == FRESH_IN_A_ROW and may_be_whole(address):
            known.whole = self._is_feed(list(known.run))
            if not known.whole:
                known.run.clear()  # so that junk is looked at once only
        return whole_name(address) if known.whole and fresh else packet.origin

    def run_of(self, name: str) -> list[Arrived]:
        """The packets that made an address one sender, but the latest."""
        known = self._addresses.get(address_of(name)) if name.endswith(":*") else None
        return list(known.run)[:-1] if known else []

    def _address(self, address: str) -> _Address:
        known = self._addresses.setdefault(address, _Address())
        self._addresses.move_to_end(address)
        if len(self._addresses) > ADDRESSES_KEPT:
            self._addresses.popitem(last=False)
        return known


def whole_name(address: str) -> str:
    """The name of all ports of an address together."""
    return f"{address}:*"


def address_of(origin: str) -> str:
    """The address in an origin."""
    return origin.rpartition(":")[0]
