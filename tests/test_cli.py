"""The command line: what it says, where each value comes from, faults all at once, exit statuses, quiet streams."""

from __future__ import annotations

import argparse
import json
import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from adapters import cli, common, config
from adapters.ports import Packet
from monitor.events import to_json
from monitor.options import Options
from monitor.toml_check import Faults
from replay.keeping import flight_meta
from replay.recording import Recorder
from replay.trainer_feed import feed_text
from tests import trainer_packets
from tests.trainer_packets import free_port

COMMAND = [sys.executable, "-P", "-c", "import sys; from adapters.cli import main; sys.exit(main())"]
Run = Callable[..., tuple[int, str, str]]

FIVE_FAULTS = """
name = 5
[transport]
kind = "udp"
port = 99999999
[decode]
format = "delimted"
[channels]
ias_kts = { field = "v" }
ias_kt = { field = "v" }
height_ft = { field = "h", unit = "kPa" }
"""


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs one command line in this process with a home of its own; gives (status, stdout, stderr)."""
    monkeypatch.setenv("CLIMBOUT_HOME", str(tmp_path / "home"))

    def one(*line: str) -> tuple[int, str, str]:
        try:
            status = cli.main(line)
        except SystemExit as ended:
            status = int(ended.code or 0)
        out, err = capfd.readouterr()
        return status, out, err

    return one


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A text log of the trainer's first 30 s, with its feed beside it."""
    (tmp_path / "feed.toml").write_text(feed_text())
    path = tmp_path / "flight.csv"
    path.write_bytes(b"".join(line for _, line in trainer_packets.packets(seconds=30.0)))
    return path


def _recorded(path: Path, options: Options | None = None) -> list[str]:
    """Make a recording of the trainer's first 30 s; its event lines."""
    line = trainer_packets.Line()
    args = argparse.Namespace(aircraft="sedge", data_dir=None, feed=None)
    setup = common.resolve(args, use_config=False, assumed_feed=feed_text(), env={})
    recorder = Recorder(path, flight_meta(setup, "fly", cli.our_version(), _now()), print)
    for at_s, payload in trainer_packets.packets(seconds=30.0):
        made = line.session.packet(Packet(int(at_s * 1e9), "a:1", payload))
        recorder.record(line.session.accepted, made)
        line.events += made
    made = line.session.end(int(31e9))
    recorder.record(line.session.accepted, made)
    recorder.close()
    return [to_json(event).decode() for event in line.events]


def _now():  # type: ignore[no-untyped-def]
    from datetime import UTC, datetime

    return datetime(2026, 5, 4, tzinfo=UTC)


def test_no_argument_tells_what_it_is_and_what_to_try_first(run: Run) -> None:
    """Without arguments: what it is, every command, the one line to try first, the caution; status 0."""
    status, out, err = run()
    assert status == 0 and err == ""
    for name in cli.available():
        assert f"climbout {name} " in out
    assert "Try first:  climbout demo" in out
    flat = " ".join(out.split())
    assert "handbook, local regulations and a licensed instructor rule" in flat
    assert run("--help")[1] == out


