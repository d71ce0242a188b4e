"""How soon a call sounds, and how soon the voice is ready: `python -m tests.bench.bench_voice [calls]`. POSIX (a pty).

The device is miniaudio's null device, which takes a buffer every 10 ms of real time. Calls come at random moments,
with nothing else on and, in alternating stretches, while the real coach is fed at 60 Hz and the dashboard paints.
A second figure is that of a warning over a running advisory; a third what `event` costs its caller. First the starts,
with an empty and with a full cache: elapsed, and the program's own processor time, which other work on the machine
does not stretch; beside them a Python that does nothing.
"""

from __future__ import annotations

import os
import pty
import random
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path

from adapters.library import open_aircraft, open_procedure
from adapters.terminal import Dashboard
from adapters.voice import Voice, VoiceSettings, make_voice
from monitor.callouts import phrases
from monitor.events import Event
from tests.fake_speech import tone
from tests.trainer_packets import AIRCRAFT_NAME, Line, packets

STRETCH = 100
READER = "import os, sys\ntry:\n    while os.read(0, 65536): pass\nexcept OSError: pass"
START = """
import sys, time
from pathlib import Path
begun, begun_cpu = time.perf_counter(), time.process_time()
from adapters.voice import VoiceSettings, make_voice
voice = make_voice(eval(sys.argv[2]), VoiceSettings(device="null", cache_dir=Path(sys.argv[1])))
line = voice.start(10.0)
ready = time.perf_counter()
assert voice._library.have()[0] == len(eval(sys.argv[2])) and "played" in line, line
print(ready - begun, time.process_time() - begun_cpu)
voice.close()
"""


def _feed(stop: threading.Event, screen: Dashboard) -> None:
    """The real coach at 60 Hz, and the dashboard 30 times a second."""
    flight = packets(60.0)
    while not stop.is_set():
        line, begun = Line(), time.monotonic()
        for index, (at_s, payload) in enumerate(flight):
            if stop.wait(max(0.0, begun + at_s - time.monotonic())):
                return
            line.send(at_s, payload)
            if index % 2 == 0:
                screen.show(line.session.snapshot())


@contextmanager
def _busy() -> Iterator[None]:
    master, slave = pty.openpty()
    reader = subprocess.Popen([sys.executable, "-c", READER], stdin=master)
    stop = threading.Event()
    with os.fdopen(slave, "w", encoding="utf-8") as terminal:
        screen = Dashboard(stream=terminal)
        screen.start()
        feeding = threading.Thread(target=_feed, args=(stop, screen))
        feeding.start()
        time.sleep(1.0)
        yield
        stop.set()
        feeding.join()
        screen.close()
    reader.kill()
    reader.wait()
    os.close(master)


def _waits_ms(voice: Voice, identity: str) -> list[float]:
    """From "queued" to "started" for the calls of that id."""
    queued, waits = 0, []
    for entry in voice.take_log():
        if entry.id == identity and entry.what == "queued":
            queued = entry.at_ns
        elif entry.id == identity and entry.what == "started":
            waits.append((entry.at_ns - queued) / 1e6)
    return waits


def _calls(voice: Voice, count: int, costs_us: list[float]) -> list[float]:
    """Short calls into silence at random moments."""
    for _ in range(count):
        time.sleep(random.uniform(0.05, 0.08))
        begun = time.perf_counter_ns()
        voice.event(Event(1.0, "callout", "rotate", random.getrandbits(60), say="short"))
        costs_us.append((time.perf_counter_ns() - begun) / 1e3)
    voice.drain(1.0)
    return _waits_ms(voice, "rotate")


def _cuts(voice: Voice, count: int) -> list[float]:
    """Warnings over an advisory that is being said."""
    for _ in range(count):
        takeoff = random.getrandbits(60)
        voice.event(Event(1.0, "advisory", "heading", takeoff, say="long"))
        time.sleep(random.uniform(0.18, 0.25))  # a breath after the last call, then in the midst of it
        if voice.saying() == "long":
            voice.event(Event(1.0, "warning", "abort", takeoff, say="short"))
        time.sleep(0.05)
    voice.drain(1.0)
    return _waits_ms(voice, "abort")


def _row(name: str, values: list[float], unit: str) -> str:
    values = sorted(values)
    picks = [values[min(len(values) - 1, int(len(values) * part))] for part in (0.5, 0.95, 0.99)]
    marks = "".join(f"{value:>9.2f}" for value in [*picks, values[-1]])
    return f"{name:<44}{len(values):>6}{marks} {unit}"


def _latencies(folder: Path, count: int) -> None:
    voice = make_voice(["Rotate"], VoiceSettings(device="null", cache_dir=folder))
    voice.start()
    voice._library._clips |= {"short": tone(0.02), "long": tone(1.0)}
    found: dict[str, list[float]] = {}
    costs_us: list[float] = []
    for _ in range(max(1, count // STRETCH)):
        for name, load in (("nothing else on", nullcontext), ("coach at 60 Hz, dashboard", _busy)):
            with load():
                found.setdefault(f"call to first sample, {name}", []).extend(_calls(voice, STRETCH, costs_us))
                found.setdefault(f"warning over an advisory, {name}", []).extend(_cuts(voice, STRETCH // 5))
    print(f"{'':<44}{'calls':>6}{'median':>9}{'p95':>9}{'p99':>9}{'max':>9}")
    for name, waits in found.items():
        print(_row(name, waits, "ms"))
    print(_row("event(), for its caller", costs_us, "us"))
    voice.close()


def _starts(folder: Path) -> None:
    texts = repr(phrases(open_procedure("normal"), open_aircraft(AIRCRAFT_NAME)))
    cold, warm, cold_cpu, warm_cpu, bare = [], [], [], [], []
    for number in range(5):
        for times, cpu in ((cold, cold_cpu), (warm, warm_cpu)):
            command = [sys.executable, "-P", "-c", START, str(folder / f"cache{number}"), texts]
            elapsed, used = map(float, subprocess.run(command, capture_output=True, check=True).stdout.split())
            times.append(1000 * elapsed)
            cpu.append(1000 * used)
        begun = time.perf_counter()
        subprocess.run([sys.executable, "-P", "-c", "pass"], check=True)
        bare.append(1000 * (time.perf_counter() - begun))
    print(f"\nready to speak, {len(eval(texts))} phrases, beyond Python's own start")
    rows = {"empty cache": cold, "full cache": warm, "empty cache, processor time": cold_cpu}
    rows |= {"full cache, processor time": warm_cpu, "Python itself": bare}
    for name, times in rows.items():
        print(_row(name, times, "ms"))


def main() -> None:
    """Run and print."""
    os.environ["TERM"] = "xterm-256color"
    random.seed(1)
    with tempfile.TemporaryDirectory() as name:
        _starts(Path(name))
        _latencies(Path(name), int(sys.argv[1]) if len(sys.argv) > 1 else 1000)


if __name__ == "__main__":
    main()
