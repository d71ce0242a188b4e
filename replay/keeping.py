"""What a recording holds beside inputs and events, and where it is put."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import msgspec

from adapters.common import Setup
from replay.recording import Recorder, new_path, prune

FOLDER = "recordings"


def flight_meta(setup: Setup, command: str, version: str, started: datetime) -> dict[str, str | bytes]:
    """The `meta` of a flight: what was flown with what, when, and by which version."""
    return {
        "command": command,
        "version": version,
        "started": started.isoformat(timespec="seconds"),
        "feed": without_transport(setup.feed_text),
        "aircraft": setup.aircraft_text,
        "procedures": msgspec.json.encode(setup.procedure_texts),
        "options": msgspec.json.encode(setup.options),
        "aircraft values": msgspec.json.encode(setup.aircraft),
        "procedure values": msgspec.json.encode(setup.procedure),
    }


def start_recorder(
    setup: Setup,
    path: Path | None,
    data_dir: Path,
    *,
    command: str,
    version: str,
    started: datetime,
    keep_gb: float,
    tell: Callable[[str], None],
) -> Recorder:
    """A recorder on `path`, or on a new file in the data folder. Raises `Faults` when the file cannot be made.

    Older recordings in the data folder beyond `keep_gb` are deleted first, and it is told which.
    """
    folder = data_dir / FOLDER
    if path is None:
        for gone in prune(folder, keep_gb * 1e9):
            tell(f"recordings took more than {keep_gb:g} GB: deleted the oldest, {gone.name}")
        path = new_path(folder, started.strftime("%Y%m%d-%H%M%S"))
    return Recorder(path, flight_meta(setup, command, version, started), tell)


def without_transport(feed_text: str) -> str:
    """A feed's text with its transport commented out: a replay needs none, and keys and addresses are private.

    Values of lines that speak of a key are left out altogether.
    """
    lines, inside = [], False
    for line in feed_text.splitlines():
        header = re.match(r"\s*\[+\s*([^\]\s.]+)", line)
        if header:
            inside = header[1].strip("\"'") == "transport"
        alone = re.match(r"\s*[\"']?transport[\"']?\s*[.=]", line) is not None and not inside
        shown = re.sub(r"(\w*key\w*\s*=).*", r"\1 (left out)", line) if inside or alone else line
        lines.append(f"# {shown}" if inside or alone else line)
    return "\n".join(lines) + "\n"
