"""The data folder, and the user's config.toml.

The data folder is `--data-dir`, else CLIMBOUT_HOME, else the usual place of the system. config.toml lies in the data
folder when one was named, else in the system's usual place for configuration.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from monitor.toml_check import Checker, Faults, Table, parse

TEXT_KEYS = ("feed", "aircraft", "procedure", "level")
NUMBER_KEYS = (
    "field_elevation_ft",
    "runway_heading_deg",
    "runway_length_ft",
    "runway_width_ft",
    "obstacle_height_ft",
    "level_off_ft",
    "pattern_height_ft",
    "headwind_kt",
    "abort_point_ft",
)
PLACE_KEYS = ("runway_start", "runway_end")
"""Two numbers each, latitude and longitude."""
VOICE_TEXT_KEYS = ("voice_name", "voice_device")
VOICE_NUMBER_KEYS = ("voice_rate", "voice_volume")
"""As `adapters.voice_options` reads them, which checks their values."""
KEEP_GB = 5.0
"""Recordings kept in the data folder, in gigabytes, when the config does not say (about 70 hours at 60 Hz)."""


def data_dir(option: str | None, env: Mapping[str, str] = os.environ) -> Path:
    """The folder that holds recordings, logbook and log file; not made here."""
    named = option or env.get("CLIMBOUT_HOME")
    if named:
        return Path(named).expanduser()
    import platformdirs

    return platformdirs.user_data_path("climbout", appauthor=False)


def path(folder: Path, env: Mapping[str, str] = os.environ) -> Path:
    """Where the user's config.toml is looked for, given the data folder in use."""
    if folder != data_dir(None, {k: v for k, v in env.items() if k != "CLIMBOUT_HOME"}):
        return folder / "config.toml"
    import platformdirs

    return platformdirs.user_config_path("climbout", appauthor=False) / "config.toml"


def load(folder: Path, env: Mapping[str, str] = os.environ) -> dict[str, Any]:
    """The user's settings, empty without a file. Raises `Faults` with every fault of the file.

    Keys: those of the tuples above, `voice` (true or false), and `keep_gb` (size of the recordings
    kept; 0 keeps all).
    """
    file = path(folder, env)
    try:
        text = file.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise Faults([f"config {file}: cannot be read: {error}"]) from None
    checker = Checker(f"config {file}")
    table = Table(checker, parse(text, f"config {file}"))
    found: dict[str, Any] = {key: table.text(key) for key in TEXT_KEYS}
    found |= {key: table.number(key) for key in NUMBER_KEYS}
    found |= {key: table.items(key) or None for key in PLACE_KEYS}
    found |= {key: table.text(key) for key in VOICE_TEXT_KEYS}
    found |= {key: table.number(key) for key in VOICE_NUMBER_KEYS}
    found["voice"] = table.boolean("voice", True) if "voice" in table else table.take("voice", "true or false")
    found["keep_gb"] = table.number("keep_gb", 0, 1e6, "GB")
    table.finish()
    checker.done()
    found |= {key: _beside(file, found[key]) for key in ("feed", "aircraft", "procedure")}
    return {key: value for key, value in found.items() if value is not None}


def _beside(config_file: Path, value: str | None) -> str | None:
    """A file named in the config is looked for beside it first; a name, or a file elsewhere, stays as it is."""
    beside = None if value is None else config_file.parent / value
    return str(beside) if beside is not None and beside.is_file() else value
