"""`climbout drill`: abort-cue practice on the built-in training aeroplane."""

from __future__ import annotations

import argparse
import secrets
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import TYPE_CHECKING

from adapters import common, interrupts
from adapters.cli import CAUTION, EXIT_INTERRUPTED
from adapters.outputs import Teller
from monitor import practice
from monitor.toml_check import Faults

if TYPE_CHECKING:
    from adapters.common import Setup
    from adapters.keys import Key, Keys
    from adapters.outputs import Output
    from adapters.session import Input
    from replay.trainer_drill import DrillSession
    from replay.trainer_script import Press
    from replay.trainer_stage import Stage

NAME = "drill"
HELP = "abort-cue practice"
KEYS = "space close the throttle   q end the exercise"
BETWEEN_S = 3.0
"""Between two takeoffs: time to read how the last one went."""
BRIEF = """\
Exercise. You watch takeoffs of the built-in training aeroplane. On some of
them, at a moment you cannot know, a gauge shows that something is wrong;
nobody tells you.
  Abort with the space bar when the takeoff should be rejected: it closes the
  throttle, and the aeroplane then brakes.
  Continue, that is, do nothing, when all is well, and when a lesser fault
  comes in the last 2 s before VR.
An engine that fails or loses power, and a swing off the runway heading, are
reasons to stop as long as the wheels are on the runway.
What counts is the right decision, not the fastest finger."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """How many takeoffs, which faults, and the common options."""
    parser.add_argument("--trials", metavar="N", default="6", help="takeoffs (default 6)")
    parser.add_argument("--seed", metavar="N", help="the same seed gives the same exercise (default: a new one)")
    parser.add_argument(
        "--faults",
        metavar="LIST",
        default=",".join(practice.DEFAULT_KINDS),
        help=f"faults to choose from, of {', '.join(practice.REASONS)}",
    )
    parser.add_argument(
        "--keys", metavar="FILE", help='scripted keys, no waiting: lines such as "2 cue+0.65"; - = stdin'
    )
    common.add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Fly the exercise: to its end or the key q (0), or to an interrupt (130)."""
    from replay.trainer_script import open_script
    from replay.trainer_setup import number_fault, trainer_setup

    faults = number_fault("--trials", args.trials, 1, 500, whole=True) + _kind_faults(args.faults)
    if args.seed is not None:
        faults += number_fault("--seed", args.seed, 0, 1e12, whole=True)
    script: list[Press] | None = None
    try:
        script = None if args.keys is None else open_script(args.keys)
    except Faults as error:
        faults += error.faults
    setup = trainer_setup(args, [*faults, *_place_faults(args)])
    with ExitStack() as stack:
        stop = stack.enter_context(interrupts.watching())
        return _Exercise(args, setup, script, lambda: stop.asked, stack).run()


def _kind_faults(text: str) -> list[str]:
    known = ", ".join(practice.REASONS)
    return [
        f'--faults: got "{kind}", wanted some of {known}' for kind in text.split(",") if kind not in practice.REASONS
    ]


def _place_faults(args: argparse.Namespace) -> list[str]:
    """Why it cannot be practised here, at most one fault."""
    from adapters.terminal import cannot_paint

    why = None if args.json or args.keys is not None else cannot_paint(sys.stdout)
    if why is None:
        return []
    return [f"drill: {why}, so no gauge can be shown; wanted a terminal, or --json, or --keys FILE"]


