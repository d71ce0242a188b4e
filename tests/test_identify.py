"""Field identification on a flight of an independent flight-dynamics model, its fields shuffled, unlabelled, mixed.

The outside judge is jsbsim 1.3.3 (general flight-dynamics library): its own values, units and signs are the truth.
"""

from __future__ import annotations

import math
import random
import struct
import tomllib
from collections.abc import Callable, Sequence

import numpy as np
import pytest

from adapters.feed import load_feed
from adapters.identify import identify
from adapters.identify_assign import assign
from adapters.identify_physics import G_KT_PER_S, density_ratio, pressure_ratio
from adapters.identify_solve import Solution, solve
from adapters.identify_steps import Answers, Typed, Window
from adapters.identify_table import Table, make_table, unwrapped
from adapters.identify_toml import LEAST_CONFIDENCE, channel_line
from adapters.pipeline import make_pipeline
from adapters.ports import Packet
from tests.identify_flight import Flight, guided_flight
from tests.identify_shuffle import ASKED, Shuffled, shuffle

WINDS = ((-6.0, 12.0), (0.0, 0.0), (10.0, 5.0), (3.0, -8.0))
UNIT_FREE = ("", "1")


def flight_of(seed: int, model: str = "c172p") -> Flight:
    """One of four flights, in different winds."""
    return guided_flight(WINDS[seed % 4], seed % 4 + 1, model)


def answers_of(flight: Flight, steps: float = 1.0, readings: float = 1.0, seed: int = 0) -> Answers:
    """What the pilot did and typed; steps, readings: the share of each that is kept."""
    rng = random.Random(seed)
    windows = [Window(s.id, s.from_s, s.to_s) for s in flight.steps if rng.random() < steps]
    typed = [Typed(r.channel, r.at_s, r.value) for r in flight.readings if rng.random() < readings]
    return Answers(tuple(windows), tuple(typed))


def wrong(found: object, made: Shuffled, channel: str) -> str | None:
    """What is wrong with a proposal: the field, the unit or the sign; None when all three are right."""
    truth = made.truth.get(channel)
    if truth is None:
        return f"{channel}: not in the feed at all"
    field, reading = found.field, found.reading  # type: ignore[attr-defined]
    if field != truth.field:
        return f"{channel}: got {made.names[field]}"
    if truth.unit not in UNIT_FREE and reading.unit != truth.unit:
        return f"{channel}: got {reading.unit}, sent in {truth.unit}"
    return None if reading.flip == truth.flipped else f"{channel}: the sign is wrong"


@pytest.mark.long
@pytest.mark.parametrize("seed", range(300, 312))
def test_another_aeroplane(seed: int) -> None:
    """The same on 12 shuffles of another model (180 hp, weaker climb, other weights of the controls)."""
    check_shuffle(seed, 0.003, "c172r")


def check_shuffle(seed: int, noise: float, model: str = "c172p") -> None:
    """All that was asked for is found, with unit and sign; nothing wrong is called sure, asked for or not."""
    flight = flight_of(seed, model)
    made = shuffle(flight, seed, noise)
    result = identify(Table(flight.t_s, made.columns), answers_of(flight))
    found = {one.channel: one for one in result.found}
    assert [channel for channel in ASKED if channel not in found] == []
    assert [text for channel in ASKED if (text := wrong(found[channel], made, channel))] == []
    assert [c for c, one in found.items() if one.word == "sure" and wrong(one, made, c)] == []
    assert all(found[channel].confidence > LEAST_CONFIDENCE for channel in ASKED)


@pytest.mark.parametrize("seed", [1, 3])
def test_shuffled_unlabelled_fields_in_mixed_units_are_told_apart(seed: int) -> None:
    """Airspeed, altitude, height, heading, pitch, bank, rpm, throttle, both oil gauges: field, unit and sign right."""
    check_shuffle(seed, 0.002)


@pytest.mark.long
@pytest.mark.parametrize("noise", [0.0005, 0.01])
@pytest.mark.parametrize("seed", range(100, 124))
def test_forty_eight_more_shuffles(seed: int, noise: float) -> None:
    """The same on 48 further shuffles, half of them with five times the noise."""
    check_shuffle(seed, noise)


