"""Feed time: which samples count, and what is said of the data itself; every rule at its edge."""

from __future__ import annotations

from itertools import pairwise

import msgspec
import pytest

from monitor.options import Options
from monitor.sample import Sample
from monitor.timeline import Timeline
from tests.synthetic import ARRIVAL_S, Flown, at, changed, fly, step, takeoff


class Line:
    """A time line with what it said and admitted."""

    def __init__(self) -> None:
        """Nothing yet."""
        self.said: list[tuple[str, float]] = []
        self.restarts: list[float] = []
        self.carried: list[float] = []
        self.line = Timeline(
            lambda id_, t: self.said.append((id_, round(t, 6))), self.restarts.append, self.carried.append
        )
        self.admitted: list[float] = []

    def offer(self, time_s: float | None, arrival_s: float) -> list[float]:
        """The times let through by one sample."""
        found = [t for t, _ in self.line.offer(Sample(time_s=time_s), arrival_s)]
        self.admitted += found
        return found

    def run(self, from_s: float, to_s: float, rate_hz: float = 20.0) -> float:
        """Samples at a steady rate, arriving as they are made; the last one's time."""
        t = from_s
        for n in range(round((to_s - from_s) * rate_hz) + 1):
            t = from_s + n / rate_hz
            self.offer(t, ARRIVAL_S + t)
        return t

    @property
    def ids(self) -> list[str]:
        """What was said."""
        return [id_ for id_, _ in self.said]


def test_a_steady_stream_is_admitted_whole_and_says_only_that_it_started() -> None:
    """Every sample of a steady stream counts at its own time, and nothing but `started` is said."""
    line = Line()
    line.run(100.0, 110.0)
    assert len(line.admitted) == 201
    assert line.said == [("started", 100.0)]
    assert line.line.interval_s == pytest.approx(0.05)


@pytest.mark.parametrize(
    ("rate_hz", "judged_hz"), [(25.0, 25.0), (30.0, 30.0), (50.0, 25.0), (60.0, 20.0), (100.0, 20.0), (1000.0, 20.0)]
)
def test_of_a_fast_stream_twenty_to_thirty_samples_a_second_are_judged(rate_hz: float, judged_hz: float) -> None:
    """However fast the stream, 20 to 30 evenly spaced samples a second count, and the rest changes nothing."""
    line = Line()
    line.run(100.0, 110.0, rate_hz)
    judged = [t for t in line.admitted if t > 101.0]
    assert len(judged) == pytest.approx(9.0 * judged_hz, abs=2)
    assert {round(b - a, 6) for a, b in pairwise(judged)} == {round(1.0 / judged_hz, 6)}
    assert line.line.interval_s == pytest.approx(1.0 / judged_hz)
    assert line.line.t == 110.0


def test_the_first_sample_after_a_loss_is_judged_however_fast_the_stream() -> None:
    """After 3 s without a packet at 100 Hz, the first sample back counts at once: `back` comes with its values."""
    line = Line()
    line.run(100.0, 105.01, 100.0)
    line.line.check_lost(ARRIVAL_S + 107.5)
    assert line.offer(108.013, ARRIVAL_S + 108.013) == [108.013]
    assert line.ids == ["started", "lost", "back"]


@pytest.mark.parametrize("how", ["lost", "paused", "jump"])
def test_where_time_stood_still_the_next_sample_is_judged_however_soon(how: str) -> None:
    """At 100 Hz, a clock that stops for 3 s with the packets or without them, or one damaged time: the next sample,
    0.01 s on, counts at once, though else the next four would be passed over."""
    line = Line()
    t = line.run(100.0, 104.96, 100.0)
    assert line.admitted[-1] == t
    if how == "lost":
        line.line.check_lost(ARRIVAL_S + t + 3.0)
    elif how == "paused":
        for n in range(30):
            line.offer(t, ARRIVAL_S + t + 0.1 * (n + 1))
    else:
        line.offer(t + 500.0, ARRIVAL_S + t + 0.01)
    assert line.offer(t + 0.01, ARRIVAL_S + t + 3.01) == [t + 0.01]
    assert line.ids == {"lost": ["started", "lost", "back"], "paused": ["started", "paused", "resumed"]}.get(
        how, ["started"]
    )


@pytest.mark.parametrize("pairs_hz", [10.0, 20.0])
def test_packets_that_come_in_pairs_are_no_fast_stream(pairs_hz: float) -> None:
    """Two packets a millisecond apart, ten or twenty times a second: at least one of every pair is judged."""
    line = Line()
    for n in range(100):
        for later_s in (0.0, 0.001):
            t = 100.0 + n / pairs_hz + later_s
            line.offer(t, ARRIVAL_S + t)
    assert {int((t - 100.0) * pairs_hz + 1e-6) for t in line.admitted} == set(range(100))


