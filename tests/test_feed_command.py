"""`climbout feed`: check, example and keys, as a person runs them."""

from __future__ import annotations

import json
from pathlib import Path

import msgspec
import pytest

from adapters.capture import packet_line, read_capture, write_capture
from adapters.cli import main
from adapters.description import DecodeSettings, Layout, Transport
from adapters.feed import load_feed
from adapters.ports import Packet
from adapters.session import Input
from monitor.toml_check import Faults
from replay.recording import Recorder
from tests.test_feeds import EXAMPLES, FEEDS


@pytest.mark.parametrize("name", sorted(path.stem for path in EXAMPLES.glob("*.toml")))
def test_every_example_is_printed_and_right(name: str, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Each shipped example is printed by its name, and what is printed passes the check."""
    assert main(["feed", "example", name]) == 0
    text = capsys.readouterr().out
    path = tmp_path / "feed.toml"
    path.write_text(text, encoding="utf-8")
    assert main(["feed", "check", str(path)]) == 0
    out = capsys.readouterr().out
    assert "feed feed.toml is right" in out
    assert "off" in out


def test_examples_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """Without a name the examples are listed, a line each."""
    assert main(["feed", "example"]) == 0
    out = capsys.readouterr().out
    assert all(path.stem in out for path in EXAMPLES.glob("*.toml"))
    assert main(["feed", "example", "jason"]) == 2
    assert "did you mean" in capsys.readouterr().err


def test_the_guide_names_every_key_there_is(capsys: pytest.CaptureFixture[str]) -> None:
    """The guide explains each key of a description that the check knows, and its example file is right."""
    assert main(["feed", "guide"]) == 0
    text = capsys.readouterr().out
    fields = [f for kind in (Transport, DecodeSettings, Layout) for f in kind.__struct_fields__]
    inner = {"settings", "layout", "parts", "order", "curve", "value", "format"}
    assert not [name for name in fields if name not in inner and f"`{name}" not in text and f"`{name}`" not in text
                and f" {name} = " not in text]  # fmt: skip
    load_feed(text.partition("```toml\n")[2].partition("```")[0], "feed guide")


def test_a_capture_is_tried(capsys: pytest.CaptureFixture[str]) -> None:
    """With a capture, the check tells how many packets gave samples, each channel's range, and what was wrong."""
    case = FEEDS / "delimited-hostile"
    assert main(["feed", "check", str(case / "feed.toml"), "--capture", str(case / "packets.txt"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["ok"] is True
    assert found["packets"] == sum(1 for _ in read_capture(case / "packets.txt"))
    assert found["samples"] == len((case / "expected.jsonl").read_text(encoding="utf-8").splitlines())
    assert found["seen"]["height_ft"]["low"] == 2.0
    assert any('got "fifty"' in notice for notice in found["notices"])
    assert any(row["why"] == "no heading_deg" for row in found["checks_off"])
    assert any("rotate" in check for check in found["checks_on"])
    assert not set(found["checks_on"]) & {row["check"] for row in found["checks_off"]}


def test_a_text_log_is_tried_too(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A text log is a capture as well: each line is a packet."""
    log = tmp_path / "log.csv"
    log.write_text("t,ias,alt\n1,50,300\n2,51,300\n", encoding="utf-8")
    feed = tmp_path / "feed.toml"
    feed.write_text('[decode]\nformat = "delimited"\n[channels]\ntime_s = { field = "t" }\nias_kt = { field = "ias" }\n'
                    'altitude_ft = { field = "alt" }\n', encoding="utf-8")  # fmt: skip
    assert main(["feed", "check", str(feed), "--capture", str(log), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["samples"] == 2


def test_a_recording_is_tried_with_the_header_that_came_before(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A flight's recording is a capture too; the header that its sender sent before it was heard is in it."""
    feed = tmp_path / "feed.toml"
    feed.write_text(
        '[decode]\nformat = "delimited"\n[channels]\nias_kt = { field = "v" }\nheight_ft = { field = "h" }\n'
    )
    path = tmp_path / "flight.climbout"
    recorder = Recorder(path, {"feed": "x"}, print)
    before = msgspec.msgpack.encode([(1, b"v,h\n")])
    recorder.record([Input("prime", 2, "127.0.0.1:1", before), Input("packet", 2, "127.0.0.1:1", b"50,2\n")], [])
    recorder.close()
    assert main(["feed", "check", str(feed), "--capture", str(path), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["packets"], found["samples"]) == (2, 1)


def test_a_channel_that_never_comes_is_a_fault(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A described channel that the capture never supplies is a fault: status 1, and the checks that need it are off."""
    case = FEEDS / "delimited-hostile"
    text = (case / "feed.toml").read_text(encoding="utf-8") + 'heading_deg = { field = "hdg" }\n'
    feed = tmp_path / "feed.toml"
    feed.write_text(text, encoding="utf-8")
    assert main(["feed", "check", str(feed), "--capture", str(case / "packets.txt"), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["faults"] == [f"heading_deg: never supplied by the {found['packets']} packets"]
    assert any(row["why"] == "no heading_deg" for row in found["checks_off"])


def test_a_faulty_description_is_status_one(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Every fault of the description is printed, with its place; the status is 1, that of a check that found faults."""
    feed = tmp_path / "feed.toml"
    feed.write_text('[decode]\nformat = "jsn"\n[channels]\nias_kt = { field = "v", unit = "psi" }\n', encoding="utf-8")
    assert main(["feed", "check", str(feed)]) == 1
    err = capsys.readouterr().err
    assert "feed feed.toml: decode.format" in err
    assert "feed feed.toml: channels.ias_kt.unit" in err
    assert main(["feed", "check", str(feed), "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["ok"] is False


@pytest.mark.parametrize(
    "arguments",
    [["feed"], ["feed", "check"], ["feed", "check", "none.toml"], ["feed", "keys", "../up"],
     ["feed", "check", "adapters/examples/json.toml", "--aircraft", "no such"]],
)  # fmt: skip
def test_a_wrong_command_line_is_status_two(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """What the command line gets wrong is told on standard error, without a traceback, with status 2."""
    try:
        status = main(arguments)
    except SystemExit as error:
        status = int(str(error.code))
    assert status == 2
    assert "Traceback" not in capsys.readouterr().err


def test_keys_are_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A pair of key files is written and named; the secret itself is not printed; a second time is refused."""
    zmq = pytest.importorskip("zmq")
    if not zmq.has("curve"):
        pytest.skip("this ZeroMQ library has no CURVE encryption")
    assert main(["feed", "keys", "bay1", "--folder", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    secret = (tmp_path / "bay1.secret.toml").read_text(encoding="ascii").rpartition(" = ")[2].strip().strip('"')
    assert len(secret) == 40 and secret not in out
    assert main(["feed", "keys", "bay1", "--folder", str(tmp_path)]) == 2


def test_a_capture_keeps_every_byte(tmp_path: Path) -> None:
    """What is written to a capture is read back: any bytes, any sender, times to the microsecond."""
    packets = [
        Packet(n * 1_000_000, "[::1]:5", payload)
        for n, payload in enumerate([b"", b"1,2\r\n", bytes(range(256)), b'"\\'])
    ]
    path = tmp_path / "packets.txt"
    assert write_capture(path, packets, ["why it is kept"]) == 4
    assert list(read_capture(path)) == packets
    assert packet_line(Packet(0, "", b"a")).split("\t")[1] == "-"


@pytest.mark.parametrize("line", ["nonsense", "1\tx", "nan\tx\t00", "1\tx\t0g", '1\tx\t"open', '1\tx\t"1" 2'])
def test_a_broken_capture_is_told_by_line(tmp_path: Path, line: str) -> None:
    """A line that is no packet is told with its number."""
    path = tmp_path / "packets.txt"
    path.write_text(f"# climbout packets 1\n{line}\n", encoding="utf-8")
    with pytest.raises(Faults, match="line 2"):
        list(read_capture(path))
