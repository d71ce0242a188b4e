"""Run the mutants: `python -m tests.mutation [NAME ...]` prints a table; exit status 1 if any survives."""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Queue

from tests.mutation.mutants import MUTANTS, Mutant

ROOT = Path(__file__).resolve().parent.parent.parent
TESTS = (
    "test_agenda", "test_trend", "test_timeline", "test_judge", "test_limits", "test_routine", "test_routine_climb",
    "test_phases", "test_power", "test_deviations", "test_airspeed", "test_checklist", "test_words",
    "test_plausibility",
    "test_pilot_first", "test_coach_property", "test_levels", "test_view", "test_runway_edge", "test_liftoff",
    "test_rotate", "test_second_look", "test_third_look", "test_fourth_look", "test_fifth_look", "test_sixth_look",
    "test_seventh_look", "test_eighth_look", "test_ninth_look", "test_tenth_look",
    "test_touch_and_go", "test_lined_up", "test_direction", "test_climb_power",
)  # fmt: skip
AT_ONCE = 2
LONGEST_S = 300.0


def copy_tree() -> Path:
    """A copy of what the tests need, in a folder of its own."""
    folder = Path(tempfile.mkdtemp(prefix="mutant-"))
    ignore = shutil.ignore_patterns("__pycache__", "*.pyc", "flights_jsbsim", "accuracy", "bench", "feeds")
    for package in ("monitor", "adapters", "replay", "tests"):
        shutil.copytree(ROOT / package, folder / package, ignore=ignore)
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, folder)
    return folder


def run_tests(folder: Path, names: tuple[str, ...], *options: str) -> tuple[int, str]:
    """Exit status and output of the tests of these names in a copy; the copy's own packages come first."""
    # No compiled files: a mutant of the same size made in the same second would be taken for the last one.
    env = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    files = [f"tests/{name}.py" for name in names]
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "--no-header",
        "-p",
        "no:cacheprovider",
        "-n",  # in this process: two mutants run at once already
        "0",
        "--tb=no",
        *options,
        *files,
    ]
    try:
        done = subprocess.run(
            command, cwd=folder, env=env, capture_output=True, text=True, timeout=LONGEST_S, check=False
        )
    except subprocess.TimeoutExpired:
        return 1, "FAILED by taking too long - "
    return done.returncode, done.stdout + done.stderr


def failures(output: str) -> list[str]:
    """The tests that failed, by their ids."""
    return re.findall(r"^(?:FAILED|ERROR) (\S.*?)(?: - |$)", output, flags=re.MULTILINE)


def killed_by(mutant: Mutant, folder: Path, left_out: list[str]) -> str | None:
    """Break the copy, run the tests, mend it: the test that failed, or None where all passed."""
    path = folder / mutant.file
    whole = path.read_text(encoding="utf-8")
    if whole.count(mutant.old) != 1:
        raise ValueError(f"{mutant.name}: its text is in {mutant.file} {whole.count(mutant.old)} times, wanted once")
    options = ["-x", *(f"--deselect={name}" for name in left_out)]
    path.write_text(whole.replace(mutant.old, mutant.new), encoding="utf-8")
    try:
        for names in (mutant.tests, tuple(name for name in TESTS if name not in mutant.tests)):
            status, output = run_tests(folder, names, *options)
            if status != 0:
                return (failures(output) or [output.strip().splitlines()[-1]])[0]
    finally:
        path.write_text(whole, encoding="utf-8")
    return None


def baseline(folder: Path) -> list[str]:
    """The tests that fail without any mutant; they prove nothing and are left out."""
    found = failures(run_tests(folder, TESTS)[1])
    for name in found:
        print(f"fails without a mutant, left out: {name}")
    return found


def _run(mutants: list[Mutant]) -> int:
    folders: Queue[Path] = Queue()
    for _ in range(AT_ONCE):
        folders.put(copy_tree())
    all_folders = list(folders.queue)
    left_out = baseline(all_folders[0])
    began, bad = time.monotonic(), len(left_out)

    def one(mutant: Mutant) -> tuple[str, str]:
        folder = folders.get()
        try:
            test = killed_by(mutant, folder, left_out)
            return ("survived", "") if test is None else ("killed", test)
        except ValueError as error:
            return "not made", str(error)
        finally:
            folders.put(folder)

    try:
        with ThreadPoolExecutor(AT_ONCE) as pool:
            for n, (mutant, (fate, by)) in enumerate(zip(mutants, pool.map(one, mutants), strict=True), 1):
                bad += fate != "killed"
                print(f"{n:3} {fate:9} {mutant.name:38} {by.removeprefix('tests/')[:110]}", flush=True)
                if fate != "killed":
                    print(f"              {mutant.file}: {mutant.breaks}")
    finally:
        for folder in all_folders:
            shutil.rmtree(folder, ignore_errors=True)
    print(f"{len(mutants)} mutants, {bad} not killed or left out, {time.monotonic() - began:.0f} s")
    return 1 if bad else 0


def main() -> int:
    """Run all mutants, or those whose names hold one of the words given."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("words", nargs="*", help="only mutants whose name or file holds one of these")
    words = parser.parse_args().words
    chosen = [m for m in MUTANTS if not words or any(word in f"{m.name} {m.file}" for word in words)]
    if not chosen:
        print("no mutant of that name")
        return 1
    return _run(chosen)


if __name__ == "__main__":
    raise SystemExit(main())