@pytest.mark.parametrize("copies", [2, 12])
def test_copies_of_fast_packets_are_no_pause(copies: int) -> None:
    """A log of 100 Hz in which every row stands up to twelve times: as judged without the copies, and no pause."""
    once, line = Line(), Line()
    once.run(100.0, 110.0, 100.0)
    for n in range(1001):
        for _ in range(copies):
            line.offer(100.0 + n / 100.0, ARRIVAL_S + 100.0 + n / 100.0)
    assert line.admitted == once.admitted
    assert line.ids == ["started"]


def test_a_debrief_takes_every_sample() -> None:
    """Where every sample is asked for, none is left out at 200 Hz."""
    said: list[str] = []
    line = Timeline(lambda id_, t: said.append(id_), lambda t: None, lambda s: None, every=True)
    found = [line.offer(Sample(time_s=n / 200.0), n / 200.0) for n in range(400)]
    assert [len(one) for one in found] == [1] * 400


def test_without_time_s_it_counts_from_the_first_sample() -> None:
    """A feed without its own time counts in seconds since its first sample arrived."""
    line = Line()
    assert line.offer(None, 500.0) == [0.0]
    assert line.offer(None, 500.25) == [0.25]
    assert line.line.own_time is False


def test_the_clock_is_chosen_by_the_first_sample() -> None:
    """A sample without time in a feed that has its own is left out and counted, not placed by another clock."""
    line = Line()
    line.offer(10.0, 500.0)
    assert line.offer(None, 500.1) == []
    assert line.offer(10.2, 500.2) == [10.2]
    assert line.line.dropped_no_time == 1


@pytest.mark.parametrize("back_s", [0.01, 0.5, 1.0])
def test_back_by_a_second_or_less_is_a_late_packet(back_s: float) -> None:
    """A packet up to 1 s older than the last is dropped and counted, and nothing is said of it."""
    line = Line()
    t = line.run(100.0, 105.0)
    assert line.offer(t - back_s, ARRIVAL_S + t) == []
    assert line.offer(t + 0.05, ARRIVAL_S + t + 0.05) == [t + 0.05]
    assert line.line.dropped_late == 1
    assert line.ids == ["started"]


@pytest.mark.parametrize("to_s", [103.99, 50.0, 0.0, 115.01, 705.0])
def test_a_jump_confirmed_by_the_next_sample_restarts(to_s: float) -> None:
    """Back by more than 1 s, or forward by more than 10, is `restarted` once a second sample confirms it."""
    line = Line()
    t = line.run(100.0, 105.0)
    assert t == 105.0
    assert line.offer(to_s, ARRIVAL_S + t + 0.05) == []
    assert line.offer(to_s + 0.05, ARRIVAL_S + t + 0.10) == [to_s, to_s + 0.05]
    assert line.said[1:] == [("restarted", to_s)]
    assert line.restarts == [to_s]
    assert line.line.dropped_jump == 0


def test_forward_by_ten_seconds_is_a_gap_not_a_jump() -> None:
    """Ten seconds forward is a gap in the same flight."""
    line = Line()
    line.run(100.0, 105.0)
    assert line.offer(115.0, ARRIVAL_S + 105.05) == [115.0]
    assert line.restarts == []


@pytest.mark.parametrize("wild_s", [0.0, 9e7, 103.5, 117.0])
def test_a_single_wild_time_is_no_restart(wild_s: float) -> None:
    """One damaged time among good ones is dropped and counted; the flight goes on."""
    line = Line()
    t = line.run(100.0, 105.0)
    assert line.offer(wild_s, ARRIVAL_S + t + 0.05) == []
    assert line.offer(t + 0.1, ARRIVAL_S + t + 0.1) == [t + 0.1]
    assert line.ids == ["started"]
    assert line.line.dropped_jump == 1


def test_two_wild_times_that_disagree_are_no_restart() -> None:
    """Two damaged times that do not follow on each other confirm nothing."""
    line = Line()
    t = line.run(100.0, 105.0)
    line.offer(9000.0, ARRIVAL_S + t + 0.05)
    line.offer(300.0, ARRIVAL_S + t + 0.10)
    assert line.offer(t + 0.15, ARRIVAL_S + t + 0.15) == [t + 0.15]
    assert line.ids == ["started"]


