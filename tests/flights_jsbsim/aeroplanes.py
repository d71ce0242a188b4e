"""The library's aeroplanes used by the tests, with what their pilot needs to know, and a running model of one.

The aeroplane files stay in the installed library; where one needs a change to be usable (main wheels that castor
freely), a temporary copy is changed, never the library's own. Speeds are measured from the models on test flights.
"""

from __future__ import annotations

import atexit
import functools
import os
import re
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("JSBSIM_DEBUG", "0")

import jsbsim

STEP_S = 1.0 / 120.0
"""The model's time step."""


@dataclass(frozen=True)
class Aeroplane:
    """One aeroplane of the library as the test pilot flies it; speeds in KIAS, angles in degrees.

    profile: its file in profiles/. rotate_pitch_deg: attitude of rotation above that of the roll. loads_lb: weights
    of the point masses, light to heavy (mixed by a scenario's `load`). castor: main wheels need the change
    described above."""

    key: str
    model: str
    profile: str
    rotate_kt: float
    best_rate_kt: float
    best_angle_kt: float
    rotate_pitch_deg: float
    climb_pitch_deg: float
    loads_lb: tuple[tuple[float, float], ...]
    fuel_lb: tuple[float, float]
    constant_speed: bool = False
    castor: bool = False
    tailwheel: bool = False
    flap_step: float = 1.0 / 3.0
    elevator_gain: float = 1.0
    pull: float = 0.0
    start_height_ft: float = 4.6


AEROPLANES: dict[str, Aeroplane] = {
    a.key: a
    for a in (
        Aeroplane(
            "c172p",
            "c172p",
            "c172p",
            55,
            74,
            62,
            6.0,
            8.0,
            ((160, 190), (0, 170), (0, 120), (0, 120), (0, 60)),
            (100, 220),
        ),
        Aeroplane("c172r", "c172r", "c172r", 55, 78, 64, 6.0, 7.0, ((150, 190), (0, 180), (0, 120)), (110, 250)),
        Aeroplane(
            "pa28",
            "pa28",
            "pa28",
            60,
            79,
            66,
            6.0,
            7.0,
            ((160, 600),),
            (110, 260),
            True,
            True,
            pull=0.45,
            elevator_gain=1.5,
        ),
        Aeroplane("c182", "c182", "c182", 58, 82, 66, 6.0, 8.0, ((160, 600),), (120, 300), True, True),
        Aeroplane("J3Cub", "J3Cub", "j3cub", 42, 55, 48, 4.0, 8.0, ((130, 200),), (40, 70), False, False, True),
    )
}


@functools.cache
def _changed_root() -> str:
    """A temporary copy of the library's aeroplane folders whose main wheels do not castor; removed at exit."""
    root = Path(jsbsim.get_default_root_dir())
    copy = Path(tempfile.mkdtemp(prefix="flights-jsbsim-"))
    atexit.register(shutil.rmtree, copy, True)
    for model in ("pa28", "c182"):
        shutil.copytree(root / "aircraft" / model, copy / "aircraft" / model)
        path = copy / "aircraft" / model / f"{model}.xml"
        text = path.read_text(encoding="utf-8", errors="replace")
        path.write_text(re.sub(r"(<max_steer[^>]*>)\s*360(\.0)?\s*<", r"\1 0.0 <", text), encoding="utf-8")
    return str(copy)


def load_model(aeroplane: Aeroplane) -> jsbsim.FGFDMExec:
    """A new executive with the aeroplane loaded at 120 Hz, quiet, not yet initialised."""
    fdm = jsbsim.FGFDMExec(None)
    fdm.set_debug_level(0)
    if aeroplane.castor:
        fdm.set_aircraft_path(str(Path(_changed_root()) / "aircraft"))
    fdm.load_model(aeroplane.model)
    fdm.set_dt(STEP_S)
    return fdm


PROFILES = Path(__file__).parent / "profiles"


def profile_text(key: str) -> str:
    """The aeroplane's test profile, as TOML text."""
    return (PROFILES / f"{AEROPLANES[key].profile}.toml").read_text(encoding="utf-8")
