"""Makes the tables of README.md from the code and the procedure file: `python -m adapters.docs README.md [--check]`.

A table stands between `<!-- table: NAME -->` and `<!-- end of table -->`; everything between is replaced.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from adapters import library
from monitor.aircraft_file import INSTRUMENTS
from monitor.phases import TABLE
from monitor.procedure import Setting
from monitor.sample import CHANNELS
from monitor.toml_check import plain

_BLOCK = re.compile(r"(<!-- table: (?P<name>[a-z-]+) -->\n).*?(<!-- end of table -->)", re.DOTALL)


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |\n" for line in lines)


def settings_table() -> str:
    """Every number of the normal procedure, with its range, meaning and source."""
    table = library.open_procedure(library.DEFAULT_PROCEDURE).table
    rows = [
        [f"`{key}`", f"{plain(s.value)} {s.unit}".strip(), _range(s), s.meaning, s.source] for key, s in table.items()
    ]
    return _table(["setting", "value", "allowed", "meaning", "source"], rows)


def _range(setting: Setting) -> str:
    ends = [plain(end) if end is not None else "" for end in (setting.low, setting.high)]
    return " to ".join(ends) if any(ends) else "any"


def channels_table() -> str:
    """Every channel with unit, range and meaning."""
    rows = [
        [
            f"`{c.name}`",
            c.unit or "1",
            f"{plain(c.low)} to {plain(c.high)}",
            c.meaning,
            "yes" if c.name in INSTRUMENTS else "",
        ]
        for c in CHANNELS.values()
    ]
    return _table(["channel", "unit", "range", "meaning", "gauge"], rows)


def words_table() -> str:
    """Every phrase of the normal procedure."""
    words = library.open_procedure(library.DEFAULT_PROCEDURE).words
    return _table(["id", "said"], [[f"`{key}`", text or "(nothing)"] for key, text in words.items()])


def phases_table() -> str:
    """Which phase may follow which, as the machine has it."""
    rows = [[f"`{phase}`" if phase else "(start)", ", ".join(f"`{name}`" for _, name in following)]
            for phase, following in TABLE.items()]  # fmt: skip
    return _table(["phase", "may be followed by"], rows)


TABLES: dict[str, Callable[[], str]] = {
    "settings": settings_table,
    "channels": channels_table,
    "words": words_table,
    "phases": phases_table,
}


def with_tables(text: str) -> str:
    """The document with every table made anew. Raises KeyError on a table nobody makes."""
    return _BLOCK.sub(lambda found: found[1] + TABLES[found["name"]]() + found[3], text)


def main(argv: Sequence[str] | None = None) -> int:
    """Make the tables of a file; with --check only tell whether they are as they should be (exit 1 if not)."""
    parser = argparse.ArgumentParser(prog="python -m adapters.docs", description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("--check", action="store_true", help="change nothing; exit 1 when a table is out of date")
    args = parser.parse_args(argv)
    text = args.file.read_text(encoding="utf-8")
    made = with_tables(text)
    if args.check:
        return 0 if made == text else 1
    args.file.write_text(made, encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
