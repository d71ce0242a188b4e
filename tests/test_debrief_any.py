"""The debrief of anything: whatever is missing, slow, wild or out of order, it gives an object and never an error."""

from __future__ import annotations

import math

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters import library
from monitor.events import Event
from monitor.options import Options
from monitor.phases import PHASES
from monitor.sample import CHANNELS, Sample
from replay.debrief import as_dict, debrief
from replay.debrief_table import print_debrief
from tests import made_flight as made

NORMAL, SHORT = library.open_procedure("normal"), library.open_procedure("short-field")
SEDGE = library.open_aircraft("sedge")


def _numbers(channel: str) -> st.SearchStrategy[float | None]:
    known = CHANNELS[channel]
    return st.none() | st.floats(known.low, known.high, allow_nan=False)


_samples = st.builds(Sample, **{name: _numbers(name) for name in CHANNELS if name != "time_s"})
_events = st.builds(
    Event,
    t_s=st.none() | st.floats(-10, 150),
    kind=st.sampled_from(["phase", "phase", "phase", "warning", "feed"]),
    id=st.sampled_from([*PHASES, "abort", "engine-failure", "restarted", "channel-lost", "channel-back"]),
    takeoff=st.none() | st.integers(1, 3),
    more=st.sampled_from(
        [{}, {"reason": "airspeed-not-alive"}, {"channel": "ias_kt", "why": "frozen"}, {"channel": 5}]
    ),
)


def _sound(result: dict[str, object]) -> None:
    msgspec.json.encode(result)
    for takeoff in result["takeoffs"]:  # type: ignore[attr-defined]
        for value in takeoff.values():
            assert not isinstance(value, float) or math.isfinite(value)


@pytest.mark.filterwarnings("error")
@settings(max_examples=60, deadline=None)
@given(st.lists(_samples, max_size=40), st.lists(_events, max_size=12), st.floats(0.02, 6.0))
def test_any_samples_with_any_events(samples: list[Sample], events: list[Event], step_s: float) -> None:
    """Random values of any channel, missing at random, under any events: an object with finite numbers or null."""
    rows = [(i * step_s, msgspec.structs.replace(sample, time_s=i * step_s)) for i, sample in enumerate(samples)]
    events = [made.phase(0.0, "takeoff-roll"), *events]
    for procedure in (NORMAL, SHORT):
        _sound(as_dict(debrief([rows, rows], events, SEDGE, procedure, Options())))


@pytest.mark.filterwarnings("error")
@settings(max_examples=60, deadline=None)
@given(
    st.sets(st.sampled_from(sorted(CHANNELS)), max_size=30),
    st.floats(0.5, 8.0),
    st.floats(0.0, 140.0),
    st.lists(_events, max_size=6),
)
def test_a_flight_cut_short_with_channels_missing(
    missing: set[str], hz: float, end_s: float, events: list[Event]
) -> None:
    """A good flight cut at any moment, at any rate, without any channels, among stray events."""
    rows = [row for row in made.rows(hz, without=tuple(missing)) if row[0] <= end_s]
    kept = [event for event in made.events() if event.t_s is not None and event.t_s <= end_s]
    result = debrief([rows], [*kept, *events], SEDGE, NORMAL, Options())
    _sound(as_dict(result))
    print_debrief(result)
