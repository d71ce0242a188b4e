"""The coach on flights of a flight-dynamics library it has no part in: what is called, when, and what is warned of.

The flights are flown by the test pilot (tests/flights_jsbsim) with the library's own aeroplanes, and the truth
about each is found in the library's 120 Hz record, never from the coach. Sources of what is due: FAA-S-ACS-6C
PA.IV.A (rotation, climb speed), FAA-H-8083-3C ch. 6 and 18 (rejected takeoff, engine failure after takeoff: land
ahead), 14 CFR 25.1322 (a warning is for what needs the crew at once); heights of calls are common practice, no
source."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.accuracy.setup import coach_for
from tests.accuracy.store import samples
from tests.flights_jsbsim.aeroplanes import AEROPLANES, PROFILES, profile_text
from tests.flights_jsbsim.flight import raw_flight, truth_of
from tests.flights_jsbsim.judge import run
from tests.flights_jsbsim.scenario import Fault, Scenario
from tests.flights_jsbsim.sensors import Sensors
from tests.flights_jsbsim.standard import CLEAN, FAULTS, NOT_TAKEOFFS, TWICE, Flown, flown
from tests.flights_jsbsim.udp import OutputPilot, Sent, captured, feed_toml, fly_over_udp

NO_SWITCH = Sensors(missing=frozenset({"on_ground"}))
ALTITUDE_ONLY = Sensors(missing=frozenset({"height_ft"}))
ROUTINE = ["power-set", "engine-green", "airspeed-alive", "rotate", "climb-speed", "flaps-up", "turn", "after-takeoff"]


def since_start(flight: Flown, kind: str, name: str) -> float:
    """When an event is stamped, seconds from the flight's first sample."""
    heard = flight.first(kind, name)
    assert heard is not None, f"no {kind} {name}: {[h.event.id for h in flight.heard]}"
    assert heard.event.t_s is not None
    return heard.event.t_s - flight.case.sensors.start_s


# -- clean flights ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", CLEAN)
def test_a_clean_takeoff_gets_every_routine_call_once_and_no_warning(name: str) -> None:
    """On a clean flight each routine call that applies comes exactly once, and no warning or caution ever."""
    flight = flown(name)
    calls = flight.ids("callout")
    assert not flight.result.missing
    assert [c for c in ROUTINE if calls.count(c) != 1 and c in calls] == []
    assert flight.ids("warning") == []
    assert flight.ids("caution") == []


@pytest.mark.parametrize("name", NOT_TAKEOFFS)
def test_a_takeoff_given_up_gets_no_warning_and_no_rotate(name: str) -> None:
    """A pilot who stops of his own accord is neither warned nor told to rotate, and no climb is called."""
    flight = flown(name)
    assert flight.ids("warning") == []
    assert not {"rotate", "climb-speed", "flaps-up", "turn", "after-takeoff"} & set(flight.ids("callout"))
    assert "initial-climb" not in flight.ids("phase")


def test_a_rejected_takeoff_at_40_kt_is_followed_as_one() -> None:
    """Closing the throttle at 40 kt begins the rejected takeoff within a second, and it ends in standing or taxi."""
    flight = flown("rejected at 40 kt")
    closed = flight.case.truth.throttle_closed
    assert closed is not None
    assert since_start(flight, "phase", "rejected-takeoff") + flight.case.sensors.start_s == pytest.approx(
        closed, abs=1.0
    )
    assert flight.ids("phase")[-1] in ("standing", "taxi", "lined-up")


@pytest.mark.parametrize("name", CLEAN)
def test_rotate_falls_between_2_kt_below_and_half_a_knot_above_the_rotation_speed(name: str) -> None:
    """The airspeed at "Rotate" is from VR - 2 to VR + 0.5 kt, on every aeroplane, field and wind."""
    flight = flown(name)
    heard = flight.first("callout", "rotate")
    assert heard is not None
    assert heard.event.ias_kt is not None
    assert -2.0 <= heard.event.ias_kt - AEROPLANES[flight.case.scenario.aeroplane].rotate_kt <= 0.5


