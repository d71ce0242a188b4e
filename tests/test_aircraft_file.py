"""Aeroplane profiles: what a file gives, what it may leave out, and every fault at once."""

from __future__ import annotations

import pytest

from adapters import library
from monitor.aircraft import Band
from monitor.aircraft_file import INSTRUMENTS, load_aircraft
from monitor.sample import CHANNELS
from monitor.toml_check import Faults

WHOLE = """
name = "Example trainer"
propeller = "fixed"
gear = "tricycle"

[speeds_kias]
rotate = 52
lift_off = 56
best_rate = 72
best_angle = 60
best_glide = 65
stall_flaps = 40
stall_clean = 45
flaps_extended_max = 85
never_exceed = 150

[rotation]
pitch_target_deg = 8
pitch_max_deg = 13

[flaps]
takeoff_deg = 0

[engine.rpm]
takeoff_min = 2150
green = [2100, 2600]
red_line = 2600

[engine.oil_pressure_psi]
green = [50, 90]
min = 25
max = 110

[engine.oil_temperature_degf]
green = [110, 220]
max = 235
"""
LEAST = 'name = "x"\n[speeds_kias]\nrotate = 52\nbest_rate = 72\n'


def _faults(text: str) -> tuple[str, ...]:
    with pytest.raises(Faults) as caught:
        load_aircraft(text, "aircraft example.toml")
    return caught.value.faults


def test_a_whole_profile_is_read_as_written() -> None:
    """Every value of a complete file lands in the field of its name."""
    aircraft = load_aircraft(WHOLE, "aircraft example.toml")
    assert (aircraft.name, aircraft.propeller, aircraft.gear) == ("Example trainer", "fixed", "tricycle")
    speeds = aircraft.speeds_kias
    assert (speeds.rotate, speeds.lift_off, speeds.best_rate, speeds.best_angle) == (52, 56, 72, 60)
    assert (speeds.best_glide, speeds.stall_flaps, speeds.stall_clean) == (65, 40, 45)
    assert (speeds.flaps_extended_max, speeds.never_exceed) == (85, 150)
    assert (aircraft.pitch_target_deg, aircraft.pitch_max_deg, aircraft.takeoff_flaps_deg) == (8, 13, 0)
    assert (aircraft.rpm_takeoff_min, aircraft.rpm_red_line) == (2150, 2600)
    assert aircraft.instruments["rpm"] == Band(green=(2100, 2600), max=2600)
    assert aircraft.instruments["oil_pressure_psi"] == Band(green=(50, 90), min=25, max=110)
    assert aircraft.instruments["oil_temperature_degf"] == Band(green=(110, 220), max=235)
    assert aircraft.text == WHOLE


def test_what_is_left_out_is_none_and_lift_off_is_rotate_plus_three() -> None:
    """Only name, rotate and best_rate have to be there; lift-off speed defaults to 3 kt above rotation."""
    aircraft = load_aircraft(LEAST, "aircraft example.toml")
    assert aircraft.speeds_kias.lift_off == 55
    assert aircraft.speeds_kias.best_glide is None
    assert aircraft.instruments == {}
    assert aircraft.rpm_takeoff_min is None


def test_any_instrument_may_be_marked_under_engine_or_systems() -> None:
    """Each instrument channel takes a table with green, caution, min and max in either group."""
    for group in ("engine", "systems"):
        for channel in INSTRUMENTS:
            top = CHANNELS[channel].high
            arcs = f"green = [{top / 4}, {top / 2}]\ncaution = [{top / 2}, {top * 0.7}]"
            marks = f"{arcs}\nmin = {top / 8}\nmax = {top * 0.8}"
            band = load_aircraft(f"{LEAST}[{group}.{channel}]\n{marks}\n", "x").instruments[channel]
            assert band == Band((top / 4, top / 2), (top / 2, top * 0.7), top / 8, top * 0.8)