def test_time_that_stands_still_is_paused_then_resumed() -> None:
    """The same time arriving for 1.5 s is `paused`, once; the next new time is `resumed`; no repeat is admitted."""
    line = Line()
    t = line.run(100.0, 105.0)
    count = len(line.admitted)
    for n in range(1, 30):
        line.offer(t, ARRIVAL_S + t + n * 0.05)
    assert line.ids == ["started"]
    for n in range(30, 60):
        line.offer(t, ARRIVAL_S + t + n * 0.05)
    assert line.said[1:] == [("paused", 105.0)]
    assert len(line.admitted) == count
    line.offer(t + 0.05, ARRIVAL_S + t + 3.05)
    assert line.said[2:] == [("resumed", 105.05)]


def test_a_burst_of_copies_is_no_pause() -> None:
    """A handful of duplicates arriving at once is dropped and counted, not called a pause."""
    line = Line()
    t = line.run(100.0, 105.0)
    for _ in range(6):
        line.offer(t, ARRIVAL_S + t)
    line.offer(t + 0.05, ARRIVAL_S + t + 0.05)
    assert line.ids == ["started"]
    assert line.line.dropped_repeat == 6


def test_a_log_without_arrival_times_shows_a_pause_by_its_repeated_rows() -> None:
    """A log replayed with its own time as arrival: 30 equal rows are a pause, 29 are copies."""
    line = Line()
    t = line.run(100.0, 105.0)
    for _ in range(29):
        line.offer(t, ARRIVAL_S + t)
    assert line.ids == ["started"]
    line.offer(t, ARRIVAL_S + t)
    line.offer(t + 0.05, ARRIVAL_S + t + 0.05)
    assert line.said[1:] == [("paused", 105.0), ("resumed", 105.05)]


@pytest.mark.parametrize(("rate_hz", "wait_s"), [(20.0, 2.0), (2.0, 2.0), (1.0, 3.0), (0.2, 15.0)])
def test_lost_after_two_seconds_or_three_intervals(rate_hz: float, wait_s: float) -> None:
    """No sample for max(2 s, 3 usual intervals) of arrival time is `lost`, stamped then; the next sample is `back`."""
    line = Line()
    t = line.run(100.0, 140.0, rate_hz)
    line.line.check_lost(ARRIVAL_S + t + wait_s - 0.01)
    assert line.ids == ["started"]
    line.line.check_lost(ARRIVAL_S + t + wait_s + 7.0)
    line.line.check_lost(ARRIVAL_S + t + wait_s + 8.0)
    assert line.said[1:] == [("lost", t + wait_s)]
    line.offer(t + 9.0, ARRIVAL_S + t + wait_s + 9.0)
    assert line.ids == ["started", "lost", "back"]


def test_feed_time_is_carried_on_by_one_usual_interval_at_most() -> None:
    """Between samples feed time goes with arrival, but never more than a usual interval ahead of the last sample."""
    line = Line()
    t = line.run(100.0, 105.0)
    assert line.line.feed_time(ARRIVAL_S + t + 0.02) == pytest.approx(t + 0.02)
    assert line.line.feed_time(ARRIVAL_S + t + 3.0) == pytest.approx(t + 0.05)
    assert line.line.feed_time(ARRIVAL_S + t - 1.0) == pytest.approx(t)


def test_a_fast_stream_in_whole_milliseconds_is_never_carried_past_the_next_judged_sample() -> None:
    """60 Hz in steps of 16, 17 and 17 ms, every third judged, 50 ms apart: feed time runs on by less than that."""
    line = Line()
    for n in range(60 * 30):
        t = round(100.0 + n / 60.0, 3)
        line.offer(t, ARRIVAL_S + t)
        assert n < 60 or line.line.carry_s < 0.05


# ---- the same rules, seen from outside ---------------------------------------------------------------------------


def _roll(**lines: float) -> list[Sample]:
    return takeoff(**lines).between(5.0, 40.0).samples()


def _later(samples: list[Sample], from_s: float, by_s: float) -> list[Sample]:
    return [_at(s, at(s) + by_s if at(s) >= from_s else at(s)) for s in samples]


def _at(sample: Sample, time_s: float | None) -> Sample:
    return msgspec.structs.replace(sample, time_s=time_s)


def _with(sample: Sample, oil_pressure_psi: float) -> Sample:
    return msgspec.structs.replace(sample, oil_pressure_psi=oil_pressure_psi)


def _routine(flown: Flown) -> list[str]:
    return flown.ids("callout")


ALL = ["clock", "power-set", "engine-green", "airspeed-alive", "rotate", "positive-rate", "climb-speed"]


