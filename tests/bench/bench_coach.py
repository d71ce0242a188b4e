"""What the coach costs a sample: `python -m tests.bench.bench_coach [rounds]`.

A model flight with every channel it has (about 40), constant-speed propeller, gusts; at 60, 30, 20 and 5 Hz, with and
without a ground switch and height. Each round runs beside a bare pass over the same samples (each turned into a tuple
and its missing channels counted), so that a slow moment of the machine hits both; the least of the rounds counts.
Goals: at most 5 microseconds a sample at 60 Hz, at most 200 for the worst single one (the least
of the rounds for each sample, so that what the machine does in between is not taken for the coach).
"""

from __future__ import annotations

import gc
import sys
import time
from collections.abc import Callable, Sequence

import msgspec
from msgspec.structs import astuple

from monitor.coach import Coach
from monitor.options import Options
from monitor.sample import Sample
from tests.accuracy.setup import coach_for
from tests.flights_jsbsim.flight import fly
from tests.flights_jsbsim.judge import samples_of
from tests.flights_jsbsim.scenario import Scenario
from tests.flights_jsbsim.sensors import Sensors

AEROPLANE = "c182"
RATES_HZ = (60.0, 30.0, 20.0, 5.0)


def flights() -> dict[str, list[Sample]]:
    """Each variant's samples."""
    scenario = Scenario(aeroplane=AEROPLANE, wind_kt=12.0, wind_from_deg=60.0, gust_kt=1.0)
    found = {f"{rate:g} Hz": samples_of(fly(scenario, Sensors(rate_hz=rate)).samples) for rate in RATES_HZ}
    bare = [msgspec.structs.replace(s, on_ground=None, height_ft=None) for s in found["60 Hz"]]
    return found | {"60 Hz, no switch, no height": bare}


def bare_pass(samples: Sequence[Sample]) -> None:
    """What any reader of the samples has to do."""
    for sample in samples:
        astuple(sample).count(None)


def coached(samples: Sequence[Sample]) -> None:
    """The coach over the flight."""
    feed = coach().feed
    for sample in samples:
        feed(sample, sample.time_s or 0.0)


def coach() -> Coach:
    """A new one."""
    return coach_for(AEROPLANE, Options())


def micro_s(work: Callable[[Sequence[Sample]], None], samples: Sequence[Sample]) -> float:
    """Processor time a sample."""
    began = time.process_time()
    work(samples)
    return (time.process_time() - began) / len(samples) * 1e6


def worst_micro_s(samples: Sequence[Sample], rounds: int) -> float:
    """The worst single sample, each at its least of the rounds."""
    least = [float("inf")] * len(samples)
    for _ in range(rounds):
        feed = coach().feed
        for n, sample in enumerate(samples):
            began = time.perf_counter()
            feed(sample, sample.time_s or 0.0)
            least[n] = min(least[n], time.perf_counter() - began)
    return max(least) * 1e6


def main() -> None:
    """Print the table."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    variants = flights()
    coach()  # reads the profile and the procedure once
    gc.disable()
    channels = sum(value is not None for value in astuple(variants["60 Hz"][-1]))
    print(f"{AEROPLANE}, {channels} channels, least of {rounds} rounds")
    for name, samples in variants.items():
        pairs = [(micro_s(bare_pass, samples), micro_s(coached, samples)) for _ in range(rounds)]
        bare, whole = (min(column) for column in zip(*pairs, strict=True))
        worst = worst_micro_s(samples, 5)
        print(f"{name:28} {whole:5.2f} us a sample, {whole / bare:4.1f} bare passes; worst sample {worst:4.0f} us")


if __name__ == "__main__":
    main()
