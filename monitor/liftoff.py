"""On the wheels or off them: lift-off and touchdown, with a ground switch and without one.

With a switch: lift-off is the last opening of the switch; it is for good once 2 s have passed or the aeroplane is 20 ft
up and climbing. A hop that settles is none.

Without: the field's elevation is no help, because indicated altitude sags 10 to 50 ft in the roll. From 0.62 VR on the
lowest level is kept; a rise above it that lasts is a lift-off (+6 ft for 0.3 s with fast data, +12 ft for 1.5 s with
slow data). It is stamped back to where the climb began. All numbers: measured on model flights and on
recorded training flights.
"""

from __future__ import annotations

from collections import deque

from monitor.settings import Settings
from monitor.state import Row, State

FAST_S = 0.5  # up to this usual interval the data counts as fast
SHOWS_S = 0.07  # a climb is this old when it first shows in vertical speed; here and below measured on model flights
LAG_PART = 0.75  # of the instrument's time constant comes on top
LAG_MOST_S = 0.6
LAG_OVER_S = 6.0  # the last seconds before certainty, from which the lag is found
SETTLED_FPM = 150.0  # slow data with height above ground: a climb by which the height gained tells the time it took
SETTLED_WITHIN_S = 3.2
GAINED, GAINED_LEAD_S = 1.2, 0.24
SLOW_S = 1.5  # and beyond this as so slow that a climb rate says little of the moment it began


