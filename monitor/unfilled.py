"""A field that the simulator never fills, or no more: it stands where it stood, against what other channels show.

All numbers: common practice, no source.
"""

from __future__ import annotations

from monitor.sample import Sample
from monitor.static_source import step_ft

FLIES_KT = 40.0  # of airspeed: no wind at rest (the model aeroplanes were blown over in less)
CLIMBED_FT = 80.0  # of altitude: more than it sags on the roll
FULL, IDLE_RPM = 0.95, 1400.0  # a throttle full forward turns no running engine so slowly
STARTS_RPM = 400.0  # and no engine runs more slowly than this
LOOKS = 3
CLIMBS_MOST_FT_S = 50.0  # 3,000 ft/min: an altitude that goes further between two looks was set anew
WRONG_PART = 0.5  # of the height gained: so far off is no steady climb that a vertical speed stands for

_NAMES = Sample.__struct_fields__
_IAS, _ALTITUDE, _RPM = (_NAMES.index(name) for name in ("ias_kt", "altitude_ft", "rpm"))
_ZERO = tuple(_NAMES.index(name) for name in ("groundspeed_kt", "height_ft", "vertical_speed_fpm"))
_THROTTLE = _NAMES.index("throttle")
_HEIGHT, _VERTICAL = (_NAMES.index(name) for name in ("height_ft", "vertical_speed_fpm"))
STEPS = 1.5  # of what a rounded height comes in
STANDS = "stands still against altitude"


class Unfilled:
    """Looks at a sample now and then; `look` gives the channels found never to be filled, each once."""

    def __init__(self) -> None:
        self._never = {*_ZERO, _THROTTLE}  # has stood at its one value at every look so far
        self._looks = 0
        self._lowest_ft: float | None = None
        self._at: tuple[float, float] | None = None  # time and altitude of the last look
        self._stands: dict[int, tuple[float, float, float]] = {}  # channel to value, and time and altitude since when

    def look(self, t: float, now: tuple[float | None, ...]) -> list[tuple[str, str]]:
        """One sample, in the order of `Sample`'s fields: (channel, why)."""
        return self._never_filled(now) + self._stand_still(t, now)

    def _stand_still(self, t: float, now: tuple[float | None, ...]) -> list[tuple[str, str]]:
        """Height or vertical speed that has not changed at all while the altitude did."""
        altitude, ias, before = now[_ALTITUDE], now[_IAS], self._at
        if altitude is None:
            return []
        self._at = t, altitude
        slow = ias is not None and ias < FLIES_KT
        if slow or before is None or abs(altitude - before[1]) > CLIMBS_MOST_FT_S * max(t - before[0], 1.0):
            self._stands.clear()  # the subscale turned is no climb
        found = []
        for i in (_HEIGHT, _VERTICAL):
            value, since = now[i], self._stands.get(i)
            if value is None:
                self._stands.pop(i, None)
            elif since is None or since[0] != value:
                self._stands[i] = value, t, altitude
            elif abs(altitude - since[2]) > CLIMBED_FT + (STEPS * step_ft(value) if i == _HEIGHT and value else 0.0):
                self._stands[i] = value, t, altitude
                if i == _HEIGHT or _wrong(value, t - since[1], altitude - since[2]):
                    found.append((_NAMES[i], STANDS))
        return found

    def _never_filled(self, now: tuple[float | None, ...]) -> list[tuple[str, str]]:
        self._looks += 1
        altitude, ias, rpm, throttle = now[_ALTITUDE], now[_IAS], now[_RPM], now[_THROTTLE]
        slow = ias is not None and ias < FLIES_KT  # a hill, or the subscale turned, is no climb
        if altitude is not None and (slow or self._lowest_ft is None or altitude < self._lowest_ft):
            self._lowest_ft = altitude
        self._never.difference_update([i for i in _ZERO if now[i] not in (0.0, None)])
        if throttle is not None and (throttle < FULL or (rpm is not None and rpm >= IDLE_RPM)):
            self._never.discard(_THROTTLE)
        climbed = altitude is not None and self._lowest_ft is not None and altitude > self._lowest_ft + CLIMBED_FT
        found = []
        for i in sorted(self._never):
            if now[i] is None or self._looks < LOOKS:
                continue
            if i == _THROTTLE:
                against = rpm is not None and STARTS_RPM < rpm < IDLE_RPM
                why = "stands at full with the engine at idle"
            elif _NAMES[i] == "groundspeed_kt":
                against, why = ias is not None and ias > FLIES_KT, "stands at 0 against airspeed"
            else:
                against, why = climbed, "stands at 0 against altitude"
            if against:
                self._never.discard(i)
                found.append((_NAMES[i], why))
        return found


def _wrong(vertical_fpm: float, lasted_s: float, climbed_ft: float) -> bool:
    """The altitude was not gained by this vertical speed; one that is rounded, and right, stands in a steady climb."""
    return abs(climbed_ft - vertical_fpm * lasted_s / 60.0) > WRONG_PART * abs(climbed_ft)
