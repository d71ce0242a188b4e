"""`climbout feed`: describe a simulator's feed, check the description, see what arrives, find which field is which."""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import sys
from importlib import resources
from pathlib import Path

from adapters import common
from adapters.description import SourceError
from monitor.toml_check import Faults, nearest

NAME = "feed"
HELP = "describe and diagnose a simulator's feed"
_ELSEWHERE = ("watch", "identify")
EXIT_USAGE = 2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The sub-commands; those of `_ELSEWHERE` are modules of their own, shown when they are there."""
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)
    _add_check(actions.add_parser("check", help="is a description right, and which checks will be on with it?"))
    for name in _ELSEWHERE:
        if importlib.util.find_spec(f"adapters.commands.feed_{name}") is not None:
            module = importlib.import_module(f"adapters.commands.feed_{name}")
            module.add_arguments(actions.add_parser(name, help=module.HELP, description=module.HELP))
    example = actions.add_parser("example", help="print an example description to start from")
    example.add_argument("example", metavar="NAME", nargs="?", help="which one (without: the list)")
    actions.add_parser("guide", help="how to connect a simulator: the way there, and every key of a description")
    keys = actions.add_parser("keys", help="make a pair of keys for an encrypted ZeroMQ feed")
    keys.add_argument("keys_name", metavar="NAME", help="writes NAME.public.toml and NAME.secret.toml")
    keys.add_argument("--folder", metavar="DIR", default=".", help="where to write them (default: here)")


def _add_check(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="the feed description (TOML)")
    parser.add_argument(
        "--capture", metavar="LOG", help="try it on data: a recording, a capture of `feed watch`, or a text log"
    )
    parser.add_argument("--aircraft", metavar="FILE or NAME", help="aeroplane profile that the checks are for")
    parser.add_argument("--procedure", metavar="FILE or NAME", help="procedure that the checks are for")
    common.add_json(parser)
    common.add_data_dir(parser)


def run(args: argparse.Namespace) -> int:
    """Do what was asked. 0 done, 1 the description or the data has faults, 2 the command line is wrong."""
    if args.action in _ELSEWHERE:
        status: int = importlib.import_module(f"adapters.commands.feed_{args.action}").run(args)
        return status
    if args.action == "check":
        from adapters.commands.feed_check import check

        return check(args)
    if args.action == "guide":
        print((resources.files("adapters.examples") / "connect-your-simulator.md").read_text(encoding="utf-8"), end="")
        return 0
    return _example(args.example) if args.action == "example" else _keys(args)


def _example(name: str | None) -> int:
    found = {
        item.name.removesuffix(".toml"): item.read_text(encoding="utf-8")
        for item in resources.files("adapters.examples").iterdir()
        if item.name.endswith(".toml")
    }
    if name is None:
        print("Example feed descriptions, all of invented senders; `climbout feed example NAME` prints one:\n")
        for key in sorted(found):
            remark = found[key].partition("\n")[0].lstrip("# ")
            print(f"  {key:<16} {remark}")
        return 0
    if name not in found:
        raise Faults([f"feed example: no example {name!r}{nearest(name, found)}; there are {', '.join(sorted(found))}"])
    print(found[name], end="")
    return 0


def _keys(args: argparse.Namespace) -> int:
    from adapters.curve_keys import make_keys

    if not args.keys_name.replace("-", "").replace("_", "").isalnum():
        raise Faults([f"feed keys: got {args.keys_name!r}, wanted a name of letters, digits, - and _"])
    try:
        public, secret = make_keys(Path(args.folder).expanduser(), args.keys_name)
    except SourceError as error:
        raise Faults([str(error)]) from None
    print(f"{public}: give this one to the other side")
    print(f"{secret}: keep this one here; name it in [transport.curve] as secret_key_file", file=sys.stdout)
    return 0
