"""UDP: real sockets on loopback; every wait has a deadline."""

from __future__ import annotations

import socket
import sys
import threading
import time
from collections.abc import Iterator

import pytest

from adapters.description import SourceError, Transport
from adapters.ports import Packet
from adapters.udp import BUFFER_ASKED, LONGEST_WAIT_S, UdpSource


def free_port(host: str = "127.0.0.1") -> int:
    """A port that nobody uses just now."""
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind((host, 0))
        return int(sock.getsockname()[1])


def udp(**keys: object) -> UdpSource:
    """A source on a free loopback port."""
    keys = {"bind": "127.0.0.1", **keys}
    return UdpSource(Transport("udp", port=free_port(str(keys["bind"])), **keys))  # type: ignore[arg-type]


def next_packet(source: UdpSource, within_s: float = 5.0) -> Packet:
    """The next packet, or a failure after `within_s`."""
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        packet = source.receive(0.05)
        if packet is not None:
            return packet
    raise AssertionError("nothing came")


@pytest.fixture
def sender() -> Iterator[socket.socket]:
    """A socket to send from."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        yield sock


def port_of(source: UdpSource) -> int:
    """The port a source listens on."""
    return int(source.describe().rpartition(":")[2])


def test_datagrams_arrive_with_time_and_sender(sender: socket.socket) -> None:
    """Each datagram is one packet: its bytes, its sender, and a monotonic time in order."""
    source = udp()
    for payload in (b"one", b"", b"x" * 60_000):
        sender.sendto(payload, ("127.0.0.1", port_of(source)))
    packets = [next_packet(source) for _ in range(3)]
    source.close()
    assert [packet.payload for packet in packets] == [b"one", b"", b"x" * 60_000]
    assert {packet.origin for packet in packets} == {f"127.0.0.1:{sender.getsockname()[1]}"}
    assert packets[0].arrival_ns <= packets[1].arrival_ns <= packets[2].arrival_ns <= time.monotonic_ns()


def test_a_wait_ends_soon(sender: socket.socket) -> None:
    """A wait is cut to a tenth of a second, so that an interrupt ends it; a flood of strangers cannot prolong it."""
    source = udp(only_from=("192.0.2.1",))
    began = time.monotonic()
    assert source.receive(60.0) is None
    stop = threading.Event()

    def flood() -> None:
        while not stop.is_set():
            sender.sendto(b"junk", ("127.0.0.1", port_of(source)))

    thread = threading.Thread(target=flood)
    thread.start()
    try:
        for _ in range(3):
            assert source.receive(60.0) is None
    finally:
        stop.set()
        thread.join()
        source.close()
    assert time.monotonic() - began < 30.0  # far above 0.4 s, far below the minutes asked for
    assert LONGEST_WAIT_S == 0.1
    assert source.refused > 0


def test_only_those_named_are_let_in(sender: socket.socket) -> None:
    """Datagrams from anyone but only_from are dropped and counted."""
    source = udp(bind="0.0.0.0", only_from=("127.0.0.1",))
    assert "only 127.0.0.1 is let in" in source.remarks()[-1]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("127.0.0.2" if sys.platform == "linux" else "127.0.0.1", 0))
        other.sendto(b"stranger", ("127.0.0.1", port_of(source)))
        sender.sendto(b"friend", ("127.0.0.1", port_of(source)))
        if sys.platform == "linux":
            assert next_packet(source).payload == b"friend"
            assert source.refused == 1
        source.close()


def test_a_large_buffer_is_asked_for_and_read_back() -> None:
    """4 MB of receive buffer are asked for; what the system grants is known, and told when it is less."""
    source = udp()
    assert source.buffer_bytes > 0
    assert any("receive buffer" in line for line in source.remarks()) == (source.buffer_bytes < BUFFER_ASKED)
    source.close()


def test_a_wide_bind_says_what_it_means() -> None:
    """Binding wider than this machine prints that anyone on the network can send."""
    source = udp(bind="0.0.0.0")
    assert any("anyone on the network" in line for line in source.remarks())
    source.close()
    narrow = udp()
    assert not any("anyone on the network" in line for line in narrow.remarks())
    narrow.close()


def test_a_port_in_use_is_told_in_words() -> None:
    """A port that another program has is one clear line, not a traceback."""
    first = udp()
    with pytest.raises(SourceError, match=r"udp 127.0.0.1:\d+: the port is in use by another program"):
        UdpSource(Transport("udp", bind="127.0.0.1", port=port_of(first)))
    first.close()


def test_an_address_that_is_not_ours_is_told_in_words() -> None:
    """An address of no interface here is one clear line (192.0.2.0/24 is for documentation, RFC 5737)."""
    with pytest.raises(SourceError, match="this machine has no address 192.0.2.7"):
        UdpSource(Transport("udp", bind="192.0.2.7", port=free_port()))


def test_closing_is_safe() -> None:
    """A closed source receives nothing more, and may be closed again."""
    source = udp()
    source.close()
    source.close()
    assert source.receive(0.01) is None


def test_windows_resets_are_passed_over(sender: socket.socket, monkeypatch: pytest.MonkeyPatch) -> None:
    """A ConnectionResetError on receive (Windows gives one) is counted; the next datagram arrives as ever."""
    source = udp()

    class Resetting:
        def __init__(self, inner: socket.socket) -> None:
            self.inner, self.left = inner, 2

        def recvfrom(self, size: int) -> tuple[bytes, tuple[str, int]]:
            if self.left:
                self.left -= 1
                raise ConnectionResetError(10054, "reset")
            return self.inner.recvfrom(size)  # type: ignore[no-any-return]

        def fileno(self) -> int:
            return self.inner.fileno()

        def close(self) -> None:
            self.inner.close()

    monkeypatch.setattr(source, "_sock", Resetting(source._sock))  # type: ignore[arg-type]
    sender.sendto(b"after", ("127.0.0.1", port_of(source)))
    assert next_packet(source).payload == b"after"
    assert source.resets == 2
    source.close()


def test_ipv6_works_where_there_is_any() -> None:
    """A feed over IPv6 loopback arrives, its sender written with brackets."""
    try:
        source = udp(bind="::1")
    except (SourceError, OSError):
        pytest.skip("no IPv6 on this machine")
    with socket.socket(socket.AF_INET6, socket.SOCK_DGRAM) as sock:
        sock.sendto(b"six", ("::1", port_of(source)))
        packet = next_packet(source)
    source.close()
    assert packet.payload == b"six"
    assert packet.origin.startswith("[::1]:")


def test_multicast_arrives_by_its_group() -> None:
    """A datagram to the group, on the loopback interface, arrives."""
    try:
        source = udp(group="239.255.40.1")
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
            sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_LOOP, 1)
            sock.sendto(b"to all", ("239.255.40.1", port_of(source)))
    except OSError as error:
        pytest.skip(f"no multicast on this machine: {error}")
    assert next_packet(source).payload == b"to all"
    source.close()


def test_broadcast_arrives_on_a_wide_bind() -> None:
    """A datagram to the loopback network's broadcast address arrives at a source bound to all addresses."""
    source = udp(bind="0.0.0.0")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        try:
            sock.sendto(b"hear ye", ("127.255.255.255", port_of(source)))
        except OSError as error:
            pytest.skip(f"no broadcast on this machine's loopback: {error}")
    assert next_packet(source).payload == b"hear ye"
    source.close()


