"""Enters one recording in the logbook, as a process of its own: `python -m replay.logbook_apart RECORDING DATA_DIR`.

Nobody sees its output; what it did, or why it did nothing, is in the data folder's log file.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

from adapters.logfile import log, logging_to
from replay.logbook_entry import enter_flight


def main(argv: list[str]) -> None:
    """Enter it; a line goes to the log."""
    recording, data_dir = Path(argv[0]), Path(argv[1])
    with logging_to(data_dir):
        enter_flight(recording, data_dir, log.info, large_bytes=math.inf)


if __name__ == "__main__":
    main(sys.argv[1:])
