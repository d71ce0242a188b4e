"""The library's own UDP output of a test flight: sent live to a port, or captured for a test without a program.

The bytes are the library's, not ours. What it does (facts of jsbsim 1.3.3): one text line a datagram, the header line
once, when the model is initialised, with one field more than the data (`<LABELS> `), numbers padded with spaces.
"""

from __future__ import annotations

import functools
import os
import socket
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.flights_jsbsim.aeroplanes import STEP_S
from tests.flights_jsbsim.flight import Truth, truth_of
from tests.flights_jsbsim.pilot import Pilot, Raw
from tests.flights_jsbsim.scenario import Scenario

# caption, the library's property, our channel, the feed's mapping of it
_OUTPUT: tuple[tuple[str, str, str, str], ...] = (
    ("ias", "test/ias-kts", "ias_kt", ""),
    ("gs", "velocities/vg-fps", "groundspeed_kt", 'unit = "ft/s"'),
    ("alt", "position/h-sl-meters", "altitude_ft", 'unit = "m", offset = {rest_m}'),
    ("agl", "position/h-agl-ft", "height_ft", "offset = {rest_ft}"),
    ("hdot", "velocities/h-dot-fps", "vertical_speed_fpm", 'unit = "ft/s"'),
    ("theta", "attitude/theta-rad", "pitch_deg", 'unit = "rad"'),
    ("phi", "attitude/phi-deg", "bank_deg", ""),
    ("psi", "attitude/psi-deg", "heading_deg", ""),
    ("lat", "position/lat-geod-deg", "latitude_deg", ""),
    ("lon", "position/long-gc-deg", "longitude_deg", ""),
    ("rpm", "propulsion/engine/propeller-rpm", "rpm", ""),
    ("map", "propulsion/engine/map-inhg", "manifold_pressure_inhg", ""),
    ("oilp", "test/oil-pressure-psi", "oil_pressure_psi", ""),
    ("oilt", "propulsion/engine/oil-temperature-degF", "oil_temperature_degf", ""),
    ("thr", "fcs/throttle-cmd-norm", "throttle", ""),
    ("flaps", "fcs/flap-pos-deg", "flaps_deg", ""),
    ("brake", "fcs/left-brake-cmd-norm", "brake", ""),
    ("wow", "test/on-ground", "on_ground", "above = 0.5"),
    ("oat", "atmosphere/T-R", "oat_degc", 'unit = "degR"'),
)
_WHEELS = ("gear/unit[1]/WOW", "gear/unit[2]/WOW")
_MADE = ("ias-kts", "oil-pressure-psi", "on-ground")
_LEFT_OUT = frozenset({"oat"})
"""Sent, but not mapped."""


def output_directive(port: int, rate_hz: float, captions: bool = True) -> str:
    """The library's output file: UDP to the port on this computer.

    captions: False leaves out labels and precision as a user in a hurry does: the library then labels a column by
    the last part of the property's path, so that labels repeat (two wheels' WOW are added for that), with 7 digits.
    """
    if captions:
        lines = [f'  <property caption="{c}">{path}</property>' for c, path, _, _ in _OUTPUT]
    else:
        lines = [f"  <property>{path}</property>" for path in (*(p for _, p, _, _ in _OUTPUT), *_WHEELS)]
    precision = ' precision="10"' if captions else ""
    head = f'<output name="127.0.0.1" type="SOCKET" port="{port}" protocol="UDP" rate="{rate_hz:g}"{precision}>'
    return '<?xml version="1.0"?>\n' + head + "\n" + "\n".join(lines) + "\n</output>\n"


def feed_toml(port: int, rest_ft: float, missing: frozenset[str] = frozenset()) -> str:
    """A feed description for that output, the column order given for a missed header; missing: channels not to map."""
    columns = ", ".join(f'"{c}"' for c in ("Time", *(c for c, *_ in _OUTPUT)))
    lines = ['time_s = { field = "Time" }']
    for caption, _, channel, extra in _OUTPUT:
        if channel in missing or caption in _LEFT_OUT:
            continue
        more = extra.format(rest_ft=round(-rest_ft, 3), rest_m=round(-rest_ft * 0.3048, 4))
        lines.append(f'{channel} = {{ field = "{caption}"{", " + more if more else ""} }}')
    return (
        f'name = "flight model"\n\n[transport]\nkind = "udp"\nport = {port}\n\n[decode]\nformat = "delimited"\n'
        f'delimiter = ","\nheader = "optional"\ncolumns = [{columns}]\n\n[channels]\n' + "\n".join(lines) + "\n"
    )


