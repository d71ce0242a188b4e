"""Reads and checks the `[transport]` table of a feed description."""

from __future__ import annotations

import ipaddress
import re

from adapters.description import Curve, Transport
from adapters.plugins import SOURCES, installed
from monitor.toml_check import Table, shown

KINDS = ("udp", "zeromq")
_KEY = re.compile(r"[0-9a-zA-Z.\-:+=^!/*?&<>()\[\]{}@%$#]{40}")
_ENDPOINT = re.compile(r"(tcp|ipc|inproc)://.+")


def read_transport(table: Table) -> Transport | None:
    """The transport, or None when it is faulty (the faults are in the table's checker)."""
    others = [] if table.data.get("kind") in KINDS else installed(SOURCES)  # looking takes some hundredths of a second
    kind = table.text("kind", [*KINDS, *others], required=True)
    if kind == "udp":
        found = _udp(table)
    elif kind == "zeromq":
        found = _zeromq(table)
    elif kind in others:
        return Transport(kind, settings={key: value for key, value in table.data.items() if key != "kind"})
    else:
        return None
    table.finish()
    return found


def _udp(table: Table) -> Transport:
    bind = _address(table, "bind", table.text("bind")) or "127.0.0.1"
    port = table.whole("port", 1, 65535, required=True)
    group = _address(table, "group", table.text("group"))
    if group and not ipaddress.ip_address(group).is_multicast:
        table.fault("group", f"got {shown(group)}, wanted a multicast address (224.0.0.0 to 239.255.255.255, or ff..)")
    interface = table.text("interface")
    if interface and not group:
        table.fault("interface", "has a meaning only with a multicast group")
    if group and ":" not in group and interface:
        _address(table, "interface", interface)
    only_from = tuple(
        address
        for index, text in enumerate(table.texts("only_from"))
        if (address := _address(table, f"only_from[{index}]", text))
    )
    if "only_from" in table and table.data["only_from"] == []:
        table.fault("only_from", "got an empty list, which would let nobody in; wanted one address or more, or no key")
    return Transport("udp", bind=bind, port=port or 0, group=group, interface=interface, only_from=only_from)


def _address(table: Table, key: str, text: str | None) -> str | None:
    """The IP address in its usual form; "localhost" and "*" are understood. None, with a fault, when it is none."""
    if text is None:
        return None
    known = {"localhost": "127.0.0.1", "*": "0.0.0.0"}.get(text)
    if known:
        return known
    try:
        return str(ipaddress.ip_address(text))
    except ValueError:
        path = f"{table.path}.{key}"
        table.checker.fault(path, f'got {shown(text)}, wanted an IP address such as "127.0.0.1" or "::1"')
        return None


def _zeromq(table: Table) -> Transport:
    connect, bind = _endpoint(table, "connect"), _endpoint(table, "bind")
    if ("connect" in table) == ("bind" in table):
        got = "both" if "bind" in table else "neither"
        table.fault("connect", f'got {got} connect and bind, wanted one, such as "tcp://127.0.0.1:5601"')
    pattern = table.text("pattern", ["sub", "pull"]) or "sub"
    topic = table.text("topic", empty=True) or ""
    if topic and pattern == "pull":
        table.fault("topic", 'has a meaning only with pattern = "sub"')
    queue = table.whole("queue", 1, 1_000_000) or 10_000
    curve = _curve(table.table("curve"), connecting="connect" in table) if "curve" in table else None
    return Transport("zeromq", connect=connect, bind=bind, pattern=pattern, topic=topic, queue=queue, curve=curve)


def _endpoint(table: Table, key: str) -> str | None:
    text = table.text(key)
    if text is None or not _ENDPOINT.fullmatch(text):
        if text is not None:
            table.fault(key, f'got {shown(text)}, wanted an endpoint such as "tcp://127.0.0.1:5601"')
        return None
    if text.startswith("tcp://"):
        port = text.rpartition(":")[2]
        if not port.isascii() or not port.isdigit() or not 0 < int(port) < 65536:
            table.fault(key, f'got {shown(text)}, wanted a port from 1 to 65,535 at its end, "tcp://127.0.0.1:5601"')
    return text


def _curve(table: Table, connecting: bool) -> Curve:
    path = table.text("secret_key_file")
    public = _key(table, "public_key", required=path is None)
    secret = _key(table, "secret_key", required=path is None)
    if path is not None and (public or secret):
        table.fault("secret_key_file", "holds both keys already; wanted no public_key and secret_key beside it")
    server = _key(table, "server_key", required=connecting)
    if server and not connecting:
        table.fault("server_key", "is the other side's key; it has a meaning only with connect")
    allowed = tuple(table.texts("allowed"))
    for index, text in enumerate(allowed):
        if not _KEY.fullmatch(text):
            table.checker.fault(f"{table.path}.allowed[{index}]", "wanted a public key of 40 characters")
    if allowed and connecting:
        table.fault("allowed", "has a meaning only with bind")
    table.finish()
    return Curve(public or "", secret or "", path, server, allowed)


def _key(table: Table, name: str, required: bool) -> str | None:
    """A key's text; it is never shown in a fault, since it may be the secret one."""
    text = table.text(name, required=required)
    if text is not None and not _KEY.fullmatch(text):
        table.fault(name, "wanted a key of 40 characters, as `climbout feed keys` prints it")
        return None
    return text