class LiftOff:
    """Watches the roll for the wheels leaving the ground for good."""

    def __init__(self, settings: Settings, rotate_kt: float) -> None:
        self._set = settings
        self._rotate_kt = rotate_kt
        self.reset()

    def reset(self) -> None:
        """A new roll begins."""
        self.since: float | None = None  # wheels off, not yet known to be for good
        self.lowest_ft: float | None = None
        self._rising_since: float | None = None
        self._clear_since: float | None = None
        self._armed_t: float | None = None
        self._doubtful = False
        self._switch_dead = False
        self._span = 1

    @property
    def possible(self) -> bool:
        """The aeroplane may be off the ground: nothing that presumes wheels on it should be said."""
        return (
            self.since is not None or self._doubtful or self._rising_since is not None or self._clear_since is not None
        )

    def update(self, s: State, interval_s: float) -> float | None:
        """The time of lift-off once it is certain, else None. Call with every sample of the roll."""
        if self._armed_t is None and max(s.ias or 0.0, s.v or 0.0) >= 0.62 * self._rotate_kt:
            self._armed_t = s.t
        switch = s.sample.on_ground
        if switch is not None and not self._switch_dead:
            return self._by_switch(s, switch)
        return self._by_level(s, interval_s)

    def _by_switch(self, s: State, switch: float) -> float | None:
        if switch >= 0.5:
            self.since = None
            if s.height is not None and s.height > 50.0 and s.v is not None and s.v > 0.8 * self._rotate_kt:
                self._switch_dead = True  # it says "on the ground" in the air: stuck
            return None
        if self.since is None:
            before = s.prev.on_ground
            self.since = s.t if before is None else s.crossing(before, switch, 0.5)
        high = s.height is not None and s.height > self._set.liftoff_sure_ft and (s.climb_fpm or 0.0) > 100.0
        if high or s.t - self.since >= self._set.hop_s:
            return self.since
        return None

    def _by_level(self, s: State, interval_s: float) -> float | None:
        speed = max(s.ias or 0.0, s.v or 0.0)
        if s.level is None or speed < 0.62 * self._rotate_kt:
            return None
        fast = interval_s <= FAST_S
        level = s.level_smooth if fast else s.level
        if self.lowest_ft is None or level <= self.lowest_ft:
            self.lowest_ft = level
            self._rising_since = None
            return None
        set_ = self._set
        rise = level - self.lowest_ft
        doubt = set_.liftoff_doubt_ft if s.uses_height else 0.5 * set_.liftoff_rise_fast_ft
        climb = s.climb_fpm or 0.0
        self._doubtful = climb > 100.0 or (rise > doubt + 2.0 * s.level_noise and climb > 50.0)
        if s.uses_height and self._clear_of_ground(s, rise):
            return self._began(s, interval_s)
        need = set_.liftoff_rise_fast_ft + 2.0 * s.level_noise if fast else set_.liftoff_rise_slow_ft
        if rise < need or speed < 0.75 * self._rotate_kt:
            self._rising_since = None if rise < 0.5 * need else self._rising_since
            return None
        if self._rising_since is None:
            self._rising_since = s.t
        hold = set_.liftoff_hold_fast_s if fast else set_.liftoff_hold_slow_s
        sure = not fast and rise > 2.0 * need and (s.sample.vertical_speed_fpm or 0.0) > 150.0
        if s.t - self._rising_since < hold and not sure:
            return None
        if s.v_trend.rate < -1.0 and rise < 3.0 * need:
            return None  # altitude that sagged with speed comes back as the aeroplane stops
        return self._began(s, interval_s)

    def _began(self, s: State, interval_s: float) -> float:
        """When the wheels left, once it is certain that they did."""
        fast = interval_s <= FAST_S
        t = self._began_fast(s) - self._lag_s(s) if fast else self._began_slow(s, interval_s)
        return max(t, self._armed_t if self._armed_t is not None else t)

    def _clear_of_ground(self, s: State, rise: float) -> bool:
        """Height above ground is sent: a hold in ground effect shows as no altitude would."""
        if rise < self._set.liftoff_clear_ft + 3.0 * s.level_noise:
            self._clear_since = None
            return False
        if self._clear_since is None:
            self._clear_since = s.t
        return s.t - self._clear_since >= self._set.hop_s

    def _lag_s(self, s: State) -> float:
        """How late a climb's beginning shows in vertical speed: by its instrument's lag against the height sent.

        An instrument that lags by T shows a climb whose sum falls short of the height gained by T times the climb it
        shows now (first order); a beginning climb shows about three quarters of T late. Without height above ground,
        the usual lag.
        """
        rows = s.history
        if s.sample.vertical_speed_fpm is None:
            return 0.0  # the slope of the level, taken to both sides, is not late
        if not s.uses_height:
            return self._set.liftoff_lag_s
        start = max(len(rows) - 1 - round(LAG_OVER_S * (len(rows) - 1) / (rows[-1][0] - rows[0][0])), 0)
        climbed = short = climb = 0.0
        before = rows[start]
        for i in range(start + 1, len(rows)):
            row = rows[i]
            level, fps = row[2], (row[3] or 0.0) / 60.0
            climbed += 0.5 * (fps + (before[3] or 0.0) / 60.0) * (row[0] - before[0])
            before = row
            if level is not None and fps > 1.0:
                short += (level - (self.lowest_ft or 0.0) - climbed) * fps
                climb += fps * fps
        lag = short / climb if climb > 0.0 else 0.0
        return SHOWS_S + LAG_PART * min(max(lag, 0.0), LAG_MOST_S)

    def _began_fast(self, s: State) -> float:
        """When the climb last grew beyond what struts and a rising nose give with the wheels down.

        In gusts an aeroplane sinks again in ground effect without touching: a climb that began higher than
        `liftoff_near_ft` above the lowest level did not begin on the wheels, unless there is no other.
        """
        rows = s.history
        lowest = self.lowest_ft if self.lowest_ft is not None else 0.0
        best: tuple[float, float] | None = None
        # Smooth over a quarter of a second, so that a noisy instrument does not move the moment; over more where the
        # climb is the slope of a noisy level.
        half_s = 0.12 if s.sample.vertical_speed_fpm is not None or s.level_noise < 0.05 else 0.4
        step = (rows[-1][0] - rows[0][0]) / max(len(rows) - 1, 1)
        self._span = max(1, round(half_s / step)) if step > 0.0 else 1
        later = len(rows) - 1
        excess = self._excess(rows, later)
        for earlier in range(later - 1, -1, -1):
            before = self._excess(rows, earlier)
            if before < 0.0 <= excess:
                above = (rows[earlier + 1][2] or lowest) - lowest
                part = before / (before - excess)
                t = rows[earlier][0] + part * (rows[earlier + 1][0] - rows[earlier][0])
                if above <= self._set.liftoff_near_ft + 4.0 * s.level_noise:
                    return t
                if best is None or above < best[0]:
                    best = above, t
            excess = before
        return best[1] if best is not None else rows[0][0]

    def _excess(self, rows: deque[Row], i: int) -> float:
        """Climb less what the nose's own rise explains (ft/min): with the wheels down this stays under 0."""
        near = [rows[k] for k in range(max(i - self._span, 0), min(i + self._span + 1, len(rows)))]
        first, last = near[0], near[-1]
        seconds = last[0] - first[0]
        climbs = [row[3] for row in near if row[3] is not None]
        climb = sum(climbs) / len(climbs) if climbs else _slope(near) * 60.0
        if first[4] is None or last[4] is None or seconds <= 0.0:
            return climb - self._set.liftoff_climb_fpm
        nose = max((last[4] - first[4]) / seconds, 0.0)
        return climb - self._set.liftoff_climb_base_fpm - self._set.liftoff_climb_per_pitch_rate * nose

    def _began_slow(self, s: State, interval_s: float) -> float:
        """Between two samples a second or more apart, where the climb rate, or else the level, says.

        With vertical speed at about 1 Hz: where it went up through `liftoff_slow_climb_fpm` near the lowest level.
        Else `liftoff_slow_rise_ft` above the lowest level, less the time that so much height takes at first.
        With height above ground, by the height gained. Measured on 819 model flights at 1 Hz with vertical speed, with
        instruments' noise and lag: error p95 0.50 s with height sent, 0.69 s with altitude only; 0.43 s in all without
        noise and lag.
        """
        rows = s.history
        lowest = self.lowest_ft if self.lowest_ft is not None else 0.0
        set_ = self._set
        if interval_s <= SLOW_S and s.sample.vertical_speed_fpm is not None:
            near = lowest + set_.liftoff_slow_near_ft + 2.0 * s.level_noise
            t = _last_rise(rows, 3, set_.liftoff_slow_climb_fpm, near)
            return _by_height_gained(rows, t, lowest + s.level_noise) if s.uses_height else t
        t = _last_rise(rows, 2, lowest + set_.liftoff_slow_rise_ft, None)
        return t - (set_.liftoff_slow_lead_s if interval_s <= SLOW_S else 0.0)