def feed_by_number_toml(rest_ft: float) -> str:
    """A feed description of the output without captions: fields by column number, no transport, no column names."""
    lines = ["time_s = { field = 0 }"]
    for number, (caption, _, channel, extra) in enumerate(_OUTPUT, start=1):
        if caption in _LEFT_OUT:
            continue
        more = extra.format(rest_ft=round(-rest_ft, 3), rest_m=round(-rest_ft * 0.3048, 4))
        lines.append(f"{channel} = {{ field = {number}{', ' + more if more else ''} }}")
    return (
        'name = "by number"\n\n[decode]\nformat = "delimited"\ndelimiter = ","\nheader = "optional"\n\n[channels]\n'
        + "\n".join(lines)
        + "\n"
    )


class OutputPilot(Pilot):
    """A pilot whose aeroplane sends the library's own output; sensor faults of airspeed and oil pressure go with it."""

    def __init__(self, scenario: Scenario, port: int, rate_hz: float = 20.0, captions: bool = True) -> None:
        """Write the directive and load the aeroplane."""
        handle, name = tempfile.mkstemp(suffix=".xml")
        os.close(handle)
        self._file = Path(name)
        self._file.write_text(output_directive(port, rate_hz, captions), encoding="utf-8")
        super().__init__(scenario, self._file)
        manager: Any = self.fdm.get_property_manager()
        self._sent = {n: manager.get_node(f"test/{n}", True) for n in _MADE}
        self._stuck: float | None = None

    def prepare(self, settle_s: float = 5.0) -> None:
        """As the pilot does; the header goes out here."""
        super().prepare(settle_s)
        self._file.unlink(missing_ok=True)

    def step(self, t: float) -> bool:
        """One step, then what the instruments send."""
        over = super().step(t)
        fault, begun = self.s.fault, self.fault_t is not None
        ias, oil = self.ias, self.get("propulsion/engine/oil-pressure-psi")
        if fault is not None and begun:
            if fault.kind == "airspeed-dead":
                ias = fault.size
            elif fault.kind == "airspeed-stuck":
                self._stuck = ias if self._stuck is None else self._stuck
                ias = self._stuck
            elif fault.kind == "oil-pressure-low":
                oil = fault.size
        for name, value in (("ias-kts", ias), ("oil-pressure-psi", oil), ("on-ground", float(self.wheels))):
            self._sent[name].set_double_value(value)
        return over


@dataclass(frozen=True)
class Sent:
    """A flight that was sent: the record, and the truth in the feed's time."""

    raw: Raw
    truth: Truth


def fly_over_udp(pilot: OutputPilot, realtime_factor: float = 20.0) -> Sent:
    """Fly, sending as it goes, that many times faster than real time. `pilot.prepare()` may have been called before."""
    if pilot.rest_ft is None:
        pilot.prepare()
    began = time.monotonic()

    def pace(t: float) -> None:
        ahead = t / realtime_factor - (time.monotonic() - began)
        if ahead > 0.002:
            time.sleep(ahead)

    raw = pilot.fly(pace)
    return Sent(raw, truth_of(raw, pilot.t0))


@dataclass(frozen=True)
class Capture:
    """The library's own datagrams of a flight, header first, and the truth in their time."""

    datagrams: tuple[bytes, ...]
    sent: Sent
    rest_ft: float


@functools.lru_cache(maxsize=16)
def captured(scenario: Scenario, rate_hz: float = 20.0, captions: bool = True) -> Capture:
    """Fly once a process and keep every datagram, received on a socket of this process."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        receiver.bind(("127.0.0.1", 0))
        receiver.setblocking(False)
        kept: list[bytes] = []

        def drain(_: float) -> None:
            while True:
                try:
                    kept.append(receiver.recv(65536))
                except BlockingIOError:
                    return

        pilot = OutputPilot(scenario, receiver.getsockname()[1], rate_hz, captions)
        pilot.prepare()
        raw = pilot.fly(lambda t: drain(t) if round(t / STEP_S) % 6 == 0 else None)
        drain(0.0)
    return Capture(tuple(kept), Sent(raw, truth_of(raw, pilot.t0)), raw.rest_ft)
