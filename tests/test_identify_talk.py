"""The guided talk: what is asked, what is kept, how it ends; readings and answers files; the command on a stream."""

from __future__ import annotations

import json
import socket
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from adapters import cli
from adapters.capture import read_capture, write_capture
from adapters.feed import load_feed
from adapters.identify_steps import (
    STEPS,
    AnswerError,
    Answers,
    Typed,
    Window,
    parse_reading,
    read_answers,
    write_answers,
)
from adapters.identify_talk import Cancelled, Progress, channel_named, guide, other_reading
from adapters.ports import Packet
from monitor.sample import CHANNELS
from tests.identify_shuffle import shuffle
from tests.test_identify import answers_of, flight_of
from tests.trainer_packets import free_port


class FakePilot:
    """Answers prompts: by the first matching piece of text, else with Enter. Each answer takes two seconds."""

    def __init__(self, replies: dict[str, list[str]] | None = None, ends: int | None = None) -> None:
        """replies: text in a prompt to the lines typed there, in turn. ends: prompts until no more input comes."""
        self.replies = replies or {}
        self.ends = ends
        self.asked: list[str] = []
        self.told: list[str] = []
        self.t_s = 1001.0

    def ask(self, text: str) -> str:
        """The next line."""
        self.asked.append(text)
        if self.ends is not None and len(self.asked) > self.ends:
            raise EOFError
        self.t_s += 2.0
        for piece, lines in self.replies.items():
            if piece in text and lines:
                return lines.pop(0) + "\n"
        return "\n"

    def tell(self, text: str) -> None:
        """Keep the line."""
        self.told.append(text)

    def wait(self, seconds: float) -> None:
        """Time passes."""
        self.t_s += seconds

    def now_s(self) -> float:
        """The pilot's time."""
        return self.t_s


def test_every_step_is_asked_once_in_order_with_its_window() -> None:
    """Enter at every prompt makes each step once, in order, each with the time from begin to done."""
    pilot = FakePilot()
    answers = guide(pilot)
    assert [window.step for window in answers.windows] == [step.id for step in STEPS]
    assert all(window.to_s - window.from_s >= 2.0 for window in answers.windows)
    assert answers.windows[0].to_s - answers.windows[0].from_s == pytest.approx(STEPS[0].watch_s)
    assert answers.typed == ()


def test_readings_are_kept_in_the_channels_own_unit() -> None:
    """What is typed is kept with its moment, a unit that is typed too is converted (82 degC is 179.6 degF)."""
    pilot = FakePilot({"oil temperature gauge": ["82 degC"], "altimeter": ["1 020"]})
    typed = {one.channel: one for one in guide(pilot).typed}
    assert typed["oil_temperature_degf"].value == pytest.approx(179.6)
    assert typed["altitude_ft"].value == 1020
    assert typed["altitude_ft"].at_s < typed["oil_temperature_degf"].at_s


def test_a_step_can_be_skipped_or_done_again() -> None:
    """s leaves a step out; r asks for it once more and keeps only the last."""
    pilot = FakePilot({"flaps": ["s"], "r = again": ["r"]})
    answers = guide(pilot)
    names = [window.step for window in answers.windows]
    assert "flaps" not in names
    assert len(names) == len(set(names)) == len(STEPS) - 1
    assert sum("move the throttle" in text for text in pilot.asked) == 2


def test_what_cannot_be_understood_is_asked_for_again() -> None:
    """A wrong reading is answered in words and the same gauge is asked for again."""
    pilot = FakePilot({"altimeter": ["high", "12 psi", "640"]})
    typed = {one.channel: one.value for one in guide(pilot).typed}
    assert typed["altitude_ft"] == 640
    assert any("A number" in line for line in pilot.told)
    assert any("pressure" in line for line in pilot.told)


def test_a_slip_of_the_key_is_no_step() -> None:
    """A step of half a second is asked for again."""

    class Quick(FakePilot):
        def ask(self, text: str) -> str:
            line = super().ask(text)
            if "done" in text and sum("done" in asked for asked in self.asked) == 1:
                self.t_s -= 1.8
            return line

    pilot = Quick()
    answers = guide(pilot)
    assert len(answers.windows) == len(STEPS)
    assert any("Once more" in line for line in pilot.told)


@pytest.mark.parametrize("where", ["runway", "Enter when done", "altimeter"])
def test_q_cancels_at_any_prompt(where: str) -> None:
    """q at any prompt ends the talk with nothing to write; what was answered before can still be kept."""
    progress = Progress()
    with pytest.raises(Cancelled):
        guide(FakePilot({where: ["q"]}), progress=progress)
    assert len(progress.windows) <= 2


def test_enough_and_the_end_of_input_give_what_there_is() -> None:
    """e, or no more input, ends the asking with the answers so far."""
    first = guide(FakePilot({"take off": ["e"]}))
    assert "takeoff" not in [window.step for window in first.windows]
    assert "throttle" in [window.step for window in first.windows]
    assert len(guide(FakePilot(ends=20)).windows) >= 1


