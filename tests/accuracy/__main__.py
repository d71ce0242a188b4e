"""The command line of the accuracy runs; see the package's docstring."""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import TypeVar

from tests.accuracy.figures import hear, measure
from tests.accuracy.rates import compared, rates_report
from tests.accuracy.store import load
from tests.accuracy.table import report
from tests.accuracy.work import evaluated, flown, made

Job = TypeVar("Job")
Done = TypeVar("Done")


def _over(work: Callable[[Job], Done], jobs: list[Job], processes: int) -> Iterable[Done]:
    """The work over the jobs, in order, in new processes (never forked)."""
    if processes <= 1:
        yield from map(work, jobs)
        return
    with ProcessPoolExecutor(processes, mp_context=multiprocessing.get_context("spawn")) as pool:
        yield from pool.map(work, jobs, chunksize=4)


def _seeds(args: argparse.Namespace) -> list[tuple[int, bool]]:
    clean, faulted = (args.n // 2, args.n - args.n // 2) if args.n else (args.clean, args.faulted)
    seeds = [(i, args.seed + i, False) for i in range(clean)] + [
        (i, args.seed + 500_000 + i, True) for i in range(faulted)
    ]
    return [(seed, fault) for _, seed, fault in sorted(seeds)]  # clean and faulted in turn, so that a part is usable


def _generate(args: argparse.Namespace) -> None:
    Path(args.dir).mkdir(parents=True, exist_ok=True)
    jobs = [(seed, faulted, args.dir) for seed, faulted in _seeds(args)]
    began = time.monotonic()
    for i, _ in enumerate(_over(made, jobs, args.processes), 1):
        if i % 50 == 0:
            print(f"{i} of {len(jobs)}, {time.monotonic() - began:.0f} s", file=sys.stderr)


def _refresh(args: argparse.Namespace) -> None:
    names = sorted(p.stem for p in (Path(args.dir) / "raw").glob("*.npz") if args.only in p.name)
    jobs = [(int(name.split("-")[1]), name.startswith("fault"), args.dir) for name in names]
    for _ in _over(made, jobs, args.processes):
        pass


def _evaluate(args: argparse.Namespace) -> None:
    paths = sorted(str(p) for p in Path(args.dir).glob("*.npz") if args.only in p.name)
    print(report(list(_over(evaluated, paths, args.processes))))


def _run(args: argparse.Namespace) -> None:
    results = []
    jobs = _seeds(args)
    for i, result in enumerate(_over(flown, jobs, args.processes), 1):
        results.append(result)
        if i % 100 == 0:
            print(f"{i} of {len(jobs)}", file=sys.stderr)
    print(report(results))


def _rates(args: argparse.Namespace) -> None:
    seeds = [args.seed + i for i in range(args.n or 40)]
    print(rates_report([row for rows in _over(compared, seeds, args.processes) for row in rows]))


def _show(args: argparse.Namespace) -> None:
    case = load(Path(args.dir) / f"{args.name}.npz")
    start = case.sensors.start_s
    print(case.scenario, case.sensors, case.options, case.want, sep="\n")
    truth = {k: round(v - start, 2) for k, v in vars(case.truth).items() if isinstance(v, float)}
    print("truth", truth, {k: round(v - start, 2) for k, v in case.truth.heights.items()})
    print("marks", {k: round(v - start, 2) for k, v in case.truth.marks.items()})
    heard = hear(case)
    for h in heard:
        e = h.event
        t = "-" if e.t_s is None else f"{e.t_s - start:.2f}"
        what = f"{e.kind:9} {e.id:20} {e.phase} say={e.say!r}"
        print(f"{h.out_s - start:7.2f} t {t:>7} {what} {e.ias_kt} {e.height_ft} {e.more}")
    print(measure(case, heard))


def main() -> None:
    """Read the command line and run."""
    top = argparse.ArgumentParser(prog="python -m tests.accuracy")
    parts = top.add_subparsers(required=True)
    for name, work in (
        ("generate", _generate),
        ("refresh", _refresh),
        ("run", _run),
        ("evaluate", _evaluate),
        ("show", _show),
        ("rates", _rates),
    ):
        p = parts.add_parser(name)
        p.set_defaults(work=work)
        p.add_argument("--dir", default=str(Path(tempfile.gettempdir()) / "climbout-accuracy"))
        p.add_argument("--processes", type=int, default=2)
        p.add_argument("--n", type=int, default=0, help="half clean, half faulted")
        p.add_argument("--clean", type=int, default=100)
        p.add_argument("--faulted", type=int, default=100)
        p.add_argument("--seed", type=int, default=1)
        p.add_argument("--only", default="", help="only files with this in the name")
        if name == "show":
            p.add_argument("name")
    args = top.parse_args()
    args.work(args)


if __name__ == "__main__":
    main()
