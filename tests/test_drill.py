"""The drill: what the user sees, what is measured, and that nothing but the gauge tells."""

from __future__ import annotations

import functools
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import msgspec
import pytest

from adapters.feed import load_feed
from adapters.library import open_aircraft, open_procedure
from adapters.outputs import Outputs
from monitor import practice
from monitor.events import Event
from monitor.options import Options
from monitor.practice import Trial
from monitor.snapshot import Snapshot
from monitor.toml_check import Faults
from replay.player import Pacer, Player
from replay.trainer_drill import DrillSession
from replay.trainer_feed import feed_text
from replay.trainer_script import Press, read_script
from replay.trainer_trial import prepare

FIELD = Options(field_elevation_ft=410.0, runway_heading_deg=80.0)
OIL = Trial(1, "oil", 3.0, 0.4, 11)
PROGRAM = "import sys; from adapters.cli import main; sys.exit(main())"


class Kept:
    """An output that keeps what it is given."""

    def __init__(self) -> None:
        """Nothing yet."""
        self.events: list[Event] = []
        self.shots: list[Snapshot] = []

    def start(self) -> str | None:
        """Nothing to say."""
        return None

    def event(self, event: Event) -> None:
        """Keep it."""
        self.events.append(event)

    def show(self, snapshot: Snapshot) -> None:
        """Keep it."""
        self.shots.append(snapshot)

    def close(self) -> None:
        """Nothing to close."""


@functools.cache
def flown(
    trial: Trial, key_after_cue_s: float | None = None, key_s: float | None = None, name: str = "sedge"
) -> tuple[DrillSession, Kept]:
    """One takeoff with the key pressed at a time, or after the cue; each is flown once and kept."""
    aircraft = open_aircraft(name)
    session = DrillSession(
        load_feed(feed_text(), "trainer"),
        aircraft,
        open_procedure("normal"),
        FIELD,
        prepared=prepare(aircraft, trial, 100.0, FIELD),
        trials=1,
    )
    kept = Kept()
    due = key_s
    if key_after_cue_s is not None:
        due = (session.prepared.cue_s or 1e9) + key_after_cue_s

    def inputs():  # type: ignore[no-untyped-def]
        for given in session.flight.inputs(session.done):
            if due is not None and session.flight.trainer.t_s >= due - 1e-6:
                session.press(None)
            if session.flight.trainer.on_ground:
                kept.shots.append(session.snapshot())
            yield given

    Player(session, Outputs([kept], pytest.fail), Pacer(None), lambda: False).play(inputs())
    return session, kept


def ids(kept: Kept, kind: str = "drill") -> list[str]:
    """The ids of one kind, in order."""
    return [event.id for event in kept.events if event.kind == kind]


def test_a_hit_has_all_its_events_in_order_with_their_times() -> None:
    """Armed, cue, throttle, brakes, stopped, result; the reaction is from the cue to the key."""
    session, kept = flown(OIL, key_after_cue_s=0.6)
    assert ids(kept) == ["armed", "cue", "throttle-closed", "brakes-on", "stopped", "result"]
    times = [event.t_s for event in kept.events if event.kind == "drill"]
    assert times == sorted(times)  # type: ignore[type-var]
    assert session.outcome is not None and session.outcome.result == practice.HIT
    assert session.outcome.reaction_s == pytest.approx(0.6)
    result = kept.events[-1].more
    assert result["right"] == "abort" and result["throttle_closed_s"] < result["brakes_s"] < result["stopped_s"]
    assert result["cue_s"] > 100.0 and result["stop_distance_ft"] > 30.0


def test_nothing_but_the_gauge_tells() -> None:
    """Before the key or lift-off no alarm is spoken or on the screen, though the coach has seen the fault."""
    _, kept = flown(OIL)
    lift_off = next(n for n, event in enumerate(kept.events) if event.id == "initial-climb")
    alarms = [event for event in kept.events[:lift_off] if event.kind in ("warning", "caution", "advisory")]
    assert [event.id for event in alarms if event.kind == "warning"] == ["abort"]
    assert all(event.say is None for event in alarms)
    rolling = [shot for shot in kept.shots if shot.phase in ("takeoff-roll", "rotation")]
    assert len(rolling) > 100
    assert all(shot.warning is None and shot.held == () for shot in rolling)
    assert {shot.next_id for shot in rolling} <= {"power-set", "airspeed-alive", "rotate", None}
    assert all(said.kind not in ("warning", "caution", "advisory") for shot in rolling for said in shot.said)


