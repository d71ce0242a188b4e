"""Where to listen when there is no feed description yet: the options, and the source made of them."""

from __future__ import annotations

import argparse
from pathlib import Path

import msgspec

from adapters import library
from adapters.description import FeedDescription, SourceError, Transport
from adapters.feed import load_feed, make_source, source_name
from adapters.ports import Source
from adapters.transport_toml import read_transport
from monitor.toml_check import Checker, Faults, Table, parse

DEFAULT_PORT = 5501
UDP_OPTIONS = ("port", "bind", "group", "interface")


class Listening(msgspec.Struct, frozen=True):
    """What was asked for. feed: the description, None for a mere address; lines: that one's `[transport]` table."""

    feed: FeedDescription | None
    transport: Transport
    lines: tuple[str, ...]

    def open(self) -> Source:
        """The open source. Raises `Faults` with one clear line when it cannot be opened."""
        try:
            return make_source(self.bare())
        except SourceError as error:
            raise Faults([str(error)]) from None

    def bare(self) -> FeedDescription:
        """A description with the transport alone, when there is no other."""
        if self.feed is not None:
            return self.feed
        return load_feed("\n".join(["[transport]", *self.lines, *_ANY]), "command line")

    def where(self) -> str:
        """Where it listens, for a person."""
        return source_name(self.bare())


_ANY = ("[decode]", 'format = "json"', "[channels]", 'ias_kt = { field = "x" }', 'height_ft = { field = "y" }')
"""The rest of a description that is not used: the loader wants a whole one."""


def add_arguments(parser: argparse.ArgumentParser, feed: bool = True) -> None:
    """The options that say where to listen. feed: whether a description may be given instead."""
    if feed:
        parser.add_argument("--feed", metavar="FILE", help="feed description (TOML); without one the format is guessed")
    group = parser.add_argument_group("where to listen, without a feed description")
    group.add_argument("--port", type=int, metavar="N", help=f"UDP port (default {DEFAULT_PORT})")
    group.add_argument("--bind", metavar="ADDRESS", help="UDP address to listen at (default 127.0.0.1, this machine)")
    group.add_argument("--group", metavar="ADDRESS", help="UDP multicast group to join")
    group.add_argument("--interface", metavar="NAME", help="join it on this one: its address (IPv4), its name (IPv6)")
    group.add_argument("--connect", metavar="ENDPOINT", help="ZeroMQ endpoint, such as tcp://127.0.0.1:5601")
    group.add_argument("--topic", metavar="TEXT", help="ZeroMQ topic (default: everything)")


def listening(args: argparse.Namespace) -> Listening:
    """What the options say. Raises `Faults` with every fault of the description or the options."""
    path = getattr(args, "feed", None)
    if path:
        return _from_file(args, Path(path).expanduser())
    lines = _lines(args)
    checker = Checker("command line")
    transport = read_transport(Table(checker, parse("\n".join(lines), "command line"), "transport"))
    checker.done()
    assert transport is not None
    return Listening(None, transport, tuple(lines))


def _from_file(args: argparse.Namespace, path: Path) -> Listening:
    given = [name for name in (*UDP_OPTIONS, "connect", "topic") if getattr(args, name) is not None]
    if given:
        raise Faults([f"--{name}: has no meaning beside --feed, which says where to listen" for name in given])
    feed = load_feed(library.read_text(path, "feed"), f"feed {path.name}")
    if feed.transport is None:
        raise Faults([f"feed {path.name}: has no [transport], so nothing can arrive live; it describes a log"])
    return Listening(feed, feed.transport, ())


def _lines(args: argparse.Namespace) -> list[str]:
    if args.connect is not None:
        clash = [f"--{name}: is for UDP; wanted --connect or it" for name in UDP_OPTIONS if getattr(args, name)]
        if clash:
            raise Faults(clash)
        return [
            'kind = "zeromq"',
            f"connect = {_quoted(args.connect)}",
            'pattern = "sub"',
            f"topic = {_quoted(args.topic or '')}",
        ]
    if args.topic is not None:
        raise Faults(["--topic: is for ZeroMQ; wanted --connect too"])
    lines = ['kind = "udp"', f"port = {args.port if args.port is not None else DEFAULT_PORT}"]
    lines += [f"bind = {_quoted(args.bind)}"] if args.bind else []
    lines += [f"group = {_quoted(args.group)}"] if args.group else []
    return lines + ([f"interface = {_quoted(args.interface)}"] if args.interface else [])


def _quoted(text: str) -> str:
    return msgspec.json.encode(text).decode()
