"""The rules of the house that a reader of one file cannot see: who imports whom, what the core may touch, words."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LAYERS = ("monitor", "adapters", "replay", "commands")
MAY_IMPORT = {
    "monitor": {"monitor"},
    "adapters": {"monitor", "adapters"},
    "replay": {"monitor", "adapters", "replay"},
    "commands": {"monitor", "adapters", "replay", "commands"},
}
IMPURE = {
    "asyncio", "ctypes", "fcntl", "glob", "http", "io", "logging", "multiprocessing", "os", "pathlib", "queue",
    "rich", "select", "shutil", "signal", "socket", "sqlite3", "subprocess", "sys", "tempfile", "threading",
    "time", "urllib", "zmq",
}  # fmt: skip
IMPURE_CALLS = {"open", "print", "input", "breakpoint", "exec", "eval"}


def _layer(path: Path) -> str:
    parts = path.relative_to(ROOT).parts
    return "commands" if parts[:2] == ("adapters", "commands") else parts[0]


def _sources(*packages: str) -> list[Path]:
    return sorted(path for package in packages for path in (ROOT / package).rglob("*.py"))


SOURCES = _sources("monitor", "adapters", "replay")


def _imports(path: Path) -> Iterator[str]:
    """Every module a file imports, also inside functions and for the type checker alone, dotted."""
    yield from _modules(ast.parse(path.read_text(encoding="utf-8")))


def _modules(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield "." * node.level + (node.module or "")
            yield from (f"{node.module}.{alias.name}" for alias in node.names if not node.level)


def _imports_when_run(path: Path) -> set[str]:
    """What a file imports when it runs: all but the imports that only a type checker reads."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            node.body = [ast.Pass()]
    return set(_modules(tree))


def _our_layer_of(module: str) -> str | None:
    parts = module.split(".")
    if parts[:2] == ["adapters", "commands"]:
        return "commands"
    return parts[0] if parts[0] in LAYERS else None


def _name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@pytest.mark.parametrize("path", SOURCES, ids=_name)
def test_imports_point_one_way(path: Path) -> None:
    """monitor imports nothing else of ours, adapters only monitor, replay those two, and nobody a command."""
    allowed = MAY_IMPORT[_layer(path)]
    # The command line finds its commands by name; it is the door to them, and the one file that may know the package.
    wrong = {module for module in _imports(path) if (_our_layer_of(module) or "monitor") not in allowed}
    assert not wrong


@pytest.mark.parametrize("path", SOURCES, ids=_name)
def test_no_relative_import(path: Path) -> None:
    """Modules are imported by their full name, so that one search finds every use."""
    assert not [module for module in _imports(path) if module.startswith(".")]


def _impure_calls(tree: ast.AST) -> Iterator[str]:
    """Calls that print, read or take chance from the process (`random.Random(seed)` is a number made from another)."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in IMPURE_CALLS:
            yield node.func.id
        of_random = isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "random"
        if of_random and node.attr != "Random":
            yield f"random.{node.attr}"


@pytest.mark.parametrize("path", _sources("monitor"), ids=_name)
def test_the_core_is_pure(path: Path) -> None:
    """monitor imports no module that reads a clock, a file, a socket, chance or the process, and prints nothing."""
    touched = {module.split(".")[0] for module in _imports(path)} & IMPURE
    assert not touched | set(_impure_calls(ast.parse(path.read_text(encoding="utf-8"))))


def test_an_impure_call_is_found() -> None:
    """The check above can fail: printing, and chance without a seed; a generator that is given its seed is none."""
    tree = ast.parse("import random\nprint(random.random())\nrandom.Random(7).random()\n")
    assert sorted(_impure_calls(tree)) == ["print", "random.random"]


@pytest.mark.parametrize("path", [p for p in SOURCES if p.name == "__init__.py"], ids=_name)
def test_a_package_file_holds_a_docstring_only(path: Path) -> None:
    """Names are imported from the module that defines them; `__init__` says what the package is."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree)
    assert len(tree.body) == 1


