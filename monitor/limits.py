"""Limits of the instruments: each with its threshold, its hold, and what is said by how far the takeoff has come."""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from operator import attrgetter

from monitor.agenda import Agenda, Hold
from monitor.aircraft import Aircraft, Band
from monitor.judge import Judge
from monitor.sample import Sample
from monitor.settings import Settings
from monitor.state import State
from monitor.teller import BEYOND_RED

OTHERS = (
    "fuel_pressure_psi", "egt_degf", "cht_degf", "suction_inhg", "ammeter_a", "bus_v", "fuel_flow_gph",
)  # fmt: skip
"""Instruments whose red lines are cautions: none of them alone is worth a rejected takeoff."""

LOW_MATTERS = ("fuel_pressure_psi", "suction_inhg", "bus_v", "ammeter_a")
HIGH_MATTERS = ("fuel_pressure_psi", "suction_inhg", "bus_v", "egt_degf", "cht_degf")
"""Where no red line is marked on that side, the end of the green arc counts. A cylinder still cold, a flow or a charge
beyond its green arc are ordinary at takeoff power (common practice, no source)."""

HOVERS_PART = 0.02  # of the line: so far back inside it is over (common practice, no source)


class Limit:
    """One channel against one line: beyond it for `hold.hold_s` it counts; back inside, it is over."""

    __slots__ = ("above", "channel", "hold", "line", "needs")

    def __init__(
        self, channel: str, line: float, above: bool, hold: Hold, needs: Callable[[Sample], bool] | None = None
    ) -> None:
        self.channel = channel
        self.line = line
        self.above = above
        self.hold = hold
        self.needs = needs

    def update(self, s: State, value: float) -> None:
        """Judge the channel's value of this sample."""
        beyond = value > self.line if self.above else value < self.line
        hold = self.hold
        if beyond and (self.needs is None or self.needs(s.sample)):
            onset = s.t if hold.since is not None else s.crossing(getattr(s.prev, self.channel), value, self.line)
            hold.begin_agreed(onset, s.t, s.dt)
        elif hold.since is not None and (not hold.fired or self._well_inside(value)):
            hold.clear()

    def _well_inside(self, value: float) -> bool:
        """A value that hovers at its line is told once."""
        margin = HOVERS_PART * abs(self.line)
        return value < self.line - margin if self.above else value > self.line + margin


class Watched:
    """One channel with its limits. Between `low` and `high` none of them is crossed, as in nearly every sample."""

    __slots__ = ("channel", "high", "limits", "low", "outside")

    def __init__(self, channel: str, limits: tuple[Limit, ...]) -> None:
        self.channel = channel
        self.limits = limits
        self.low = max((limit.line for limit in limits if not limit.above), default=-inf)
        self.high = min((limit.line for limit in limits if limit.above), default=inf)
        self.outside = False

    def judge(self, s: State, value: float) -> None:
        """Look at every limit of the channel: it is outside, or was so and is not well inside again."""
        for limit in self.limits:
            limit.update(s, value)
        self.outside = any(limit.hold.since is not None for limit in self.limits)

    def gone(self) -> None:
        """The channel is missing: what has not been told yet is not known any more."""
        for limit in self.limits:
            if not limit.hold.fired:
                limit.hold.clear()
        self.outside = any(limit.hold.since is not None for limit in self.limits)


