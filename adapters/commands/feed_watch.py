"""`climbout feed watch`: what is arriving right now, decoded every way that fits, and what is wrong with it."""

from __future__ import annotations

import argparse
import contextlib
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING

import msgspec

from adapters import capture, common, interrupts, watch_listen
from adapters.cli import EXIT_INTERRUPTED
from adapters.keys import Keys, open_keys
from adapters.ports import Packet, Source
from adapters.watch_receive import Receiver
from adapters.watch_view import WatchView
from monitor.toml_check import Faults

if TYPE_CHECKING:
    from adapters.watch import Watch

NAME = "watch"
HELP = "see what arrives right now, and what is wrong with it"

FRAME_S, LINES_S, JSON_S = 0.25, 5.0, 1.0
"""Seconds between two frames, two blocks of lines, two JSON objects."""
MOST_SAVED = 400_000_000
"""Bytes of a capture: an hour of 60 packets of 1,000 bytes a second, twice over in hexadecimal."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Where to listen, for how long, and what to keep."""
    watch_listen.add_arguments(parser)
    parser.add_argument(
        "--for", dest="seconds", type=float, metavar="SECONDS", help="stop after so long (default: key q)"
    )
    parser.add_argument("--save", metavar="FILE", help="keep the packets in FILE, for feed check and feed identify")
    parser.add_argument("--json", action="store_true", help="one JSON object a second on standard output")


def run(args: argparse.Namespace) -> int:
    """Watch until the key q or the time is over (0), or an interrupt (130); 1 when nothing arrived."""
    asked = _asked(args)
    with contextlib.ExitStack() as stack:
        stop = stack.enter_context(interrupts.watching())
        source = asked.open()
        stack.callback(source.close)
        keep = stack.enter_context(saving(args.save))
        for line in getattr(source, "remarks", list)():
            print(line, file=sys.stderr)
        receiver = Receiver(source)
        stack.callback(receiver.close)
        try:
            view = _watch(args, asked, source, receiver, keep=keep, stop=stop)
        except BrokenPipeError:
            raise  # whoever read it has gone: the command line ends quietly
        except OSError as error:
            raise Faults([f"standard output: cannot be written: {error.strerror or error}"]) from None
    _close(args, view, receiver)
    if stop.asked:
        return EXIT_INTERRUPTED
    return 0 if view.packets else 1


def _watch(
    args: argparse.Namespace,
    asked: watch_listen.Listening,
    source: Source,
    receiver: Receiver,
    *,
    keep: Callable[[Packet], None],
    stop: interrupts.Stop,
) -> WatchView:
    """Show what arrives until it is time to end; gives the last look."""
    from adapters.watch import Watch  # not before: it brings numpy, which the other sub-commands do without

    watch = Watch(source.describe(), time.monotonic_ns(), asked.feed, asked.transport)
    until = time.monotonic() + (args.seconds or float("inf"))
    with contextlib.ExitStack() as stack:
        show, every_s = _shower(args, stack)
        keys = stack.enter_context(open_keys())

        def show_now() -> None:
            if time.monotonic() < until - every_s / 2:  # else the last look follows soon
                show(_view(watch, source))

        for _ in _loop(watch, receiver, keep, show_now, every_s):
            if stop.asked or time.monotonic() >= until or _asks_to_quit(keys):
                break
        receiver.close()
        view = _view(watch, source)
        show(view)
    return view


def _close(args: argparse.Namespace, view: WatchView, receiver: Receiver) -> None:
    """What stays on the screen afterwards."""
    from adapters.terminal import cannot_paint
    from adapters.watch_paint import summary, trouble_lines

    if receiver.dropped:
        print(f"{receiver.dropped:,} packets came faster than they could be looked at", file=sys.stderr)
    if args.json or cannot_paint(sys.stdout) is None:
        print("\n".join([summary(view), *trouble_lines(view)]), file=sys.stderr)


def _asked(args: argparse.Namespace) -> watch_listen.Listening:
    gathering = common.Gathering()
    if args.seconds is not None and not 0 < args.seconds < 1e6:
        gathering.faults.append(f"--for: got {args.seconds:g}, wanted seconds above 0")
    asked = gathering.of(lambda: watch_listen.listening(args))
    gathering.done()
    assert asked is not None
    return asked


def _view(watch: Watch, source: Source) -> WatchView:
    return watch.view(time.monotonic_ns(), getattr(source, "refused", 0))


def _loop(
    watch: Watch, receiver: Receiver, keep: Callable[[Packet], None], show: Callable[[], None], every_s: float
) -> Iterator[None]:
    """Count what was received, and show now and then; a turn takes what waits, which is bounded."""
    due = time.monotonic() + min(every_s, LINES_S / 2)
    while receiver.failed is None:
        for packet in receiver.take(max(0.0, min(0.1, due - time.monotonic()))):
            watch.packet(packet)
            keep(packet)
        watch.guess(time.monotonic_ns())
        if time.monotonic() >= due:
            show()
            due = time.monotonic() + every_s
        yield
    raise Faults([f"{watch.source}: receiving failed: {receiver.failed}"])


def _asks_to_quit(keys: Keys) -> bool:
    key = keys.read(0)
    return key is not None and key.name == "q"


@contextlib.contextmanager
def saving(path: str | None) -> Iterator[Callable[[Packet], None]]:
    """What keeps packets in a capture; without a path it keeps nothing. A full disk ends the keeping, with a line."""
    if path is None:
        yield lambda _packet: None
        return
    try:
        file = Path(path).expanduser().open("w", encoding="utf-8", newline="\n")
    except OSError as error:
        raise Faults([f"--save {path}: cannot be written: {error.strerror or error}"]) from None
    with file:
        file.write(capture.FIRST_LINE + "\n")
        yield _keeper(file, path)
    print(f"kept in {path}", file=sys.stderr)


def _keeper(file: IO[str], path: str) -> Callable[[Packet], None]:
    left = MOST_SAVED

    def keep(packet: Packet) -> None:
        nonlocal left
        if left <= 0:
            return
        try:
            left -= file.write(capture.packet_line(packet) + "\n")
            why = f"it holds {MOST_SAVED:,} bytes"
        except OSError as error:
            left, why = 0, error.strerror or str(error)
        if left <= 0:
            print(f"{path}: no more is kept: {why}", file=sys.stderr)

    return keep


def _shower(args: argparse.Namespace, stack: contextlib.ExitStack) -> tuple[Callable[[WatchView], None], float]:
    """What shows a view, and how often: JSON, the screen, or lines."""
    if args.json:
        return _show_json, JSON_S
    from adapters.terminal import cannot_paint

    if cannot_paint(sys.stdout) is None:
        return _screen(stack), FRAME_S
    return _show_lines, LINES_S


def _show_json(view: WatchView) -> None:
    from adapters.watch_paint import as_data

    sys.stdout.buffer.write(msgspec.json.encode(as_data(view)) + b"\n")
    sys.stdout.flush()


def _show_lines(view: WatchView) -> None:
    from adapters.watch_paint import plain_lines

    print("\n".join(plain_lines(view)), flush=True)


def _screen(stack: contextlib.ExitStack) -> Callable[[WatchView], None]:
    from rich.console import Console
    from rich.live import Live

    from adapters.watch_paint import frame

    console = Console(highlight=False)
    live = stack.enter_context(Live(console=console, screen=True, auto_refresh=False, redirect_stderr=False))

    def show(view: WatchView) -> None:
        width, height = console.size
        live.update(frame(view, width, height), refresh=True)

    return show