def _cycle(graph: dict[str, set[str]]) -> list[str]:
    """One cycle of the import graph, or an empty list: depth first, grey nodes on the path."""
    done: set[str] = set()

    def visit(name: str, path: list[str]) -> list[str]:
        if name in path:
            return [*path[path.index(name) :], name]
        if name in done:
            return []
        for other in sorted(graph.get(name, ())):
            if found := visit(other, [*path, name]):
                return found
        done.add(name)
        return []

    for start in sorted(graph):
        if found := visit(start, []):
            return found
    return []


def test_there_is_no_import_cycle() -> None:
    """No module of ours imports itself by way of others."""
    names = {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path in SOURCES}
    graph = {name: {module for module in _imports_when_run(path) if module in names} for name, path in names.items()}
    assert _cycle(graph) == []


def test_the_cycle_finder_finds_one() -> None:
    """The check above can fail: a made-up cycle is found."""
    assert _cycle({"a": {"b"}, "b": {"c"}, "c": {"b"}}) == ["b", "c", "b"]


_PERSONAL_PATH = re.compile(r"(?<![\w.:/-])/(?:home|root|Users|mnt|srv|w[o]rk)/\w")
_TRACKER = re.compile(r"(?i)\bissues? ?#?\d+\b")
_DOCUMENT = re.compile(r"\b[A-Z]{4,}\.md\b")


def _elsewhere(line: str) -> bool:
    """Whether a line points at something that a reader of the project does not have."""
    missing = any(not (ROOT / name).is_file() for name in _DOCUMENT.findall(line))
    return bool(missing or _PERSONAL_PATH.search(line) or _TRACKER.search(line))


def _texts() -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.split("\0")
    ends = (".py", ".md", ".toml", ".txt", ".csv", ".cfg", "run")
    found = [ROOT / name for name in listed if name.endswith(ends)] or [*ROOT.glob("*.md"), *SOURCES]
    return [path for path in found if path.is_file() and path != Path(__file__).resolve()]


def test_pointing_elsewhere_is_found() -> None:
    """The check below can fail: a document that is not here, somebody's folder, a tracker's number."""
    assert _elsewhere("see NOWHERE.md")
    assert _elsewhere("copied from /home/someone/notes")
    assert _elsewhere("as in issue 12")
    assert not _elsewhere("see README.md")


def test_no_text_speaks_of_where_it_was_made() -> None:
    """Code and docs explain themselves; they point at nothing that a reader of the project does not have."""
    found = [
        f"{_name(path)}:{number}: {line.strip()}"
        for path in _texts()
        for number, line in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), 1)
        if _elsewhere(line)
    ]
    assert not found


_LIMIT = 300
_SLACK = 1.25


def test_files_stay_short() -> None:
    """A file holds one idea: about 300 lines, a quarter more when it must be, never beyond."""
    lengths = {_name(path): len(path.read_text(encoding="utf-8").splitlines()) for path in SOURCES}
    assert not {name: lines for name, lines in lengths.items() if lines > _LIMIT * _SLACK}


def _function_lengths() -> list[int]:
    return sorted(
        (node.end_lineno or node.lineno) - node.lineno + 1
        for path in SOURCES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    )


def test_functions_stay_short() -> None:
    """Half of all functions have at most a dozen lines with their docstrings, nine in ten under thirty."""
    lengths = _function_lengths()
    assert lengths[len(lengths) // 2] <= 12
    assert lengths[len(lengths) * 9 // 10] < 30


def _test_functions() -> Iterator[tuple[Path, ast.FunctionDef]]:
    for path in _sources("tests"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                yield path, node


def test_every_test_states_its_promise() -> None:
    """Each test has a docstring that says in a sentence what is promised."""
    silent = [f"{_name(path)}: {node.name}" for path, node in _test_functions() if not ast.get_docstring(node)]
    assert not silent


def test_importing_the_core_is_light() -> None:
    """The coach comes up without the heavy or optional libraries: they are imported only where they are used."""
    heavy = ["rich", "zmq", "pint", "matplotlib", "pymavlink", "miniaudio", "pyttsx3", "geographiclib"]
    code = (
        f"import sys, monitor.aircraft_file, monitor.procedure_file;print([m for m in {heavy!r} if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True, timeout=60)
    assert run.stdout.strip() == "[]"