class _Exercise:
    """One exercise: its takeoffs one after another on one screen."""

    def __init__(
        self,
        args: argparse.Namespace,
        setup: Setup,
        script: list[Press] | None,
        stop: Callable[[], bool],
        stack: ExitStack,
    ) -> None:
        """Nothing is flown yet."""
        self._args, self._setup, self._script, self._stop = args, setup, script, stop
        self._seed = secrets.randbelow(1_000_000) if args.seed is None else int(args.seed)
        self._tell = Teller()
        self._stack = stack
        self._outcomes: list[practice.Outcome] = []
        self._session: DrillSession | None = None
        self._over = False

    def run(self) -> int:
        """Brief, fly, tell."""
        for line in (CAUTION, *self._setup.notes):
            self._tell(line)
        keys = self._open_keys()
        stage = self._stage()
        if not self._brief(keys):
            return EXIT_INTERRUPTED if self._stop() else 0
        with stage.open():
            self._fly_all(stage, keys)
            if not (self._stop() or self._over):
                stage.finish_speaking(self._stop)
        if not self._args.json and self._outcomes:
            print("\n".join(table(self._outcomes, practice.summarise(self._outcomes), self._seed)))
        return EXIT_INTERRUPTED if self._stop() else 0

    def _open_keys(self) -> Keys:
        from adapters.keys import NoKeys, open_keys

        return NoKeys() if self._script is not None else self._stack.enter_context(open_keys(pipes=True))

    def _brief(self, keys: Keys) -> bool:
        """The brief, then a key to begin; False when the exercise is not begun."""
        if self._args.json or self._script is not None or not sys.stdin.isatty():
            return True
        print(f"\n{BRIEF}\n\nAny key begins, q does not.", flush=True)
        while not self._stop():
            key = keys.read(0.1)
            if key is not None:
                return key.name not in ("q", "escape")
            if not keys.listening:
                return True
        return False

    def _stage(self) -> Stage:
        from replay.trainer_stage import Stage

        self._args.fast = self._script is not None
        stage = Stage(self._args, self._setup, self._tell, title="drill", keys=KEYS, spoken=self._script is None)
        self._setup = stage.setup
        return stage

    def _fly_all(self, stage: Stage, keys: Keys) -> None:
        trials = practice.plan(self._seed, int(self._args.trials), self._kinds())
        start_s = 0.0
        for trial in trials:
            session = self._session = self._prepare(trial, stage.screen, start_s)
            self._fly(session, stage, keys)
            if session.outcome is not None:
                self._outcomes.append(session.outcome)
            if self._stop() or self._over:
                break
            start_s = round(start_s + session.flight.trainer.t_s + 2.0, 2)
            self._pause(session, keys, last=trial is trials[-1])
        if self._session is not None and not self._stop():
            stage.outputs.event(self._session.summary(practice.summarise(self._outcomes), self._seed))

    def _kinds(self) -> list[str]:
        """The faults asked for; an overspeed only where a governor could fail, unless nothing else is asked for."""
        asked = list(self._args.faults.split(","))
        fixed = self._setup.aircraft.propeller != "constant-speed"
        return [kind for kind in asked if not (fixed and kind == "rpm-high")] or asked

    def _prepare(self, trial: practice.Trial, screen: Output, start_s: float) -> DrillSession:
        from adapters.terminal import Dashboard
        from replay.trainer_drill import DrillSession
        from replay.trainer_trial import prepare

        setup = self._setup
        seen = screen if isinstance(screen, Dashboard) else None
        return DrillSession(
            setup.feed,
            setup.aircraft,
            setup.procedure,
            setup.options,
            prepared=prepare(setup.aircraft, trial, start_s, setup.options),
            trials=int(self._args.trials),
            mark=(lambda _marker: None) if seen is None else seen.mark,
            frame_shown=None if seen is None else seen.frame_shown,
        )

    def _fly(self, session: DrillSession, stage: Stage, keys: Keys) -> None:
        from adapters.terminal import Dashboard
        from replay.player import Pacer, Player
        from replay.trainer_setup import Ears

        if isinstance(stage.screen, Dashboard):
            number = session.prepared.trial.number
            stage.screen.describe(title=f"drill, takeoff {number} of {self._args.trials}", notices=())
        pacer = Pacer(None if self._script is not None else 1.0, sleep_s=Ears(keys, self._heard).sleep)
        Player(session, stage.outputs, pacer, self._stop).play(stage.with_latency(self._inputs(session)))

    def _inputs(self, session: DrillSession) -> Iterator[Input]:
        for given in session.flight.inputs(session.done):
            for press in self._script or ():
                now_s, number = session.flight.trainer.t_s, session.prepared.trial.number
                if press.trial == number and press.due(now_s, session.prepared.cue_s):
                    self._do(press.key, None)
            yield given

    def _heard(self, key: Key) -> None:
        self._do(key.name, key.at_ns)

    def _do(self, name: str, at_ns: int | None) -> None:
        if self._session is None:
            return
        if name == "space":
            self._session.press(at_ns)
        elif name in ("q", "escape"):
            self._over = True
            self._session.cancel()

    def _pause(self, session: DrillSession, keys: Keys, last: bool) -> None:
        """Show how it went; a key q ends the exercise, any other begins the next takeoff at once."""
        if session.outcome is None or self._script is not None or self._args.json:
            return
        self._tell(told(session.outcome) + ("" if last else " Next takeoff follows."))
        end = time.monotonic() + BETWEEN_S
        while (left := end - time.monotonic()) > 0 and not self._stop():
            key = keys.read(min(left, 0.1))
            if key is not None and key.name in ("q", "escape"):
                self._over = True
                return


_DONE = {
    practice.HIT: "Hit",
    practice.MISS: "Missed",
    practice.FALSE_ABORT: "False abort",
    practice.CORRECT_CONTINUE: "Rightly continued",
    practice.CANCELLED: "Cancelled",
}


def told(outcome: practice.Outcome) -> str:
    """How one takeoff went, in a sentence or two."""
    reaction = (
        f" in {outcome.reaction_s:.2f} s" if outcome.result == practice.HIT and outcome.reaction_s is not None else ""
    )
    late = ", after VR" if outcome.late else ""
    return f"{_DONE[outcome.result]}{reaction}{late}. {outcome.why}"


def table(outcomes: list[practice.Outcome], summary: practice.Summary, seed: int) -> list[str]:
    """The exercise as lines for a person."""
    lines = ["", f"{'takeoff':>7}  {'result':<18} {'reaction':>8} {'speed':>6} {'stop':>7}  what was there"]
    lines += [_row(outcome) for outcome in outcomes]
    counts = f"hits {summary.hits}, missed {summary.misses}, false aborts {summary.false_aborts}"
    lines += ["", f"{counts}, rightly continued {summary.correct_continues}"]
    if summary.reaction_median_s is not None:
        lines.append(
            f"cue to throttle: median {summary.reaction_median_s:.2f} s, from {summary.reaction_best_s:.2f} "
            f"to {summary.reaction_worst_s:.2f} s ({summary.hits} hits)"
        )
    if summary.d_prime is not None and summary.criterion is not None:
        lines.append(f"detection: d' {summary.d_prime:.2f}, criterion {summary.criterion:+.2f}")
    else:
        lines.append(f"no detection figure: {summary.detection_why}")
    return [*lines, f"the same exercise again: --seed {seed}"]


def _row(outcome: practice.Outcome) -> str:
    def number(value: float | None, unit: str, digits: int) -> str:
        return "" if value is None else f"{value:.{digits}f} {unit}"

    reaction = number(outcome.reaction_s if outcome.result == practice.HIT else None, "s", 2)
    speed, stop = number(outcome.key_ias_kt, "kt", 0), number(outcome.stop_distance_ft, "ft", 0)
    return f"{outcome.trial:>7}  {_DONE[outcome.result]:<18} {reaction:>8} {speed:>6} {stop:>7}  {outcome.why}"
