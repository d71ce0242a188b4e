"""What the demo and the drill fly with: the user's profile and procedure, the trainer's own feed and airfield."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable, Mapping, Sequence

import msgspec

from adapters.common import Setup, resolve
from adapters.keys import Key, Keys
from adapters.ports import Packet
from adapters.session import Input, Session
from monitor.events import Event
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.toml_check import Faults, shown
from replay.scenarios.kinds import CLEAN, Scenario
from replay.trainer_feed import feed_text

Record = Callable[[Sequence[Input], Sequence[Event]], None]


def trainer_setup(args: argparse.Namespace, faults: Sequence[str] = (), env: Mapping[str, str] = os.environ) -> Setup:
    """The set-up with the trainer's feed; its field and runway where the user gives none. Raises `Faults`, all at once.

    The user's config is not looked at: a demo shows the same on every machine.
    """
    given = argparse.Namespace(**{**vars(args), "feed": None})
    without_feed = {name: value for name, value in env.items() if name != "CLIMBOUT_FEED"}
    found = list(faults)
    setup = None
    try:
        setup = resolve(given, use_config=False, assumed_feed=feed_text(), env=without_feed)
    except Faults as error:
        found += error.faults
    if found or setup is None:
        raise Faults(found)
    notes = tuple(note for note in setup.notes if "--feed" not in note)
    if getattr(args, "feed", None) is not None:
        notes += ("--feed is not used: the built-in training aeroplane has a feed of its own",)
    return msgspec.structs.replace(setup, options=_options(setup.options), notes=notes)


def _options(told: Options) -> Options:
    field = CLEAN.field_elevation_ft if told.field_elevation_ft is None else told.field_elevation_ft
    heading = CLEAN.runway_heading_deg if told.runway_heading_deg is None else told.runway_heading_deg
    return msgspec.structs.replace(told, field_elevation_ft=field, runway_heading_deg=heading)


def placed(scenario: Scenario, options: Options, procedure: Procedure | None = None) -> Scenario:
    """The scenario on the field, runway and wind that the options tell, flown by the procedure."""
    if procedure is not None:
        scenario = msgspec.structs.replace(scenario, short_field=procedure.short_field, flaps_deg=procedure.flaps_deg)
    return msgspec.structs.replace(
        scenario,
        field_elevation_ft=options.field_elevation_ft or 0.0,
        runway_heading_deg=options.runway_heading_deg or 0.0,
        obstacle_ft=scenario.obstacle_ft if options.obstacle_height_ft is None else options.obstacle_height_ft,
        headwind_kt=scenario.headwind_kt if options.headwind_kt is None else options.headwind_kt,
    )


def number_fault(flag: str, text: str, low: float, high: float, whole: bool = False) -> list[str]:
    """What is wrong with a number on the command line, at most one fault."""
    try:
        value = int(text) if whole else float(text)
        good = low <= value <= high
    except ValueError:
        good = False
    kind = "a whole number" if whole else "a number"
    return [] if good else [f"{flag}: got {shown(text)}, wanted {kind} from {low:g} to {high:g}"]


class RecordedSession(Session):
    """A session that hands what it took and made to a recorder, as it goes."""

    record: Record | None = None

    def settled(self, packet: Packet) -> list[Event]:
        """One packet as it arrived."""
        return self._kept(super().settled(packet))

    def end(self, arrival_ns: int) -> list[Event]:
        """The session ends here."""
        return self._kept(super().end(arrival_ns))

    def voice_latency(self, arrival_ns: int, latency_s: float) -> None:
        """The voice measured anew how long a word takes."""
        super().voice_latency(arrival_ns, latency_s)
        self._kept([])

    def _kept(self, events: list[Event]) -> list[Event]:
        if self.record is not None and (self.accepted or events):
            self.record(self.accepted, events)
        return events


class Ears:
    """The wait of a pacer that listens for keys meanwhile."""

    def __init__(self, keys: Keys, heard: Callable[[Key], None]) -> None:
        """Hand each key to `heard` the moment it comes."""
        self._keys = keys
        self._heard = heard

    def sleep(self, seconds: float) -> None:
        """Wait, or return early after a key."""
        key = self._keys.read(seconds)
        if key is not None:
            self._heard(key)