def test_five_different_faults_are_told_at_once() -> None:
    """A syntactically good file with five faults gives five lines, each with its own place."""
    bad = (
        WHOLE.replace("green = [50, 90]", "green = [-5, 90]")
        .replace('propeller = "fixed"', 'propeller = "fixd"')
        .replace("rotate = 52", 'rotate = "fast"')
        .replace("takeoff_deg = 0", "takeof_deg = 0")
        .replace("pitch_max_deg = 13", "pitch_max_deg = 7")
    )
    faults = _faults(bad)
    assert len(faults) == 5
    for place in (
        "aircraft example.toml: engine.oil_pressure_psi.green[0]: got -5, wanted 0 or more",
        'aircraft example.toml: propeller: got "fixd", wanted "fixed" or "constant-speed"',
        'aircraft example.toml: speeds_kias.rotate: got "fast", wanted a number, 15 to 400 kt',
        'aircraft example.toml: flaps.takeof_deg: not a known key (did you mean "takeoff_deg"?)',
        "aircraft example.toml: rotation.pitch_max_deg: got 7, wanted more than 8 (pitch_target_deg)",
    ):
        assert any(fault.startswith(place) for fault in faults), place


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ("rotate = 52", "rotate = 45", "speeds_kias.rotate: got 45, wanted more than 45 (stall_clean)"),
        ("lift_off = 56", "lift_off = 50", "speeds_kias.lift_off: got 50, wanted 52 (rotate) or more"),
        ("best_angle = 60", "best_angle = 73", "speeds_kias.best_rate: got 72, wanted 73 (best_angle) or more"),
        ("stall_flaps = 40", "stall_flaps = 46", "speeds_kias.stall_clean: got 45, wanted 46 (stall_flaps) or more"),
        ("never_exceed = 150", "never_exceed = 80", "speeds_kias.never_exceed: got 80, wanted 85 (flaps_extended_max)"),
        ("best_glide = 65", "best_glide = 45", "speeds_kias.best_glide: got 45, wanted more than 45 (stall_clean)"),
        ("min = 25", "min = 60", "engine.oil_pressure_psi.green[0]: got 50, wanted 60 (min) or more"),
        ("max = 110", "max = 80", "engine.oil_pressure_psi.green[1]: got 90, wanted 80 (max) or less"),
        (
            "green = [2100, 2600]",
            "green = [2100, 2700]",
            "engine.rpm.green[1]: got 2700, wanted 2600 (red_line) or less",
        ),
        ("takeoff_min = 2150", "takeoff_min = 2650", "engine.rpm.takeoff_min: got 2650, wanted less than 2600"),
        ("red_line = 2600", "red_line = 2600\nmax = 2500", "engine.rpm.green[1]: got 2600, wanted 2500 (max) or less"),
        ("[engine.rpm]", "[engine.rmp]", 'engine.rmp: not an instrument (did you mean "rpm"?)'),
        ("[flaps]", "[flaps.x]", "flaps.x: not a known key"),
        ("[speeds_kias]", "[speeds]", "speeds_kias: got nothing, wanted a table [speeds_kias]"),
    ],
)
def test_values_that_contradict_each_other_are_faults(old: str, new: str, place: str) -> None:
    """Speeds out of order, bands outside their red lines and misplaced tables are told with both values."""
    faults = _faults(WHOLE.replace(old, new, 1))
    assert any(fault.startswith(f"aircraft example.toml: {place}") for fault in faults), faults


def test_an_instrument_in_both_groups_is_a_fault() -> None:
    """Two tables for one instrument would leave it open which one holds."""
    faults = _faults(WHOLE + "[systems.oil_pressure_psi]\ngreen = [50, 90]\n")
    assert faults == (
        "aircraft example.toml: systems.oil_pressure_psi: given twice, wanted it in [engine] or in [systems] only",
    )


def test_with_takeoff_flaps_rotation_may_be_below_the_clean_stall() -> None:
    """With flaps set for takeoff only the flaps-down stall speed bounds rotation."""
    text = LEAST.replace("rotate = 52", "rotate = 52\nstall_clean = 53\nstall_flaps = 44")
    assert "speeds_kias.rotate" in _faults(text)[0]
    assert load_aircraft(text + "[flaps]\ntakeoff_deg = 10\n", "x").takeoff_flaps_deg == 10


@pytest.mark.parametrize("name", library.builtin_names(library.AIRCRAFT))
def test_the_built_in_aeroplanes_say_that_they_are_invented(name: str) -> None:
    """Each shipped profile loads without fault and says in its name and its text that it is invented."""
    aircraft = library.open_aircraft(name)
    assert "invented" in aircraft.name
    assert "every number is invented" in aircraft.text
    assert {"rpm", "oil_pressure_psi", "oil_temperature_degf"} <= set(aircraft.instruments)


def test_the_built_in_aeroplanes_have_both_kinds_of_propeller() -> None:
    """The two shipped trainers differ in propeller and in rotation speed."""
    found = [library.open_aircraft(name) for name in library.builtin_names(library.AIRCRAFT)]
    assert {one.propeller for one in found} >= {"fixed", "constant-speed"}
    assert len({one.speeds_kias.rotate for one in found}) == len(found)


def test_a_short_field_may_have_a_vr_of_its_own() -> None:
    """VR 49 on a short field, and lift-off as much sooner; a profile without one keeps the VR it has."""
    own = load_aircraft(WHOLE.replace("rotate = 52", "rotate = 52\nrotate_short_field = 49"), "x").for_short_field()
    assert (own.speeds_kias.rotate, own.speeds_kias.lift_off) == (49.0, 53.0)
    same = load_aircraft(WHOLE, "x")
    assert same.for_short_field() == same


@pytest.mark.parametrize("kt", [53, 40])
def test_a_short_fields_vr_lies_between_stall_and_vr(kt: int) -> None:
    """Above VR, or not above the stall with flaps, it is a slip of the pen and told with its place."""
    with pytest.raises(Faults) as told:
        load_aircraft(WHOLE.replace("rotate = 52", f"rotate = 52\nrotate_short_field = {kt}"), "x")
    assert any("rotate_short_field" in fault or "speeds_kias.rotate" in fault for fault in told.value.faults)
