"""ZeroMQ: real sockets on loopback; every wait has a deadline."""

from __future__ import annotations

import contextlib
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import zmq

from adapters.curve_keys import make_keys, own_keys
from adapters.description import Curve, SourceError, Transport
from adapters.ports import Packet
from adapters.zeromq import ZeromqSource


@pytest.fixture
def context() -> Iterator[zmq.Context[Any]]:
    """The sender's side."""
    made: zmq.Context[Any] = zmq.Context()
    yield made
    made.destroy(linger=0)


@pytest.fixture
def endpoint() -> str:
    """A free loopback endpoint."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as sock:
        sock.bind(("127.0.0.1", 0))
        return f"tcp://127.0.0.1:{sock.getsockname()[1]}"


def receive_until(
    source: ZeromqSource, enough: Callable[[list[Packet]], bool], send: Callable[[], object]
) -> list[Packet]:
    """Send and receive in turn until there is enough, or fail after ten seconds."""
    found: list[Packet] = []
    until = time.monotonic() + 10.0
    while not enough(found):
        assert time.monotonic() < until, "nothing came"
        send()
        packet = source.receive(0.02)
        while packet is not None:
            found.append(packet)
            packet = source.receive(0.0)
    return found


def test_sub_takes_its_topic_and_the_last_frame(context: zmq.Context[Any], endpoint: str) -> None:
    """A subscriber gets the payload frame of the topic it asked for, and no other topic's."""
    source = ZeromqSource(Transport("zeromq", connect=endpoint, topic="air"))
    pub = context.socket(zmq.PUB)
    pub.bind(endpoint)

    def send() -> None:
        pub.send_multipart([b"ground", b"no"])
        pub.send_multipart([b"air", b"yes"])

    packets = receive_until(source, lambda found: len(found) >= 3, send)
    source.close()
    assert {packet.payload for packet in packets} == {b"yes"}
    assert packets[0].origin == endpoint


def test_sub_takes_single_frames_too(context: zmq.Context[Any], endpoint: str) -> None:
    """Without a topic, messages of one frame arrive whole; a subscriber may bind as well."""
    source = ZeromqSource(Transport("zeromq", bind=endpoint))
    pub = context.socket(zmq.PUB)
    pub.connect(endpoint)
    packets = receive_until(source, bool, lambda: pub.send(b"1,2,3\n"))
    source.close()
    assert packets[0].payload == b"1,2,3\n"


@pytest.mark.parametrize("bind", [True, False])
def test_pull_binds_or_connects(context: zmq.Context[Any], endpoint: str, bind: bool) -> None:
    """A puller gets every message in order, whichever side binds."""
    source = ZeromqSource(Transport("zeromq", pattern="pull", **{"bind" if bind else "connect": endpoint}))  # type: ignore[arg-type]
    push = context.socket(zmq.PUSH)
    (push.connect if bind else push.bind)(endpoint)
    for number in range(100):
        push.send(b"%d" % number)
    packets = receive_until(source, lambda found: len(found) >= 100, lambda: None)
    source.close()
    assert [int(packet.payload) for packet in packets] == list(range(100))


def test_a_sender_that_comes_back_is_heard_again(context: zmq.Context[Any], endpoint: str) -> None:
    """The sender goes away and another binds the same endpoint: the feed goes on by itself."""
    source = ZeromqSource(Transport("zeromq", connect=endpoint))
    assert heard_from_new_sender(context, endpoint, source, b"before")
    assert heard_from_new_sender(context, endpoint, source, b"after")
    source.close()


def bind_when_free(sock: zmq.Socket[bytes], endpoint: str) -> None:
    """Bind as soon as the one before has let go, which ZeroMQ does in its own thread."""
    until = time.monotonic() + 5.0
    while True:
        try:
            sock.bind(endpoint)
            return
        except zmq.ZMQError:
            assert time.monotonic() < until
            time.sleep(0.01)


def heard_from_new_sender(context: zmq.Context[Any], endpoint: str, source: ZeromqSource, word: bytes) -> bool:
    """Bind a publisher, send until the source hears it, and let the publisher go."""
    pub = context.socket(zmq.PUB)
    bind_when_free(pub, endpoint)
    found = receive_until(source, lambda found: any(p.payload == word for p in found), lambda: pub.send(word))
    pub.close(linger=0)
    return bool(found)


def test_when_too_many_wait_the_newest_are_kept(context: zmq.Context[Any], endpoint: str) -> None:
    """More messages than the queue holds: the oldest go and are counted, the newest stay, in order."""
    source = ZeromqSource(Transport("zeromq", pattern="pull", bind=endpoint, queue=50))
    push = context.socket(zmq.PUSH)
    push.connect(endpoint)
    first = receive_until(source, bool, lambda: push.send(b"-1"))
    sent = 90  # less than ZeroMQ's own two buffers hold, so that none waits in the sender
    for number in range(sent):
        push.send(b"%d" % number)
    time.sleep(0.3)  # they cross the loopback while we are busy
    found = receive_until(source, lambda found: ends(found, sent), lambda: None)
    source.close()
    numbers = [int(packet.payload) for packet in found if packet.payload != b"-1"]
    assert first
    assert numbers == list(range(sent - 50, sent))
    assert source.dropped >= sent - 50