@pytest.mark.parametrize("name", CLEAN)
@pytest.mark.parametrize(("sensors", "within_s"), [(Sensors(), 0.1), (NO_SWITCH, 0.4)], ids=["switch", "no switch"])
def test_lift_off_is_stamped_when_the_last_wheel_left(name: str, sensors: Sensors, within_s: float) -> None:
    """Lift-off is within 0.1 s of the model's wheels-off with a ground switch, and within 0.4 s without, at 20 Hz."""
    flight = flown(name, sensors)
    assert flight.result.liftoff_s == pytest.approx(0.0, abs=within_s)
    assert flight.ids("phase").count("initial-climb") == 1


@pytest.mark.parametrize("name", CLEAN)
@pytest.mark.parametrize("sensors", [Sensors(), ALTITUDE_ONLY], ids=["height", "altitude"])
def test_the_calls_at_300_500_and_1000_ft_are_stamped_when_the_model_passed_them(name: str, sensors: Sensors) -> None:
    """The 300, 500 and 1,000 ft calls are within 0.3 s of the crossing, from height as sent or altitude less the
    field's."""
    flight = flown(name, sensors)
    assert {300.0, 500.0} <= set(flight.result.heights_s)
    for error in flight.result.heights_s.values():
        assert error == pytest.approx(0.0, abs=0.3)


CALM_NAMES = ("fixed, sea level, calm", "constant speed, sea level, calm", "fixed, 5,000 ft, calm")


@pytest.mark.parametrize("name", CALM_NAMES)
@pytest.mark.parametrize("lag_s", [0.0, 0.2, 0.4])
def test_the_lag_of_vertical_speed_is_found_and_taken_off_the_lift_off(name: str, lag_s: float) -> None:
    """Without a ground switch, lift-off is within 0.2 s however much the vertical speed lags, when height is sent."""
    flight = flown(name, Sensors(missing=frozenset({"on_ground"}), lag_s=lag_s))
    assert flight.result.liftoff_s == pytest.approx(0.0, abs=0.2)


@pytest.mark.parametrize("name", CALM_NAMES)
def test_a_noisy_altimeter_that_sags_in_the_roll_gives_the_heights_all_the_same(name: str) -> None:
    """The 300, 500 and 1,000 ft calls are within 0.15 s from an altitude with 2 ft of noise that sags 30 ft at VR."""
    flight = flown(name, Sensors(missing=frozenset({"height_ft"}), noise=1.0, sag_ft=30.0))
    assert {300.0, 500.0} <= set(flight.result.heights_s)
    for error in flight.result.heights_s.values():
        assert error == pytest.approx(0.0, abs=0.15)


@pytest.mark.parametrize("name", CALM_NAMES)
def test_calls_of_the_roll_fall_due_in_the_order_of_their_conditions(name: str) -> None:
    """Power set comes after the throttle is open and at most 3.5 s later; alive at 20 kt or rest + 10; VY - 2 for
    climb."""
    flight = flown(name)
    full = flight.case.truth.throttle_full
    assert full is not None
    full -= flight.case.sensors.start_s
    assert full - 0.6 <= since_start(flight, "callout", "power-set") <= full + 3.5
    alive = flight.first("callout", "airspeed-alive")
    climb = flight.first("callout", "climb-speed")
    assert alive is not None
    assert climb is not None
    assert 9.5 <= (alive.event.ias_kt or 0.0) <= 21.0
    assert climb.event.ias_kt == pytest.approx(AEROPLANES[flight.case.scenario.aeroplane].best_rate_kt - 2.0, abs=0.3)


def test_every_event_comes_out_soon_after_it_is_due() -> None:
    """At 20 Hz a routine call comes out within 0.15 s of its stamp, so that the stamp is no back-dating of a late
    call."""
    for name in ("fixed, sea level, gusts", "constant speed, 5,000 ft, calm"):
        for heard in flown(name).heard:
            if heard.event.kind == "callout" and heard.event.t_s is not None:
                assert heard.out_s - heard.event.t_s < 0.15, heard.event


