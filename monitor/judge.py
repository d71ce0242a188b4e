"""Abort or not: what each cue calls for, by how far the takeoff has come.

The zones of a takeoff: "early" below half VR; "mid" to 2 s before predicted VR; "late" the last 2 s on the wheels;
"air" after lift-off. The line 2 s before VR is an analogy to the inhibition of alerts near rotation that some transport
aeroplanes use (FAA-H-8083-3C ch. 16); for a trainer it is common practice, no source.

"hold" is shown at once and spoken after lift-off. When the runway's length is known and the stop no longer fits, an
abort becomes a hold, except for engine failure and loss of direction.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf

from monitor.aircraft import Aircraft
from monitor.geo import FEET_PER_S_PER_KNOT
from monitor.options import Options
from monitor.settings import Settings
from monitor.state import State

ABORT_TABLE: dict[str, tuple[str, str, str]] = {
    # cue: (below half VR, to 2 s before VR, last 2 s on the wheels)
    "engine-failure": ("abort", "abort", "abort"),
    "power-loss": ("abort", "abort", "abort"),
    "rpm-low": ("abort", "abort", "none"),
    "manifold-pressure-low": ("abort", "abort", "none"),
    "rpm-high": ("abort", "hold", "hold"),
    "oil-pressure-low": ("abort", "abort", "hold"),
    "oil-temperature-high": ("abort", "hold", "hold"),
    "airspeed-not-alive": ("abort", "abort", "hold"),
    # The table of the trade leaves the first field empty, since mid-runway is not passed so slowly in a healthy
    # takeoff. One that does pass it so slowly needs the call most.
    "acceleration-low": ("abort", "abort", "abort"),
    "abort-point": ("abort", "abort", "abort"),
    "directional-control": ("abort", "abort", "abort"),
    "configuration": ("abort", "none", "hold"),
    "configuration-flaps": ("abort", "abort", "hold"),
}
GRAVITY = tuple(ABORT_TABLE)  # what is said first where several cues come at one moment
ALWAYS = frozenset({"engine-failure", "directional-control"})
OF_POWER = frozenset({"engine-failure", "power-loss", "rpm-low", "manifold-pressure-low"})
"""One trouble, seen by this gauge or that."""
SAID_AGAIN = OF_POWER | {"oil-pressure-low", "oil-temperature-high", "rpm-high", "airspeed-not-alive"}
"""Reasons of an abort that can be looked at again after lift-off."""
MISTAKEN_S = 1.0  # so much further from VR than the line is no gust any more (common practice, no source)
ZONES = ("early", "mid", "late", "air")


class Judge:
    """Knows the zone; turns a cue into an abort, a held warning, a warning in the air, or nothing."""

    def __init__(
        self,
        state: State,
        aircraft: Aircraft,
        settings: Settings,
        options: Options,
    ) -> None:
        self._s = state
        self._aircraft = aircraft
        self._set = settings
        self._options = options
        self._warn: Callable[[str, str, float], None] = lambda id_, reason, t: None
        self._show: Callable[[str, float], None] = lambda cue, t: None
        self.begin()

    def connect(self, warn: Callable[[str, str, float], None], show: Callable[[str, float], None]) -> None:
        """Where warnings (id, reason, t) and held cues (cue, t) are told."""
        self._warn, self._show = warn, show

    def begin(self) -> None:
        """A takeoff begins."""
        self.zone = "early"
        self._late_kt = 0.0  # the speed at which it became "late"
        self.aborted: str | None = None
        self._aborted_still: Callable[[], bool] = lambda: False
        self.closed = False
        self.engine_failed = False
        self.held: dict[str, Callable[[], bool]] = {}
        self._shown_late: dict[str, Callable[[], bool]] = {}  # no abort and not shown before the last 2 s
        self.roll_ft = 0.0
        self._v_before: float | None = None
        self._rolled_t = -inf  # so far the distance is counted already
        self.to_rotate_s = inf
        self._said: set[str] = set()
        self._abort_energy_ft = 0.0
        self._deferred: list[tuple[str, float, Callable[[], bool]]] = []

    # ---- the zone ------------------------------------------------------------------------------------------------

    @property
    def on_wheels_aborted(self) -> bool:
        """An abort has been called, and the aeroplane is on its wheels still."""
        return self.aborted is not None and self.zone != "air"

    def on_the_roll(self, maybe_off: bool) -> None:
        """Keep the zone and the distance rolled; once a sample of the roll."""
        s, before_ft = self._s, self.roll_ft
        zone, to_rotate_s = self.zone, self.to_rotate_s
        self.roll_on()
        self.find_zone()
        if self.zone == "late" and zone != "late":
            self._show_late(s.crossing(to_rotate_s, self.to_rotate_s, self._set.abort_line_s), maybe_off)
        point = self._options.abort_point_ft
        if point is not None and self.roll_ft >= point and not maybe_off:
            self.cue("abort-point", s.crossing(before_ft, self.roll_ft, point), lambda: True, maybe_off)

    def _show_late(self, t: float, maybe_off: bool) -> None:
        """The last 2 s begin at `t`: what was passed over before is shown in them, where it still holds."""
        waiting, self._shown_late = self._shown_late, {}
        for reason, still in waiting.items():
            if still():
                self.cue(reason, t, still, maybe_off)

    def begin_roll(self, t: float, landed_ft: float | None) -> None:
        """The roll began at `t` and has been noticed only now: so much of it lies behind, from rest or nearly; or
        `landed_ft`, the distance since the touchdown before it."""
        s = self._s
        rolled_ft = 0.5 * (s.v or 0.0) * FEET_PER_S_PER_KNOT * max(s.t - t, 0.0)
        self.roll_ft = rolled_ft if landed_ft is None else landed_ft
        self._rolled_t = s.t

    def landed(self, t: float) -> None:
        """Down again at `t`, noticed only now: the distance counts from there, for it may be a touch-and-go."""
        s = self._s
        self.roll_ft = (s.v or 0.0) * FEET_PER_S_PER_KNOT * max(s.t - t, 0.0)
        self._v_before, self._rolled_t = s.v, s.t

    def roll_on(self) -> None:
        """Keep the distance since the start of the roll, or the touchdown, at the mean of each two speeds."""
        s, before = self._s, self._v_before
        v = self._v_before = s.v
        if v is not None and s.t > self._rolled_t:
            self.roll_ft += 0.5 * (v + (v if before is None else before)) * FEET_PER_S_PER_KNOT * s.dt

    def find_zone(self) -> None:
        """The zone by airspeed; by groundspeed where the airspeed is dead, allowing for what is known of the wind."""
        s = self._s
        vr = self._aircraft.speeds_kias.rotate
        if s.ias is not None and not s.ias_set_aside:
            # An airspeed that comes alive in one step, or a gust, is no acceleration: the groundspeed's slope is.
            # One that stands while the aeroplane accelerates may be stuck: what it has missed counts, for VR is near.
            speed, rate = s.ias + s.ias_behind_kt, s.ias_trend.rate
            if s.sample.groundspeed_kt is not None or s.ias_behind_kt:
                rate = s.v_trend.rate
        elif s.v is not None:
            wind = self._options.headwind_kt
            speed = s.v + (wind if wind is not None else min(s.rest_ias or 0.0, 25.0, s.headwind_at_most_kt))
            rate = s.v_trend.rate
        else:
            return
        self.to_rotate_s = (vr - speed) / rate if rate > 0.3 else (0.0 if speed >= vr else inf)
        if self.zone == "late":
            # An airspeed can die in an instant: only an aeroplane that has slowed over the ground goes back, or one
            # whose airspeed is no less than when VR seemed near, by a step that the trend took for acceleration.
            slowed = speed < 0.75 * vr and self.to_rotate_s > 4.0 and (s.v is None or s.v_trend.rate < -0.5)
            mistaken = speed > self._late_kt - 2.0 and self.to_rotate_s > self._set.abort_line_s + MISTAKEN_S
            if not (slowed or mistaken):
                return
        if self.to_rotate_s <= self._set.abort_line_s:
            self.zone, self._late_kt = "late", speed
        else:
            self.zone = "early" if speed < 0.5 * vr else "mid"

    def stop_fits(self) -> bool:
        """The aeroplane can stop on the runway from here; True where the runway is not known."""
        length, v = self._options.runway_length_ft, self._s.v
        if length is None or v is None:
            return True
        return self.roll_ft + self._aircraft.stop_ft * (v / self._aircraft.speeds_kias.rotate) ** 2 <= length

    # ---- cues ----------------------------------------------------------------------------------------------------

    def cue(self, reason: str, t: float, still: Callable[[], bool], maybe_off: bool) -> None:
        """Something is wrong from `t` on. `still()` tells later if it holds; maybe_off: lift-off is in question."""
        if reason in self._said or self.closed or (self.engine_failed and reason in OF_POWER):
            return
        if self.zone == "air" or (maybe_off and reason == "engine-failure"):  # "land ahead" is right for both
            self._in_the_air(reason, t, still)
        elif maybe_off:
            if all(reason != deferred[0] for deferred in self._deferred):
                self._deferred.append((reason, t, still))
        else:
            self._on_the_wheels(reason, t, still)

    def _on_the_wheels(self, reason: str, t: float, still: Callable[[], bool]) -> None:
        action = ABORT_TABLE[reason][ZONES.index(self.zone)]
        if action == "abort" and reason not in ALWAYS and not self.stop_fits():
            action = "hold"
        if self.aborted is not None:  # one abort is enough; to a pilot who flies on another trouble is told aloft
            if not (reason in OF_POWER and self.aborted in OF_POWER):
                self.held.setdefault(reason, still)
            return
        if action == "none":
            if reason in OF_POWER:  # after lift-off it is as a power loss
                self.held.setdefault(reason, still)
            elif self.zone == "mid":
                self._shown_late[reason] = still
            return
        if action == "abort":
            self._said.add(reason)
            self.aborted, self._aborted_still = reason, still
            self._abort_energy_ft = self._s.energy_ft
            self._warn("abort", reason.removesuffix("-flaps"), t)
        elif reason not in self.held:
            self.held[reason] = still
            self._show(reason, t)

    def _in_the_air(self, reason: str, t: float, still: Callable[[], bool]) -> None:
        if reason.startswith(("configuration", "acceleration", "abort-point", "directional")):
            return
        if self.engine_failed or reason in self._said:  # what follows from a dead engine is no news
            return
        height = self._s.height
        if reason == "rpm-high" and height is not None and height < self._set.turn_height_ft:
            self.hold_until_high(reason, still, t)  # the power is needed below
            return
        self._said.add(reason)
        warning = "power-loss" if reason in ("rpm-low", "manifold-pressure-low") else reason
        if warning == "power-loss":
            self._said.update(("power-loss", "rpm-low", "manifold-pressure-low"))
        if warning == "engine-failure":
            self.engine_failed = True
        self._warn(warning, reason, t)

    def cannot_climb(self, t: float) -> None:
        """After a loss of power the energy goes: where "return" was said, "land ahead" is right."""
        if self.zone == "air" and "power-loss" in self._said and not self.engine_failed:
            self._warn("power-loss", "power-loss", t)

    def engine_is_back(self) -> None:
        """It only coughed: what follows is judged and said again."""
        self.engine_failed = False
        self._said.discard("engine-failure")

    def told(self, reason: str) -> bool:
        """The cue has been warned of or is held: nothing lesser about it is news."""
        return reason in self._said or reason in self.held

    def settled(self, t: float) -> None:
        """The wheels are on the ground after all (a hop): what waited for that is judged now."""
        waiting, self._deferred = self._deferred, []
        for reason, _, still in waiting:
            if still():
                self._on_the_wheels(reason, t, still)

    def lifted_off(self, t: float) -> None:
        """Off the ground for good, certain at `t`: what was held, and still holds, is said now."""
        self.zone = "air"
        waiting = dict(self.held)
        if self.aborted in SAID_AGAIN:  # the pilot flies on, and the trouble with him
            self._said.discard(self.aborted)
            # An engine that takes the aeroplane off the ground has not stopped: he is coached on. What left the ground
            # on its momentum has less energy than at the abort.
            weak = self.aborted == "engine-failure" and self._s.energy_ft > self._abort_energy_ft
            again = "power-loss" if weak else self.aborted
            waiting[again] = self._aborted_still
        waiting.update({reason: still for reason, _, still in self._deferred})
        self.held, self._deferred = {}, []
        self._say_held(waiting, t)

    def high_enough(self, t: float) -> None:
        """500 ft: the rest of what was held."""
        waiting, self.held = self.held, {}
        self._say_held(waiting, t)

    def _say_held(self, waiting: dict[str, Callable[[], bool]], t: float) -> None:
        """What was held and still holds, the gravest first."""
        for reason in sorted(waiting, key=GRAVITY.index):
            if waiting[reason]():
                self._in_the_air(reason, t, waiting[reason])

    def hold_until_high(self, reason: str, still: Callable[[], bool], t: float) -> None:
        """Show a cue now, and say it from 500 ft."""
        if reason not in self._said and reason not in self.held:
            self.held[reason] = still
            self._show(reason, t)
