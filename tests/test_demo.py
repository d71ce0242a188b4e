"""The demo: the whole way from the trainer's packets to the calls, without a simulator."""

from __future__ import annotations

import itertools
import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from adapters.common import default_feed_text
from adapters.feed import load_feed
from adapters.library import open_aircraft, open_procedure
from adapters.outputs import Outputs
from adapters.session import Session
from monitor.events import Event
from monitor.options import Options
from monitor.sample import CHANNELS
from monitor.snapshot import Snapshot
from replay.player import Pacer, Player
from replay.scenarios.kinds import DEMO_FAULTS, demo_scenario
from replay.trainer import Trainer
from replay.trainer_feed import ORIGIN, encode, feed_text
from replay.trainer_flight import Listener, TrainerFlight
from replay.trainer_setup import placed

ROUTINE = {
    "clock", "power-set", "engine-green", "airspeed-alive", "rotate",
    "positive-rate", "climb-speed", "flaps-up", "turn", "after-takeoff",
}  # fmt: skip
REASONS = {"rpm": "rpm-low", "oil": "oil-pressure-low", "airspeed": "airspeed-not-alive", "engine": "engine-failure"}
MORE = [1, *(pytest.param(seed, marks=pytest.mark.long) for seed in range(2, 12))]
"""Seeds: one in the ordinary run, ten more in the long one."""
PROGRAM = "import sys; from adapters.cli import main; sys.exit(main())"
FIELD = Options(field_elevation_ft=410.0, runway_heading_deg=80.0)


class Kept:
    """An output that keeps every event."""

    def __init__(self) -> None:
        """None yet."""
        self.events: list[Event] = []

    def start(self) -> str | None:
        """Nothing to say."""
        return None

    def event(self, event: Event) -> None:
        """Keep it."""
        self.events.append(event)

    def show(self, snapshot: Snapshot) -> None:
        """Nothing to show."""

    def close(self) -> None:
        """Nothing to close."""


def flown(name: str, fault: str | None = None, seed: int = 1, how: str = "normal") -> tuple[list[Event], TrainerFlight]:
    """A demo's events, and the flight."""
    aircraft, procedure = open_aircraft(name), open_procedure(how)
    scenario = placed(demo_scenario(fault, seed, aircraft.speeds_kias.rotate), FIELD, procedure)
    flight, kept = TrainerFlight(aircraft, scenario), Kept()
    session = Session(load_feed(feed_text(), "trainer"), aircraft, procedure, FIELD)
    Player(session, Outputs([kept, Listener(flight)], pytest.fail), Pacer(None), lambda: False).play(flight.inputs())
    assert session.take_notices() == []
    return kept.events, flight


def named(events: list[Event], kind: str) -> list[str]:
    """The ids of one kind, in order."""
    return [event.id for event in events if event.kind == kind]


@pytest.mark.parametrize("seed", MORE)
@pytest.mark.parametrize("name", ["sedge", "bracken"])
def test_clean_demo_has_every_routine_call_once_and_no_alarm(name: str, seed: int) -> None:
    """A clean takeoff: each routine call once, and nothing is called wrong."""
    events, _ = flown(name, seed=seed)
    calls = named(events, "callout")
    assert set(calls) == ROUTINE and len(calls) == len(ROUTINE)
    assert [event for event in events if event.kind in ("warning", "caution", "advisory")] == []
    assert named(events, "phase") == ["lined-up", "takeoff-roll", "rotation", "initial-climb", "climb"]


@pytest.mark.parametrize("name", ["sedge", "bracken"])
def test_short_field_demo_is_flown_and_coached_as_one(name: str) -> None:
    """Full power on the brakes, flaps, VX to the obstacle, then VY (FAA-S-ACS-6C PA.IV.E; FAA-H-8083-3C chapter 6)."""
    events, flight = flown(name, how="short-field")
    calls = named(events, "callout")
    assert set(calls) == ROUTINE | {"obstacle-clear"} and len(calls) == len(set(calls))
    assert [event for event in events if event.kind in ("warning", "caution", "advisory")] == []
    power = next(event for event in events if event.id == "power-set")
    clear = next(event for event in events if event.id == "obstacle-clear")
    speeds = flight.trainer.aircraft.speeds_kias
    assert power.ias_kt is not None and power.ias_kt < 10.0
    assert clear.ias_kt is not None and speeds.best_angle is not None
    assert speeds.best_angle - 5.0 < clear.ias_kt < speeds.best_angle + 5.0