def test_but_the_gauge_does_tell() -> None:
    """On the screen the gauge leaves its green arc by the cue or soon after."""
    session, kept = flown(OIL)
    cue = next(event.t_s for event in kept.events if event.id == "cue")
    assert cue is not None and session.prepared.cue_s == pytest.approx(cue - 100.0, abs=0.01)
    later = [shot for shot in kept.shots if shot.t_s is not None and cue + 1.0 < shot.t_s < cue + 3.0]
    states = {gauge.state for shot in later for gauge in shot.gauges if gauge.channel == "oil_pressure_psi"}
    assert later and states <= {"caution", "red"}


def test_a_miss_and_when_the_coach_would_have_spoken() -> None:
    """No key: a miss, and the result tells how long after the cue the coach would have said abort."""
    session, kept = flown(OIL)
    assert session.outcome is not None and session.outcome.result == practice.MISS
    assert session.outcome.coach_after_s is not None and 1.5 < session.outcome.coach_after_s < 4.0
    assert "throttle-closed" not in ids(kept)


def test_a_dead_engine_nobody_answers_ends_soon() -> None:
    """A takeoff that cannot fly any more ends 5 s after the cue, as a miss."""
    session, kept = flown(Trial(1, "engine", 3.0, 0.5, 12))
    assert session.outcome is not None and session.outcome.result == practice.MISS
    times = {event.id: event.t_s or 0.0 for event in kept.events if event.kind == "drill"}
    assert times["result"] - times["cue"] == pytest.approx(5.0, abs=0.1)


def test_a_false_abort_before_the_cue_hides_the_cue() -> None:
    """A key before anything was wrong: false abort, no cue event, continue was right."""
    session, kept = flown(OIL, key_s=9.0)
    assert session.outcome is not None and session.outcome.result == practice.FALSE_ABORT
    assert "cue" not in ids(kept) and session.outcome.right == practice.CONTINUE and session.outcome.fault is None


def test_a_clean_takeoff_goes_on() -> None:
    """Nothing wrong, no key: rightly continued, to 4 s after lift-off; every call of the roll is made as always."""
    session, kept = flown(Trial(1, None, 3.0, 0.0, 13))
    assert session.outcome is not None and session.outcome.result == practice.CORRECT_CONTINUE
    assert {"power-set", "airspeed-alive", "rotate"} <= set(ids(kept, "callout"))


def test_past_the_line_continue_is_right() -> None:
    """Oil pressure in the last 2 s before VR: going on is right, stopping is a false abort; spoken once in the air."""
    late = msgspec.structs.replace(OIL, place=0.98)
    session, kept = flown(late)
    assert session.prepared.right == practice.CONTINUE
    assert session.outcome is not None and session.outcome.result == practice.CORRECT_CONTINUE
    spoken = [event for event in kept.events if event.kind == "warning" and event.say]
    assert [event.id for event in spoken] == ["oil-pressure-low"] or spoken == []
    session, _ = flown(late, key_after_cue_s=0.4)
    assert session.outcome is not None and session.outcome.result == practice.FALSE_ABORT


@pytest.mark.parametrize("kind", practice.DEFAULT_KINDS)
def test_every_fault_shows_and_a_prompt_key_is_a_hit(kind: str) -> None:
    """Each practised fault has a cue within 0.7 s of its beginning (early in the roll), and a key after it is a hit."""
    trial = Trial(1, kind, 3.0, 0.05, 14)
    session, _ = flown(trial, key_after_cue_s=0.5, name="bracken")
    prepared = session.prepared
    onset = practice.onset_s(trial, prepared.marks)
    assert onset is not None and prepared.cue_s is not None and 0.0 <= prepared.cue_s - onset < 2.5
    assert session.outcome is not None and session.outcome.result == practice.HIT


@pytest.mark.parametrize(
    ("name", "kind"),
    # oil temperature is not practised unless asked for, an overspeed only where a governor can fail
    [
        (name, kind)
        for name in ("sedge", "bracken")
        for kind in practice.DEFAULT_KINDS
        if (name, kind) != ("sedge", "rpm-high")
    ],
)
def test_the_latest_fault_can_still_be_seen_on_the_wheels(name: str, kind: str) -> None:
    """A fault that begins as late as one may has its cue before lift-off, and is then judged as the last seconds."""
    prepared = prepare(open_aircraft(name), Trial(1, kind, 3.0, 1.0, 15), 0.0, FIELD)
    assert prepared.cue_s is not None and prepared.cue_s < prepared.marks.lift_off_s
    late_abort = kind in ("engine", "power", "swing")
    assert prepared.right == (practice.ABORT if late_abort else practice.CONTINUE)


def test_a_key_in_the_air_is_none() -> None:
    """After lift-off the decision is over: the key does nothing more."""
    session, _ = flown(Trial(1, None, 3.0, 0.0, 13), key_s=22.0)
    assert session.outcome is not None and session.outcome.key_s is None


