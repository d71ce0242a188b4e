"""When to say "Rotate": so that the word is heard at VR, in gusts too.

The call comes a lead before the predicted VR: the voice's latency and 0.3 s, at most 0.4 s in all, and never more than
2 kt below VR. Airspeed is carried from sample to sample by groundspeed, whose slope no gust bends (without it by
airspeed's own slope), and corrected toward the airspeed shown. How far, the flight itself says: the steps of what
airspeed and groundspeed differ by run on where they are gusts and take each other back where they are noise.

In gusts VR counts a little higher, by what they change in the lead, at most 0.12 s of the roll: a gust that comes and
goes would bring the word a second early, and an early rotation costs more than one a moment late. VR is reached when
the airspeed shown, gusts and lag and all but noise, first comes to it. Measured on 1,919 model rolls at 20 Hz, nearly
all with gusts: heard within 0.08 s of it in the median, 0.29 s in 95 of 100 (in gusts of 1 to 3.5 kt 0.34 s). With
airspeed and acceleration known exactly the rule was hardly better, 0.28 and 0.35 at an earlier setting: what the gust
does in the lead is not known beforehand.
"""

from __future__ import annotations

from collections.abc import Callable
from math import copysign, sqrt

from monitor.agenda import Agenda, Hold
from monitor.settings import Settings
from monitor.state import State
from monitor.trend import Trend

LEARNS_FROM = 0.35  # of VR: from here on the gusts are learned
OVER_S = 8.0  # over which gusts and noise are told apart
GUST_STEP_KT = 6.0  # a larger step between two samples is neither
LATER_MOST_S = 0.12
JUMP_LASTS_S = 0.3  # a jump of airspeed over so long is one (common practice, no source)


class Believed:
    """The airspeed as far as it is believed: a jump that no gust makes counts once it has lasted.

    Meanwhile the airspeed goes on as it rose before; the first of a roll has to last too, for a jump may have begun
    that roll. Where samples are further apart than that, a jump counts with the second sample that shows it, and the
    first brings no more than a gust.
    """

    __slots__ = ("_jumped_t", "_kt", "_kt_s", "_t")

    def __init__(self) -> None:
        self._t = 0.0
        self._kt: float | None = None
        self._kt_s = 0.0
        self._jumped_t: float | None = None

    def update(self, t: float, dt_s: float, shown_kt: float, rate_kt_s: float) -> float:
        """One sample, with the slope of the speed: the airspeed to go by (kt)."""
        if self._kt is None:
            self._t, self._kt = t, 0.0 if dt_s < JUMP_LASTS_S else shown_kt
        carried = self._kt + self._kt_s * (t - self._t)
        jump = shown_kt - carried
        if -GUST_STEP_KT < jump < GUST_STEP_KT or (self._jumped_t is not None and t - self._jumped_t >= JUMP_LASTS_S):
            self._t, self._kt, self._kt_s, self._jumped_t = t, shown_kt, max(rate_kt_s, 0.0), None
            return shown_kt
        if self._jumped_t is None:
            self._jumped_t = t
        return carried if dt_s < JUMP_LASTS_S else carried + copysign(GUST_STEP_KT, jump)


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
        self._v_now = Trend(0.5)
        self.latency_s = 0.0
        self.begin()

    def begin(self) -> None:
        """A roll begins."""
        self._hold.clear()
        self._v_now.reset()
        self._air = GustyAir()
        self._believed = Believed()
        self._by_groundspeed = False
        self._run_kt = 0.0  # what airspeed's own slope adds up to, without groundspeed
        self._short_by: float | None = None

    def cancel(self) -> None:
        """Nothing is to be called any more, or for now."""
        self._hold.clear()

    def update(self, shown_kt: float, interval_s: float) -> None:
        """One sample of the roll with its airspeed."""
        s, set_ = self._s, self._set
        by_ground = s.sample.groundspeed_kt is not None
        ias = self._believed.update(s.t, s.dt, shown_kt, s.v_trend.rate if by_ground else s.ias_trend.rate)
        if ias < LEARNS_FROM * self._vr:
            return
        now, rate = self._airspeed(ias)
        if ias < 0.6 * self._vr:
            return
        lead_s = min(set_.rotate_lead_s + self.latency_s, set_.rotate_lead_max_s)
        later_kt = min(self._air.change_kt(lead_s), LATER_MOST_S * rate)
        target = self._vr + later_kt - min(rate * lead_s, set_.rotate_early_max_kt)
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
        """Airspeed now and its slope (kt, kt/s), less the instrument's noise."""
        s = self._s
        v = s.sample.groundspeed_kt
        if (v is not None) != self._by_groundspeed:
            self._by_groundspeed = v is not None
            self._air.restart()
        if v is None:
            rate = max(s.ias_trend.rate, 0.2)
            self._run_kt += rate * s.dt
            carried = self._run_kt
        else:
            rate = max(s.v_trend.rate, 0.2)
            self._v_now.update(s.t, v)
            carried = self._v_now.value
        return carried + self._air.update(ias - carried, s.dt), rate


class GustyAir:
    """A value that wanders (gusts) seen through noise, both of unknown size.

    The random walk with noise: its successive steps have a variance of walk + 2 noise and a covariance of - noise, and
    the best weight of a new value follows from the ratio of the two (J. F. Muth, Optimal properties of exponentially
    weighted forecasts, Journal of the American Statistical Association 55, 1960; from memory).
    """

    __slots__ = ("_covariance", "_measured", "_n", "_per_s", "_step", "_value", "_variance")

    def __init__(self) -> None:
        self._variance = self._covariance = 0.0
        self._n = 0
        self._per_s = 0.0
        self.restart()

    def restart(self) -> None:
        """What is measured is another thing from here on; how much it wanders stays known."""
        self._measured: float | None = None
        self._value = self._step = 0.0

    def update(self, measured: float, dt_s: float) -> float:
        """The value now (kt)."""
        before, self._measured = self._measured, measured
        if before is None or dt_s <= 0.0:
            self._value = measured
            return measured
        step = measured - before
        if not -GUST_STEP_KT < step < GUST_STEP_KT:
            step = 0.0
        self._n += 1
        part = max(1.0 / self._n, min(dt_s / OVER_S, 1.0))
        self._variance += part * (step * step - self._variance)
        self._covariance += part * (step * self._step - self._covariance)
        self._step = step
        noise = max(-self._covariance, 0.0)
        walk = max(self._variance - 2.0 * noise, 0.02 * self._variance)
        self._per_s = walk / max(dt_s, 0.03)
        weight = 1.0
        if noise > 0.0:
            ratio = walk / noise
            weight = 0.5 * (sqrt(ratio * ratio + 4.0 * ratio) - ratio)
        self._value += weight * (measured - self._value)
        return self._value

    def change_kt(self, seconds: float) -> float:
        """The standard deviation of its change over so many seconds (kt)."""
        return sqrt(self._per_s * seconds)