@pytest.mark.parametrize("sensors", [Sensors(), NO_SWITCH], ids=["switch", "no switch"])
@pytest.mark.parametrize("name", TWICE)
def test_a_second_takeoff_in_one_stream_is_coached_as_its_own(name: str, sensors: Sensors) -> None:
    """After a landing the next takeoff counts as 2, with its own calls once each and its own lift-off; nothing is
    warned of."""
    flight = flown(name, sensors)
    truth = truth_of(raw_flight(TWICE[name]), sensors.start_s, sensors, takeoff=2)
    second = [h.event for h in flight.heard if h.event.takeoff == 2]
    calls = [e.id for e in second if e.kind == "callout"]
    assert [c for c in ("power-set", "rotate", "climb-speed", "flaps-up", "turn") if calls.count(c) != 1] == []
    assert flight.ids("warning") == []
    lifted = [e.t_s for e in second if e.kind == "phase" and e.id == "initial-climb"]
    assert lifted == [pytest.approx(truth.wheels_off, abs=0.1 if sensors == Sensors() else 0.4)]
    phases = flight.ids("phase")
    assert phases.index("landing-roll") > phases.index("initial-climb")


@pytest.mark.parametrize("name", ["fixed, sea level, calm", "constant speed, sea level, gusts"])
@pytest.mark.parametrize("after_s", [1.0, 20.0], ids=["just off", "in the climb"])
def test_a_stream_that_begins_in_flight_starts_no_takeoff(name: str, after_s: float) -> None:
    """Joined after lift-off, the flight is followed as airborne: no takeoff, no call of the roll, no warning."""
    case = flown(name).case
    assert case.truth.wheels_off is not None
    late = [s for s in samples(case) if (s.time_s or 0.0) > case.truth.wheels_off + after_s]
    heard = [h.event for h in run(coach_for(case.scenario.aeroplane, case.options), late)]
    assert [e for e in heard if e.kind == "warning"] == []
    assert not {"rotate", "power-set", "airspeed-alive"} & {e.id for e in heard}
    assert "takeoff-roll" not in {e.id for e in heard if e.kind == "phase"}


@pytest.mark.parametrize("rate_hz", [60.0, 5.0, 1.0])
@pytest.mark.parametrize(
    "name", ["fixed, sea level, gusts", "constant speed, 5,000 ft, calm", "tailwheel, calm", "run-up first"]
)
def test_other_rates_bring_the_same_calls_and_no_warning(name: str, rate_hz: float) -> None:
    """At 60, 5 and 1 Hz a clean flight gets the calls it gets at 20 Hz, height calls within 0.5 s, and no warning."""
    flight = flown(name, Sensors(rate_hz=rate_hz))
    assert sorted(flight.ids("callout")) == sorted(flown(name).ids("callout"))
    assert flight.ids("warning") == []
    for error in flight.result.heights_s.values():
        assert error == pytest.approx(0.0, abs=0.5)


# -- faults -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_gets_the_right_warning_in_time_and_no_other_before_it(name: str) -> None:
    """The warning with the right reason comes within 1.5 s of the limit's crossing plus its hold; nothing false
    before."""
    verdict = flown(name).result.verdict
    assert verdict.false == []
    assert verdict.wrong_reason == []
    assert not verdict.missed
    assert not verdict.late


@pytest.mark.parametrize("name", FAULTS)
@pytest.mark.parametrize("sensors", [Sensors(), NO_SWITCH], ids=["switch", "no switch"])
def test_no_second_abort_no_abort_in_the_air_no_rotate_after_an_abort(name: str, sensors: Sensors) -> None:
    """Whatever fails: one abort a takeoff, none in the air, never "Rotate" after it, each routine call at most once."""
    assert flown(name, sensors).result.verdict.rules == []


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("engine failure at 40 ft", "Land ahead"),
        ("engine failure at 400 ft", "Nose down. Land ahead"),
        ("engine failure at 800 ft", "Nose down. Best glide, six five"),
        ("low oil pressure at 300 ft", "Oil pressure. Return and land"),
    ],
)
def test_the_words_after_lift_off_are_those_for_the_height(name: str, words: str) -> None:
    """A failure after lift-off gets the words for its height, the deciding word first, and never a turn back."""
    said = [h.event.say for h in flown(name).heard if h.event.kind == "warning" and h.event.say]
    assert said[:1] == [words]