def test_without_time_s_the_calls_are_the_same() -> None:
    """A feed that sends no time gets the same calls, stamped in seconds since its first sample."""
    with_time, without = _roll(), [_at(s, None) for s in _roll()]
    mine, other = fly(with_time), fly(without)
    assert _routine(mine) == _routine(other) == ALL
    for call in ALL:
        assert other.t("callout", call) == pytest.approx(mine.t("callout", call) - 5.0, abs=1e-6)


def test_late_packets_and_copies_change_nothing() -> None:
    """Swapped neighbours' late halves and duplicates leave the events as they were."""
    samples = _roll()
    disturbed = [
        s for n, sample in enumerate(samples) for s in ([sample, samples[n - 1], sample] if n % 7 == 3 else [sample])
    ]
    assert fly(disturbed).events == fly(samples).events


def test_no_deadline_inside_a_gap_fires() -> None:
    """Oil pressure 1 s below its least, then the clock jumps ten minutes: what had waited does not fall due."""
    low = takeoff(oil_pressure_psi=step(19.0, 75.0, 10.0)).between(5.0, 20.0).samples()
    after = takeoff().between(0.0, 5.0).samples()
    flown = fly(low + _later(after, -1.0, 620.0), arrive_every_s=0.05)
    assert flown.warnings == []
    assert flown.ids("feed") == ["started", "restarted"]
    assert flown.coach.phase == "standing"


@pytest.mark.parametrize(("lasted_s", "warned"), [(1.0, False), (1.40, False), (1.46, True)])
def test_a_gap_in_the_data_carries_deadlines_by_one_interval(lasted_s: float, warned: bool) -> None:
    """Silence counts for one usual interval of a hold: what it does not reach by then has not fallen due."""
    samples = takeoff(oil_pressure_psi=((17.0, 75.0), (19.0, 10.0))).between(5.0, 30.0).samples()
    passed_s = 17.0 + 2.0 * 50.0 / 65.0  # 25 psi
    cut_s = round((passed_s + lasted_s) * 20.0) / 20.0
    kept = [s for s in samples if at(s) <= cut_s or at(s) > cut_s + 4.0]
    kept = [_with(s, 75.0) if at(s) > cut_s else s for s in kept]
    flown = fly(kept)
    assert bool(flown.warnings) == warned


def test_a_takeoff_after_a_restart_is_coached_whole() -> None:
    """The clock put back by ten minutes: the flight is looked at afresh and every call made again."""
    flown = fly(_later(_roll(), -1.0, 600.0) + _roll())
    assert flown.ids("feed") == ["started", "restarted"]
    assert _routine(flown) == ALL * 2
    assert flown.warnings == []


def test_nothing_falls_due_while_paused() -> None:
    """Paused with oil pressure just gone low: no warning meanwhile, the hold runs in feed time."""
    samples = takeoff(oil_pressure_psi=step(19.0, 75.0, 10.0)).between(5.0, 22.0).samples()
    early, late = [s for s in samples if at(s) <= 20.0], [s for s in samples if at(s) > 20.0]
    paused = early + [early[-1]] * 40 + late
    flown = fly(paused)
    assert "paused" in flown.ids("feed")
    assert flown.one("warning", "abort").t_s == pytest.approx(fly(samples).t("warning", "abort"))


def test_a_tick_never_runs_ahead_of_feed_time() -> None:
    """However late a tick comes, only what falls due within one usual interval of the last sample is given."""
    samples = takeoff(oil_pressure_psi=step(18.0, 75.0, 10.0)).between(5.0, 19.0).samples()
    flown = fly(samples)
    assert flown.warnings == []
    later = flown.coach.tick(ARRIVAL_S + 1000.0)
    assert [event.id for event in later] == ["data-lost", "lost"]


def test_lost_in_the_roll_is_said_once() -> None:
    """1.5 s after the last sample of a feed that falls silent in the roll "Data lost" is said, once, and half a second
    later it is `lost`; standing still nothing is said."""
    rolling, standing = fly(takeoff().between(5.0, 19.0)), fly(takeoff().between(0.0, 8.0))
    last_s = rolling.coach.timeline.arrival_s
    rolling.coach.tick(last_s + 1.0)
    assert rolling.coach.next_deadline() == pytest.approx(last_s + 1.5)
    assert rolling.coach.tick(last_s + 1.49) == []
    (said,) = rolling.coach.tick(last_s + 1.6)
    assert (said.kind, said.id, said.say) == ("caution", "data-lost", "Data lost")
    assert said.t_s == pytest.approx(20.5, abs=0.1)
    assert [(e.id, e.say) for e in rolling.coach.tick(last_s + 2.1)] == [("lost", None)]
    assert rolling.coach.tick(last_s + 40.0) == []
    assert [(e.id, e.say) for e in standing.coach.tick(ARRIVAL_S + 25.0)] == [("lost", None)]


