"""What must hold on every stream: how it is cut, looked at, thinned or spoiled cannot make the coach inconsistent
or wrong.

Each example is drawn by hypothesis from a fixed seed; `-m long` draws many more, new ones each time.
"""

from __future__ import annotations

import random
from functools import cache
from math import inf, isnan, nan

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from adapters.feed import load_feed
from adapters.mapping import Mapper
from monitor.coach import Coach
from monitor.events import Event, to_json
from monitor.options import Options
from monitor.sample import CHANNELS, Sample
from tests.synthetic import (
    ARRIVAL_S,
    FIXED,
    GOVERNED,
    Flight,
    at,
    fly,
    governed,
    procedure,
    rejected,
    takeoff,
    touch_and_go,
)

FEW = settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
MANY = settings(FEW, max_examples=400, derandomize=False)

FLIGHTS: dict[str, Flight] = {
    "clean": takeoff(),
    "without switch and height": takeoff().without("on_ground", "height_ft"),
    "airspeed and altitude only": takeoff().only("ias_kt", "altitude_ft"),
    "oil early": takeoff(oil_pressure_psi=((14.0, 75.0), (16.0, 10.0))),
    "oil late": takeoff(oil_pressure_psi=((20.0, 75.0), (22.0, 10.0))),
    "engine in the climb": takeoff(rpm=((10.0, 700.0), (12.0, 2350.0), (60.0, 2350.0), (61.0, 500.0))),
    "dead airspeed": takeoff(ias_kt=0.0),
    "swerve": takeoff(heading_deg=((18.0, 80.0), (19.0, 100.0))),
    "sloppy": takeoff(
        bank_deg=((40.0, 0.0), (41.0, 14.0), (44.0, 14.0), (45.0, 0.0)), flaps_deg=10.0,
        heading_deg=((17.0, 80.0), (17.5, 87.0), (19.0, 80.0)), throttle=((10.0, 0.0), (12.0, 0.93)),
    ),
    "rejected": rejected(20.0),
    "touch-and-go": touch_and_go(),
    "governed": governed(),
}  # fmt: skip
CLEAN = ("clean", "without switch and height", "airspeed and altitude only", "touch-and-go", "governed")
RATES_HZ = (60.0, 20.0, 5.0, 1.0)


def _coach(name: str) -> Coach:
    return Coach(GOVERNED if name == "governed" else FIXED, procedure(), Options(voice=True, voice_latency_s=0.05))


@cache
def _samples(name: str, rate_hz: float) -> tuple[Sample, ...]:
    flight = FLIGHTS[name].at(rate_hz)
    return tuple(
        flight.between(max(flight.start_s, 5.0), min(flight.end_s, 240.0 if name == "touch-and-go" else 85.0)).samples()
    )


@cache
def _plain(name: str, rate_hz: float) -> tuple[tuple[int, bytes], ...]:
    """(number of the sample that brought it, line) of every event, each sample fed at its own time without any tick."""
    coach, lines = _coach(name), list[tuple[int, bytes]]()
    samples = _samples(name, rate_hz)
    for n, sample in enumerate(samples):
        lines += [(n, to_json(event)) for event in coach.feed(sample, ARRIVAL_S + at(sample))]
    end = coach.end(ARRIVAL_S + at(samples[-1]))
    return (*lines, *((len(samples), to_json(event)) for event in end))


def _flight_lines(lines: list[bytes]) -> list[bytes]:
    """Without what is said of the wall clock."""
    return [line for line in lines if b'"kind":"feed"' not in line]


# ---- cut any way, looked at at any moment ---------------------------------------------------------------------------


def _ticked(name: str, rate_hz: float, seed: int, speed: float) -> list[bytes]:
    """Ticks at random moments between arrivals, at the deadlines themselves, arrivals late by chance, another speed."""
    chance, coach, lines, now = random.Random(seed), _coach(name), list[bytes](), ARRIVAL_S
    for sample in _samples(name, rate_hz):
        arrival = max(now, ARRIVAL_S + (at(sample) + chance.uniform(0.0, 0.3 / rate_hz)) / speed)
        for _ in range(chance.choice((0, 0, 1, 4))):
            now = chance.uniform(now, arrival)
            lines += map(to_json, coach.tick(now))
        deadline = coach.next_deadline()
        if deadline is not None and now <= deadline <= arrival and chance.random() < 0.7:
            lines += map(to_json, coach.tick(deadline))
        now = arrival
        lines += map(to_json, coach.feed(sample, arrival))
    return lines + [to_json(event) for event in coach.end(now)]