@pytest.mark.parametrize("name", ["partial power on the roll, pilot flies on", "low oil pressure early in the roll"])
def test_a_pilot_who_flies_on_after_abort_is_coached_in_the_climb(name: str) -> None:
    """After an ignored "abort" the climb is coached as usual, without "Rotate"."""
    flight = flown(name)
    assert "abort" in flight.ids("warning")
    assert "flaps-up" in flight.ids("callout")
    assert "rotate" not in flight.ids("callout")


def test_low_oil_pressure_within_2_s_of_rotation_is_held_until_after_lift_off() -> None:
    """A limit passed in the last 2 s before VR is spoken only 2 s after lift-off or later, and is no abort."""
    flight = flown("low oil pressure within 2 s of VR")
    off = flight.case.truth.wheels_off
    spoken = [h for h in flight.heard if h.event.kind == "warning" and h.event.say]
    assert off is not None
    assert [h.event.id for h in spoken] == ["oil-pressure-low"]
    assert spoken[0].out_s >= off


# -- the library's own output, live -----------------------------------------------------------------------------------

FLY = [sys.executable, "-P", "-c", "import sys; from adapters.cli import main; sys.exit(main())"]
LIMIT_S = 60.0
REJECTED = Scenario("c172p", kind="rejected", reject_kt=40.0, seed=21)
OIL_EARLY = Scenario("c172p", fault=Fault("oil-pressure-low", "ias", 20.0, 6.0), after_fault_s=30.0)


@dataclass
class Live:
    """A running `climbout fly`, its lines so far, and its data folder."""

    process: subprocess.Popen[str]
    folder: Path
    errors: list[str]

    def finish(self) -> list[str]:
        """Interrupt it and give every line of its standard output."""
        self.process.send_signal(signal.SIGINT)
        out, _ = self.process.communicate(timeout=LIMIT_S)
        return out.splitlines()