def ends(found: list[Packet], sent: int) -> bool:
    """Whether the last message sent has come."""
    return bool(found) and int(found[-1].payload) == sent - 1


def keys() -> tuple[str, str]:
    """A fresh pair."""
    public, secret = zmq.curve_keypair()
    return public.decode(), secret.decode()


needs_curve = pytest.mark.skipif(not zmq.has("curve"), reason="this ZeroMQ library has no CURVE encryption")


def pub_with_curve(context: zmq.Context[Any], public: str, secret: str) -> zmq.Socket[bytes]:
    """A publisher that is a CURVE server."""
    pub: zmq.Socket[bytes] = context.socket(zmq.PUB)
    pub.setsockopt(zmq.CURVE_SERVER, 1)
    pub.setsockopt(zmq.CURVE_PUBLICKEY, public.encode())
    pub.setsockopt(zmq.CURVE_SECRETKEY, secret.encode())
    return pub


@needs_curve
def test_an_encrypted_feed_arrives_with_the_right_keys_only(context: zmq.Context[Any], endpoint: str) -> None:
    """With the sender's public key the feed arrives; with another's, nothing does."""
    server, own = keys(), keys()
    pub = pub_with_curve(context, *server)
    pub.bind(endpoint)
    right = ZeromqSource(Transport("zeromq", connect=endpoint, curve=Curve(*own, server_key=server[0])))
    wrong = ZeromqSource(Transport("zeromq", connect=endpoint, curve=Curve(*own, server_key=keys()[0])))
    plain = ZeromqSource(Transport("zeromq", connect=endpoint))
    packets = receive_until(right, lambda found: len(found) >= 5, lambda: pub.send(b"secret"))
    assert packets[0].payload == b"secret"
    assert wrong.receive(0.1) is None
    assert plain.receive(0.1) is None
    for source in (right, wrong, plain):
        source.close()


@needs_curve
def test_a_bound_source_lets_in_only_the_allowed(context: zmq.Context[Any], endpoint: str, tmp_path: Path) -> None:
    """When we bind with a list of keys, a sender with one of them is heard and a sender with another is not."""
    _, secret_path = make_keys(tmp_path, "bay1")
    own = own_keys(Curve(secret_key_file=str(secret_path)))
    known, stranger = keys(), keys()
    curve = Curve(secret_key_file=str(secret_path), allowed=(known[0],))
    source = ZeromqSource(Transport("zeromq", pattern="pull", bind=endpoint, curve=curve))

    def push(pair: tuple[str, str]) -> zmq.Socket[bytes]:
        sock: zmq.Socket[bytes] = context.socket(zmq.PUSH)
        sock.setsockopt(zmq.CURVE_PUBLICKEY, pair[0].encode())
        sock.setsockopt(zmq.CURVE_SECRETKEY, pair[1].encode())
        sock.setsockopt(zmq.CURVE_SERVERKEY, own[0].encode())
        sock.connect(endpoint)
        return sock

    outsider, friend = push(stranger), push(known)

    def send() -> None:
        for sock, word in ((friend, b"friend"), (outsider, b"outsider")):
            with contextlib.suppress(zmq.Again):  # no connection yet, or none that is let in
                sock.send(word, zmq.NOBLOCK)

    packets = receive_until(source, lambda found: len(found) >= 20, send)
    source.close()
    assert {packet.payload for packet in packets} == {b"friend"}


def test_keys_are_private_and_never_overwritten(tmp_path: Path) -> None:
    """Making the same pair again is refused; the secret file is the owner's alone where the system knows owners."""
    public, secret = make_keys(tmp_path, "bay1")
    assert "secret" not in public.read_text(encoding="ascii")
    if hasattr(secret.stat(), "st_mode") and secret.stat().st_mode & 0o777 != 0o666:
        assert secret.stat().st_mode & 0o077 == 0
    with pytest.raises(SourceError, match="there already"):
        make_keys(tmp_path, "bay1")


@pytest.mark.parametrize("text", ["", 'public_key = "x"', 'public_key = "x"\nsecret_key = "y"', "no toml at all"])
def test_a_bad_key_file_is_told_in_words(tmp_path: Path, text: str) -> None:
    """A key file that is none is one clear line; its content is not printed."""
    path = tmp_path / "bay1.secret.toml"
    path.write_text(text, encoding="ascii")
    with pytest.raises(SourceError, match="wanted"):
        own_keys(Curve(secret_key_file=str(path)))
    with pytest.raises(SourceError, match="cannot be read"):
        own_keys(Curve(secret_key_file=str(tmp_path / "none.toml")))


def test_an_address_in_use_is_told_in_words(endpoint: str) -> None:
    """An endpoint that another program has bound is one clear line; closing twice is safe."""
    first = ZeromqSource(Transport("zeromq", bind=endpoint))
    with pytest.raises(SourceError, match="in use by another program"):
        ZeromqSource(Transport("zeromq", bind=endpoint))
    first.close()
    first.close()
    assert first.receive(0.01) is None


def test_a_wide_bind_says_what_it_means() -> None:
    """Binding to all addresses without keys prints that anyone on the network can send."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as sock:
        sock.bind(("127.0.0.1", 0))
        port = sock.getsockname()[1]
    source = ZeromqSource(Transport("zeromq", bind=f"tcp://*:{port}"))
    assert "anyone on the network" in source.remarks()[0]
    source.close()
