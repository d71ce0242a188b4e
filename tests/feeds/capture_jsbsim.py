"""Captures three feed cases from the UDP output of the flight-dynamics library jsbsim 1.3.3.

`python -m tests.feeds.capture_jsbsim` from the top of the tree. The packets are the library's own; truth is read from
its properties at the moment of each packet, and turned into the channels' units with the constants of `make_feeds`.
"""

from __future__ import annotations

import json
import math
import socket
import tempfile
from pathlib import Path
from typing import Any

import jsbsim

HERE = Path(__file__).parent
KT_FPS = 1852 / 3600 / 0.3048
OUTPUTS = (  # caption, property, channel, property to the channel's unit
    ("vc", "velocities/vc-fps", "ias_kt", lambda value: value / KT_FPS),
    ("agl", "position/h-agl-ft", "height_ft", lambda value: value - 4.36),
    ("theta", "attitude/theta-rad", "pitch_deg", math.degrees),
    ("psi", "attitude/psi-rad", "heading_deg", lambda value: math.degrees(value) % 360),
    ("n", "propulsion/engine/propeller-rpm", "rpm", float),
    ("thr", "fcs/throttle-cmd-norm", "throttle", float),
    ("wow", "gear/unit[1]/WOW", "on_ground", float),
)
CHANNELS = """
[channels]
time_s      = { field = "Time" }
ias_kt      = { field = "vc", unit = "ft/s" }
height_ft   = { field = "agl", offset = -4.36 }
pitch_deg   = { field = "theta", unit = "rad" }
heading_deg = { field = "psi", unit = "rad" }
rpm         = { field = "n" }
throttle    = { field = "thr" }
on_ground   = { field = "wow", above = 0.5 }
"""
COLUMNS = 'columns = ["Time", "vc", "agl", "theta", "psi", "n", "thr", "wow"]\n'


def directive(port: int, captions: bool) -> str:
    """The output directive: each property with its caption, or without (then labels are the path's last part)."""
    rows = []
    for caption, prop, _, _ in OUTPUTS:
        name = f' caption="{caption}"' if captions else ""
        rows.append(f"<property{name}>{prop}</property>")
    rows += [] if captions else ["<property>gear/unit[0]/WOW</property>", "<property>gear/unit[2]/WOW</property>"]
    head = f'<output name="127.0.0.1" type="SOCKET" port="{port}" protocol="UDP" rate="20" precision="10">'
    return head + "".join(rows) + "</output>"


def fly(captions: bool) -> tuple[list[bytes], list[dict[str, float]]]:
    """A full-throttle roll of 12 s in still air, sampled every half second: the packets, and the truth of each."""
    receiver = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    receiver.bind(("127.0.0.1", 0))
    receiver.setblocking(False)
    model: Any = jsbsim.FGFDMExec(None)
    model.set_debug_level(0)
    model.load_model("c172p")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "out.xml"
        path.write_text(directive(receiver.getsockname()[1], captions), encoding="utf-8")
        model.set_output_directive(str(path))
        for name, value in (("ic/h-sl-ft", 0.0), ("ic/h-agl-ft", 4.36), ("ic/psi-true-deg", 355.0)):
            model[name] = value
        model.run_ic()
    packets: list[bytes] = []
    samples: list[dict[str, float]] = []
    _gather(receiver, model, packets, samples)  # the header, and the moment before the first step
    model["propulsion/set-running"] = -1
    model["fcs/mixture-cmd-norm"] = 1.0
    model["fcs/throttle-cmd-norm"] = 1.0
    while model.get_sim_time() < 12.0:
        model.run()
        _gather(receiver, model, packets, samples)
    receiver.close()
    return packets, samples


def _gather(receiver: socket.socket, model: Any, packets: list[bytes], samples: list[dict[str, float]]) -> None:
    """The packets that wait, and the truth of those that hold data."""
    while (packet := _next(receiver)) is not None:
        packets.append(packet)
        if not packet.startswith(b"<LABELS>"):
            row = {channel: turn(model[prop]) for _, prop, channel, turn in OUTPUTS}
            samples.append({"time_s": model.get_sim_time(), **row})


def _next(receiver: socket.socket) -> bytes | None:
    try:
        return receiver.recv(65535)
    except BlockingIOError:
        return None


def write(name: str, why: str, decode: str, flown: tuple[list[bytes], list[dict[str, float]]], header: bool) -> None:
    """Write one case: every tenth packet after the header."""
    packets, rows = flown
    folder = HERE / name
    folder.mkdir(exist_ok=True)
    (folder / "feed.toml").write_text(decode, encoding="utf-8")
    kept = ([packets[0]] if header else []) + packets[1::10]
    lines = ["# climbout packets 1", f"# {why}; jsbsim 1.3.3's own output"]
    lines += [f"{1000 + n * 0.5:.6f}\t127.0.0.1:40000\t{json.dumps(p.decode())}" for n, p in enumerate(kept)]
    (folder / "packets.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
    first = 2 if header else 1
    wanted = [json.dumps({"packet": first + n, **row}) for n, row in enumerate(rows[::10])]
    (folder / "expected.jsonl").write_text("\n".join(wanted) + "\n", encoding="utf-8")


def main() -> None:
    """Fly twice and write the cases."""
    flown = fly(captions=True)
    head = 'name = "Flight dynamics"\n[decode]\nformat = "delimited"\n'
    write("jsbsim-header", "the header has a field more than the data, a tag before the first comma",
          head + CHANNELS, flown, header=True)  # fmt: skip
    write("jsbsim-header-missed", "joined late", head + COLUMNS + CHANNELS, flown, header=False)
    flown = fly(captions=False)
    repeated = CHANNELS.replace('"vc"', '"vc-fps"').replace('"agl"', '"h-agl-ft"').replace('"theta"', '"theta-rad"')
    repeated = repeated.replace('"psi"', '"psi-rad"').replace('"n"', '"propeller-rpm"')
    repeated = repeated.replace('"thr"', '"throttle-cmd-norm"').replace('"wow"', '"WOW"')
    write("jsbsim-repeated-labels", "the label WOW comes three times", head + repeated, flown, header=True)


if __name__ == "__main__":
    main()