def free_port() -> int:
    """A UDP port nobody uses now."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start(folder: Path, port: int, aeroplane: str, rest_ft: float) -> Live:
    """Start the program on the port and wait until it says that it listens."""
    feed = folder / "feed.toml"
    feed.write_text(feed_toml(port, rest_ft), encoding="utf-8")
    line = [*FLY, "fly", "--feed", str(feed), "--aircraft", str(PROFILES / f"{AEROPLANES[aeroplane].profile}.toml")]
    line += ["--json", "--no-voice", "--data-dir", str(folder), "--field-elevation", "0"]
    process = subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8")
    listening, errors = threading.Event(), []

    def read() -> None:
        assert process.stderr is not None
        for text in process.stderr:
            errors.append(text)
            if "listening" in text:
                listening.set()
        listening.set()

    threading.Thread(target=read, daemon=True).start()
    assert listening.wait(LIMIT_S)
    assert process.poll() is None, "".join(errors)
    return Live(process, folder, errors)


_LATE = pytest.param(False, marks=pytest.mark.long)


@pytest.fixture(scope="module", params=[True, _LATE], ids=["header seen", "header missed"])
def live(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Sent, list[str], Path]]:
    """A clean flight sent by the library itself to `climbout fly`; joined before or after the header went out."""
    folder, port = tmp_path_factory.mktemp("live"), free_port()
    pilot = OutputPilot(Scenario("c172p"), port)
    if not request.param:
        pilot.prepare()
    program = start(folder, port, "c172p", 4.173)
    sent = fly_over_udp(pilot, realtime_factor=25.0)
    yield sent, program.finish(), folder


Told = tuple[Sent, list[str], Path]


def events_of(lines: list[str]) -> list[dict[str, Any]]:
    """The JSON lines as objects."""
    return [json.loads(line) for line in lines]


@pytest.mark.skipif(sys.platform == "win32", reason="SIGINT cannot be sent to one child on Windows")
def test_the_library_s_own_output_over_udp_is_coached_live(live: Told) -> None:
    """Telemetry no one here wrote goes in over UDP, header seen or missed, and every routine call comes at its
    moment."""
    sent, lines, _ = live
    events = events_of(lines)
    calls = [e["id"] for e in events if e["kind"] == "callout"]
    assert [c for c in ROUTINE if calls.count(c) != 1] == []
    assert [e for e in events if e["kind"] in ("warning", "caution")] == []
    by_id = {e["id"]: e for e in events if e["kind"] in ("callout", "phase")}
    assert by_id["initial-climb"]["t"] == pytest.approx(sent.truth.wheels_off, abs=0.1)
    assert by_id["flaps-up"]["t"] == pytest.approx(sent.truth.heights[300.0], abs=0.3)
    assert by_id["turn"]["t"] == pytest.approx(sent.truth.heights[500.0], abs=0.3)
    assert by_id["after-takeoff"]["t"] == pytest.approx(sent.truth.heights[1000.0], abs=0.3)
    assert 53.0 <= by_id["rotate"]["ias_kt"] <= 55.5


@pytest.mark.skipif(sys.platform == "win32", reason="SIGINT cannot be sent to one child on Windows")
def test_the_recording_of_a_live_flight_replays_to_the_same_bytes(live: Told) -> None:
    """`replay --json --fast` of the recording prints byte for byte what `fly --json` printed."""
    _, lines, folder = live
    recording = next((folder / "recordings").glob("*.climbout"))
    line = [*FLY, "replay", str(recording), "--json", "--fast", "--no-voice", "--data-dir", str(folder)]
    done = subprocess.run(line, capture_output=True, text=True, encoding="utf-8", timeout=LIMIT_S, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == lines


@pytest.mark.skipif(sys.platform == "win32", reason="SIGINT cannot be sent to one child on Windows")
@pytest.mark.parametrize(
    ("scenario", "warnings", "ends_in"),
    [
        pytest.param(REJECTED, [], "rejected-takeoff", marks=pytest.mark.long),
        (OIL_EARLY, [("abort", "oil-pressure-low"), ("oil-pressure-low", "oil-pressure-low")], None),
    ],
    ids=["rejected at 40 kt", "low oil pressure early"],
)
def test_a_rejected_takeoff_and_a_fault_over_udp(
    tmp_path: Path, scenario: Scenario, warnings: list[tuple[str, str]], ends_in: str | None
) -> None:
    """A stop at 40 kt is followed without a warning, and low oil pressure early in the roll is one abort, said again
    in its own words to the pilot who flies on, live over UDP."""
    port = free_port()
    program = start(tmp_path, port, "c172p", 4.173)
    fly_over_udp(OutputPilot(scenario, port), realtime_factor=25.0)
    events = events_of(program.finish())
    assert [(e["id"], e["reason"]) for e in events if e["kind"] == "warning"] == warnings
    assert ends_in is None or ends_in in [e["id"] for e in events if e["kind"] == "phase"]


def test_captured_datagrams_are_the_library_s_own() -> None:
    """The captured datagrams hold the header once, with one field more than the data, and 20 records a second."""
    capture = captured(REJECTED)
    header, first = capture.datagrams[0].split(b","), capture.datagrams[1].split(b",")
    assert capture.datagrams[0].startswith(b"<LABELS> ,Time")
    assert len(header) == len(first) + 1
    flown_s = float(capture.datagrams[-1].split(b",")[0]) - float(capture.datagrams[2].split(b",")[0])
    assert (len(capture.datagrams) - 3) / flown_s == pytest.approx(20.0, rel=0.01)


def test_the_profiles_of_the_test_aeroplanes_are_sound() -> None:
    """Every test profile loads without a fault and agrees with the pilot's speeds."""
    from monitor.aircraft_file import load_aircraft

    for key, aeroplane in AEROPLANES.items():
        speeds = load_aircraft(profile_text(key), key).speeds_kias
        assert (speeds.rotate, speeds.best_rate) == (aeroplane.rotate_kt, aeroplane.best_rate_kt)