def _check_ticks(name: str, rate_hz: float, seed: int, speed: float) -> None:
    assert _ticked(name, rate_hz, seed, speed) == [line for _, line in _plain(name, rate_hz)]


CUTS = given(
    name=st.sampled_from(sorted(FLIGHTS)), rate_hz=st.sampled_from(RATES_HZ), seed=st.integers(0, 10**6),
    speed=st.sampled_from((0.8, 1.0, 10.0, 1000.0)),
)  # fmt: skip


@FEW
@CUTS
def test_ticks_and_speed_change_nothing(name: str, rate_hz: float, seed: int, speed: float) -> None:
    """Ticks at any moment up to the next sample's arrival, at any speed: the same events to the byte."""
    _check_ticks(name, rate_hz, seed, speed)


@pytest.mark.long
@MANY
@CUTS
def test_ticks_and_speed_change_nothing_in_many_streams(name: str, rate_hz: float, seed: int, speed: float) -> None:
    """The same with many more examples, new ones each time."""
    _check_ticks(name, rate_hz, seed, speed)


def _check_cut(name: str, rate_hz: float, part: float, to_a_call: bool) -> None:
    samples, plain = _samples(name, rate_hz), _plain(name, rate_hz)
    count = 1 + round(part * (len(samples) - 1))
    if to_a_call:  # just after the sample that brings a call
        brought = [n for n, line in plain if b'"kind":"phase"' not in line and n < len(samples)]
        count = brought[int(part * (len(brought) - 1))] + 1
    coach, lines = _coach(name), list[bytes]()
    for sample in samples[:count]:
        lines += map(to_json, coach.feed(sample, ARRIVAL_S + at(sample)))
    assert lines == [line for n, line in plain if n < count]
    ended = [to_json(event) for event in coach.end(ARRIVAL_S + at(samples[count - 1]))]
    assert ended == []


@FEW
@given(
    name=st.sampled_from(sorted(FLIGHTS)),
    rate_hz=st.sampled_from(RATES_HZ),
    part=st.floats(0.0, 1.0),
    to_a_call=st.booleans(),
)
def test_a_flight_cut_off_holds_all_that_was_due(name: str, rate_hz: float, part: float, to_a_call: bool) -> None:
    """Cut off anywhere, also just after a call, what was due by then is there, and the end adds nothing that was
    not."""
    _check_cut(name, rate_hz, part, to_a_call)


def test_what_falls_due_between_samples_is_there_before_the_next() -> None:
    """At 1 Hz "Rotate" falls due between two samples: a tick at the deadline brings it, stamped alike, before the
    next."""
    samples, coach, early = _samples("clean", 1.0), _coach("clean"), list[Event]()
    for sample in samples:
        early += [event for event in coach.feed(sample, ARRIVAL_S + at(sample)) if event.id == "rotate"]
        deadline = coach.next_deadline()
        assert deadline is not None
        if at(sample) == 23.0:
            assert early == []
            early += coach.tick(deadline)
            break
    assert [to_json(event) for event in early] == [line for _, line in _plain("clean", 1.0) if b'"rotate"' in line]


def test_the_flights_are_worth_cutting() -> None:
    """The flights hold calls and phases, the faulted ones warnings, the sloppy one remarks: the properties say
    something."""
    for name in FLIGHTS:
        text = b"\n".join(line for _, line in _plain(name, 20.0))
        assert text.count(b'"kind":"phase"') >= 4, name
        faulted = name in ("oil early", "oil late", "engine in the climb", "dead airspeed", "swerve")
        assert (b'"kind":"warning"' in text) == faulted, name
    assert b'"kind":"advisory"' in b"\n".join(line for _, line in _plain("sloppy", 20.0))