@pytest.mark.parametrize(
    ("group", "interface", "wanted"),
    [
        ("239.255.40.1", "192.0.2.9", "got 192.0.2.9, wanted one of this machine's own addresses"),
        ("ff02::1:5", "nosuch0", "got nosuch0, wanted the name of one of this machine's"),
    ],
)
def test_a_group_that_cannot_be_joined_is_told_in_words(group: str, interface: str, wanted: str) -> None:
    """An interface that is not this machine's is one clear line that says what was got and what is wanted."""
    with pytest.raises(SourceError, match="the group cannot be joined") as caught:
        udp(group=group, interface=interface)
    assert wanted in str(caught.value)


def test_a_link_local_group_arrives_on_its_interface() -> None:
    """A datagram to a link-local IPv6 group, on the loopback interface by name, arrives."""
    try:
        index, name = next((index, name) for index, name in socket.if_nameindex() if name.startswith("lo"))
        source = udp(group="ff02::1:5", interface=name)
        with socket.socket(socket.AF_INET6, socket.SOCK_DGRAM) as sock:
            sock.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_MULTICAST_IF, index)
            sock.sendto(b"to the link", ("ff02::1:5", port_of(source), 0, index))
    except (OSError, StopIteration) as error:
        pytest.skip(f"no IPv6 multicast on this machine's loopback: {error}")
    assert next_packet(source).payload == b"to the link"
    source.close()


def test_ipv6_to_all_addresses_hears_ipv4_too() -> None:
    """Bound to all IPv6 addresses, a feed hears an IPv4 sender as well, and only_from knows it by its IPv4 address."""
    try:
        source = udp(bind="::", only_from=("127.0.0.1",))
    except (SourceError, OSError):
        pytest.skip("no IPv6 on this machine")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.sendto(b"four", ("127.0.0.1", port_of(source)))
        assert next_packet(source).payload == b"four"
    with socket.socket(socket.AF_INET6, socket.SOCK_DGRAM) as sock:
        sock.sendto(b"six", ("::1", port_of(source)))
        assert source.receive(0.1) is None
    assert source.refused == 1
    source.close()


def test_a_link_local_address_without_its_interface_is_told_in_words() -> None:
    """A link-local address that cannot be bound is told with the form that names the interface."""
    with pytest.raises(SourceError, match='needs its interface: "fe80::1%eth0"'):
        UdpSource(Transport("udp", bind="fe80::1", port=free_port()))