def test_the_reaction_counts_from_the_frame_that_showed_the_cue() -> None:
    """With a screen, the reaction is from the flush of the marked frame to the key's own stamp, not from the loop."""
    aircraft = open_aircraft("sedge")
    marked: list[str] = []
    session = DrillSession(
        load_feed(feed_text(), "trainer"),
        aircraft,
        open_procedure("normal"),
        FIELD,
        prepared=prepare(aircraft, OIL, 0.0, FIELD),
        trials=1,
        mark=marked.append,
        frame_shown=lambda marker: 5_000_000_000 if marker in marked else None,
        now_ns=lambda: 4_960_000_000,
    )

    def inputs():  # type: ignore[no-untyped-def]
        for given in session.flight.inputs(session.done):
            if marked and session.flight.trainer.t_s > (session.prepared.cue_s or 0.0) + 0.5:
                session.press(5_470_000_000)
            yield given

    Player(session, Outputs([Kept()], pytest.fail), Pacer(None), lambda: False).play(inputs())
    assert marked == ["cue 1"]
    assert session.outcome is not None and session.outcome.reaction_s == pytest.approx(0.47)


def test_a_key_before_the_frame_was_seen_is_a_false_abort() -> None:
    """A key that came before the marked frame was flushed cannot be an answer to it."""
    aircraft = open_aircraft("sedge")
    session = DrillSession(
        load_feed(feed_text(), "trainer"),
        aircraft,
        open_procedure("normal"),
        FIELD,
        prepared=prepare(aircraft, OIL, 0.0, FIELD),
        trials=1,
        frame_shown=lambda _marker: 5_000_000_000,
    )

    def inputs():  # type: ignore[no-untyped-def]
        for given in session.flight.inputs(session.done):
            if session.flight.trainer.t_s > (session.prepared.cue_s or 0.0) + 0.1:
                session.press(4_990_000_000)
            yield given

    Player(session, Outputs([Kept()], pytest.fail), Pacer(None), lambda: False).play(inputs())
    assert session.outcome is not None and session.outcome.result == practice.FALSE_ABORT


def test_scripts_are_read() -> None:
    """Comments and empty lines are skipped; times absolute or after the cue; other keys by name."""
    presses = read_script("# mine\n1 cue+0.65\n\n2 14.5  # late\n3 20 q\n", "keys")
    assert presses == [Press(1, 0.65, True), Press(2, 14.5), Press(3, 20.0, False, "q")]


def test_faulty_scripts_are_told_line_by_line() -> None:
    """Every faulty line is told with its number and what was wanted."""
    with pytest.raises(Faults) as told:
        read_script("one 2\n1 cue-3\n1 4\n", "keys")
    assert len(told.value.faults) == 2 and "line 1" in told.value.faults[0] and "line 2" in told.value.faults[1]


# The command itself.


