"""An aeroplane profile from TOML text: every field checked, all faults told at once with their places."""

from __future__ import annotations

from monitor.aircraft import Aircraft, Band, Speeds
from monitor.sample import CHANNELS
from monitor.toml_check import Checker, Table, nearest, parse, plain

INSTRUMENTS: tuple[str, ...] = (
    "rpm",
    "manifold_pressure_inhg",
    "oil_pressure_psi",
    "oil_temperature_degf",
    "egt_degf",
    "cht_degf",
    "fuel_flow_gph",
    "fuel_pressure_psi",
    "fuel_quantity_gal",
    "suction_inhg",
    "ammeter_a",
    "bus_v",
    "oat_degc",
    "normal_acceleration_g",
)
"""The channels that a profile may mark with bands, in `[engine.X]` or `[systems.X]`."""

_ORDER: tuple[tuple[str, str, bool], ...] = (
    ("stall_flaps", "stall_clean", True),
    ("rotate_short_field", "rotate", True),
    ("stall_flaps", "rotate_short_field", False),
    ("rotate", "lift_off", True),
    ("lift_off", "best_rate", True),
    ("best_angle", "best_rate", True),
    ("stall_clean", "best_angle", False),
    ("stall_clean", "best_rate", False),
    ("stall_clean", "best_glide", False),
    ("stall_flaps", "flaps_extended_max", False),
    ("flaps_extended_max", "never_exceed", True),
    ("best_rate", "never_exceed", False),
    ("best_glide", "never_exceed", False),
)
"""(slower, faster, may be equal): the order that holds for every aeroplane's speeds (common practice, no source)."""


def load_aircraft(text: str, where: str) -> Aircraft:
    """The profile in `text`; `where` names it in faults ("aircraft example.toml").

    Raises `monitor.toml_check.Faults` with every fault.
    """
    checker = Checker(where)
    top = Table(checker, parse(text, where))
    name = top.text("name", required=True) or ""
    propeller = top.text("propeller", ("fixed", "constant-speed")) or "fixed"
    gear = top.text("gear", ("tricycle", "tailwheel")) or "tricycle"
    retractable = top.boolean("retractable_gear", False)
    speeds = _speeds(top.table("speeds_kias", required=True))
    pitch_target, pitch_max = _rotation(top.table("rotation"))
    flaps = _flaps(top.table("flaps"))
    _stall_below_rotate(checker, speeds, flaps)
    takeoff_min, red_line, instruments = _instruments(top)
    takeoff = top.table("takeoff")
    expected_roll = takeoff.number("expected_roll_s", 3, 120, "s")
    ground_roll = takeoff.number("ground_roll_ft", 100, 10000, "ft")
    stop = takeoff.number("stop_from_rotate_ft", 50, 10000, "ft")
    takeoff.finish()
    mixture = top.table("mixture")
    lean_height = mixture.number("lean_height_ft", 0, 15000, "ft")
    mixture.finish()
    top.finish()
    checker.done()
    return Aircraft(
        name=name,
        speeds_kias=Speeds(**speeds),  # type: ignore[arg-type]  # the checker has raised if a required one is None
        propeller=propeller,
        gear=gear,
        pitch_target_deg=pitch_target,
        pitch_max_deg=pitch_max,
        takeoff_flaps_deg=flaps,
        rpm_takeoff_min=takeoff_min,
        rpm_red_line=red_line,
        instruments=instruments,
        lean_height_ft=lean_height,
        expected_roll_s=expected_roll,
        ground_roll_ft=ground_roll,
        stop_from_rotate_ft=stop,
        retractable_gear=retractable,
        text=text,
    )


def _speeds(table: Table) -> dict[str, float | None]:
    required = ("rotate", "best_rate")
    speeds = {key: table.number(key, 15, 400, "kt", key in required) for key in Speeds.__struct_fields__}
    table.finish()
    if speeds["lift_off"] is None and speeds["rotate"] is not None and "lift_off" not in table:
        speeds["lift_off"] = speeds["rotate"] + 3
    given = "lift_off" in table  # the default, rotate + 3, is no fault of the file's
    for slower, faster, equal in _ORDER:
        if given or "lift_off" not in (slower, faster):
            _in_order(table, speeds, slower, faster, equal)
    if not given:
        _in_order(table, speeds, "rotate", "best_rate", True)
    return speeds