@pytest.mark.parametrize("seed", [5, 6])
def test_with_half_of_the_answers_nothing_wrong_is_called_sure(seed: int) -> None:
    """When steps are skipped and readings left out, a wrong proposal is never called sure."""
    check_honesty(seed)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(200, 230))
def test_honesty_on_thirty_more(seed: int) -> None:
    """The same on 30 further flights with other steps and readings left out."""
    check_honesty(seed)


def check_honesty(seed: int) -> None:
    """A wrong one is never called sure."""
    flight = flight_of(seed)
    made = shuffle(flight, seed, 0.004)
    result = identify(Table(flight.t_s, made.columns), answers_of(flight, 0.6, 0.5, seed))
    assert [(one.channel, text) for one in result.found if one.word == "sure"
            and (text := wrong(one, made, one.channel))] == []  # fmt: skip


def test_what_no_answer_can_show_is_said_to_be_missing() -> None:
    """Without a typed reading no oil gauge is found among look-alikes, and the result says so and why."""
    flight = flight_of(1)
    made = shuffle(flight, 7)
    result = identify(Table(flight.t_s, made.columns), answers_of(flight, readings=0.0))
    missing = dict(result.missing)
    for channel in ("oil_pressure_psi", "oil_temperature_degf"):
        found = result.channel(channel)
        assert channel in missing or (found is not None and found.word == "unsure"), channel
    assert all("typed" in why or "fits another" in why for why in missing.values())


def test_two_fields_that_cannot_be_told_apart_make_it_unsure() -> None:
    """A field that shows what the tachometer shows but for 15 rev/min, within what was read, is named as a rival."""
    flight = flight_of(1)
    columns: dict[str | int, np.ndarray] = {0: flight.truth["rpm"], 1: flight.truth["altitude_ft"]}
    rpm = flight.truth["rpm"]
    columns[2] = rpm + 15 * np.sin(flight.t_s / 3) + 40 * (rpm > 2500)
    found = identify(Table(flight.t_s, columns), answers_of(flight)).channel("rpm")
    assert found is not None
    assert found.field == 0 or found.rivals
    assert found.word != "sure"
    assert any("field 2" in rival or "field 0" in rival for rival in found.rivals)


def test_one_reading_that_happens_to_fit_is_no_proof() -> None:
    """A lone meaningless field that shows 27.5 when a bus voltage of 27.5 is typed is not even likely to be it."""
    t = np.arange(0.0, 60.0, 0.05)
    walk = 27.5 + np.cumsum(np.random.default_rng(2).normal(0, 0.005, len(t)))
    typed = Typed("bus_v", 30.0, float(walk[600]))
    found = identify(Table(t, {"x": walk}), Answers((), (typed,))).channel("bus_v")
    assert found is None or found.word == "unsure"


def test_the_same_quantity_in_two_units_is_no_reason_to_doubt() -> None:
    """A feed that sends its speed in knots and in metres a second too leaves the airspeed as sure as before."""
    flight = flight_of(1)
    columns: dict[str | int, np.ndarray] = {i: flight.truth[name] for i, name in enumerate(ASKED)}
    alone = identify(Table(flight.t_s, dict(columns)), answers_of(flight)).channel("ias_kt")
    columns[99] = flight.truth["ias_kt"] * 1852 / 3600
    both = identify(Table(flight.t_s, columns), answers_of(flight)).channel("ias_kt")
    assert alone is not None and both is not None
    assert both.field in (0, 99)
    assert both.confidence == pytest.approx(alone.confidence, abs=0.01)


def test_only_meaningless_fields_give_nothing_sure() -> None:
    """Counters, constants, hours, noise and random walks alone: no channel but a clock is called sure or likely."""
    flight = flight_of(2)
    made = shuffle(flight, 11)
    meaningless = {f: c for f, c in made.columns.items() if made.names[int(f)] not in flight.truth | flight.decoys}
    result = identify(Table(flight.t_s, meaningless), answers_of(flight))
    assert len(meaningless) > 10
    assert [found.channel for found in result.found if found.word != "unsure" and found.channel != "time_s"] == []