def drill(home: Path, *args: str, keys: str | None = None, given: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    """Run `climbout drill` in a folder of its own."""
    if keys is not None:
        (home / "keys.txt").write_text(keys)
        args = (*args, "--keys", "keys.txt")
    env = {**os.environ, "CLIMBOUT_HOME": str(home)}
    return subprocess.run(
        [sys.executable, "-P", "-c", PROGRAM, "drill", *args],
        input=given,
        capture_output=True,
        env=env,
        cwd=home,
        timeout=100,
        check=False,
    )


def lines(output: bytes) -> list[dict[str, Any]]:
    """JSON lines as objects."""
    return [json.loads(line) for line in output.splitlines()]


def test_a_scripted_exercise_is_reproducible_and_framed_by_its_words(tmp_path: Path) -> None:
    """Same seed and keys, same bytes; "Exercise" is the first word spoken and "Exercise complete" the last."""
    keys = "1 cue+0.6\n2 cue+0.6\n3 cue+0.6\n"
    first, second = (drill(tmp_path, "--json", "--seed", "3", "--trials", "3", keys=keys) for _ in range(2))
    assert first.returncode == 0 and first.stdout == second.stdout
    spoken = [line["say"] for line in lines(first.stdout) if line["say"]]
    assert spoken[0] == "Exercise" and spoken[-1] == "Exercise complete"
    results = [line for line in lines(first.stdout) if line["id"] == "result"]
    assert [line["kind"] for line in results] == ["drill"] * 3
    assert [line["trial"] for line in results] == [1, 2, 3]
    assert all(line["result"] in ("hit", "false-abort", "correct-continue") for line in results)
    assert all(line["reaction_s"] == 0.6 for line in results if line["result"] == "hit")
    stamps = [line["t"] for line in lines(first.stdout) if line["kind"] == "drill"]
    assert stamps == sorted(stamps)


def test_q_ends_the_exercise(tmp_path: Path) -> None:
    """The key q ends it at once: the takeoff is cancelled, the exercise complete, the status 0."""
    done = drill(tmp_path, "--json", "--seed", "3", "--trials", "3", keys="2 5 q\n")
    results = [line["result"] for line in lines(done.stdout) if line["id"] == "result"]
    assert done.returncode == 0 and len(results) == 2 and results[1] == "cancelled"
    assert lines(done.stdout)[-1]["say"] == "Exercise complete"


def test_few_takeoffs_give_no_detection_figure(tmp_path: Path) -> None:
    """Below 20 of each kind the table says so, and how to fly the same exercise again."""
    few = drill(tmp_path, "--seed", "3", "--trials", "3", keys="").stdout.decode()
    assert "no detection figure: wanted 20" in few and "--seed 3" in few


def test_without_a_terminal_it_says_what_it_needs(tmp_path: Path) -> None:
    """No screen to practise on: one clear message and exit 2, together with every other fault of the line."""
    done = drill(tmp_path, "--trials", "0", "--faults", "oil,fire")
    text = done.stderr.decode()
    assert done.returncode == 2 and "Traceback" not in text and "3 things are wrong" in text
    assert "--trials" in text and '"fire"' in text and "--keys" in text


@pytest.mark.long
def test_a_live_key_over_a_pipe_is_timed_on_the_real_clock(tmp_path: Path) -> None:
    """With --json a key can answer the cue line; the reaction measured is no shorter than the answerer waited."""
    env = {**os.environ, "CLIMBOUT_HOME": str(tmp_path)}
    args = ["drill", "--json", "--seed", "3", "--trials", "1", "--faults", "engine"]
    with subprocess.Popen(
        [sys.executable, "-P", "-c", PROGRAM, *args],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=env,
        cwd=tmp_path,
    ) as child:
        assert child.stdin is not None and child.stdout is not None
        waited_s, result = 0.0, None
        for raw in child.stdout:
            line = json.loads(raw)
            if line["id"] == "cue":
                start = time.monotonic()
                time.sleep(0.3)
                child.stdin.write(b" ")
                child.stdin.flush()
                waited_s = time.monotonic() - start
            if line["id"] == "result":
                result = line
        assert child.wait(20) == 0
    assert result is not None and result["result"] == "hit"
    assert result["reaction_s"] >= waited_s - 0.05


@pytest.mark.long
@pytest.mark.skipif(sys.platform == "win32", reason="a pseudo-terminal is needed")
def test_on_the_dashboard_a_key_after_the_cue_is_a_hit_timed_from_its_frame(tmp_path: Path) -> None:
    """On a terminal: brief, key to begin, dashboard, space a second after the cue, table, terminal as before."""
    import pty
    import select
    import struct
    import termios
    from fcntl import ioctl

    plans = {seed: practice.plan(seed, 1, ["engine"])[0] for seed in range(100)}
    seed = next(seed for seed, trial in plans.items() if trial.kind and trial.place < 0.3)
    cue_s = prepare(open_aircraft("sedge"), plans[seed], 0.0, FIELD).cue_s
    assert cue_s is not None
    ours, theirs = pty.openpty()
    ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 36, 110, 0, 0))
    before = termios.tcgetattr(theirs)
    start = "import os, fcntl, termios; os.setsid(); fcntl.ioctl(0, termios.TIOCSCTTY, 0)\n"
    args = ["drill", "--seed", str(seed), "--trials", "1", "--faults", "engine", "--no-voice"]
    env = {**os.environ, "CLIMBOUT_HOME": str(tmp_path), "TERM": "xterm-256color"}
    child = subprocess.Popen(
        [sys.executable, "-P", "-c", start + PROGRAM, *args], stdin=theirs, stdout=theirs, stderr=theirs, env=env
    )
    seen, asked, first_frame_s, pressed = "", False, None, False
    end = time.monotonic() + 60.0
    while child.poll() is None and time.monotonic() < end:
        if select.select([ours], [], [], 0.05)[0]:
            seen += os.read(ours, 65536).decode(errors="replace")
        if not asked and "Any key begins" in seen:
            asked = True
            os.write(ours, b"g")
        if first_frame_s is None and "AIRSPEED" in seen:
            first_frame_s = time.monotonic()
        if first_frame_s is not None and not pressed and time.monotonic() > first_frame_s + cue_s + 1.0:
            pressed = True
            os.write(ours, b" ")
    while select.select([ours], [], [], 0.3)[0]:
        seen += os.read(ours, 65536).decode(errors="replace")
    assert child.wait(5) == 0
    assert termios.tcgetattr(theirs) == before
    table = seen[seen.index("reaction") :]
    reaction = re.search(r"Hit +(\d+\.\d+) s", table)
    assert reaction is not None and 0.3 < float(reaction[1]) < 4.0, table
    os.close(ours)
    os.close(theirs)