class Limits:
    """All limits of a profile, watched from line-up to the end of the climb."""

    def __init__(
        self,
        state: State,
        aircraft: Aircraft,
        settings: Settings,
        agenda: Agenda,
        judge: Judge,
        caution: Callable[[str, str, float], None],
    ) -> None:
        self._s = state
        self._set = settings
        self._agenda = agenda
        self._judge = judge
        self._caution = caution  # (id, channel, t)
        self.maybe_off = False
        self.limits: list[Limit] = []
        self.shown: dict[str, tuple[str, Hold]] = {}  # not said yet, below the height for it
        bands = aircraft.instruments
        self._oil(bands.get("oil_pressure_psi"), bands.get("oil_temperature_degf"))
        self._rpm(aircraft)
        for channel in OTHERS:
            self._other(channel, bands.get(channel))
        channels = dict.fromkeys(limit.channel for limit in self.limits)
        self._watched = tuple(
            Watched(channel, tuple(limit for limit in self.limits if limit.channel == channel)) for channel in channels
        )
        self._values = attrgetter(*channels, "time_s", "time_s")  # two more, for of a single one it makes no tuple

    def begin(self) -> None:
        """A takeoff begins."""
        self.shown.clear()
        for limit in self.limits:
            limit.hold.clear()

    def update(self) -> None:
        """Watch every limit with one sample; a channel that is missing ends what waits."""
        s = self._s
        for watched, value in zip(self._watched, self._values(s.sample), strict=False):
            if value is None:
                if watched.outside:
                    watched.gone()
            elif watched.outside or not watched.low <= value <= watched.high:
                watched.judge(s, value)

    def high_enough(self, t: float) -> None:
        """500 ft: what was only shown, and still stands, is said now."""
        waiting, self.shown = self.shown, {}
        for id_, (channel, hold) in waiting.items():
            if hold.since is not None:
                self._caution(id_, channel, t)

    def _add(
        self, channel: str, line: float | None, above: bool, hold_s: float, fire: Callable[[float], None],
        needs: Callable[[Sample], bool] | None = None,
    ) -> None:  # fmt: skip
        if line is not None and abs(line) != inf:
            self.limits.append(Limit(channel, line, above, Hold(self._agenda, hold_s, fire), needs))

    def _warns(self, reason: str, channel: str, line: float | None, above: bool) -> Callable[[float], None]:
        def beyond() -> bool:
            value = getattr(self._s.sample, channel)
            return value is not None and line is not None and (value > line if above else value < line)

        return lambda t: self._judge.cue(reason, t, beyond, self.maybe_off)

    def _cautions(self, event: str, channel: str) -> Callable[[float], None]:
        def fire(t: float) -> None:
            low = self._s.height is None or self._s.height < self._set.turn_height_ft
            if low and (self._judge.zone != "early" or event in BEYOND_RED):
                self.shown[event] = (channel, next(x.hold for x in self.limits if x.hold.fire is fire))
            self._caution(event, channel, t)

        return fire

    def _oil(self, pressure: Band | None, temperature: Band | None) -> None:
        set_ = self._set
        if pressure is not None:
            warn = self._warns("oil-pressure-low", "oil_pressure_psi", pressure.min, False)
            self._add("oil_pressure_psi", pressure.min, False, set_.oil_pressure_low_hold_s, warn, _turning)
            if pressure.green is not None and pressure.green[0] != pressure.min:
                caution = self._cautions("oil-pressure", "oil_pressure_psi")
                self._add(
                    "oil_pressure_psi", pressure.green[0], False, set_.oil_pressure_caution_hold_s, caution,
                    _powered_above(pressure.min),
                )  # fmt: skip
            green = temperature.green if temperature is not None else None
            if pressure.max is not None and green is not None:
                caution = self._cautions("oil-pressure-high", "oil_pressure_psi")
                self._add("oil_pressure_psi", pressure.max, True, set_.gauge_hold_s, caution, _warm(green[0]))
        if temperature is not None:
            warn = self._warns("oil-temperature-high", "oil_temperature_degf", temperature.max, True)
            self._add("oil_temperature_degf", temperature.max, True, set_.oil_temperature_high_hold_s, warn)
            if temperature.green is not None and temperature.green[1] != temperature.max:
                caution = self._cautions("oil-temperature", "oil_temperature_degf")
                within = _within_red("oil_temperature_degf", temperature.max, True)
                self._add("oil_temperature_degf", temperature.green[1], True, set_.gauge_hold_s, caution, within)

    def _rpm(self, aircraft: Aircraft) -> None:
        red, set_ = aircraft.rpm_red_line, self._set
        if red is None:
            return
        fixed = aircraft.propeller == "fixed"
        high = red * (1.0 + (set_.rpm_high_fixed_part if fixed else set_.rpm_high_governed_part))
        warn = self._warns("rpm-high", "rpm", high, True)
        self._add("rpm", high, True, set_.rpm_high_hold_s, warn)
        line = red if fixed else red * (1.0 + set_.rpm_caution_governed_part)
        hold_s = set_.rpm_high_hold_s if fixed else set_.rpm_caution_governed_hold_s
        # Beyond the warning's line the warning alone is said.
        self._add("rpm", line, True, hold_s, self._cautions("rpm-high", "rpm"), lambda s: (s.rpm or 0.0) <= high)

    def _other(self, channel: str, band: Band | None) -> None:
        if band is None:
            return
        name = channel.rsplit("_", 1)[0].replace("_", "-")
        hold_s = self._set.gauge_hold_s
        for line, above, side in ((band.min, False, "low"), (band.max, True, "high")):
            self._add(channel, line, above, hold_s, self._cautions(f"{name}-{side}", channel))
            arc = _arc_end(channel, band, above)
            if arc is not None and arc != line:
                within = _within_red(channel, line, above)  # beyond it that alone is said
                self._add(channel, arc, above, hold_s, self._cautions(name, channel), within)


def _arc_end(channel: str, band: Band, above: bool) -> float | None:
    """Where a caution arc begins on that side, or else the green arc ends if no red line follows."""
    arc, green = band.caution, band.green
    if arc is not None:
        arc_above = arc[0] >= green[1] if green is not None else band.min is None
        if arc_above == above:
            return arc[0] if above else arc[1]
    if green is None or channel not in (HIGH_MATTERS if above else LOW_MATTERS):
        return None
    if (band.max if above else band.min) is not None:
        return None
    return green[1] if above else green[0]


def _within_red(channel: str, red: float | None, above: bool) -> Callable[[Sample], bool] | None:
    if red is None:
        return None
    return lambda sample: (getattr(sample, channel) <= red) if above else (getattr(sample, channel) >= red)


def _turning(sample: Sample) -> bool:
    """The engine turns fast enough for its pump to tell: a stopped engine has no oil pressure either way."""
    return sample.rpm is None or sample.rpm > 1000.0


def _powered(sample: Sample) -> bool:
    """Takeoff power is on: at idle, pressure below the green arc is ordinary."""
    return (sample.throttle is None or sample.throttle >= 0.9) and (sample.rpm is None or sample.rpm > 1800.0)


def _powered_above(least_psi: float | None) -> Callable[[Sample], bool]:
    """The same, and not so low that the warning alone is said."""
    above = _within_red("oil_pressure_psi", least_psi, False)
    return _powered if above is None else lambda sample: _powered(sample) and above(sample)


def _warm(degf: float) -> Callable[[Sample], bool]:
    """Oil pressure is high with cold oil, which is ordinary."""
    return lambda sample: sample.oil_temperature_degf is not None and sample.oil_temperature_degf >= degf
