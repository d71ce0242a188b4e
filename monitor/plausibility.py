"""What is not believed: jumps that no aeroplane makes, channels that fall silent, a static source blocked aloft.

The rules, each with its reason (all numbers: common practice, no source):

* Jump. A value further from the last one than the aeroplane could have gone (`JUMPS`: a base plus a rate) is held back
  until the next sample confirms it: one damaged number is no event, a real step is told one sample later.
* Silence. A channel that was supplied and has not been for max(2 s, 3 usual intervals): `channel-lost`, once; when it
  is supplied again: `channel-back`. Its checks are off meanwhile; nothing is guessed.
* Blocked static source. In the climb, altitude stays within 8 ft for 3 s, vertical speed (where sent) dies away, while
  indicated airspeed falls by 12 kt more than the speed over the ground: airspeed, altitude and vertical speed are
  then wrong together, and are set aside.
* Altitude stuck. In the climb, altitude stays within 8 ft for 4 s or more while vertical speed adds up to over 24 ft.
* Dead or stuck airspeed on the roll is a warning, not only a doubt: see `monitor.airspeed`.

A governed rpm, a rounded temperature or a cruise altitude may rightly stand still, so standing still alone proves nothing.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from monitor.sample import Sample

JUMPS: tuple[tuple[str, float, float], ...] = (
    # channel, base, rate a second: further than base + rate x dt from the last value is a jump
    ("ias_kt", 20.0, 25.0),
    ("groundspeed_kt", 20.0, 15.0),
    ("altitude_ft", 120.0, 150.0),
    ("height_ft", 120.0, 150.0),
    ("vertical_speed_fpm", 3000.0, 3000.0),
    ("pitch_deg", 15.0, 40.0),
    ("bank_deg", 30.0, 60.0),
    ("rpm", 300.0, 1200.0),
    ("manifold_pressure_inhg", 5.0, 15.0),
    ("oil_pressure_psi", 15.0, 40.0),
    ("oil_temperature_degf", 25.0, 10.0),
)
WATCHED = (
    "ias_kt", "groundspeed_kt", "altitude_ft", "height_ft", "vertical_speed_fpm", "pitch_deg", "bank_deg", "heading_deg",
    "rpm", "manifold_pressure_inhg", "oil_pressure_psi", "oil_temperature_degf", "throttle", "on_ground", "flaps_deg",
)  # fmt: skip
SILENT_S = 2.0
LOOK_EVERY_S = 0.5
STUCK_S = 4.0
BLOCKED_S = 3.0
BLOCKED_KT = 12.0
STILL_FT = 8.0  # noise and rounding of a pressure that does not change


class _Still:
    """Since when the altitude has stood still, with the speeds then, and what vertical speed would have made of it."""

    __slots__ = ("altitude_ft", "expected_ft", "fastest_fpm", "groundspeed_kt", "ias_kt", "last_t", "t")

    def __init__(self, t: float, altitude_ft: float, ias_kt: float | None, groundspeed_kt: float | None) -> None:
        self.t = self.last_t = t
        self.altitude_ft = altitude_ft
        self.ias_kt = ias_kt
        self.groundspeed_kt = groundspeed_kt
        self.expected_ft = 0.0
        self.fastest_fpm = 0.0

    def calmed(self, vertical_fpm: float | None) -> bool:
        """Vertical speed is dying away too, as it does on the same blocked source; True where it is not sent."""
        return vertical_fpm is None or abs(vertical_fpm) < max(100.0, 0.6 * self.fastest_fpm)


class Plausibility:
    """Cleans samples before they are judged. `tell(id, channel, why, t)` is called for what is set aside and returns."""

    def __init__(self, tell: Callable[[str, str, str, float], None]) -> None:
        self._tell = tell
        self.restart()

    def restart(self) -> None:
        """Start over, as after a jump of the clock."""
        self._last: Sample | None = None
        self._last_t = 0.0
        self._doubted: dict[str, float] = {}
        self._seen: dict[str, float] = {}
        self._lost: set[str] = set()
        self._look_t = 0.0
        self.aside: frozenset[str] = frozenset()
        self._still: _Still | None = None

    def clean(self, t: float, sample: Sample, interval_s: float) -> Sample:
        """The sample without what is not believed."""
        last, dt = self._last, t - self._last_t
        self._last, self._last_t = sample, t
        if last is not None and last is not sample:
            sample = self._without_jumps(last, sample, dt)
        if t >= self._look_t:
            self._look_t = t + LOOK_EVERY_S
            self._look(t, sample, max(SILENT_S, 3.0 * interval_s))
        if self.aside:
            sample = msgspec.structs.replace(sample, **dict.fromkeys(self.aside))
        return sample

    def _without_jumps(self, last: Sample, sample: Sample, dt: float) -> Sample:
        wild: list[str] = []
        for name, base, rate in JUMPS:
            now = getattr(sample, name)
            if now is None:
                continue
            before = getattr(last, name)
            if before is not None and not -base < now - before < base and abs(now - before) > base + rate * dt:
                wild.append(name)
        if not wild and not self._doubted:
            return sample
        return self._doubt(last, sample, wild, dt)

    def _doubt(self, last: Sample, sample: Sample, wild: list[str], dt: float) -> Sample:
        """Hold back a jump; it counts when the next value agrees with it rather than with the one before."""
        doubted: dict[str, float] = {}
        for name in wild:
            if name in self._doubted:  # back from a jump that nothing confirmed
                continue
            doubted[name] = getattr(last, name)
        self._doubted = doubted
        return msgspec.structs.replace(sample, **dict.fromkeys(doubted)) if doubted else sample

    def _look(self, t: float, sample: Sample, silent_s: float) -> None:
        seen, lost = self._seen, self._lost
        for name in WATCHED:
            if getattr(sample, name) is not None:
                seen[name] = t
                if name in lost:
                    lost.discard(name)
                    self._tell("channel-back", name, "supplied again", t)
            elif name in seen and name not in lost and t - seen[name] >= silent_s:
                lost.add(name)
                self._tell("channel-lost", name, "no longer supplied", t)

    def climb(self, t: float, sample: Sample) -> None:
        """One sample of the climb: is the static source blocked, or the altitude stuck?"""
        altitude = sample.altitude_ft
        since = self._still
        if altitude is None:
            self._still = None
        elif since is None or abs(altitude - since.altitude_ft) > STILL_FT:
            self._still = _Still(t, altitude, sample.ias_kt, sample.groundspeed_kt)
        else:
            self._judge_still(since, t, sample)

    def _judge_still(self, since: _Still, t: float, sample: Sample) -> None:
        vertical = sample.vertical_speed_fpm
        if vertical is not None:
            since.expected_ft += vertical / 60.0 * (t - since.last_t)
            since.fastest_fpm = max(since.fastest_fpm, abs(vertical))
        since.last_t = t
        lasted = t - since.t
        if lasted >= STUCK_S and abs(since.expected_ft) > 3.0 * STILL_FT:
            self._set_aside(("altitude_ft",), "altitude stands still against vertical speed", t)
        elif lasted >= BLOCKED_S and since.calmed(vertical) and since.ias_kt is not None and sample.ias_kt is not None:
            slower = since.ias_kt - sample.ias_kt
            if since.groundspeed_kt is not None and sample.groundspeed_kt is not None:
                slower -= max(since.groundspeed_kt - sample.groundspeed_kt, 0.0)
            if slower >= BLOCKED_KT:
                self._set_aside(("ias_kt", "altitude_ft", "vertical_speed_fpm"), "static source blocked", t)

    def _set_aside(self, channels: tuple[str, ...], why: str, t: float) -> None:
        fresh = [channel for channel in channels if channel not in self.aside]
        self.aside = self.aside | set(channels)
        for channel in fresh:
            self._lost.add(channel)
            self._tell("channel-lost", channel, why, t)
