"""What a blocked static source or a stuck altitude shows in the climb, and how channels are set aside and taken back.

The rules are on top of `monitor.plausibility`.
"""

from __future__ import annotations

from collections.abc import Callable

from monitor.geo import turn
from monitor.sample import Sample

STUCK_S = 4.0
STEP_MOST_S = 1.5  # a clock that skips is no climb
BLOCKED_S = 3.0
BLOCKED_KT = 12.0
STRAIGHT_DEG, WINGS_LEVEL_DEG, SAMPLES = 15.0, 10.0, 4
"""It flies straight on: no further off in direction, banked no more (common practice, no source). So many samples."""
FULL_THROTTLE, POWER_PART, TURNS_MOST_DEG = 0.9, 0.95, 30.0  # open, as at first, banked (common practice, no source)
LOOKS_S = 0.6  # a climb mostly leaves the band before it is asked how it flies
LEAVES_KT = 3.0
MAY_STAND_S, DOUBT_S = 3.0, 6.0  # so soon it seems to, and by then the airspeed has told (common practice, no source)
STANDS_S = 7.5  # a weak climb of 100 ft/min leaves the band in this time
STILL_FT = 12.0  # noise, and rounding to 10 ft, of a pressure that does not change

NAMES: tuple[str, ...] = Sample.__struct_fields__
_ALTITUDE = NAMES.index("altitude_ft")
STATIC = ("ias_kt", "altitude_ft", "vertical_speed_fpm")
"""What a static source gives."""

Row = tuple[float | None, ...]


class _Since:
    """A moment, with the speeds and the direction then; and the samples since, with its own."""

    __slots__ = ("ground_kt", "heading_deg", "ias_kt", "samples", "t", "track_deg")

    def __init__(self, t: float, sample: Sample, ground_kt: float | None) -> None:
        self.t = t
        self.ias_kt, self.ground_kt = sample.ias_kt, ground_kt
        self.heading_deg, self.track_deg = sample.heading_deg, sample.track_deg
        self.samples = 1

    def straight_on(self, sample: Sample) -> bool:
        """Neither banked nor turned since; what is not sent says nothing against it."""
        turned_deg = max(
            _turned_deg(self.heading_deg, sample.heading_deg), _turned_deg(self.track_deg, sample.track_deg)
        )
        return turned_deg <= STRAIGHT_DEG and abs(sample.bank_deg or 0.0) <= WINGS_LEVEL_DEG

    def slower_kt(self, ias_kt: float | None, ground_kt: float | None) -> float | None:
        """How much slower the airspeed became than the speed over the ground did; None where one is not known."""
        if self.ias_kt is None or ias_kt is None or self.ground_kt is None or ground_kt is None:
            return None
        return self.ias_kt - ias_kt - max(self.ground_kt - ground_kt, 0.0)


class _Still(_Since):
    """Since when the altitude has stood still, and what vertical speed would have made of it."""

    __slots__ = ("altitude_ft", "expected_ft", "fastest_fpm", "first", "last_t", "straight")

    def __init__(self, t: float, altitude_ft: float, sample: Sample, ground_kt: float | None) -> None:
        super().__init__(t, sample, ground_kt)
        self.last_t = t
        self.altitude_ft = altitude_ft
        self.expected_ft = 0.0
        self.fastest_fpm = 0.0
        self.first = sample
        self.straight = _Since(t, sample, ground_kt)  # later than that while it turns

    def calmed(self, vertical_fpm: float | None) -> bool:
        """Vertical speed is dying away too, as it does on the same blocked source; True where it is not sent."""
        return vertical_fpm is None or abs(vertical_fpm) < max(100.0, 0.6 * self.fastest_fpm)


