"""When to say "Rotate": so that the word is heard at VR, in gusts too.

The call comes a lead before the predicted VR: the voice's latency and 0.3 s, at most 0.4 s in all, and never more than
2 kt below VR. Airspeed is taken less the noise of its instrument and half of the passing gust (what airspeed shows
beyond groundspeed and the wind's mean of the last second); its slope half from groundspeed, which no gust bends.
Measured on 238 model rolls at 20 Hz and more: heard within 0.07 s of VR in the median, 0.32 s in 95 of 100; in
gusts of 1 to 3.5 kt 0.47 s. Without groundspeed, airspeed alone serves.
"""

from __future__ import annotations

from collections.abc import Callable

from monitor.agenda import Agenda, Hold
from monitor.settings import Settings
from monitor.state import State
from monitor.trend import Trend


class RotateCall:
    """Predicts VR on the roll; `fire(t)` is called once, when the call is due."""

    def __init__(
        self, state: State, settings: Settings, rotate_kt: float, agenda: Agenda, fire: Callable[[float], None]
    ) -> None:
        self._s = state
        self._set = settings
        self._vr = rotate_kt
        self._hold = Hold(agenda, 0.0, fire)
        self._fire = fire
        self._v_now = Trend(0.2)
        self.latency_s = 0.0
        self.begin()

    def begin(self) -> None:
        """A roll begins."""
        self._hold.clear()
        self._v_now.reset()
        self._wind: float | None = None
        self._short_by: float | None = None

    def cancel(self) -> None:
        """Nothing is to be called any more, or for now."""
        self._hold.clear()

    def update(self, ias: float, interval_s: float) -> None:
        """One sample of the roll with its airspeed."""
        if ias < 0.6 * self._vr:
            return
        s, set_ = self._s, self._set
        now, rate = self._airspeed(ias)
        lead_s = min(set_.rotate_lead_s + self.latency_s, set_.rotate_lead_max_s)
        target = self._vr - min(rate * lead_s, set_.rotate_early_max_kt)
        short_by = max(target - now, self._vr - set_.rotate_early_max_kt - ias)
        before, self._short_by = self._short_by, short_by
        if short_by <= 0.0:
            self._hold.clear()
            self._fire(s.t if before is None else s.crossing(before, short_by, 0.0))
            return
        wait_s = short_by / rate
        if wait_s <= interval_s:
            self._hold.schedule(s.t + wait_s)
        else:
            self._hold.clear()

    def _airspeed(self, ias: float) -> tuple[float, float]:
        """Airspeed now and its slope (kt, kt/s), less noise and half of the gust."""
        s = self._s
        now, rate = 0.3 * ias + 0.7 * s.ias_now.value, s.ias_trend.rate
        v = s.sample.groundspeed_kt
        if v is not None:
            self._v_now.update(s.t, v)
            wind = now - self._v_now.value
            self._wind = wind if self._wind is None else self._wind + min(1.0, s.dt) * (wind - self._wind)
            now -= 0.5 * (wind - self._wind)
            rate = 0.5 * (rate + s.v_trend.rate)
        return now, max(rate, 0.2)