def test_gaps_infinities_and_wild_values_do_not_mislead() -> None:
    """A tenth of all values NaN, some infinite and some a million times too large: the same answers."""
    flight = flight_of(1)
    made = shuffle(flight, 21)
    noisy = np.random.default_rng(21)
    for field, column in made.columns.items():
        hurt = column.copy()
        hurt[noisy.random(len(hurt)) < 0.1] = np.nan
        hurt[noisy.integers(0, len(hurt), 5)] = np.inf
        hurt[noisy.integers(0, len(hurt), 3)] *= 1e6
        made.columns[field] = hurt
    table = make_table((t, {f: c[i] for f, c in made.columns.items()}) for i, t in enumerate(flight.t_s))
    result = identify(table, answers_of(flight))
    problems = [wrong(one, made, c) if (one := result.channel(c)) else f"{c}: not found" for c in ASKED]
    assert [text for text in problems if text] == []


def test_an_altimeter_set_to_another_pressure_gets_its_offset() -> None:
    """Readings that differ from the field by the same 312 ft each time give the altitude an offset of 312 ft."""
    flight = flight_of(1)
    answers = answers_of(flight)
    typed = tuple(Typed(t.channel, t.at_s, t.value + 312 * (t.channel == "altitude_ft")) for t in answers.typed)
    columns: dict[str | int, np.ndarray] = {i: flight.truth[name] for i, name in enumerate(ASKED)}
    found = identify(Table(flight.t_s, columns), Answers(answers.windows, typed)).channel("altitude_ft")
    assert found is not None and found.field == 1
    assert found.reading.trim == pytest.approx(312, abs=25)


@pytest.mark.parametrize(("low", "high"), [(0.0, 16384.0), (255.0, 0.0), (-1.0, 1.0), (1000.0, 2000.0)])
def test_a_lever_sent_as_counts_is_scaled_by_its_travel(low: float, high: float) -> None:
    """A throttle sent as counts of a converter, either way round, comes out as 0 closed and 1 full."""
    flight = flight_of(1)
    columns: dict[str | int, np.ndarray] = {i: flight.truth[name] for i, name in enumerate(ASKED)}
    at = ASKED.index("throttle")
    columns[at] = low + (high - low) * flight.truth["throttle"]
    found = identify(Table(flight.t_s, columns), answers_of(flight)).channel("throttle")
    assert found is not None and found.field == at
    reading = found.reading
    assert [end * reading.factor + reading.offset for end in (low, high)] == pytest.approx([0, 1], abs=0.02)
    line = tomllib.loads(channel_line(found, found.field))["throttle"]
    mapped = [end * line.get("factor", 1) + line.get("offset", 0) for end in (low, high)]
    assert mapped == pytest.approx([0, 1], abs=0.02)


def test_flaps_that_are_no_angle_are_pointed_out() -> None:
    """Flaps sent as a share of their travel are not made degrees of, but the field is named."""
    flight = flight_of(1)
    columns: dict[str | int, np.ndarray] = {i: flight.truth[name] for i, name in enumerate(ASKED)}
    columns[77] = flight.truth["flaps_deg"] / 30
    result = identify(Table(flight.t_s, columns), answers_of(flight))
    assert result.channel("flaps_deg") is None
    assert any("field 77 moves with the flaps" in note for note in result.notes)


def test_wheels_stand_at_height_nought() -> None:
    """A height of the centre of gravity (4.4 ft at rest in this model) gets the offset that makes it 0 at rest."""
    flight = flight_of(1)
    columns: dict[str | int, np.ndarray] = {i: flight.truth[name] for i, name in enumerate(ASKED)}
    columns[2] = columns[2] * 0.3048
    found = identify(Table(flight.t_s, columns), answers_of(flight)).channel("height_ft")
    assert found is not None and (found.field, found.reading.unit) == (2, "m")
    assert found.reading.trim == pytest.approx(-4.36 * 0.3048, abs=0.05)


