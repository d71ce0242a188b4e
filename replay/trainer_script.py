"""Keys of a drill given beforehand, so that a drill can be flown without a keyboard: one line a key press.

    1 cue+0.65          # takeoff 1: space 0.65 s after the cue can first be seen
    2 14.5              # takeoff 2: space at 14.5 s of that takeoff
    3 20 q              # takeoff 3: the key q at 20 s

Empty lines, and what follows a #, are not read.
"""

from __future__ import annotations

import re
from pathlib import Path

import msgspec

from monitor.toml_check import Faults, shown

_LINE = re.compile(r"(\d+)\s+(?:(cue)\s*\+\s*)?(\d+(?:\.\d+)?)(?:\s+(\w+))?$")


class Press(msgspec.Struct, frozen=True):
    """One key press. trial: from 1; at_s: seconds into that takeoff, or after its cue; key: its name."""

    trial: int
    at_s: float
    after_cue: bool = False
    key: str = "space"

    def due(self, t_s: float, cue_s: float | None) -> bool:
        """Whether the key has been pressed by `t_s` of its takeoff."""
        if not self.after_cue:
            return t_s >= self.at_s - 1e-6
        return cue_s is not None and t_s >= cue_s + self.at_s - 1e-6


def read_script(text: str, where: str) -> list[Press]:
    """The key presses in a script. Raises `Faults` with every faulty line."""
    faults: list[str] = []
    presses: list[Press] = []
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.partition("#")[0].strip()
        if not line:
            continue
        match = _LINE.match(line)
        if match is None:
            wanted = 'wanted a takeoff\'s number, seconds or cue+seconds, and perhaps a key: "2 cue+0.65"'
            faults.append(f"{where}: line {number}: got {shown(line)}, {wanted}")
        else:
            presses.append(Press(int(match[1]), float(match[3]), match[2] is not None, match[4] or "space"))
    if faults:
        raise Faults(faults)
    return presses


def open_script(path: str) -> list[Press]:
    """The script in a file, "-" for standard input. Raises `Faults` in words."""
    import sys

    if path == "-":
        return read_script(sys.stdin.read(), "keys (standard input)")
    try:
        return read_script(Path(path).expanduser().read_text(encoding="utf-8-sig"), f"keys {path}")
    except OSError as error:
        raise Faults([f"keys {path}: cannot be read: {error.strerror or error}"]) from None
    except UnicodeDecodeError:
        raise Faults([f"keys {path}: not UTF-8 text"]) from None