@pytest.mark.parametrize("seed", MORE)
@pytest.mark.parametrize("name", ["sedge", "bracken"])
@pytest.mark.parametrize("fault", DEMO_FAULTS)
def test_each_fault_gives_one_warning_with_its_reason(name: str, fault: str, seed: int) -> None:
    """The right warning, once; on the roll its pilot then stops, in the air lands ahead; never "Rotate" after it. A
    weak engine behind a governor may show in manifold pressure first."""
    events, flight = flown(name, fault, seed)
    warnings = [event for event in events if event.kind == "warning"]
    reasons = {REASONS[fault]} | ({"manifold-pressure-low"} if (name, fault) == ("bracken", "rpm") else set())
    assert [event.id for event in warnings] == ["engine-failure" if fault == "engine" else "abort"]
    assert warnings[0].reason in reasons
    assert flight.trainer.on_ground and flight.trainer.groundspeed_m_s < 0.1
    after = events[events.index(warnings[0]) :]
    assert "rotate" not in named(after, "callout")
    assert ("landing-roll" if fault == "engine" else "rejected-takeoff") in named(after, "phase")


def test_the_warning_comes_soon_after_the_gauge() -> None:
    """Oil pressure under its least for 1.5 s is called within 0.2 s of that."""
    events, _ = flown("sedge", "oil")
    aircraft = open_aircraft("sedge")
    twin = Trainer(aircraft, placed(demo_scenario("oil", 1, aircraft.speeds_kias.rotate), FIELD))
    least = aircraft.instruments["oil_pressure_psi"].min
    assert least is not None
    while twin.step()["oil_pressure_psi"] >= least:
        pass
    warning = next(event for event in events if event.kind == "warning")
    assert warning.t_s is not None and twin.t_s + 1.45 <= warning.t_s <= twin.t_s + 1.75


def test_what_is_sent_is_what_arrives() -> None:
    """Encoded, decoded and converted back, every channel keeps its value to a thousandth of its range or better."""
    from adapters.feed import make_decoder
    from adapters.mapping import Mapper

    feed = load_feed(feed_text(), "trainer")
    for name in ("sedge", "bracken"):
        trainer = Trainer(open_aircraft(name))
        for _ in range(250):
            values = trainer.step()
        records = make_decoder(feed).decode(encode(values))
        sample = Mapper(feed).sample(records[0])
        assert len(records) == 1 and sample is not None
        for channel in CHANNELS:
            got = getattr(sample, channel)
            if channel in values:
                span = 1.0 if channel == "time_s" else max(1.0, abs(values[channel]))
                assert got == pytest.approx(values[channel], abs=0.006 * span), channel
            else:
                assert got is None, channel


def test_the_trainers_feed_differs_from_the_default_one() -> None:
    """The demo goes through units and names like anyone's feed, not by a short way of our own channel names."""
    assert feed_text() != default_feed_text() and 'unit = "m/s"' in feed_text() and ORIGIN


def test_paused_time_stands_still_and_goes_on() -> None:
    """While paused the same moment is sent again; afterwards the flight goes on as if nothing had been."""
    aircraft = open_aircraft("sedge")
    straight = TrainerFlight(aircraft, demo_scenario())
    broken = TrainerFlight(aircraft, demo_scenario())
    whole = [given.data for given, _ in zip(straight.inputs(), range(60), strict=False)]
    seen: list[bytes] = []
    arrivals: list[int] = []
    for count, given in enumerate(broken.inputs()):
        broken.paused = 20 <= count < 40
        seen.append(given.data)
        arrivals.append(given.arrival_ns)
        if len(seen) == 80:
            break
    assert seen[20:41] == [seen[20]] * 21 and list(dict.fromkeys(seen)) == whole
    assert all(later > earlier for earlier, later in itertools.pairwise(arrivals))


# The command itself.


def climbout(*args: str, home: Path) -> subprocess.CompletedProcess[bytes]:
    """Run the command in a folder of its own."""
    env = {**os.environ, "CLIMBOUT_HOME": str(home)}
    return subprocess.run(
        [sys.executable, "-P", "-c", PROGRAM, *args], capture_output=True, env=env, cwd=home, timeout=60, check=False
    )


def lines(output: bytes) -> list[dict[str, Any]]:
    """JSON lines as objects."""
    return [json.loads(line) for line in output.splitlines()]


