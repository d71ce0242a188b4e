"""Packets over UDP: unicast, broadcast, multicast, IPv4 and IPv6, a large buffer, an optional list of senders."""

from __future__ import annotations

import contextlib
import ipaddress
import select
import socket
import sys
import time
from pathlib import Path

from adapters.description import SourceError, Transport
from adapters.ports import Packet

BUFFER_ASKED = 4 * 1024 * 1024
"""Bytes of receive buffer asked for; the usual default holds 166 datagrams of 300 bytes (measured)."""
LONGEST_WAIT_S = 0.1
_LARGEST = 65_535
_ANYONE = "anyone on the network can send telemetry here; only_from names who may"
_now_ns = time.monotonic_ns


class UdpSource:
    """A bound socket. refused: datagrams dropped because their sender is not in only_from."""

    def __init__(self, transport: Transport) -> None:
        """Bind, and join the group if there is one. Raises `SourceError`."""
        self._transport = transport
        self._only_from = frozenset(transport.only_from)
        self.refused = 0
        self.resets = 0
        self._last_address: tuple[str, int] | None = None
        self._last_origin = ""
        self._sock: socket.socket | None = None
        try:
            self._sock = _open(transport)
        except OSError as error:
            raise SourceError(f"{self.describe()}: {_why(error, transport)}") from error
        self.buffer_bytes = _grow_buffer(self._sock)

    def receive(self, timeout_s: float) -> Packet | None:
        """The next datagram from an allowed sender, or None after timeout_s (0.1 s at most) or after `close`."""
        sock = self._sock
        if sock is None:
            return None
        try:
            payload, address = sock.recvfrom(65_535)  # a constant and no name, as this line runs for each packet
        except BlockingIOError:
            return self._wait(sock, min(timeout_s, LONGEST_WAIT_S))
        except OSError:
            self._reset()
            return None
        if address == self._last_address:  # let in before; and `_packet` without its call, since this runs for each
            return Packet(_now_ns(), self._last_origin, payload)
        if self._only_from and not self._allowed(address[0]):
            return self._wait(sock, min(timeout_s, LONGEST_WAIT_S))
        return self._packet(payload, address)

    def _packet(self, payload: bytes, address: tuple[str, int]) -> Packet:
        """The packet, stamped now. A sender's name is kept while no other comes between."""
        if address != self._last_address:
            self._last_address, self._last_origin = address, _origin(address)
        return Packet(_now_ns(), self._last_origin, payload)

    def _wait(self, sock: socket.socket, timeout_s: float) -> Packet | None:
        """Wait for a datagram that is let in; a flood of others ends the wait on time too."""
        until = time.monotonic() + max(timeout_s, 0.0)
        while True:
            try:
                payload, address = sock.recvfrom(_LARGEST)
            except BlockingIOError:
                if not self._readable(sock, until - time.monotonic()):
                    return None
                continue
            except OSError:
                self._reset()
                return None
            if not self._only_from or self._allowed(address[0]):
                return self._packet(payload, address)
            if self.refused % 64 == 0 and time.monotonic() >= until:
                return None

    def _readable(self, sock: socket.socket, wait_s: float) -> bool:
        """Whether something arrives within the time; False when another thread closes the socket meanwhile."""
        try:
            return bool(select.select([sock], [], [], max(wait_s, 0.0))[0])
        except (OSError, ValueError):
            return False

    def _allowed(self, host: str) -> bool:
        # A dual-stack socket shows IPv4 senders as ::ffff:1.2.3.4, a link-local one with its %interface.
        plain = host.partition("%")[0].removeprefix("::ffff:")
        if plain in self._only_from:
            return True
        self.refused += 1
        return False

    def _reset(self) -> None:
        """Windows reports an earlier send's unreachable port on receive; nothing is wrong with this socket."""
        self.resets += 1

    def lost(self) -> int | None:
        """Datagrams the system threw away because the buffer was full, where it says so (Linux), else None."""
        try:
            port = f":{self._transport.port:04X} "
            table = Path("/proc/net/udp6" if ":" in (self._transport.bind or "") else "/proc/net/udp")
            rows = [line.split() for line in table.read_text(encoding="ascii").splitlines() if port in line[:30]]
            return sum(int(row[12]) for row in rows)
        except (OSError, ValueError, IndexError):
            return None

    def describe(self) -> str:
        """ "udp 127.0.0.1:5501", the group when there is one."""
        host = self._transport.group or self._transport.bind or ""
        return f"udp [{host}]:{self._transport.port}" if ":" in host else f"udp {host}:{self._transport.port}"

    def remarks(self) -> list[str]:
        """What a person should know at the start: a small buffer, a wide bind."""
        lines = []
        if self.buffer_bytes < BUFFER_ASKED:
            lines.append(
                f"{self.describe()}: receive buffer {self.buffer_bytes:,} bytes ({BUFFER_ASKED:,} asked); "
                "a busy machine may lose packets"
            )
        bind = self._transport.bind or ""
        if not ipaddress.ip_address(bind).is_loopback:
            who = f"only {', '.join(sorted(self._only_from))} is let in" if self._only_from else _ANYONE
            lines.append(f"{self.describe()}: open to every machine that can reach this one; {who}")
        return lines

    def close(self) -> None:
        """Let go of the socket."""
        if self._sock is not None:
            self._sock.close()
            self._sock = None