def _by_height_gained(rows: deque[Row], t: float, ground_ft: float) -> float:
    """When the wheels left, from the first sample that shows a settled climb after one began at about `t`.

    The height gained took `GAINED` times as long as at the climb shown there, and `GAINED_LEAD_S` for the climb to
    grow. `t` where no such climb came within some seconds.
    """
    for at, _, level, climb_fpm, _ in rows:
        if at > t + SETTLED_WITHIN_S:
            break
        if at >= t and level is not None and climb_fpm is not None and climb_fpm >= SETTLED_FPM:
            return at - GAINED * max(level - ground_ft, 0.0) / climb_fpm * 60.0 - GAINED_LEAD_S
    return t


def _slope(rows: list[Row]) -> float:
    """The level's rate of change by least squares, ft/s."""
    known = [(row[0], row[2]) for row in rows if row[2] is not None]
    if not known:
        return 0.0
    t, level = sum(k[0] for k in known) / len(known), sum(k[1] for k in known) / len(known)
    spread = sum((k[0] - t) ** 2 for k in known)
    return sum((k[0] - t) * (k[1] - level) for k in known) / spread if spread > 0.0 else 0.0


def _last_rise(rows: deque[Row], k: int, limit: float, near: float | None) -> float:
    """When column `k` last went up through `limit`; where `near` is given, from a level no higher than that, or
    failing that from the lowest level there was."""
    best: tuple[float, float] | None = None
    for i in range(len(rows) - 1, 0, -1):
        earlier, later = rows[i - 1], rows[i]
        a, b = earlier[k], later[k]
        if not (isinstance(a, float | int) and isinstance(b, float | int) and a < limit <= b):
            continue
        t = earlier[0] + (limit - a) / (b - a) * (later[0] - earlier[0])
        level = earlier[2] if earlier[2] is not None else 0.0
        if near is None or level <= near:
            return t
        if best is None or level < best[0]:
            best = level, t
    return best[1] if best is not None else rows[-1][0]


class Touchdown:
    """Watches a flight for the wheels coming back to the ground."""

    def __init__(self, settings: Settings, rotate_kt: float) -> None:
        self._set = settings
        self._rotate_kt = rotate_kt
        self.reset()

    def reset(self) -> None:
        """A flight begins."""
        self._since: float | None = None
        self._low: float | None = None

    def update(self, s: State) -> float | None:
        """The time of touchdown once it is certain, else None. Call with every sample in flight."""
        switch = s.sample.on_ground
        if switch is not None:
            true = switch >= 0.5 and not (s.height is not None and s.height > 200.0 and s.uses_height)
            onset = s.crossing(s.prev.on_ground, switch, 0.5) if true and self._since is None else s.t
            return self._held(true, onset, s.t, 0.3)
        return self._by_motion(s)

    def _by_motion(self, s: State) -> float | None:
        """No switch: level within the vertical speed's noise; too slow to fly, or at the field's level and slowing."""
        climb = s.climb_fpm
        speed = s.ias if s.ias is not None else s.v
        if climb is None or speed is None:
            return None
        flat = abs(climb) < 120.0
        if s.ias is not None and s.v is not None:
            speed = max(s.ias, s.v)
        slow = speed < self._set.touchdown_speed_part * self._rotate_kt
        at_field = s.height is not None and s.height < 25.0 and s.v_trend.rate < -0.7 and speed < 1.1 * self._rotate_kt
        return self._held(flat and (slow or at_field), s.t, s.t, 1.0 if slow else 2.0)

    def _held(self, true: bool, onset: float, t: float, hold_s: float) -> float | None:
        if not true:
            self._since = None
            return None
        if self._since is None:
            self._since = onset
        return self._since if t - self._since >= hold_s else None
