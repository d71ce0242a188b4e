"""What a recording holds of a flight's set-up, and how it is read by a program that is not the one that wrote it.

The texts are the first choice: they are what was flown with. A later version may know settings that an old text
lacks, or know others no more. Then the values that were read from the texts in flight (kept beside them) are laid
over this version's own, and it is told that calls may differ. So an old recording always opens.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import msgspec

from adapters import library
from monitor.aircraft import Aircraft
from monitor.aircraft_file import load_aircraft
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.procedure_file import based_on, load_procedure
from monitor.settings import Settings
from monitor.toml_check import Faults

T = TypeVar("T")


class Held(msgspec.Struct, frozen=True):
    """A recording's set-up. The two `_values` are the checked structs as JSON, b"" when the file has none."""

    feed_text: str
    aircraft_text: str
    procedure_texts: tuple[str, ...]
    options: Options
    aircraft_values: bytes = b""
    procedure_values: bytes = b""

    def aircraft(self, notes: list[str]) -> Aircraft:
        """The aeroplane. Raises `Faults` when neither text nor values can be read."""
        try:
            return load_aircraft(self.aircraft_text, "aircraft in the recording")
        except Faults as faults:
            return _otherwise(lambda: msgspec.json.decode(self.aircraft_values, type=Aircraft), faults, notes)

    def procedure(self, notes: list[str]) -> Procedure:
        """The procedure. Raises `Faults` when neither texts nor values can be read."""
        try:
            return load_chain(self.procedure_texts, "procedure in the recording")
        except Faults as faults:
            return _otherwise(lambda: _over_ours(msgspec.json.decode(self.procedure_values)), faults, notes)


def _otherwise(decode: Callable[[], T], faults: Faults, notes: list[str]) -> T:
    try:
        value = decode()
    except (msgspec.MsgspecError, AttributeError, TypeError):
        raise faults from None
    count = len(faults.faults)
    notes.append(
        f"made by another version: {faults.faults[0]}{f' and {count - 1} more' if count > 1 else ''}; "
        "this version's own values fill in, calls may differ"
    )
    return value


def _over_ours(old: dict[str, Any]) -> Procedure:
    """An old procedure's values over this version's normal procedure; what is no more known is left out."""
    ours = msgspec.to_builtins(library.open_procedure(library.DEFAULT_PROCEDURE))
    known = set(Settings.__struct_fields__)
    settings = {key: value for key, value in old["settings"].items() if key in known}
    merged = {**ours, **old, "settings": {**ours["settings"], **settings}, "words": {**ours["words"], **old["words"]}}
    merged["table"] = {**ours["table"], **old.get("table", {})}
    return msgspec.convert(merged, Procedure)


def chain(text: str, where: str) -> tuple[str, ...]:
    """A checked procedure's text, then the text it is based on, and so on."""
    texts = [text]
    while (parent := based_on(texts[-1], where)) is not None:
        texts.append(library.builtin_text(library.PROCEDURE, parent))
    return tuple(texts)


def load_chain(texts: tuple[str, ...], where: str) -> Procedure:
    """The procedure of texts as `chain` gives them. Raises `Faults`."""
    procedure: Procedure | None = None
    for text in reversed(texts):
        procedure = load_procedure(text, where, procedure)
    if procedure is None:
        raise Faults([f"{where}: got nothing, wanted a procedure's text"])
    return procedure
