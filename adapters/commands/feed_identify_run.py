"""What `climbout feed identify` does: the talk or the recorded stream, the working out, the report and the file."""

from __future__ import annotations

import argparse
import contextlib
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import msgspec

from adapters import capture, common, interrupts, watch_listen
from adapters.identify_capture import read_stream
from adapters.identify_live import Stream, Terminal
from adapters.identify_result import Identification
from adapters.identify_solve import Solution, solve
from adapters.identify_steps import STEPS, AnswerError, Answers, read_answers, write_answers
from adapters.identify_talk import Cancelled, Progress, guide
from adapters.identify_toml import lacking, report_lines
from adapters.ports import Packet
from adapters.watch import Watch
from adapters.watch_paint import trouble_lines
from adapters.watch_receive import Receiver
from monitor.toml_check import Faults, nearest
from replay.logs import SQLITE_MAGIC
from replay.recorded import Recording

MOST_BYTES = 256 * 1024 * 1024
PATIENCE_S = 3.0


class _NothingCame(Exception):
    """No packet came, and there is nobody to ask whether to wait."""


def identify(args: argparse.Namespace) -> int:
    """Identify. 0 done or cancelled; 1 no format fits, or what the coach needs was not found; 2 a file is wrong."""
    skip = _checked(args)
    if args.stream:
        packets, answers, lines = _recorded(args)
    else:
        try:
            packets, answers, lines = _live(args, skip)
        except Cancelled:
            _tell("cancelled; no description was written")
            return 0
        except _NothingCame:
            _tell("nothing arrived; no description was written")
            return 1
    _tell(f"{len(packets):,} packets, {len(answers.windows)} steps, {len(answers.typed)} readings; working it out …")
    return _finish(args, solve(packets, answers), lines)


def _checked(args: argparse.Namespace) -> list[str]:
    """The steps to skip. Raises `Faults` with everything wrong with the options."""
    gathering = common.Gathering()
    skip = [word.strip() for word in args.skip.split(",") if word.strip()]
    known = [step.id for step in STEPS]
    gathering.faults += [f"--skip: no step {word!r}{nearest(word, known)}" for word in skip if word not in known]
    if args.answers and not args.stream:
        gathering.faults.append("--answers: has a meaning only with --stream")
    if args.rate is not None and not 0.1 <= args.rate <= 1000:
        gathering.faults.append(f"--rate: got {args.rate:g}, wanted 0.1 to 1000 lines a second")
    if args.out and Path(args.out).expanduser().exists():
        gathering.faults.append(f"--out {args.out}: is there already; wanted a new name")
    gathering.done()
    return skip


