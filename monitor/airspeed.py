"""The airspeed indicator: alive, dead, or stuck."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from math import inf

from monitor.agenda import Agenda, Hold
from monitor.aircraft import Aircraft
from monitor.geo import turn
from monitor.judge import Judge
from monitor.options import Options
from monitor.settings import Settings
from monitor.state import State

ALIVE_AT_MOST_KT = 20.0  # a good indicator has come alive by then
ABOVE_REST_KT = 2.0  # common practice, no source
ALIVE_KT_S, CHECK_AGAIN_S = 0.5, 1.0  # it rises by so much; still slow, so often it is looked at (no source)
REVIVED_KT = 10.0  # above what it stuck at, or above 20 kt where it was dead, for a second, and
REVIVED_NEAR_KT = 20.0  # no further than this from the groundspeed: it is alive (common practice, no source)
REVIVED_S = 1.0
LOW_FT = 10.0  # so low what was not stuck is enough: no pressure trapped in a pitot tube moves it (no source)
SLOW_STUCK_PART = 0.6
ALOFT_S, STRAIGHT_DEG = 20.0, 15.0
"""So long after lift-off, so little off the heading then, and short of the climb speed a needle may be called stuck: a
turn downwind, or a climb speed held in a lull, looks alike (common practice, no source)."""
RISES_FROM_KT, RISES_PART, RISES_KT_S = 5.0, 0.5, 2.0
"""A needle that rises from so much at half the rate of the groundspeed, or of 2 kt/s, is alive (common practice, no
source)."""
STUCK_ABOVE_KT = 17.0
SLOW_START_KT = 20.0  # of groundspeed (common practice, no source)
ROW_S, ROWS_MOST = 0.25, 40  # the needle's past is kept in such steps, and for ten seconds
RISEN_KT = 5.0  # above rest, it shows more than the wind (common practice, no source)
STUCK_FROM_KT = 10.0  # of groundspeed: below, a needle in the wind says nothing (common practice, no source)
GAINS_MOST_KT_S = 7.5  # of groundspeed: no trainer gains 15 kt in less than 2 s (common practice, no source)
STOOD_S, CAUGHT_UP_KT = 1.5, 5.0  # not to be taken for the steps of a rounded one (common practice, no source)
STANDS_KT, STANDS_S, STANDS_DTS = 0.5, 0.7, 2.0
STANDS_GAIN_KT, STANDS_GAIN_KT_S = 1.5, 1.2
"""A needle that has moved by no more than this for so long, over three samples or more, while groundspeed gained so
much and so fast: it stands, as one about to be called stuck does (common practice, no source)."""


class Airspeed:
    """Watches indicated airspeed on the roll and after lift-off against the speed over the ground."""

    def __init__(
        self,
        state: State,
        aircraft: Aircraft,
        settings: Settings,
        options: Options,
        agenda: Agenda,
        judge: Judge,
        alive: Callable[[float], None],
        check: Callable[[float], None],
    ) -> None:
        self._s = state
        self._set = settings
        self._headwind = options.headwind_kt
        self._judge = judge
        self._alive = alive
        half_roll_s = 0.5 * (aircraft.expected_roll_s or 0.0)
        self._dead_hold = Hold(agenda, settings.airspeed_dead_hold_s, self._dead)
        self._revival_hold = Hold(agenda, REVIVED_S, self._revived)
        self._died_hold = Hold(agenda, settings.airspeed_dead_hold_s, check)
        self._check_hold = Hold(agenda, max(settings.airspeed_check_s, half_roll_s), self._check_slow)
        self._check = check
        self._alive_said = False
        # Groundspeed, lowest and highest airspeed since, and by how much these may differ.
        self._stuck_from: tuple[float, float, float, float] | None = None
        self._ground: tuple[float, float] | None = None  # time, and groundspeed as far as an aeroplane can have gone
        # The last seconds: groundspeed, and the lowest and highest airspeed from there for a moment.
        self._rows: deque[tuple[float, float, float]] = deque(maxlen=ROWS_MOST)
        self._row_t = 0.0
        self._stood: tuple[float, float] | None = None  # since when the groundspeed is the very same, and that
        self._stands_from: tuple[float, float, float] | None = None  # time, airspeed, groundspeed
        self._dead_at_kt = 0.0
        self._slow_kt = aircraft.speeds_kias.best_rate - settings.climb_slow_kt
        self._off: tuple[float, float | None] | None = None  # time and heading when it was first in the air
        self.maybe_off = False

    def begin(self) -> None:
        """A takeoff begins."""
        self._dead_hold.clear()
        self._revival_hold.clear()
        self._check_hold.clear()
        self._died_hold.clear()
        self._alive_said = False
        self._stuck_from = None
        self._ground = self._stands_from = self._stood = None
        self._off = None
        self._s.ias_set_aside = False
        self._s.ias_behind_kt = 0.0
        self._s.headwind_at_most_kt = inf

    def roll(self) -> None:
        """One sample of the roll."""
        s = self._s
        ias = s.sample.ias_kt
        if ias is None:
            return
        self._died_hold.update(s.ias_died, s.t)
        if ias >= ALIVE_AT_MOST_KT:
            self._check_hold.clear()
        if not self._alive_said:
            self._watch_alive(ias)
        self._watch(ias)

    def _check_slow(self, t: float) -> None:
        """Still slow after so long: a needle that rises is alive, and the roll a slow one."""
        s = self._s
        if (s.ias or 0.0) >= RISES_FROM_KT and s.ias_trend.rate >= ALIVE_KT_S:
            self._check_hold.again(t + CHECK_AGAIN_S)
        else:
            self._check(t)

    def standing_with_power(self, power_set: bool) -> None:
        """Power set, and the airspeed shows nothing, with no speed over the ground to tell the roll by."""
        s = self._s
        ias = s.sample.ias_kt
        dead = power_set and ias is not None and ias < ALIVE_AT_MOST_KT and not self._s.v_measured
        self._check_hold.update(dead, s.t)

    def climb(self) -> None:
        """One sample after lift-off."""
        s = self._s
        ias = s.sample.ias_kt
        if ias is None:
            return
        if s.ias_died or self._died_hold.since is not None:
            self._died_hold.update(s.ias_died, s.t)
        if ias < 20.0 or s.ias_set_aside or self._dead_hold.since is not None or self._just_off():
            self._watch(ias)
        else:
            self._stuck_from = self._stands_from = None  # what it does unwatched, faster than that, is movement
            s.ias_behind_kt = 0.0

    def _just_off(self) -> bool:
        """Soon after lift-off, flying straight on."""
        s = self._s
        heading = s.sample.heading_deg
        if self._off is None:
            self._off = s.t, heading
        ias = s.sample.ias_kt
        if ias is None or ias > self._slow_kt:
            return False
        since, along = self._off
        if along is None or heading is None or s.t - since > ALOFT_S:
            return False
        return abs(turn(along, heading)) < STRAIGHT_DEG

    def _watch(self, ias: float) -> None:
        s = self._s
        if not self._s.v_measured:
            return
        if not s.ias_set_aside:
            self._watch_dead(ias)
        elif s.v is not None:
            low = s.height is not None and s.height < LOW_FT and self._dead_at_kt >= 20.0
            grown = ias >= max(self._dead_at_kt, 20.0) + (self._set.stuck_ias_kt if low else REVIVED_KT)
            self._revival_hold.update(grown and abs(ias - s.v) <= REVIVED_NEAR_KT, s.t)

    def _revived(self, t: float) -> None:
        """It moves again, and near the speed over the ground: a lull of the wind, or a blocked pitot that came free."""
        self._s.ias_set_aside = False
        self._stuck_from = None
        self._dead_hold.clear()

    def _watch_alive(self, ias: float) -> None:
        s = self._s
        rest = s.rest_ias if s.rest_ias is not None else 0.0
        # What the wind alone makes it show is no sign of life.
        threshold = max(min(self._set.alive_kt, rest + self._set.alive_rise_kt), rest + ABOVE_REST_KT)
        if ias < threshold or s.ias_trend.rate < ALIVE_KT_S:
            return
        self._alive_said = True
        before = s.prev.ias_kt
        late = before is not None and before >= threshold  # the roll itself was noticed late
        self._alive(s.airspeed_reached(threshold) if late else s.crossing(before, ias, threshold))

    def _watch_dead(self, ias: float) -> None:
        s, set_ = self._s, self._set
        v = self._gathered_kt()
        if v is None:
            return
        s.ias_behind_kt = self._behind_kt(ias, v)
        if self._headwind is None:
            dead = v >= set_.dead_groundspeed_kt and ias < 20.0
        else:
            dead = min(v, v + self._headwind) >= set_.dead_groundspeed_wind_known_kt and ias < 20.0
        if ias >= RISES_FROM_KT and s.ias_trend.rate >= RISES_PART * max(s.v_trend.rate, RISES_KT_S):
            dead = False  # with a tailwind, or an instrument that lags, it comes alive later than that
        if ias >= (20.0 if self._stuck_from is None else STUCK_ABOVE_KT):  # a needle stuck at 20 shows a little less
            dead = self._stuck(ias, v) or dead
        else:
            self._stuck_from = None
        self._dead_hold.update_agreed(dead, s.t, s.t, s.dt)

    def _gathered_kt(self) -> float | None:
        """The groundspeed, followed no faster than an aeroplane gathers it: a reading that leaps for a moment, and is
        back, is no speed gained."""
        s, v = self._s, self._s.v
        if v is not None:
            if self._catches_up(v):
                self._ground = self._stuck_from = self._stands_from = None
            if self._ground is not None:
                since, was = self._ground
                most = GAINS_MOST_KT_S * (s.t - since)
                v = min(max(v, was - most), was + most)
            self._ground = s.t, v
        return v

    def _catches_up(self, v: float) -> bool:
        """A groundspeed that was not sent anew for a while leaps to where it is: that is no speed gained now."""
        s, stood = self._s, self._stood
        if stood is not None and v == stood[1]:
            return False
        self._stood = s.t, v
        return stood is not None and s.prev_t - stood[0] >= STOOD_S and abs(v - stood[1]) >= CAUGHT_UP_KT

    def _behind_kt(self, ias: float, v: float) -> float:
        """What a needle that stands has missed since; 0 while it moves, or where it may not have come alive yet."""
        s, since = self._s, self._stands_from
        if since is None or ias < STUCK_ABOVE_KT or abs(ias - since[1]) > STANDS_KT or v < since[2]:
            self._stands_from = s.t, ias, v
            return 0.0
        lasted_s, gained_kt = s.t - since[0], v - since[2]
        long = lasted_s >= max(STANDS_S, STANDS_DTS * s.dt)
        return gained_kt if long and gained_kt >= max(STANDS_GAIN_KT, STANDS_GAIN_KT_S * lasted_s) else 0.0

    def _stuck(self, ias: float, v: float) -> bool:
        """All within 5 kt while groundspeed rose by 15: a lull of the wind moves the needle to and fro meanwhile.

        From a slow start, where a lull takes a good part of the 15 kt, and in the climb-out, where the wind changes
        with height, within 3 kt.
        """
        rest_kt = self._s.rest_ias or 0.0
        if v < STUCK_FROM_KT or (v < rest_kt and ias < rest_kt + RISEN_KT):
            return False  # what it reads is the wind's doing still
        self._keep_row(v, ias)
        from_kt, low, high, most_kt = self._stuck_from or (v, ias, ias, 0.0)
        low, high = min(low, ias), max(high, ias)
        narrow_kt = SLOW_STUCK_PART * self._set.stuck_ias_kt
        if high - low >= most_kt or v < from_kt:
            most_kt = narrow_kt if self._off is not None else self._set.stuck_ias_kt
            from_kt, low, high = self._stands_since(most_kt)
            if from_kt < SLOW_START_KT:
                most_kt = narrow_kt
                from_kt, low, high = self._stands_since(most_kt)
        self._stuck_from = from_kt, low, high, most_kt
        return v - from_kt >= self._set.stuck_groundspeed_kt

    def _keep_row(self, v: float, ias: float) -> None:
        rows, t = self._rows, self._s.t
        if self._stuck_from is None:
            rows.clear()
        if rows and t - self._row_t < ROW_S:
            from_kt, low, high = rows[-1]
            if not low <= ias <= high:
                rows[-1] = from_kt, min(low, ias), max(high, ias)
        else:
            self._row_t = t
            rows.append((v, ias, ias))

    def _stands_since(self, most_kt: float) -> tuple[float, float, float]:
        """From which groundspeed on the needle has stayed within `most_kt`, and its lowest and highest since."""
        rows = reversed(self._rows)
        v, low, high = next(rows)
        for before_v, before_low, before_high in rows:
            most, least = max(high, before_high), min(low, before_low)
            if before_v > v or most - least >= most_kt:
                break
            v, low, high = before_v, least, most
        return v, low, high

    def _dead(self, t: float) -> None:
        s = self._s
        s.ias_set_aside = True
        s.ias = None
        s.ias_behind_kt = 0.0
        if self._stuck_from is not None:
            from_kt, low, high, _ = self._stuck_from
            s.headwind_at_most_kt = 0.5 * (low + high) - from_kt
        self._dead_at_kt = s.sample.ias_kt or 0.0
        if self._judge.zone != "air":
            self._judge.find_zone()
        self._judge.cue("airspeed-not-alive", t, lambda: s.ias_set_aside, self.maybe_off)