# ---- thinned and spoiled -------------------------------------------------------------------------------------------


def _check_thinned(name: str, seed: int, part: float) -> None:
    chance, coach, events = random.Random(seed), _coach(name), list[Event]()
    for sample in _samples(name, 20.0):
        if chance.random() >= part:
            events += coach.feed(sample, ARRIVAL_S + at(sample))
    assert [event for event in events if event.kind == "warning"] == []
    called = [event.id for event in events if event.kind == "callout" and event.takeoff == 1]
    assert len(called) == len(set(called))
    if "ias_kt" in FLIGHTS[name].lines:
        assert called.count("rotate") == 1


THINNED = given(name=st.sampled_from(CLEAN), seed=st.integers(0, 10**6), part=st.floats(0.05, 0.6))


@FEW
@THINNED
def test_lost_samples_bring_no_warning(name: str, seed: int, part: float) -> None:
    """A clean flight that loses up to six samples in ten at random has no warning, and Rotate once."""
    _check_thinned(name, seed, part)


@pytest.mark.long
@MANY
@THINNED
def test_lost_samples_bring_no_warning_in_many_streams(name: str, seed: int, part: float) -> None:
    """The same with many more examples, new ones each time."""
    _check_thinned(name, seed, part)


@FEW
@given(name=st.sampled_from(sorted(FLIGHTS)), seed=st.integers(0, 10**6), part=st.floats(0.01, 0.5))
def test_channels_missing_anywhere_never_crash_and_never_abort_in_the_air(name: str, seed: int, part: float) -> None:
    """Any channel None in any sample: no error, no abort after lift-off, no Rotate after an abort, one abort at
    most."""
    chance, coach, events = random.Random(seed), _coach(name), list[Event]()
    names = [field for field in Sample.__struct_fields__ if field != "time_s"]
    for sample in _samples(name, 20.0):
        gone = {field: None for field in names if chance.random() < part}
        events += coach.feed(msgspec.structs.replace(sample, **gone), ARRIVAL_S + at(sample))
        coach.snapshot()
    _check_rules(events)


def _check_rules(events: list[Event]) -> None:
    """What must hold of any stream of events, however poor the data."""
    aborted: dict[int | None, bool] = {}
    calls: set[tuple[int | None, str]] = set()
    for event in events:
        to_json(event)
        if event.kind == "warning":
            assert event.reason
            if event.id == "abort":
                assert event.phase in ("lined-up", "takeoff-roll", "rotation"), event
                assert not aborted.get(event.takeoff), event
                aborted[event.takeoff] = True
            else:
                # "Land ahead" is right as well while lift-off is in question.
                rolling = () if event.id == "engine-failure" else ("takeoff-roll", "rotation")
                assert event.phase not in ("standing", "taxi", "lined-up", *rolling), event
        if event.kind == "callout":
            assert (event.takeoff, event.id) not in calls, event
            calls.add((event.takeoff, event.id))
            assert not (event.id == "rotate" and aborted.get(event.takeoff)), event


# ---- garbage -------------------------------------------------------------------------------------------------------

_EDGES = {name: (channel.low, channel.high) for name, channel in CHANNELS.items() if name != "time_s"}


def _garbage(seed: int, count: int, rate_hz: float, wildness: float) -> list[Sample]:
    """Samples of values anywhere in the channels' ranges, now at random, now held, now missing; time mostly goes on."""
    chance, t, samples = random.Random(seed), chance_time(seed), list[Sample]()
    held: dict[str, float | None] = dict.fromkeys(_EDGES)
    for _ in range(count):
        t = max(0.0, t + chance.choice((1.0,) * 30 + (0.0, -0.5, -30.0, 15.0, 3.0)) / rate_hz)
        for name, (low, high) in _EDGES.items():
            if chance.random() < wildness:
                held[name] = chance.choice((None, low, high, 0.0 if low <= 0.0 else low, chance.uniform(low, high)))
        samples.append(Sample(time_s=t, **held))
    return samples


def chance_time(seed: int) -> float:
    """A start time of its own for each seed."""
    return float(seed % 7919)