@pytest.mark.parametrize("rows", [0, 1, 5, 19])
def test_too_short_a_stream_is_said_to_be_so(rows: int) -> None:
    """Fewer than two seconds of records give no proposal, and a note."""
    flight = flight_of(1)
    table = make_table((t, {"a": 1.0 * i}) for i, t in enumerate(flight.t_s[:rows]))
    result = identify(table)
    assert result.found == ()
    assert any("short" in note for note in result.notes)


Encode = Callable[[Sequence[float]], bytes]


def _packed(order: str, code: str, head: bytes) -> Encode:
    return lambda row: head + struct.pack(f"{order}{len(row)}{code}", *row)


def _indexed(row: Sequence[float]) -> bytes:
    groups = [row[i : i + 3] for i in range(0, len(row) - len(row) % 3, 3)]
    return b"FEED\x00" + b"".join(struct.pack("<i3f", 7 + 2 * i, *group) for i, group in enumerate(groups))


def _text(separator: str, decimal: str = ".") -> Encode:
    return lambda row: (separator.join(f"{v:.7g}".replace(".", decimal) for v in row) + "\n").encode()


def _json(row: Sequence[float]) -> bytes:
    return ("{" + ", ".join(f'"k{i}": {v:.7g}' for i, v in enumerate(row)) + "}").encode()


def _pairs(row: Sequence[float]) -> bytes:
    return (" ".join(f"k{i}={v:.7g}" for i, v in enumerate(row)) + "\n").encode()


FORMATS: dict[str, Encode] = {
    "text": _text(","),
    "packed little float32": _packed("<", "f", b"HEAD*"),
}
MORE_FORMATS: dict[str, Encode] = {
    "text with decimal commas": _text(";", ","),
    "JSON": _json,
    "pairs": _pairs,
    "packed big float32": _packed(">", "f", b""),
    "packed little float64": _packed("<", "d", b"\x01\x02\x03"),
    "packed big float64": _packed(">", "d", b"\xff\xfe\x07\x08\x09\x0a\x0b"),
    "packed records": _indexed,
}


@pytest.mark.parametrize("name", FORMATS)
def test_the_description_written_gives_the_true_samples(name: str) -> None:
    """From bytes of unknown format to a description that loads and maps every packet to the model's own values."""
    check_description(FORMATS[name])


@pytest.mark.long
@pytest.mark.parametrize("name", MORE_FORMATS)
def test_descriptions_of_more_formats(name: str) -> None:
    """The same for seven further formats, both byte orders and both float sizes among them."""
    check_description(MORE_FORMATS[name])


CLOSE = {  # how near the mapped value must be to the model's, with the noise of this shuffle and float32's rounding
    "ias_kt": 0.6, "altitude_ft": 8.0, "height_ft": 12.0, "heading_deg": 0.8, "pitch_deg": 0.1, "bank_deg": 0.3,
    "rpm": 12.0, "throttle": 0.01, "oil_pressure_psi": 0.3, "oil_temperature_degf": 0.4,
}  # fmt: skip


def solution_of(encode: Encode, seed: int = 3) -> tuple[Flight, list[Packet], Solution]:
    """A shuffled flight as packets, and what was made of it."""
    flight = flight_of(seed)
    made = shuffle(flight, seed, 0.0005)
    rows = np.stack([made.columns[i] for i in range(len(made.columns))], axis=1)
    sent = zip(flight.t_s[::2], rows[::2], strict=True)
    packets = [Packet(round(t * 1e9), "192.0.2.7:40000", encode(row.tolist())) for t, row in sent]
    return flight, packets, solve(packets, answers_of(flight))


def check_description(encode: Encode) -> None:
    """The feed description loads, and its samples are the truth."""
    flight, packets, solution = solution_of(encode)
    feed = load_feed(solution.toml("unknown", ['kind = "udp"', "port = 5501"]), "feed found")
    pipeline = make_pipeline(feed)
    samples = [pipeline(packet.payload, packet.arrival_ns)[0] for packet in packets]
    for channel, close in CLOSE.items():
        got = [getattr(sample, channel) for sample in samples]
        pairs = [(a, b) for a, b in zip(got, flight.truth[channel][::2], strict=True) if a is not None]
        assert len(pairs) > 0.9 * len(got), channel
        off = [abs((a - b + 180) % 360 - 180) if channel == "heading_deg" else abs(a - b) for a, b in pairs]
        if channel == "height_ft":
            off = [abs(a - (b - 4.36)) for a, b in pairs]  # the model's height is of its centre of gravity
        assert np.percentile(off, 99) < close, channel


