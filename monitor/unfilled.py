"""A field that the simulator never fills: it stands where it stood from the start, against what other channels show.

All numbers: common practice, no source.
"""

from __future__ import annotations

from monitor.sample import Sample

FLIES_KT = 40.0  # of airspeed: no wind at rest (the model aeroplanes were blown over in less)
CLIMBED_FT = 80.0  # of altitude: more than it sags on the roll
FULL, IDLE_RPM = 0.95, 1400.0  # a throttle full forward turns no running engine so slowly
STARTS_RPM = 400.0  # and no engine runs more slowly than this
LOOKS = 3

_NAMES = Sample.__struct_fields__
_IAS, _ALTITUDE, _RPM = (_NAMES.index(name) for name in ("ias_kt", "altitude_ft", "rpm"))
_ZERO = tuple(_NAMES.index(name) for name in ("groundspeed_kt", "height_ft", "vertical_speed_fpm"))
_THROTTLE = _NAMES.index("throttle")


class Unfilled:
    """Looks at a sample now and then; `look` gives the channels found never to be filled, each once."""

    def __init__(self) -> None:
        self._never = {*_ZERO, _THROTTLE}  # has stood at its one value at every look so far
        self._looks = 0
        self._lowest_ft: float | None = None

    def look(self, now: tuple[float | None, ...]) -> list[tuple[str, str]]:
        """One sample, in the order of `Sample`'s fields: (channel, why)."""
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