def _origin(address: tuple[str, int]) -> str:
    return f"[{address[0]}]:{address[1]}" if ":" in address[0] else f"{address[0]}:{address[1]}"


def _open(transport: Transport) -> socket.socket:
    bind, group = transport.bind or "127.0.0.1", transport.group
    six = ":" in (group or bind)
    sock = socket.socket(socket.AF_INET6 if six else socket.AF_INET, socket.SOCK_DGRAM)
    try:
        if group:
            _join(sock, transport, group)
        else:
            if bind == "::" and hasattr(socket, "IPV6_V6ONLY"):  # IPv4 senders too, as on Linux without asking
                with contextlib.suppress(OSError):
                    sock.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 0)
            sock.bind((bind, transport.port))
        sock.setblocking(False)
    except BaseException:
        sock.close()
        raise
    return sock


def _join(sock: socket.socket, transport: Transport, group: str) -> None:
    """Bind so that the group's datagrams arrive, and only those where the system allows, and join it."""
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # several listeners may share a group's port
    if sys.platform != "win32" and hasattr(socket, "SO_REUSEPORT"):
        with contextlib.suppress(OSError):
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
    everyone = "::" if ":" in group else "0.0.0.0"
    bind = everyone if sys.platform == "win32" else group
    if ":" in group:
        index = socket.if_nametoindex(transport.interface) if transport.interface else 0
        sock.bind((bind, transport.port, 0, index))  # a link-local group (ff02::) is one only on an interface
        member = socket.inet_pton(socket.AF_INET6, group) + index.to_bytes(4, sys.byteorder)
        sock.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_JOIN_GROUP, member)
    else:
        sock.bind((bind, transport.port))
        interface = transport.interface or transport.bind or "0.0.0.0"
        member = socket.inet_aton(group) + socket.inet_aton(interface)
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, member)


def _grow_buffer(sock: socket.socket) -> int:
    """Ask for the large buffer, and give what the system says it is now, in bytes."""
    with contextlib.suppress(OSError):
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER_ASKED)
    granted = sock.getsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF)
    return granted // 2 if sys.platform == "linux" else granted  # Linux doubles it for its own use: socket(7)


def _why(error: OSError, transport: Transport) -> str:
    """A reason and what to do about it, for the usual mistakes."""
    import errno

    code = error.errno
    if code in {errno.EADDRINUSE, 10048}:
        return "the port is in use by another program; end that, or take another port here and in the sender"
    if transport.group and code not in {errno.EACCES, errno.EPERM, 10013}:
        return _no_group(error, transport)
    if "%" in (transport.bind or "") or (transport.bind or "").startswith("fe80:"):
        return f'{error.strerror or error}; a link-local address needs its interface: "fe80::1%eth0"'
    if code in {errno.EADDRNOTAVAIL, 10049}:
        return f"this machine has no address {transport.bind}; give one of its own, or 127.0.0.1"
    if code in {errno.EACCES, errno.EPERM, 10013}:
        return "not allowed to use this port; take one above 1023"
    return f"cannot listen: {error.strerror or error}"


def _no_group(error: OSError, transport: Transport) -> str:
    """Why the group cannot be joined, and what to give as interface."""
    six = ":" in (transport.group or "")
    wanted = 'the name of one of this machine\'s, such as "eth0"' if six else "one of this machine's own addresses"
    got = f"got {transport.interface}" if transport.interface else "got none"
    return f"the group cannot be joined: {error.strerror or error}; interface: {got}, wanted {wanted}"
