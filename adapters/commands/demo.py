"""`climbout demo`: a coached takeoff of the built-in training aeroplane, with no simulator and no set-up."""

from __future__ import annotations

import argparse
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from adapters import common, config, interrupts
from adapters.cli import CAUTION, EXIT_INTERRUPTED, our_version
from adapters.outputs import Teller

if TYPE_CHECKING:
    from adapters.common import Setup
    from adapters.keys import Key
    from replay.recording import Recorder
    from replay.trainer_flight import TrainerFlight

NAME = "demo"
HELP = "a coached takeoff with no simulator, no sound card and no set-up"
FAULTS = ("rpm", "oil", "airspeed", "engine")
KEYS = "space pause   q quit"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What goes wrong, the pace, and the common options."""
    parser.add_argument("--fault", choices=FAULTS, help="what goes wrong (default: nothing)")
    parser.add_argument("--seed", metavar="N", default="1", help="gusts and noise; the same seed, the same flight")
    parser.add_argument("--speed", metavar="X", default="1", help="times as fast as real time (default 1)")
    parser.add_argument("--fast", action="store_true", help="no waiting")
    parser.add_argument("--record", metavar="FILE", help="record the flight to FILE, for replay and debrief")
    common.add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Fly one demo: to its end or the key q (0), or to an interrupt (130)."""
    from replay.trainer_setup import number_fault, trainer_setup

    faults = number_fault("--speed", args.speed, 0.01, 10_000) + number_fault("--seed", args.seed, 0, 1e12, whole=True)
    setup = trainer_setup(args, faults)
    tell = Teller()
    for line in (CAUTION, *setup.notes):
        tell(line)
    with ExitStack() as stack:
        stop = stack.enter_context(interrupts.watching())
        return _fly(args, setup, tell, stop, stack)


def _fly(args: argparse.Namespace, setup: Setup, tell: Teller, stop: interrupts.Stop, stack: ExitStack) -> int:
    from adapters.keys import open_keys
    from adapters.telling import closing_lines
    from replay.player import Pacer, Player
    from replay.scenarios.kinds import demo_scenario
    from replay.trainer_flight import Listener, TrainerFlight
    from replay.trainer_setup import Ears, RecordedSession, placed
    from replay.trainer_stage import Stage

    real_time = not args.fast and float(args.speed) == 1.0
    stage = Stage(args, setup, tell, title=_title(args), keys=KEYS, spoken=real_time)
    setup, aircraft = stage.setup, setup.aircraft
    scenario = placed(
        demo_scenario(args.fault, int(args.seed), aircraft.speeds_kias.rotate), setup.options, setup.procedure
    )
    flight = TrainerFlight(aircraft, scenario)
    session = RecordedSession(setup.feed, aircraft, setup.procedure, setup.options)
    recorder = _recorder(args, setup, tell, stack)
    session.record = None if recorder is None else recorder.record
    keyboard = _Keyboard(flight)
    keys = stack.enter_context(open_keys())
    pacer = Pacer(None if args.fast else float(args.speed), sleep_s=Ears(keys, keyboard.heard).sleep)
    if recorder is not None:
        stage.keep_spoken(recorder, pacer)
    with stage.open(Listener(flight)):
        player = Player(session, stage.outputs, pacer, lambda: stop.asked)
        player.play(stage.with_latency(flight.inputs(lambda: keyboard.quit)))
        if not (stop.asked or keyboard.quit):
            stage.finish_speaking(lambda: stop.asked)
    for line in closing_lines(session):
        tell(line)
    return EXIT_INTERRUPTED if stop.asked else 0


def _title(args: argparse.Namespace) -> str:
    pace = "" if float(args.speed) == 1.0 else f" at {float(args.speed):g}x"
    return f"demo{pace}" if args.fault is None else f"demo{pace}, fault: {args.fault}"


class _Keyboard:
    """What the keys do in a demo."""

    def __init__(self, flight: TrainerFlight) -> None:
        self._flight = flight
        self.quit = False

    def heard(self, key: Key) -> None:
        """Space: pause and go on. q, escape: the end."""
        if key.name in ("q", "escape"):
            self.quit = True
        elif key.name == "space":
            self._flight.paused = not self._flight.paused


def _recorder(args: argparse.Namespace, setup: Setup, tell: Teller, stack: ExitStack) -> Recorder | None:
    if args.record is None:
        return None
    from replay.keeping import start_recorder

    path = Path(args.record).expanduser()
    recorder = start_recorder(
        setup,
        path,
        config.data_dir(args.data_dir),
        command=NAME,
        version=our_version(),
        started=datetime.now().astimezone(),
        keep_gb=0.0,
        tell=tell,
    )
    stack.callback(lambda: tell(f"recorded: climbout debrief {path}"))
    stack.callback(recorder.close)
    return recorder
