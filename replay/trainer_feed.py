"""The trainer's telemetry as anyone else's: text datagrams with a feed description of its own.

So the demo and the practice go the very way a simulator's data goes: packet, decoder, units, sample, coach. The
values travel in mixed units on purpose, as real feeds do.
"""

from __future__ import annotations

from collections.abc import Mapping

ORIGIN = "trainer"
"""The sender that the trainer's packets name."""

_FIELDS: tuple[tuple[str, str, str, float, int], ...] = (
    # channel, column, unit in the feed, channel units per feed unit, decimals
    ("time_s", "t_ms", "ms", 0.001, 0),
    ("ias_kt", "ias", "kt", 1.0, 3),
    ("groundspeed_kt", "gs", "m/s", 3600.0 / 1852.0, 4),
    ("altitude_ft", "alt", "m", 1.0 / 0.3048, 3),
    ("height_ft", "height", "m", 1.0 / 0.3048, 4),
    ("vertical_speed_fpm", "vs", "ft/min", 1.0, 2),
    ("pitch_deg", "pitch", "deg", 1.0, 3),
    ("bank_deg", "bank", "deg", 1.0, 3),
    ("heading_deg", "hdg", "deg", 1.0, 3),
    ("track_deg", "trk", "deg", 1.0, 3),
    ("latitude_deg", "lat", "deg", 1.0, 7),
    ("longitude_deg", "lon", "deg", 1.0, 7),
    ("on_ground", "wheels", "", 1.0, 0),
    ("normal_acceleration_g", "nz", "g", 1.0, 3),
    ("slip_ball", "ball", "", 1.0, 3),
    ("rpm", "rpm", "rev/min", 1.0, 1),
    ("manifold_pressure_inhg", "map", "inHg", 1.0, 2),
    ("oil_pressure_psi", "oil_p", "psi", 1.0, 2),
    ("oil_temperature_degf", "oil_t", "degF", 1.0, 1),
    ("egt_degf", "egt", "degF", 1.0, 1),
    ("cht_degf", "cht", "degF", 1.0, 1),
    ("fuel_flow_gph", "ff", "gal/h", 1.0, 2),
    ("fuel_pressure_psi", "fuel_p", "psi", 1.0, 2),
    ("fuel_quantity_gal", "fuel", "gal", 1.0, 3),
    ("suction_inhg", "suction", "inHg", 1.0, 2),
    ("ammeter_a", "amps", "A", 1.0, 1),
    ("bus_v", "volts", "V", 1.0, 2),
    ("oat_degc", "oat", "degC", 1.0, 2),
    ("throttle", "throttle", "percent", 0.01, 2),
    ("mixture", "mixture", "percent", 0.01, 2),
    ("propeller", "propeller", "percent", 0.01, 2),
    ("carburettor_heat", "carb", "", 1.0, 2),
    ("brake", "brake", "", 1.0, 3),
    ("parking_brake", "park", "", 1.0, 0),
    ("door_open", "door", "", 1.0, 0),
    ("stall_warning", "horn", "", 1.0, 0),
    ("flaps_deg", "flaps", "deg", 1.0, 2),
    ("elevator", "elev", "", 1.0, 3),
    ("aileron", "ail", "", 1.0, 3),
    ("rudder", "rud", "", 1.0, 3),
    ("elevator_trim", "trim", "", 1.0, 3),
)


def _channel_line(channel: str, column: str, unit: str) -> str:
    told = f', unit = "{unit}"' if unit else ""
    return f'{channel} = {{ field = "{column}"{told} }}'


def feed_text() -> str:
    """The trainer's feed description (TOML): delimited text on UDP, columns named in it, no header line."""
    columns = ", ".join(f'"{column}"' for _, column, *_ in _FIELDS)
    return "\n".join(
        [
            'name = "built-in trainer"',
            "[transport]",
            'kind = "udp"',
            "port = 5501",
            "[decode]",
            'format = "delimited"',
            'delimiter = ","',
            'header = "none"',
            f"columns = [{columns}]",
            "[channels]",
            *(_channel_line(channel, column, unit) for channel, column, unit, *_ in _FIELDS),
            "",
        ]
    )


def encode(values: Mapping[str, float]) -> bytes:
    """One moment as the feed sends it: a line of text; a channel that the aeroplane lacks is an empty field."""
    return (",".join(_field(values, *row) for row in _FIELDS) + "\n").encode("ascii")


def _field(values: Mapping[str, float], channel: str, _column: str, _unit: str, factor: float, decimals: int) -> str:
    value = values.get(channel)
    return "" if value is None else f"{value / factor:.{decimals}f}"