@pytest.mark.parametrize(
    ("text", "value"), [("72", 72.0), (" 72,5 ", 72.5), ("37 m/s", 71.922), ("-3", -3.0), ("\u22123", -3.0)]
)
def test_readings_as_people_type_them(text: str, value: float) -> None:
    """Decimal point or comma, blanks, a unit, a minus sign of either kind (1 kt = 1852/3600 m/s)."""
    assert parse_reading("ias_kt", text, 5.0) == Typed("ias_kt", 5.0, pytest.approx(value, abs=1e-3))


@pytest.mark.parametrize("text", ["", "fast", "72 psi", "72 72 kt x", "1e999 kt kt"])
def test_what_is_no_reading_is_refused(text: str) -> None:
    """Text without a number, and units of another dimension, are refused in words."""
    with pytest.raises(AnswerError, match="ias_kt"):
        parse_reading("ias_kt", text, 0.0)


@pytest.mark.parametrize(
    ("line", "channel", "value"),
    [("oat 12 degC", "oat_degc", 12.0), ("fuel flow 9.5", "fuel_flow_gph", 9.5), ("bus_v 13.8", "bus_v", 13.8)],
)
def test_another_gauge_is_known_by_its_name(line: str, channel: str, value: float) -> None:
    """A gauge that was not asked for can be typed with the words a pilot would use."""
    typed = other_reading(line, 9.0)
    assert (typed.channel, typed.value) == (channel, pytest.approx(value))


def test_a_gauge_nobody_knows_is_refused() -> None:
    """A name that points at no channel, or no number, is refused in words."""
    for line in ("wibble 3", "oat", "!"):
        with pytest.raises(AnswerError):
            other_reading(line, 0.0)
    assert channel_named("left wibble") is None


def test_every_channel_in_a_step_is_a_channel() -> None:
    """The steps name only channels that there are."""
    named = {channel for step in STEPS for channel in (*step.moves, *step.reads)}
    assert named <= set(CHANNELS)


def test_answers_survive_their_file() -> None:
    """An answers file read back is what was written."""
    answers = Answers(
        (Window("rest", 1.25, 9.5),), (Typed("ias_kt", 80.125, 72.0), Typed("oil_pressure_psi", 3.0, 61.5))
    )
    assert read_answers(write_answers(answers), "x") == answers


def test_every_fault_of_an_answers_file_is_told() -> None:
    """Unknown steps, channels and readings are all told at once, each with its place."""
    text = """
    [[step]]
    step = "rset"
    from_s = 1.0
    to_s = 2.0
    [[reading]]
    channel = "ias"
    at_s = 1.0
    value = 70
    [[reading]]
    channel = "ias_kt"
    at_s = 1.0
    value = "70 psi"
    """
    with pytest.raises(AnswerError) as error:
        read_answers(text, "answers a.toml")
    lines = str(error.value).splitlines()
    assert len(lines) == 3
    assert all(line.startswith("answers a.toml: ") for line in lines)
    with pytest.raises(AnswerError, match=r"answers b\.toml"):
        read_answers("[[step]\n", "answers b.toml")


Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str]) -> Run:
    """Runs one command line in this process; gives (status, stdout, stderr)."""

    def one(*line: str) -> tuple[int, str, str]:
        try:
            status = cli.main(line)
        except SystemExit as ended:
            status = int(ended.code or 0)
        out, err = capfd.readouterr()
        return status, out, err

    return one


