"""The options that all commands share, and where each value comes from.

Precedence: option on the command line, environment, the user's config.toml, default. All that is wrong, on the line
and in the files it names, is told at once as one `Faults`.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from adapters import config, library
from adapters.choices import SETTINGS, Gathering, chosen, make_options
from adapters.held import Held, chain
from monitor.aircraft import Aircraft
from monitor.aircraft_file import load_aircraft
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.sample import CHANNELS

if TYPE_CHECKING:
    from adapters.feed import FeedDescription

__all__ = ["Gathering", "Setup", "add_common", "add_data_dir", "add_json", "default_feed_text", "resolve"]

ORDER = (
    "each may also come from the environment (CLIMBOUT_RUNWAY_HEADING) or from\n"
    "config.toml (runway_heading_deg); the option wins, then the environment"
)


class Setup(msgspec.Struct, frozen=True):
    """Everything a session needs, checked. procedure_texts: the procedure's text, then those it builds on.

    given: setting key to where its value came from ("option", "environment", "config.toml"); defaults are absent.
    notes: lines for a person about what was chosen for them.
    """

    feed: FeedDescription
    aircraft: Aircraft
    procedure: Procedure
    options: Options
    feed_text: str
    aircraft_text: str
    procedure_texts: tuple[str, ...]
    given: dict[str, str] = {}
    notes: tuple[str, ...] = ()


def add_common(parser: argparse.ArgumentParser, voice: bool = True) -> None:
    """Add the common options; `voice` False for commands that never speak."""
    group = parser.add_argument_group("common options", ORDER)
    for item in SETTINGS:
        group.add_argument(item.flag, dest=item.key, metavar=item.metavar, help=item.meaning)
    if voice:
        group.add_argument("--no-voice", action="store_true", help="say nothing aloud")
    add_json(group)
    add_data_dir(group)
    if voice:
        from adapters.voice_options import add_voice_options

        add_voice_options(parser)


def add_json(parser: argparse._ActionsContainer) -> None:
    """Add --json."""
    parser.add_argument("--json", action="store_true", help="one JSON object a line on standard output, no dashboard")


def add_data_dir(parser: argparse._ActionsContainer) -> None:
    """Add --data-dir."""
    parser.add_argument("--data-dir", metavar="DIR", help="where recordings and logbook are kept (or CLIMBOUT_HOME)")


def default_feed_text() -> str:
    """The feed that is assumed when none is given: our own channel names as column names, on UDP port 5501."""
    lines = [
        'name = "default feed"',
        "[transport]",
        'kind = "udp"',
        "port = 5501",
        "[decode]",
        'format = "delimited"',
        'delimiter = ","',
        'header = "required"',
        "[channels]",
        *(f'{name} = {{ field = "{name}" }}' for name in CHANNELS),
    ]
    return "\n".join(lines) + "\n"


def resolve(
    args: argparse.Namespace,
    *,
    voice: bool = False,
    use_config: bool = True,
    held: Held | None = None,
    assumed_feed: str | None = None,
    faults: Sequence[str] = (),
    env: Mapping[str, str] = os.environ,
) -> Setup:
    """The whole set-up for a session. Raises `Faults` with every fault.

    voice: words will be spoken. use_config: look at the user's config.toml. held: what a recording holds; only
    options on the command line win over it, the environment and the config are not asked. assumed_feed: the feed's
    text when none is given. faults: found already, told with the others.
    """
    gathering = Gathering()
    gathering.faults += faults
    data_dir = config.data_dir(getattr(args, "data_dir", None), env)
    user = (gathering.of(lambda: config.load(data_dir, env)) or {}) if use_config and held is None else {}
    values, given = chosen(args, env if held is None else {}, user)
    if hasattr(args, "voice_name"):
        from adapters.voice_options import voice_settings

        gathering.of(lambda: voice_settings(args, user, env))
    setup = _load(values, given, held, data_dir, assumed_feed=assumed_feed or default_feed_text(), gathering=gathering)
    if held is not None or not voice:
        return setup
    return msgspec.structs.replace(setup, options=msgspec.structs.replace(setup.options, voice=True))


def _load(
    values: Mapping[str, object],
    given: dict[str, str],
    held: Held | None,
    data_dir: Path,
    *,
    assumed_feed: str,
    gathering: Gathering,
) -> Setup:
    """Read every file. `Options` are still the defaults, or what the recording holds."""
    from adapters.feed import load_feed

    notes: list[str] = []
    feed_text = gathering.of(lambda: _feed_text(values, held, assumed_feed, notes))
    feed = None if feed_text is None else gathering.of(lambda: load_feed(*feed_text))
    aircraft = gathering.of(lambda: _aircraft(values, held, data_dir, notes))
    procedure = gathering.of(lambda: _procedure(values, held, data_dir, notes))
    told = make_options(values, given, gathering)
    gathering.done()
    assert feed_text is not None and feed is not None and aircraft is not None and procedure is not None
    return Setup(
        feed=feed,
        aircraft=aircraft[0].for_short_field() if procedure[0].short_field else aircraft[0],
        procedure=procedure[0],
        options=msgspec.structs.replace(Options() if held is None else held.options, **told),
        feed_text=feed_text[0],
        aircraft_text=aircraft[1],
        procedure_texts=procedure[1],
        given=given,
        notes=tuple(notes),
    )


def _feed_text(values: Mapping[str, object], held: Held | None, assumed_feed: str, notes: list[str]) -> tuple[str, str]:
    if "feed" in values:
        path = Path(str(values["feed"]))
        return library.read_text(path, "feed"), f"feed {path.name}"
    if held is not None:
        return held.feed_text, "feed in the recording"
    notes.append("no --feed: taking our own channel names (ias_kt, height_ft, ...) as column names")
    return assumed_feed, "feed (assumed)"


def _aircraft(
    values: Mapping[str, object], held: Held | None, data_dir: Path, notes: list[str]
) -> tuple[Aircraft, str]:
    """The aeroplane and its text."""
    if "aircraft" not in values and held is not None:
        return held.aircraft(notes), held.aircraft_text
    name = library.DEFAULT_AIRCRAFT
    if "aircraft" not in values:
        notes.append(f"no --aircraft: taking the built-in, fictional {name}; its numbers are invented")
    found = library.find(library.AIRCRAFT, str(values.get("aircraft", name)), data_dir)
    return load_aircraft(found.text, found.where), found.text


def _procedure(
    values: Mapping[str, object], held: Held | None, data_dir: Path, notes: list[str]
) -> tuple[Procedure, tuple[str, ...]]:
    """The procedure, and its text with those it builds on."""
    if "procedure" not in values and held is not None:
        return held.procedure(notes), held.procedure_texts
    found = library.find(library.PROCEDURE, str(values.get("procedure", library.DEFAULT_PROCEDURE)), data_dir)
    return library.procedure_from_text(found.text, found.where), chain(found.text, found.where)