@pytest.mark.parametrize("seed", [208, 58333, 2236, 178248])
def test_garbage_that_once_broke_a_rule(seed: int) -> None:
    """Streams on which an abort was once called in the air, or a call of the climb after touchdown: never again."""
    for rate_hz, wildness in ((2.0, 1.0), (2.0, 0.2)):
        _check_garbage(seed, rate_hz, wildness)


def _check_garbage(seed: int, rate_hz: float, wildness: float, count: int = 300) -> None:
    coach, events, now = _coach("clean"), list[Event](), ARRIVAL_S
    for sample in _garbage(seed, count, rate_hz, wildness):
        now += 1.0 / rate_hz
        events += coach.feed(sample, now)
        events += coach.tick(now + 0.4 / rate_hz)
        coach.snapshot()
        deadline = coach.next_deadline()
        assert deadline is None or not isnan(deadline)
    _check_rules(events + coach.end(now + 60.0))


GARBAGE = given(
    seed=st.integers(0, 10**6), rate_hz=st.sampled_from((20.0, 2.0)), wildness=st.sampled_from((0.02, 0.2, 1.0))
)


@FEW
@GARBAGE
def test_garbage_never_raises_and_never_aborts_in_the_air(seed: int, rate_hz: float, wildness: float) -> None:
    """Any values within the channels' ranges, any gaps, a clock that jumps: no error, and the rules of warnings
    hold."""
    _check_garbage(seed, rate_hz, wildness)


@pytest.mark.long
@MANY
@GARBAGE
def test_garbage_of_many_kinds(seed: int, rate_hz: float, wildness: float) -> None:
    """The same with many more examples, new ones each time."""
    _check_garbage(seed, rate_hz, wildness)


@FEW
@given(seed=st.integers(0, 10**6), from_s=st.floats(6.0, 60.0), name=st.sampled_from(sorted(FLIGHTS)))
def test_a_flight_that_turns_to_garbage(seed: int, from_s: float, name: str) -> None:
    """A flight whose data goes wild from some moment for 3 s and then returns: no error, and the rules of warnings
    hold."""
    chance, coach, events = random.Random(seed), _coach(name), list[Event]()
    for sample in _samples(name, 20.0):
        if from_s <= at(sample) < from_s + 3.0:
            wild = {field: chance.uniform(*_EDGES[field]) for field in chance.sample(sorted(_EDGES), 8)}
            events += coach.feed(msgspec.structs.replace(sample, **wild), ARRIVAL_S + at(sample))
        else:
            events += coach.feed(sample, ARRIVAL_S + at(sample))
    _check_rules(events)


# ---- what never reaches the coach ----------------------------------------------------------------------------------

_FEED = "name = 'all'\n[decode]\nformat = 'json'\n[channels]\n" + "\n".join(
    f"{name} = {{ field = '{name}' }}" for name in CHANNELS
)


@pytest.mark.parametrize("wild", [nan, inf, -inf, 9e99, -9e99, "abc", "", None, [], True])
def test_no_wild_number_reaches_the_coach(wild: object) -> None:
    """NaN, infinities, 9e99, text and nonsense in any field: the sample holds None there, or there is no sample."""
    mapper = Mapper(load_feed(_FEED, "feed all"))
    for name in CHANNELS:
        fields: dict[str, object] = {"time_s": 5.0, "ias_kt": 40.0, name: wild}
        sample = mapper.sample(fields)  # type: ignore[arg-type]
        if sample is not None:
            value = getattr(sample, name)
            assert value is None or CHANNELS[name].low <= value <= CHANNELS[name].high, (name, wild, value)


def test_a_whole_flight_is_the_same_whatever_clock_its_arrivals_have() -> None:
    """Arrival clocks that start at 0, at an odd number or at a billion give the same events."""
    found = []
    for start_s in (0.0, 12_345.678, 1.7e9):
        coach, lines = _coach("oil late"), list[bytes]()
        for sample in _samples("oil late", 5.0):
            lines += map(to_json, coach.feed(sample, start_s + at(sample)))
        found.append(_flight_lines(lines))
    assert found[0] == found[1] == found[2]
    assert fly(_samples("oil late", 5.0)).warnings