@pytest.fixture(scope="module")
def stream(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A shuffled flight as a capture of packed floats, and the answers file."""
    folder = tmp_path_factory.mktemp("stream")
    flight, made = flight_of(1), shuffle(flight_of(1), 31, 0.001)
    rows = np.stack([made.columns[i] for i in range(len(made.columns))], axis=1)[::2]
    packets = (
        Packet(round(t * 1e9), "192.0.2.9:1", b"\x07" + struct.pack(f">{len(row)}f", *row))
        for t, row in zip(flight.t_s[::2], rows, strict=True)
    )
    write_capture(folder / "flight.packets", packets)
    (folder / "flight.answers").write_text(write_answers(answers_of(flight)), encoding="utf-8")
    return folder / "flight.packets", folder / "flight.answers"


def test_the_command_writes_a_description_that_loads(run: Run, stream: tuple[Path, Path], tmp_path: Path) -> None:
    """`feed identify` on a capture and its answers reports every channel on stderr and writes a file that loads."""
    out = tmp_path / "found.toml"
    status, printed, err = run("feed", "identify", "--stream", str(stream[0]), "--answers", str(stream[1]),
                               "--out", str(out), "--port", "5507", "--json")  # fmt: skip
    assert status == 0, err
    feed = load_feed(out.read_text(encoding="utf-8"), "feed found.toml")
    assert feed.transport is not None and feed.transport.port == 5507
    data = json.loads(printed)
    assert data["toml"] == out.read_text(encoding="utf-8")
    assert {channel["channel"] for channel in data["channels"]} >= {"ias_kt", "bank_deg", "rpm"}
    assert "oil_pressure_psi" in err and "sure" in err


def test_a_file_that_is_there_is_not_written_over(run: Run, stream: tuple[Path, Path], tmp_path: Path) -> None:
    """--out onto a file that is there is refused before anything is done, and so are other faults, all at once."""
    out = tmp_path / "mine.toml"
    out.write_text("precious", encoding="utf-8")
    status, _, err = run(
        "feed", "identify", "--stream", str(stream[0]), "--out", str(out), "--skip", "flps", "--rate", "0"
    )
    assert status == 2
    assert "already" in err and "flps" in err and "--rate" in err
    assert out.read_text(encoding="utf-8") == "precious"


def test_a_stream_of_nothing_known_gives_status_1(run: Run, tmp_path: Path) -> None:
    """Packets in no known format end with status 1 and a line that says so."""
    write_capture(tmp_path / "x", (Packet(i * 10**8, "a", bytes([i % 7, 200, i * 31 % 256])) for i in range(90)))
    status, out, err = run("feed", "identify", "--stream", str(tmp_path / "x"))
    assert (status, out) == (1, "")
    assert "no format" in err


COMMAND = [sys.executable, "-P", "-c", "import sys; from adapters.cli import main; sys.exit(main())", "feed"]
ONLY_FLAPS = ",".join(step.id for step in STEPS if step.id != "flaps")


class Sender:
    """Sends a small JSON record 50 times a second to a port until the block is left."""

    def __init__(self, port: int) -> None:
        """Not sending yet."""
        self._port = port
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)

    def _run(self) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
            i = 0
            while not self._stop.wait(0.02):
                i += 1
                record = {"a": i * 0.02, "b": 10.0 * (i % 60 > 30), "c": 3.0}
                out.sendto(json.dumps(record).encode(), ("127.0.0.1", self._port))

    def __enter__(self) -> Sender:
        """Start sending."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop."""
        self._stop.set()
        self._thread.join()


def test_a_talk_over_pipes_keeps_its_stream_and_answers(tmp_path: Path) -> None:
    """Lines typed into a pipe while a real socket receives: the step and the packets of its time are kept."""
    port = free_port()
    line = [*COMMAND, "identify", "--port", str(port), "--skip", ONLY_FLAPS, "--save", str(tmp_path / "kept")]
    with Sender(port), subprocess.Popen(line, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                        text=True, encoding="utf-8", bufsize=1) as child:  # fmt: skip
        assert child.stdin is not None and child.stderr is not None
        seen = ""
        while "extend the flaps" not in seen:
            seen += child.stderr.read(1)
        child.stdin.write("\n")
        time.sleep(2.0)  # the step itself: real seconds of a real stream
        _, err = child.communicate("\n\n", timeout=60)
    assert child.returncode == 1, err  # nothing the coach needs is in this stream
    assert "moved" in err or "changing" in err
    answers = read_answers((tmp_path / "kept.answers").read_text(encoding="utf-8"), "kept")
    assert [window.step for window in answers.windows] == ["flaps"]
    packets = list(read_capture(tmp_path / "kept.packets"))
    inside = [p for p in packets if answers.windows[0].from_s <= p.arrival_ns / 1e9 <= answers.windows[0].to_s]
    assert len(inside) > 20


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
@pytest.mark.parametrize("action", ["watch", "identify"])
@pytest.mark.parametrize("way", ["key", "interrupt"])
def test_the_terminal_is_as_it_was(action: str, way: str) -> None:
    """After q, and after an interrupt, the terminal's modes are what they were; status 0, and 130."""
    import os
    import pty
    import signal
    import termios

    port = free_port()
    master, slave = pty.openpty()
    before = termios.tcgetattr(slave)
    own = "import fcntl, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); "  # its own terminal, as a person's shell gives
    line = [*COMMAND[:3], own + COMMAND[3], "feed", action, "--port", str(port)]
    with Sender(port):
        child = subprocess.Popen(line, stdin=slave, stdout=slave, stderr=slave, start_new_session=True)
        seen = b""
        while (b"q quit" if action == "watch" else b"Press Enter") not in seen:
            seen += os.read(master, 4096)
        if way == "key":
            os.write(master, b"q" if action == "watch" else b"q\n")
        else:
            child.send_signal(signal.SIGINT)
        reader = threading.Thread(target=_drain, args=(master,), daemon=True)
        reader.start()
        try:
            status = child.wait(timeout=60)
        finally:
            child.kill()
    assert status == (0 if way == "key" else 130)
    assert termios.tcgetattr(slave) == before
    os.close(slave)


def _drain(master: int) -> None:
    """Read what a terminal is sent, so that nobody waits for it."""
    import os

    try:
        while os.read(master, 4096):
            pass
    except OSError:
        return


def test_nobody_to_ask_and_nothing_arriving_ends_with_status_1() -> None:
    """With no keyboard and no packet, the causes are told once and nothing is written."""
    line = [*COMMAND, "identify", "--port", str(free_port())]
    done = subprocess.run(line, stdin=subprocess.DEVNULL, capture_output=True, text=True, encoding="utf-8",
                          timeout=60, check=False)  # fmt: skip
    assert (done.returncode, done.stdout) == (1, "")
    assert "firewall" in done.stderr and "nothing arrived" in done.stderr
    assert "Traceback" not in done.stderr