def test_short_field_rotates_at_its_own_vr(tmp_path: Path) -> None:
    """The built-in trainer rotates at 50 kt, at 47 on a short field: "Rotate" comes at most 2 kt before either."""
    for procedure, vr in (("normal", 50.0), ("short-field", 47.0)):
        run = climbout("demo", "--json", "--fast", "--procedure", procedure, home=tmp_path)
        call = next(line for line in lines(run.stdout) if line["id"] == "rotate")
        assert vr - 2.0 <= call["ias_kt"] <= vr + 0.5, procedure


def test_twice_the_same_bytes_and_nothing_else_on_standard_output(tmp_path: Path) -> None:
    """`demo --json --fast` prints the same bytes each time, JSON only; the caution goes to standard error."""
    first, second = (climbout("demo", "--json", "--fast", home=tmp_path) for _ in range(2))
    assert first.returncode == second.returncode == 0
    assert first.stdout == second.stdout and len(lines(first.stdout)) > 10
    assert b"simulators" in first.stderr and b"handbook" in first.stderr
    assert climbout("demo", "--json", "--fast", "--seed", "2", home=tmp_path).stdout != first.stdout


def test_a_recorded_demo_replays_to_the_same_bytes(tmp_path: Path) -> None:
    """What --record keeps gives, replayed, byte for byte what the demo printed, its pilot's reaction included."""
    file = str(tmp_path / "demo.climbout")
    demo = climbout("demo", "--json", "--fast", "--fault", "oil", "--record", file, home=tmp_path)
    replay = climbout("replay", file, "--json", "--fast", home=tmp_path)
    assert demo.returncode == replay.returncode == 0
    assert demo.stdout == replay.stdout and b"oil-pressure-low" in demo.stdout


def test_without_a_terminal_there_are_plain_lines(tmp_path: Path) -> None:
    """Piped, the demo prints words a person can read, and no control characters."""
    done = climbout("demo", "--fast", "--fault", "rpm", home=tmp_path)
    text = done.stdout.decode()
    assert done.returncode == 0 and "Abort" in text and "\x1b" not in text


def test_faults_of_the_command_line_are_all_told_at_once(tmp_path: Path) -> None:
    """Three wrong values: three lines, exit 2, no traceback, nothing flown."""
    done = climbout("demo", "--speed", "0", "--seed", "x", "--aircraft", "nothing", home=tmp_path)
    text = done.stderr.decode()
    assert done.returncode == 2 and done.stdout == b"" and "Traceback" not in text
    assert "--speed" in text and "--seed" in text and "nothing" in text


def test_the_users_own_field_is_flown_from(tmp_path: Path) -> None:
    """Field elevation and runway heading given on the line are the trainer's; the calls are made all the same."""
    done = climbout("demo", "--json", "--fast", "--field-elevation", "3000", "--runway-heading", "355", home=tmp_path)
    calls = {line["id"] for line in lines(done.stdout) if line["kind"] == "callout"}
    assert done.returncode == 0 and calls >= ROUTINE
    assert not any(line["kind"] == "warning" for line in lines(done.stdout))


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
@pytest.mark.parametrize("command", ["demo", "drill"])
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupt_ends_it_with_130(command: str, number: int, tmp_path: Path) -> None:
    """In real time, started as a background job is (SIGINT ignored): 130, whole lines only, no traceback."""
    start = "import signal; signal.signal(signal.SIGINT, signal.SIG_IGN); "
    with subprocess.Popen(
        [sys.executable, "-P", "-c", start + PROGRAM, command, "--json", "--no-voice"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "CLIMBOUT_HOME": str(tmp_path)},
        cwd=tmp_path,
    ) as child:
        assert child.stdout is not None and child.stderr is not None
        first = child.stdout.readline()
        child.send_signal(number)
        rest, errors = child.stdout.read(), child.stderr.read()
        assert child.wait(30) == 130
    assert all(json.loads(line) for line in (first + rest).splitlines())
    assert b"Traceback" not in errors


def test_a_reader_that_goes_away_is_no_error(tmp_path: Path) -> None:
    """`climbout demo --json --fast | head -1` ends quietly."""
    with subprocess.Popen(
        [sys.executable, "-P", "-c", PROGRAM, "demo", "--json", "--fast"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "CLIMBOUT_HOME": str(tmp_path)},
        cwd=tmp_path,
    ) as child:
        assert child.stdout is not None and child.stderr is not None
        child.stdout.readline()
        child.stdout.close()
        errors = child.stderr.read()
        assert child.wait(30) == 0
    assert b"Error" not in errors and b"Traceback" not in errors
