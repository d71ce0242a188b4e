"""Packets over ZeroMQ: SUB or PULL, connect or bind, reconnecting by itself, the newest kept when too many wait."""

from __future__ import annotations

import time
from collections import deque
from typing import Any

import zmq

from adapters.curve_keys import own_keys
from adapters.description import Curve, SourceError, Transport
from adapters.ports import Packet

LONGEST_WAIT_MS = 100
RETRY_MS, LONGEST_RETRY_MS = 100, 1000
HEARTBEAT_MS, SILENT_MS = 2000, 6000


class ZeromqSource:
    """A SUB or PULL socket. dropped: messages thrown away, oldest first, because more than `queue` waited."""

    def __init__(self, transport: Transport) -> None:
        """Connect or bind. Raises `SourceError`."""
        self._transport = transport
        self._endpoint = transport.connect or transport.bind or ""
        self._waiting: deque[Packet] = deque(maxlen=transport.queue)
        self.dropped = 0
        self._context: zmq.Context[Any] | None = zmq.Context()
        self._guard: Any = None
        try:
            self._socket = self._open()
        except (zmq.ZMQError, OSError, ValueError) as error:
            self.close()
            raise SourceError(f"{self.describe()}: {_why(error)}") from error

    def _open(self) -> zmq.Socket[bytes]:
        assert self._context is not None
        transport = self._transport
        sock: zmq.Socket[bytes] = self._context.socket(zmq.SUB if transport.pattern == "sub" else zmq.PULL)
        sock.setsockopt(zmq.LINGER, 0)
        # All that waits is moved into our own queue at each receive, which keeps the newest; ZeroMQ's own drops those.
        sock.setsockopt(zmq.RCVHWM, 2 * transport.queue)
        sock.setsockopt(zmq.RECONNECT_IVL, RETRY_MS)
        sock.setsockopt(zmq.RECONNECT_IVL_MAX, LONGEST_RETRY_MS)
        sock.setsockopt(zmq.HEARTBEAT_IVL, HEARTBEAT_MS)
        sock.setsockopt(zmq.HEARTBEAT_TIMEOUT, SILENT_MS)
        sock.setsockopt(zmq.IPV6, 1)
        if transport.curve is not None:
            self._secure(sock, transport.curve)
        if transport.pattern == "sub":
            sock.setsockopt(zmq.SUBSCRIBE, transport.topic.encode())
        if transport.connect:
            sock.connect(self._endpoint)
        else:
            sock.bind(self._endpoint)
        return sock

    def _secure(self, sock: zmq.Socket[bytes], curve: Curve) -> None:
        if not zmq.has("curve"):
            raise ValueError("this machine's ZeroMQ library has no CURVE encryption")
        public, secret = own_keys(curve)
        sock.setsockopt(zmq.CURVE_PUBLICKEY, public.encode())
        sock.setsockopt(zmq.CURVE_SECRETKEY, secret.encode())
        if curve.server_key:
            sock.setsockopt(zmq.CURVE_SERVERKEY, curve.server_key.encode())
            return
        sock.setsockopt(zmq.CURVE_SERVER, 1)
        if curve.allowed:
            self._guard = _guard(self._context, curve.allowed)

    def receive(self, timeout_s: float) -> Packet | None:
        """The oldest waiting message, or None after timeout_s (0.1 s at most) or after `close`."""
        if self._context is None:
            return None
        self._drain()
        if not self._waiting:
            wait_ms = min(max(int(timeout_s * 1000), 0), LONGEST_WAIT_MS)
            try:
                if not self._socket.poll(wait_ms):
                    return None
            except zmq.ZMQError:
                return None
            self._drain()
        return self._waiting.popleft() if self._waiting else None

    def _drain(self) -> None:
        """Move all that has arrived into our queue; at most four queues' worth, so that a flood cannot hold us here."""
        for _ in range(4 * self._transport.queue):
            try:
                frames = self._socket.recv_multipart(zmq.NOBLOCK)
            except zmq.ZMQError:
                return
            if len(self._waiting) == self._transport.queue:
                self.dropped += 1
            self._waiting.append(Packet(time.monotonic_ns(), self._endpoint, frames[-1]))

    def describe(self) -> str:
        """ "zeromq sub tcp://127.0.0.1:5601"."""
        return f"zeromq {self._transport.pattern} {self._endpoint}"

    def remarks(self) -> list[str]:
        """What a person should know at the start: a wide bind without encryption."""
        bind = self._transport.bind or ""
        if bind.startswith("tcp://") and "127.0.0.1" not in bind and "[::1]" not in bind and not self._transport.curve:
            text = (
                f"{self.describe()}: open to every machine that can reach this one; anyone on the network can send "
                "telemetry here; [transport.curve] lets in only those with a key"
            )
            return [text]
        if self._transport.bind and self._transport.curve and not self._transport.curve.allowed:
            return [f"{self.describe()}: anyone who has our public key can send; allowed names the keys that may"]
        return []

    def close(self) -> None:
        """Let go of the socket."""
        context, self._context = self._context, None
        if self._guard is not None:
            self._guard.stop()
            self._guard = None
        if context is not None:
            context.destroy(linger=0)


def _guard(context: Any, allowed: tuple[str, ...]) -> Any:
    """A running authenticator that lets in only the holders of these public keys."""
    from zmq.auth.thread import ThreadAuthenticator

    class Known:
        def callback(self, domain: str, key: bytes) -> bool:
            return key.decode("ascii", "replace") in allowed

    guard = ThreadAuthenticator(context)
    guard.start()
    guard.configure_curve_callback(domain="*", credentials_provider=Known())
    return guard


def _why(error: BaseException) -> str:
    if isinstance(error, zmq.ZMQError) and error.errno == zmq.EADDRINUSE:
        return "the address is in use by another program; end that, or take another port here and in the sender"
    return f"cannot open: {error}"
