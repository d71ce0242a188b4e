"""A procedure from TOML text: head, style, settings and words, every fault told at once with its place.

A procedure stands on its own, or says `based_on = "normal"` and gives only what differs: in `[settings]` a bare
number then replaces the base's value and keeps its unit, meaning, source and range.
"""

from __future__ import annotations

import string
import types
from typing import Any, get_args, get_type_hints

import msgspec

from monitor.procedure import Procedure, Setting
from monitor.settings import Settings
from monitor.toml_check import Checker, Table, nearest, parse, plain, shown

PLACEHOLDERS: tuple[str, ...] = ("vr", "vx", "vy", "glide")
"""What a phrase may hold in braces: the speeds that the profile fills in."""

TURN_RULES = ("height", "pattern")
DEPARTURES = ("depart", "circuit")
LEVELS = ("prompt", "correct", "test", "auto")


def based_on(text: str, where: str) -> str | None:
    """The name of the procedure that this one is based on, None when it stands on its own.

    Raises `Faults` only when the text is no TOML; a `based_on` that is no text is told by `load_procedure`.
    """
    name = parse(text, where).get("based_on")
    return name if isinstance(name, str) else None


def load_procedure(text: str, where: str, base: Procedure | None = None) -> Procedure:
    """The procedure in `text`; `where` names it in faults, `base` is the one that it is based on.

    Raises `monitor.toml_check.Faults` with every fault, also when the text is based on one and `base` is None.
    """
    checker = Checker(where)
    top = Table(checker, parse(text, where))
    name = top.text("name", required=True) or ""
    language = top.text("language") or (base.language if base else "en")
    parent = top.text("based_on")
    if parent is None:
        base = None
    elif base is None:
        top.fault("based_on", f"got {shown(parent)}, wanted a procedure that is known")
    style = _style(top.table("style"), base)
    alone = "based_on" not in top
    table = _settings(top.table("settings", required=alone), base, name, alone)
    words = _words(top.table("words", required=alone), base)
    top.finish()
    checker.done()
    return Procedure(
        name=name,
        settings=_struct(table),
        words=words,
        language=language,
        table=table,
        text=text,
        **style,
    )


def _style(table: Table, base: Procedure | None) -> dict[str, Any]:
    start = base or Procedure(name="", settings=None, words={})  # type: ignore[arg-type]  # for its defaults only
    flaps = table.number("flaps_deg", 0, 60, "deg")
    style: dict[str, Any] = {
        "short_field": table.boolean("short_field", start.short_field),
        "flaps_deg": start.flaps_deg if flaps is None else flaps,
        "turn_rule": table.text("turn_rule", TURN_RULES) or start.turn_rule,
        "departure": table.text("departure", DEPARTURES) or start.departure,
        "level": table.text("level", LEVELS) or start.level,
        "pilot_calls_first": table.boolean("pilot_calls_first", start.pilot_calls_first),
        "levels": dict(start.levels),
    }
    levels = table.table("levels")
    for key in levels:
        level = levels.text(key, LEVELS)
        if level is not None:
            style["levels"][key] = level
    table.finish()
    return style


def setting_names() -> list[str]:
    """The settings a procedure has to give, in the struct's order."""
    return [field.name for field in msgspec.structs.fields(Settings)]


def _settings(table: Table, base: Procedure | None, name: str, alone: bool) -> dict[str, Setting]:
    found = dict(base.table) if base else {}
    for key in setting_names():
        setting = _setting(table, key, found.get(key), name, required=alone)
        if setting is not None:
            found[key] = setting
    table.finish()
    return found


def _setting(table: Table, key: str, before: Setting | None, name: str, required: bool) -> Setting | None:
    value = table.take(key, "{ value = ..., unit = ..., meaning = ..., source = ... }", required)
    if value is None:
        return None
    if before is not None and not isinstance(value, dict):
        number = _in_range(table, table.at(key), value, before)
        source = f"{name}; {plain(before.value)} by default: {before.source}"
        return None if number is None else msgspec.structs.replace(before, value=number, source=source)
    if not isinstance(value, dict):
        table.fault(
            key, f"got {shown(value)}, wanted {{ value = {shown(value)}, unit = ..., meaning = ..., source = ... }}"
        )
        return None
    return _whole_setting(Table(table.checker, value, table.at(key)), before)


def _whole_setting(table: Table, before: Setting | None) -> Setting | None:
    low = table.number("low") if "low" in table else (before.low if before else None)
    high = table.number("high") if "high" in table else (before.high if before else None)
    unit = table.text("unit", required=before is None, empty=True)
    meaning = table.text("meaning", required=before is None)
    source = table.text("source", required=before is None)
    value = table.number("value", low, high, unit or "", required=True)
    table.finish()
    if value is None:
        return None
    return Setting(
        value=value,
        unit=unit if unit is not None else (before.unit if before else ""),
        meaning=meaning or (before.meaning if before else ""),
        source=source or (before.source if before else ""),
        low=low,
        high=high,
    )


def _in_range(table: Table, path: str, value: object, before: Setting) -> float | None:
    return table.as_number(path, value, before.low, before.high, before.unit)


def _struct(table: dict[str, Setting]) -> Settings:
    # Whole numbers and switches are written as numbers in the file and turned into the field's own type here.
    hints = get_type_hints(Settings)
    return Settings(**{key: _as_type(setting.value, hints[key]) for key, setting in table.items()})


def _as_type(value: float, hint: Any) -> float | int | bool:
    kinds = get_args(hint) if isinstance(hint, types.UnionType) else (hint,)
    if bool in kinds:
        return value != 0
    return int(value) if int in kinds and float not in kinds else value


def _words(table: Table, base: Procedure | None) -> dict[str, str]:
    words = dict(base.words) if base else {}
    for key in table:
        if isinstance(table.data[key], dict):
            table.take(key, "a text in quotes")
            table.fault(key, 'got a table, wanted a text (an id with a dot goes in quotes: "flaps-up.already")')
            continue
        phrase = table.text(key, empty=True)  # "" = this one is never said
        if base is not None and key not in base.words:
            table.fault(key, f"not a known phrase{nearest(key, base.words)}")
        if phrase is not None and _digits_good(table, key, phrase) and _placeholders_known(table, key, phrase):
            words[key] = phrase
    return words


def _digits_good(table: Table, key: str, phrase: str) -> bool:
    if key != "digits" or len(phrase.split()) == 10:
        return True
    table.fault(key, f"got {len(phrase.split())} words, wanted ten: zero to nine")
    return False


def _placeholders_known(table: Table, key: str, phrase: str) -> bool:
    wanted = "wanted only " + ", ".join("{" + name + "}" for name in PLACEHOLDERS) + " in braces"
    try:
        parts = list(string.Formatter().parse(phrase))
    except ValueError:
        table.fault(key, f"got {shown(phrase)}, {wanted}")
        return False
    good = all(field in (None, *PLACEHOLDERS) and not spec and not turn for _, field, spec, turn in parts)
    if not good:
        table.fault(key, f"got {shown(phrase)}, {wanted}")
    return good