def _in_order(table: Table, speeds: dict[str, float | None], slower: str, faster: str, equal: bool) -> None:
    low, high = speeds[slower], speeds[faster]
    if low is None or high is None or low < high or (equal and low == high):
        return
    wanted = f"{plain(low)} ({slower}) or more" if equal else f"more than {plain(low)} ({slower})"
    table.fault(faster if faster in table else slower, f"got {plain(high)}, wanted {wanted}")


def _stall_below_rotate(checker: Checker, speeds: dict[str, float | None], flaps_deg: float) -> None:
    # With flaps set for takeoff the stall lies between the two; only the lower one is then certain.
    clean, flapped = speeds["stall_clean"], speeds["stall_flaps"]
    key = "stall_clean" if clean is not None and (flaps_deg == 0 or flapped is None) else "stall_flaps"
    stall, rotate = speeds[key], speeds["rotate"]
    if stall is not None and rotate is not None and rotate <= stall:
        checker.fault("speeds_kias.rotate", f"got {plain(rotate)}, wanted more than {plain(stall)} ({key})")


def _rotation(table: Table) -> tuple[float | None, float | None]:
    target = table.number("pitch_target_deg", 0, 30, "deg")
    most = table.number("pitch_max_deg", 1, 40, "deg")
    table.finish()
    if target is not None and most is not None and target >= most:
        table.fault("pitch_max_deg", f"got {plain(most)}, wanted more than {plain(target)} (pitch_target_deg)")
    return target, most


def _flaps(table: Table) -> float:
    takeoff = table.number("takeoff_deg", 0, 60, "deg")
    table.finish()
    return takeoff or 0.0


def _instruments(top: Table) -> tuple[float | None, float | None, dict[str, Band]]:
    takeoff_min = red_line = None
    bands: dict[str, Band] = {}
    for group_name in ("engine", "systems"):
        group = top.table(group_name)
        for channel in group:
            table = group.table(channel)
            if channel not in INSTRUMENTS:
                hint = nearest(channel, INSTRUMENTS) or f" (known: {', '.join(INSTRUMENTS)})"
                group.fault(channel, f"not an instrument{hint}")
                continue
            if channel in bands:
                group.fault(channel, "given twice, wanted it in [engine] or in [systems] only")
                continue
            extra = _rpm(table) if channel == "rpm" else None
            band = _band(table, channel)
            if extra is not None:
                takeoff_min, red_line = extra
                band = _red_line_in(table, band, red_line, takeoff_min)
            bands[channel] = band
    return takeoff_min, red_line, bands


def _rpm(table: Table) -> tuple[float | None, float | None]:
    channel = CHANNELS["rpm"]
    return tuple(table.number(key, channel.low, channel.high, channel.unit) for key in ("takeoff_min", "red_line"))  # type: ignore[return-value]


def _red_line_in(table: Table, band: Band, red_line: float | None, takeoff_min: float | None) -> Band:
    if red_line is None:
        return band
    if band.max is not None and band.max != red_line:
        table.fault("max", f"got {plain(band.max)}, wanted {plain(red_line)} (red_line) or nothing")
    if band.green is not None and band.green[1] > red_line:
        table.checker.fault(
            table.at("green") + "[1]", f"got {plain(band.green[1])}, wanted {plain(red_line)} (red_line) or less"
        )
    if takeoff_min is not None and takeoff_min >= red_line:
        table.fault("takeoff_min", f"got {plain(takeoff_min)}, wanted less than {plain(red_line)} (red_line)")
    return Band(green=band.green, caution=band.caution, min=band.min, max=red_line)


def _band(table: Table, name: str) -> Band:
    channel = CHANNELS[name]
    green = table.pair("green", channel.low, channel.high)
    caution = table.pair("caution", channel.low, channel.high)
    low = table.number("min", channel.low, channel.high, channel.unit)
    high = table.number("max", channel.low, channel.high, channel.unit)
    table.finish()
    if low is not None and high is not None and low >= high:
        table.fault("max", f"got {plain(high)}, wanted more than {plain(low)} (min)")
    _inside(table, "green", green, low, high)  # a caution arc may be marked up to or past a red line
    return Band(green=green, caution=caution, min=low, max=high)


def _inside(table: Table, key: str, arc: tuple[float, float] | None, low: float | None, high: float | None) -> None:
    if arc is None:
        return
    if low is not None and arc[0] < low:
        table.checker.fault(f"{table.at(key)}[0]", f"got {plain(arc[0])}, wanted {plain(low)} (min) or more")
    if high is not None and arc[1] > high:
        table.checker.fault(f"{table.at(key)}[1]", f"got {plain(arc[1])}, wanted {plain(high)} (max) or less")