def _tell(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def _recorded(args: argparse.Namespace) -> tuple[list[Packet], Answers, Sequence[str]]:
    gathering = common.Gathering()
    packets = gathering.of(lambda: _stream(Path(args.stream).expanduser(), args.rate))
    answers = gathering.of(lambda: _answers(Path(args.answers).expanduser())) if args.answers else Answers()
    asked = gathering.of(lambda: watch_listen.listening(args))
    gathering.done()
    assert packets is not None and answers is not None and asked is not None
    return packets, answers, _transport_lines(asked)


def _transport_lines(asked: watch_listen.Listening) -> Sequence[str]:
    """The `[transport]` table to write: the options', or that of the description given."""
    if asked.lines or asked.feed is None:
        return asked.lines
    text, lines, inside = asked.feed.text, [], False
    for line in text.splitlines():
        if line.strip().startswith("["):
            inside = line.strip().startswith("[transport]") or line.strip().startswith("[transport.")
            lines += [line] if line.strip().startswith("[transport.") else []
        elif inside and line.strip() and not line.strip().startswith("#"):
            lines.append(line)
    return lines


def _stream(path: Path, rate_hz: float | None) -> list[Packet]:
    with contextlib.suppress(OSError), path.open("rb") as file:
        if file.read(len(SQLITE_MAGIC)) == SQLITE_MAGIC:
            recording = Recording(path)
            found = [Packet(i.arrival_ns, i.origin, i.data) for i in recording.inputs() if i.kind == "packet"]
            recording.close()
            return found
    return read_stream(path, rate_hz)


def _answers(path: Path) -> Answers:
    try:
        return read_answers(path.read_text(encoding="utf-8-sig"), f"answers {path.name}")
    except (OSError, UnicodeDecodeError) as error:
        raise Faults([f"answers {path}: cannot be read: {error}"]) from None
    except AnswerError as error:
        raise Faults(str(error).splitlines()) from None


def _live(args: argparse.Namespace, skip: Sequence[str]) -> tuple[list[Packet], Answers, Sequence[str]]:
    asked = watch_listen.listening(args)
    progress = Progress()
    with contextlib.ExitStack() as stack:
        stack.enter_context(interrupts.raising())
        source = asked.open()
        stack.callback(source.close)
        for line in getattr(source, "remarks", list)():
            _tell(line)
        start_ns = time.monotonic_ns()
        receiver = Receiver(source, MOST_BYTES)
        stack.callback(receiver.close)
        stream, talk = Stream(receiver, start_ns), Terminal(start_ns)
        stack.callback(_save, args.save, stream, progress)
        _await_packets(talk, stream, Watch(source.describe(), start_ns, None, asked.transport))
        answers = guide(talk, stream.remark, skip, progress)
        stream.gather()
    return stream.packets, answers, _transport_lines(asked)


def _await_packets(talk: Terminal, stream: Stream, watch: Watch) -> None:
    """Wait for the first packets, and say what may be wrong when none come. Raises `Cancelled`."""
    until = time.monotonic() + PATIENCE_S
    while True:
        stream.gather()
        if stream.packets:
            return
        if time.monotonic() >= until:
            talk.tell("\n".join(line.strip() for line in trouble_lines(watch.view(time.monotonic_ns()))))
            try:
                line = talk.ask("Enter = look again,  q = cancel: ")
            except EOFError:
                raise _NothingCame from None
            if line.strip().lower() == "q":
                raise Cancelled
            until = time.monotonic() + PATIENCE_S
        time.sleep(0.1)


def _save(name: str | None, stream: Stream, progress: Progress) -> None:
    """Keep packets and answers, also of a talk cut short."""
    if not name:
        return
    stream.gather()
    base = Path(name).expanduser()
    try:
        capture.write_capture(base.with_name(base.name + ".packets"), stream.packets)
        base.with_name(base.name + ".answers").write_text(write_answers(progress.answers()), encoding="utf-8")
    except OSError as error:
        _tell(f"--save {name}: cannot be written: {error.strerror or error}")
        return
    _tell(f"kept: climbout feed identify --stream {base}.packets --answers {base}.answers")


def _finish(args: argparse.Namespace, solution: Solution, transport: Sequence[str]) -> int:
    """Report and write. 1 when the description would not do."""
    if solution.guess is None:
        _tell("\n".join(solution.result.notes))
        return 1
    text = solution.toml(args.name, transport)
    _tell(f"format: {solution.guess.words}")
    _tell("\n".join(report_lines(solution.result, solution.guess)))
    if args.json:
        sys.stdout.buffer.write(msgspec.json.encode(_as_data(solution, text)) + b"\n")
    if not args.out and not args.json:
        print(text, end="")
    status = _write(Path(args.out).expanduser(), text) if args.out else 0
    return status or (1 if lacking(solution.result) else 0)


def _as_data(solution: Solution, text: str) -> dict[str, Any]:
    result: Identification = solution.result
    assert solution.guess is not None
    return {
        "sender": solution.sender,
        "format": solution.guess.words,
        "other_formats": [other.words for other in solution.others],
        "channels": [{**msgspec.to_builtins(found), "word": found.word} for found in result.found],
        "not_found": [{"channel": channel, "why": why} for channel, why in result.missing],
        "unused_fields": list(result.unused),
        "toml": text,
    }


def _write(path: Path, text: str) -> int:
    """Write the description; when that fails it goes to standard output, so that nothing found is lost."""
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except OSError as error:
        print(text, end="")
        _tell(f"--out {path}: cannot be written: {error.strerror or error}; the description is on standard output")
        return 2
    _tell(f"written: {path}\nnext: climbout feed check {path}, then climbout feed watch --feed {path}")
    return 0