def test_a_command_that_is_not_there_stays_out(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A command without a module is in no list, and asking for it names those there are."""
    monkeypatch.setattr(cli, "COMMANDS", (*cli.COMMANDS, "nonesuch"))
    assert "nonesuch" not in run()[1]
    status, out, err = run("nonesuch")
    assert status == 2 and out == "" and "fly" in err


def test_every_command_has_help_with_the_caution(run: Run) -> None:
    """Each command there is tells its options and ends with the caution."""
    for name in cli.available():
        status, out, _ = run(name, "--help")
        assert status == 0 and out.startswith(f"usage: climbout {name}")
        assert "licensed instructor" in " ".join(out.split())


def test_a_near_miss_is_guessed(run: Run) -> None:
    """A mistyped command is answered with the one that was likely meant."""
    status, _, err = run("replya")
    assert status == 2 and 'did you mean "replay"' in err


def test_all_faults_of_line_and_files_at_once(run: Run, tmp_path: Path) -> None:
    """Five faults in the feed, unknown names, bad numbers: all told together, status 2, no traceback."""
    (tmp_path / "bad.toml").write_text(FIVE_FAULTS)
    status, out, err = run(
        "fly", "--feed", str(tmp_path / "bad.toml"), "--aircraft", "sdge", "--procedure", "none.toml",
        "--field-elevation", "high", "--runway-heading", "400", "--headwind", "nan", "--level", "loud",
    )  # fmt: skip
    assert status == 2 and out == "" and "Traceback" not in err
    for part in (
        "bad.toml: name: got 5", "bad.toml: transport.port: got 99999999", 'decode.format: got "delimted"',
        "channels.ias_kts: not a known channel", "channels.height_ft.unit", 'did you mean "sedge"', "none.toml",
        '--field-elevation: got "high", wanted a number from -1500 to 20000 (ft)', '--runway-heading: got "400"',
        '--headwind: got "nan"', "--level",
    ):  # fmt: skip
        assert part in err, part
    assert "11 things are wrong" in err


def test_wrong_flight_is_told_with_what_else_is_wrong(run: Run) -> None:
    """A missing flight, a bad speed and a bad option come in one message."""
    status, out, err = run("replay", "nosuch.csv", "--speed", "0", "--level", "x")
    assert status == 2 and out == ""
    assert "3 things are wrong" in err and "nosuch.csv" in err and "--speed" in err and "--level" in err


def test_port_in_use_is_one_clear_line(run: Run, tmp_path: Path) -> None:
    """A second program on the port is a clear fault before anything is recorded."""
    import socket

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
        (tmp_path / "feed.toml").write_text(feed_text().replace("port = 5501", f"port = {port}"))
        status, _, err = run("fly", "--feed", str(tmp_path / "feed.toml"))
    assert status == 2 and str(port) in err and "Traceback" not in err
    assert not list((tmp_path / "home").rglob("*.climbout"))


def test_record_file_that_is_there_is_not_written_over(run: Run, tmp_path: Path) -> None:
    """--record on an existing file is a fault, and the file stays as it was."""
    (tmp_path / "mine").write_text("mine")
    (tmp_path / "feed.toml").write_text(feed_text().replace("port = 5501", f"port = {free_port()}"))
    status, _, err = run("fly", "--feed", str(tmp_path / "feed.toml"), "--record", str(tmp_path / "mine"))
    assert status == 2 and "mine" in err
    assert (tmp_path / "mine").read_text() == "mine"


def test_replay_of_a_log_in_json(run: Run, log: Path, tmp_path: Path) -> None:
    """Standard output holds JSON lines only, with the contract's keys in their order; the rest is on standard error."""
    status, out, err = run("replay", str(log), "--feed", str(tmp_path / "feed.toml"), "--json", "--fast")
    assert status == 0
    events = [json.loads(line) for line in out.splitlines()]
    keys = ["t", "kind", "id", "takeoff", "phase", "say", "ias_kt", "height_ft"]
    assert all(list(event)[:8] == keys for event in events)
    assert [event["id"] for event in events if event["kind"] == "callout"].count("rotate") == 1
    assert "fictional" in err and "Traceback" not in err


def test_a_replay_names_the_checks_that_the_log_switches_off(run: Run, tmp_path: Path) -> None:
    """A log without the column that the feed maps to bank: "off: bank" once, at the end; with the column nothing."""
    names = ("time_s", "ias_kt", "height_ft", "bank_deg")
    channels = "".join(f'{name} = {{ field = "{name}" }}\n' for name in names)
    (tmp_path / "feed.toml").write_text(f'[decode]\nformat = "delimited"\nheader = "required"\n[channels]\n{channels}')
    for columns, off in ((names[:3], ["off: bank (no bank_deg)"]), (names, [])):
        rows = [",".join(columns), *(",".join([str(n)] + ["0"] * (len(columns) - 1)) for n in range(5))]
        (tmp_path / "a.csv").write_text("\n".join(rows) + "\n")
        status, _, err = run("replay", str(tmp_path / "a.csv"), "--feed", str(tmp_path / "feed.toml"), "--fast")
        assert status == 0
        assert [line for line in err.splitlines() if line.startswith("off: bank")] == off


def test_replay_in_plain_lines(run: Run, log: Path, tmp_path: Path) -> None:
    """Without --json and without a terminal the calls are plain lines on standard output."""
    status, out, _ = run("replay", str(log), "--feed", str(tmp_path / "feed.toml"), "--fast")
    assert status == 0 and "Rotate" in out and "\x1b" not in out


def test_replay_of_a_recording_is_what_was_printed(run: Run, tmp_path: Path) -> None:
    """`replay --json --fast` of a recording prints byte for byte the live lines, whatever the file is called."""
    lines = _recorded(tmp_path / "renamed.csv")
    status, out, err = run("replay", str(tmp_path / "renamed.csv"), "--json", "--fast")
    assert status == 0
    assert out.splitlines() == lines
    assert len(lines) > 5
    assert all(line.startswith("off: ") for line in err.splitlines())


def test_options_win_over_a_recording_and_it_is_said(run: Run, tmp_path: Path) -> None:
    """A level given when replaying silences the routine words, and a line says that it won."""
    lines = _recorded(tmp_path / "a.climbout")
    status, out, err = run("replay", str(tmp_path / "a.climbout"), "--json", "--fast", "--level", "test")
    assert status == 0
    assert "--level wins over what the recording holds" in err
    assert '"say":"Rotate"' in "\n".join(lines)
    assert '"id":"rotate"' in out and '"say":"Rotate"' not in out


def test_replay_never_looks_at_the_users_config_or_environment(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A config that is broken and settings in the environment do not touch the replay of a recording."""
    lines = _recorded(tmp_path / "a.climbout")
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "config.toml").write_text("this is no TOML")
    monkeypatch.setenv("CLIMBOUT_LEVEL", "test")
    monkeypatch.setenv("CLIMBOUT_AIRCRAFT", "bracken")
    status, out, _ = run("replay", str(tmp_path / "a.climbout"), "--json", "--fast")
    assert status == 0
    assert out.splitlines() == lines


def _meta(path: Path, key: str, change: Callable[[str], str]) -> None:
    """Change a value of a closed recording's `meta`."""
    database = sqlite3.connect(path)
    (value,) = database.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()
    text = value if isinstance(value, str) else value.decode()
    database.execute("UPDATE meta SET value = ? WHERE key = ?", (change(text).encode(), key))
    database.commit()
    database.close()


def test_recording_of_another_version_opens(run: Run, tmp_path: Path) -> None:
    """Settings that the recorded procedure lacks or that are no more known do not stop a replay; a line says so."""
    lines = _recorded(tmp_path / "a.climbout")

    def older(text: str) -> str:
        assert text.count("\\nturn_height_ft") == 1
        return text.replace("\\nturn_height_ft", "\\nformer_height_ft")

    _meta(tmp_path / "a.climbout", "procedures", older)
    _meta(
        tmp_path / "a.climbout", "procedure values", lambda text: text.replace('"turn_height_ft"', '"former_height_ft"')
    )
    _meta(tmp_path / "a.climbout", "aircraft", lambda text: "former_key = 3\n" + text)
    _meta(tmp_path / "a.climbout", "version", lambda text: "0.0.1")
    status, out, err = run("replay", str(tmp_path / "a.climbout"), "--json", "--fast")
    assert status == 0
    assert out.splitlines() == lines
    assert "recorded by climbout 0.0.1" in err
    assert err.count("made by another version") == 2 and "former_key" in err


def test_recording_without_its_texts_is_a_clear_fault(run: Run, tmp_path: Path) -> None:
    """A damaged set-up is told as that, with status 2."""
    _recorded(tmp_path / "a.climbout")
    _meta(tmp_path / "a.climbout", "options", lambda text: "{")
    status, _, err = run("replay", str(tmp_path / "a.climbout"), "--fast")
    assert status == 2 and "missing or damaged" in err and "Traceback" not in err


def _resolve(line: list[str], env: dict[str, str], home: Path) -> common.Setup:
    parser = cli.Parser()
    common.add_common(parser)
    return common.resolve(parser.parse_args(line), env={"CLIMBOUT_HOME": str(home), **env})


def test_precedence(tmp_path: Path) -> None:
    """Option over environment over the user's config.toml over default, each value by itself, each place told."""
    (tmp_path / "config.toml").write_text(
        'aircraft = "bracken"\nlevel = "correct"\nfield_elevation_ft = 100\nheadwind_kt = 5\n'
    )
    env = {"CLIMBOUT_LEVEL": "test", "CLIMBOUT_FIELD_ELEVATION": "200"}
    setup = _resolve(["--field-elevation", "300"], env, tmp_path)
    options = setup.options
    assert (options.field_elevation_ft, options.level, options.headwind_kt) == (300.0, "test", 5.0)
    assert setup.aircraft.name.startswith("Bracken")
    assert options.runway_heading_deg is None
    assert setup.given["field_elevation_ft"] == "--field-elevation"
    assert setup.given["level"] == "CLIMBOUT_LEVEL"
    assert setup.given["headwind_kt"] == "config.toml, headwind_kt"


def test_thresholds_are_places(tmp_path: Path) -> None:
    """Both thresholds as LAT,LON, south and west too, or as lists in the config; one alone, or nonsense, is a fault."""
    options = _resolve(["--runway-start", "-31.25,-48.5", "--runway-end", "-31.26, -48.4"], {}, tmp_path).options
    assert (options.runway_start, options.runway_end) == ((-31.25, -48.5), (-31.26, -48.4))
    assert _resolve(["--field-elevation", "-200", "--abort-point", "900"], {}, tmp_path).options.abort_point_ft == 900
    (tmp_path / "config.toml").write_text("runway_start = [31.0, 48]\nrunway_end = [31.1, 48]\n")
    assert _resolve([], {}, tmp_path).options.runway_end == (31.1, 48.0)
    (tmp_path / "config.toml").unlink()
    with pytest.raises(Faults) as error:
        _resolve(["--runway-start", "91,0"], {}, tmp_path)
    assert len(error.value.faults) == 2 and "LAT" not in str(error.value) and '"91,0"' in str(error.value)


def test_files_named_in_the_config_lie_beside_it(tmp_path: Path) -> None:
    """A relative path in config.toml is meant from the config's own folder, wherever the user stands."""
    (tmp_path / "config.toml").write_text('feed = "bay.toml"\naircraft = "bracken"\n')
    (tmp_path / "bay.toml").write_text(feed_text().replace("built-in trainer", "bay 7"))
    setup = _resolve([], {}, tmp_path)
    assert setup.feed.name == "bay 7" and setup.aircraft.name.startswith("Bracken")


def test_config_faults_come_with_the_others(tmp_path: Path) -> None:
    """A config of unknown keys and wrong values is told with its place, together with the options' faults."""
    (tmp_path / "config.toml").write_text('aeroplane = "x"\nlevel = 3\nfield_elevation_ft = "high"\n')
    with pytest.raises(Faults) as error:
        _resolve(["--headwind", "1000"], {}, tmp_path)
    text = str(error.value)
    assert len(error.value.faults) == 4
    assert "aeroplane" in text and "level: got 3" in text and "field_elevation_ft" in text and "--headwind" in text


def test_own_aeroplane_in_the_data_folder_is_found_by_name(tmp_path: Path) -> None:
    """NAME is looked for among the user's own profiles too."""
    from adapters.library import builtin_text

    (tmp_path / "aircraft").mkdir()
    (tmp_path / "aircraft" / "mine.toml").write_text(builtin_text("aircraft", "sedge").replace("Sedge 2", "Mine"))
    assert _resolve(["--aircraft", "mine"], {}, tmp_path).aircraft.name.startswith("Mine")


def test_data_folder_precedence(tmp_path: Path) -> None:
    """--data-dir over CLIMBOUT_HOME over the system's usual place."""
    assert config.data_dir(str(tmp_path), {"CLIMBOUT_HOME": "/x"}) == tmp_path
    assert config.data_dir(None, {"CLIMBOUT_HOME": str(tmp_path)}) == tmp_path
    assert "climbout" in str(config.data_dir(None, {}))


def test_broken_pipe_is_quiet(log: Path, tmp_path: Path) -> None:
    """A reader that leaves after one line ends the replay with nothing on standard error but the notes."""
    line = [*COMMAND, "replay", str(log), "--feed", str(tmp_path / "feed.toml"), "--aircraft", "sedge", "--json"]
    process = subprocess.Popen([*line, "--speed", "50"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=os.environ)
    assert process.stdout is not None and process.stderr is not None
    assert process.stdout.readline().startswith(b"{")
    process.stdout.close()
    told = process.stderr.read().decode()
    assert all(line.startswith("off: ") for line in told.splitlines()), told
    assert process.wait(20) == 0
    process.stderr.close()


def test_start_up_imports_only_what_the_command_needs() -> None:
    """The version, a wrong command and a command's help import neither numpy, rich, zmq nor matplotlib."""
    code = (
        "import sys; from adapters.cli import main\n"
        "try: main(['replay', '--help'])\nexcept SystemExit: pass\n"
        "main(['--version'])\n"
        "print(sorted({'numpy', 'rich', 'zmq', 'matplotlib', 'sqlite3'} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-P", "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert done.stderr.strip() == "[]"


def test_the_module_runs_as_the_command_does() -> None:
    """`python -m adapters.cli`, for who has no script directory on the path, is the command and not silence."""
    done = subprocess.run(
        [sys.executable, "-P", "-m", "adapters.cli", "--version"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0 and done.stdout.startswith("climbout ")