def _lost_words(flown: Flown, *after_s: float) -> list[list[str | None]]:
    """What the events of lost data say, by a tick each, so many seconds after the last sample."""
    last_s = flown.coach.timeline.arrival_s
    return [[e.say for e in flown.coach.tick(last_s + s) if e.id == "data-lost"] for s in after_s]


@pytest.mark.parametrize(("ends_s", "words_s"), [(20.8, 6.5), (22.5, 6.5), (24.9, 6.5), (27.0, 2.0)])
def test_a_feed_that_falls_silent_around_rotation_is_told_without_words_first(ends_s: float, words_s: float) -> None:
    """VR would be less than 2 s away, or lift-off was less than 4 s ago where so much is set: an event without words
    after 1.5 s, and the words 5 s later, or when the 4 s are over; once, however often it is looked at."""
    using = changed(quiet_after_s=4.0)
    flown = fly(takeoff().between(5.0, ends_s), using=using)
    last_s = flown.coach.timeline.arrival_s
    assert flown.coach.next_deadline() == pytest.approx(last_s + 1.5)
    told = _lost_words(flown, 1.49, 1.51, words_s - 0.05, words_s + 0.05, 60.0)
    assert told == [[], [None], [], ["Data lost"], []]
    assert _lost_words(fly(takeoff().between(5.0, ends_s), using=using), 1000.0) == [[None, "Data lost"]]


def test_a_feed_that_comes_back_in_the_silence_is_not_called_lost() -> None:
    """Silent for 2.5 s around rotation: no words; lost again in the climb it is said."""
    flown = fly(takeoff().between(5.0, 60.0).dropping(lambda n: 350 <= n < 400 or 800 <= n < 860))
    assert [(e.say, (e.t_s or 0.0) > 40.0) for e in flown.all("caution", "data-lost")] == [
        (None, False),
        ("Data lost", True),
    ]


@pytest.mark.parametrize("ends_s", [18.0, 22.5, 40.0])
def test_at_level_test_lost_data_is_shown_only(ends_s: float) -> None:
    """ "Warnings only": a feed that falls silent is told once, without words."""
    flown = fly(takeoff().between(5.0, ends_s), options=Options(level="test"))
    assert _lost_words(flown, 2.0, 60.0) == [[None], []]


def test_data_lost_is_said_once_a_takeoff() -> None:
    """The feed silent twice in one climb, and the airspeed missing after that: the words once."""
    gone = takeoff().bend("ias_kt", 80.0, 90.0, None).dropping(lambda n: 800 <= n < 860 or 1200 <= n < 1260)
    flown = fly(gone.between(5.0, 100.0))
    assert flown.ids("feed").count("lost") == 2
    assert [event.kind for event in flown.events if event.say == "Data lost"] == ["caution"]


@pytest.mark.parametrize("rate_hz", [1.0, 2.0])
def test_a_slow_feed_is_not_lost_by_a_sample_or_two(rate_hz: float) -> None:
    """Two samples in a row that do not come are no loss at one or two a second; four seconds are."""
    flight = takeoff(rate_hz).between(5.0, 60.0)
    short = fly(flight.dropping(lambda n: n in (30, 31)))
    assert not [event for event in short.events if event.say == "Data lost"]
    long = fly(flight.dropping(lambda n: 30 <= n < 30 + 4 * rate_hz))
    assert [event.id for event in long.events if event.say == "Data lost"] == ["data-lost"]


def test_after_the_clock_went_back_the_climb_is_looked_at_as_ever() -> None:
    """A climb at a feed time of 5,000 s, then the next takeoff from 5 s on: oil pressure lost at 60 s is told."""
    earlier = takeoff().between(5.0, 60.0).samples()
    before = [msgspec.structs.replace(s, time_s=(s.time_s or 0.0) + 5000.0) for s in earlier]
    low = takeoff().bend("oil_pressure_psi", 60.0, 200.0, 10.0).between(5.0, 80.0).samples()
    flown = fly([*before, *low])
    assert flown.warnings == [("oil-pressure-low", "oil-pressure-low")]
    assert flown.t("warning", "oil-pressure-low") == pytest.approx(61.5, abs=0.2)