class StaticSource:
    """Watches the altitude of the climb. `tell(id, channel, why, t)`: what is set aside, and what returns."""

    def __init__(self, tell: Callable[[str, str, str, float], None]) -> None:
        self._tell = tell
        self.restart_static()

    def restart_static(self) -> None:
        """Start over, as after a jump of the clock."""
        self._lost: set[int] = set()
        self.aside: frozenset[str] = frozenset()
        self._still: _Still | None = None
        self._stuck_ft: float | None = None  # where the altitude stood when it was set aside

    def climb(self, t: float, sample: Sample, ground_kt: float | None) -> None:
        """One sample of the climb: is the static source blocked, or the altitude stuck? ground_kt: the speed over the
        ground, where it is measured."""
        altitude = sample.altitude_ft
        since = self._still
        if altitude is None:
            self._still = None
        elif since is None or abs(altitude - since.altitude_ft) > STILL_FT:
            self._still = _Still(t, altitude, sample, ground_kt)
        else:
            self._judge_still(since, t, sample, ground_kt)

    def altitude_stands(self, t: float, ias_kt: float | None, ground_kt: float | None) -> bool:
        """In the climb, altitude has stood still while the airspeed leaves the groundspeed's side, or for longer while
        it falls where that is not sent: the source may be blocked, and what it gives is not to be judged meanwhile."""
        still = self._still
        if still is None:
            return False
        lasted_s = t - still.t
        if lasted_s < STUCK_S:  # as at nearly every sample: a climb leaves the band
            return False
        slower_kt = still.slower_kt(ias_kt, ground_kt)
        if slower_kt is not None:
            return slower_kt >= LEAVES_KT
        slows = still.ias_kt is None or ias_kt is None or still.ias_kt - ias_kt >= LEAVES_KT
        return lasted_s >= STANDS_S and slows

    def altitude_may_stand(self, t: float, sample: Sample, ground_kt: float | None) -> bool:
        """It has hardly moved for a moment: whether its source is blocked, or a climb has ended, shows in some
        seconds. A height that is sent as well tells at once."""
        still = self._still
        if still is None or sample.height_ft is not None:
            return False
        told = still.slower_kt(sample.ias_kt, ground_kt) is not None and not _alone(sample)
        return MAY_STAND_S <= t - still.t < (DOUBT_S if told else STANDS_S)

    def climb_unknown(self, t: float, sample: Sample) -> bool:
        """The climb is known from this altitude alone, and it stands still: it may as well be stuck."""
        return _alone(sample) and self.altitude_stands(t, None, None)

    def _judge_still(self, since: _Still, t: float, sample: Sample, ground_kt: float | None) -> None:
        vertical = sample.vertical_speed_fpm
        if vertical is not None:
            since.expected_ft += vertical / 60.0 * min(t - since.last_t, STEP_MOST_S)
            since.fastest_fpm = max(since.fastest_fpm, abs(vertical))
        since.last_t = t
        since.samples += 1
        since.straight.samples += 1
        lasted = t - since.t
        if lasted >= LOOKS_S and not since.straight.straight_on(sample):
            since.straight = _Since(t, sample, ground_kt)
        if lasted < BLOCKED_S:
            return
        far = abs(since.expected_ft) > 3.0 * STILL_FT + 1.5 * step_ft(since.altitude_ft)
        # A vertical speed that dies away is its own instrument's lag: the aeroplane levelled off.
        if lasted >= STUCK_S and far and not since.calmed(vertical):
            self._stuck_ft = since.altitude_ft
            self._set_aside(("altitude_ft",), "altitude stands still against vertical speed", t)
        elif since.calmed(vertical):
            # In a turn the wind alone may hold the groundspeed up. At full power no aeroplane both stops climbing and
            # slows down, though.
            moment = since if _power_kept(since.first, sample) else since.straight
            if _leaves_the_ground_speed(moment, t, sample, ground_kt):
                self._stuck_ft = since.altitude_ft
                self._set_aside(STATIC, "static source blocked", t)

    def _moves_again(self, t: float, now: Row) -> None:
        """The altitude that stood still has moved on: it is believed again."""
        stuck, altitude = self._stuck_ft, now[_ALTITUDE]
        if stuck is None or altitude is None or abs(altitude - stuck) <= 2.0 * STILL_FT:
            return
        self._stuck_ft = self._still = None
        for channel in STATIC if self.aside.issuperset(STATIC) else ("altitude_ft",):
            self._take_back(channel, "moves again", t)

    def on_the_ground(self, t: float) -> None:
        """Down again: what a blocked static source showed aloft is believed until it shows so once more."""
        for channel in STATIC if self.aside.issuperset(STATIC) else ():
            self._take_back(channel, "on the ground again", t)
            self._stuck_ft = None
        self._still = None

    def _set_aside(self, channels: tuple[str, ...], why: str, t: float) -> None:
        fresh = [channel for channel in channels if channel not in self.aside]
        self.aside = self.aside | set(channels)
        for channel in fresh:
            self._lost.add(NAMES.index(channel))
            self._tell("channel-lost", channel, why, t)

    def _take_back(self, channel: str, why: str, t: float) -> None:
        self.aside = self.aside - {channel}
        self._lost.discard(NAMES.index(channel))
        self._tell("channel-back", channel, why, t)


def _leaves_the_ground_speed(since: _Since, t: float, sample: Sample, ground_kt: float | None) -> bool:
    """The airspeed fell and the groundspeed did not. Where that is not known, an eased throttle looks alike."""
    if t - since.t < BLOCKED_S or since.samples < SAMPLES:
        return False
    slower_kt = since.slower_kt(sample.ias_kt, ground_kt)
    return slower_kt is not None and slower_kt >= BLOCKED_KT


def _power_kept(before: Sample, now: Sample) -> bool:
    """The throttle is open and the engine runs as before; in no steep turn, which takes the climb."""
    return (
        (now.throttle or 0.0) >= FULL_THROTTLE
        and abs(now.bank_deg or 0.0) < TURNS_MOST_DEG
        and _kept(before.rpm, now.rpm)
        and _kept(before.manifold_pressure_inhg, now.manifold_pressure_inhg)
    )


def _kept(before: float | None, now: float | None) -> bool:
    return before is None or now is None or now >= POWER_PART * before


def _turned_deg(before_deg: float | None, now_deg: float | None) -> float:
    return 0.0 if before_deg is None or now_deg is None else abs(turn(before_deg, now_deg))


def _alone(sample: Sample) -> bool:
    """Altitude alone tells of the climb."""
    return sample.vertical_speed_fpm is None and sample.height_ft is None


def step_ft(level_ft: float) -> float:
    """The steps in which an altitude seems to come: an encoder of 100 or 50 ft stands still between two of them."""
    return next((step for step in (100.0, 50.0) if level_ft % step == 0.0), 0.0)