def test_junk_from_a_louder_sender_does_not_hide_the_feed() -> None:
    """With three times as many packets of noise from another address, the feed's own sender is taken."""
    flight, packets, _ = solution_of(FORMATS["text"])
    noisy = np.random.default_rng(1)
    junk = [Packet(p.arrival_ns + i, "192.0.2.66:1", noisy.bytes(200)) for p in packets for i in range(3)]
    solution = solve(sorted([*packets, *junk], key=lambda packet: packet.arrival_ns), answers_of(flight))
    assert solution.sender == "192.0.2.7:40000"
    assert solution.guess is not None and "text" in solution.guess.words


def test_labels_help_but_cannot_overrule_what_is_seen() -> None:
    """Names that are swapped between pitch and bank do not swap the channels: what moved when decides."""
    flight = flight_of(1)
    other = {"pitch_deg": "bank_deg", "bank_deg": "pitch_deg"}
    columns: dict[str | int, np.ndarray] = {other.get(name, name): flight.truth[name] for name in ASKED}
    result = identify(Table(flight.t_s, columns), answers_of(flight))
    pitch, bank = result.channel("pitch_deg"), result.channel("bank_deg")
    assert pitch is not None and bank is not None
    assert (pitch.field, bank.field) == ("bank_deg", "pitch_deg")


def test_the_best_assignment_is_found() -> None:
    """On 200 random tables of points the assignment is as good as the best of all permutations tried in turn."""
    import itertools

    rng = random.Random(4)
    for _ in range(200):
        scores = {f"c{i}": {j: rng.uniform(-2, 10) for j in range(4) if rng.random() < 0.8} for i in range(4)}
        got = assign(scores, 0.0)
        total = sum(scores[name][column] for name, column in got.items())
        best = max(
            sum(max(0.0, scores[f"c{i}"].get(p[i], 0.0)) for i in range(4)) for p in itertools.permutations(range(4))
        )
        assert len(set(got.values())) == len(got)
        assert total == pytest.approx(best)


@pytest.mark.parametrize(
    ("altitude_ft", "sigma", "delta"), [(1000, 0.9711, 0.9644), (5000, 0.8617, 0.8320), (10000, 0.7385, 0.6877)]
)
def test_the_standard_atmosphere_is_the_published_one(altitude_ft: float, sigma: float, delta: float) -> None:
    """Density and pressure ratios agree with the ICAO standard atmosphere (Doc 7488) as tabulated to four digits."""
    at = np.array([altitude_ft], dtype=float)
    assert density_ratio(at)[0] == pytest.approx(sigma, abs=1e-4)
    assert pressure_ratio(at)[0] == pytest.approx(delta, abs=1e-4)


def test_the_rate_of_turn_is_that_of_a_coordinated_turn() -> None:
    """At 100 kt and 45 deg of bank the formula turns 10.9 deg/s: g / V, V 51.444 m/s, g 9.80665 (CGPM 1901)."""
    assert math.degrees(G_KT_PER_S * math.tan(math.radians(45)) / 100) == pytest.approx(10.92, abs=0.01)


def test_only_a_compass_is_unwrapped() -> None:
    """A jump of a full turn is taken out of a heading in degrees or radians, and out of nothing else."""
    heading = np.concatenate((np.linspace(300, 359, 60), np.linspace(0, 50, 50)))
    assert np.max(np.abs(np.diff(unwrapped(heading)))) < 2
    assert np.max(np.abs(np.diff(unwrapped(np.radians(heading))))) < 0.05
    altitude = np.concatenate((np.full(50, 600.0), np.full(50, 960.0), np.linspace(960, 4000, 50)))
    assert np.array_equal(unwrapped(altitude), altitude)
