"""The coach's moment as plain values for the screens."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.aircraft import Band
from monitor.events import Event
from monitor.phases import IN_THE_CLIMB
from monitor.snapshot import Gauge, Said, Snapshot

if TYPE_CHECKING:
    from monitor.coach import Coach

GAUGES = ("rpm", "manifold_pressure_inhg", "oil_pressure_psi", "oil_temperature_degf")
NEXT_ON_THE_ROLL = (("power-set", "Power set"), ("airspeed-alive", "Airspeed alive"))


class View:
    """Makes snapshots of a coach; only reads it."""

    def __init__(self, coach: Coach) -> None:
        self._coach = coach
        marked = tuple(channel for channel in coach.aircraft.instruments if channel not in GAUGES)
        self._channels = GAUGES + marked

    def snapshot(self) -> Snapshot:
        """The moment now."""
        coach = self._coach
        s, sample = coach.state, coach.state.sample
        next_id, next_text = self._next()
        target, name, low, high = self._target()
        return Snapshot(
            t_s=coach.timeline.t,
            feed=coach.timeline.state,
            phase=coach.phase,
            takeoff=coach.teller.takeoff,
            next_id=next_id,
            next_text=next_text,
            ias_kt=s.ias,
            target_kt=target,
            target_name=name,
            target_low_kt=low,
            target_high_kt=high,
            groundspeed_kt=sample.groundspeed_kt,
            height_ft=s.height,
            altitude_ft=sample.altitude_ft,
            vertical_speed_fpm=s.climb_fpm,
            acceleration_kt_s=s.v_trend.rate if s.v is not None else None,
            pitch_deg=sample.pitch_deg,
            bank_deg=sample.bank_deg,
            heading_deg=sample.heading_deg,
            runway_heading_deg=coach.runway_heading_deg,
            throttle=sample.throttle,
            flaps_deg=sample.flaps_deg,
            on_wheels=None if coach.phase is None else coach.phase not in (*IN_THE_CLIMB, "airborne"),
            gauges=tuple(self._gauge(channel) for channel in self._channels if self._shown(channel)),
            said=tuple(_said(event) for event in coach.teller.said),
            warning=self._warning(),
            held=tuple(coach.judge.held),
        )

    def _shown(self, channel: str) -> bool:
        return channel in self._coach.aircraft.instruments or getattr(self._coach.state.sample, channel) is not None

    def _gauge(self, channel: str) -> Gauge:
        value = getattr(self._coach.state.sample, channel)
        band = self._coach.aircraft.instruments.get(channel, Band())
        return Gauge(channel, value, _where(value, band, self._powered()), band.green, band.min, band.max)

    def _powered(self) -> bool:
        """Takeoff power is on, as far as is known: at idle, gauges under their green arcs mean nothing."""
        sample = self._coach.state.sample
        if sample.throttle is not None:
            return sample.throttle >= self._coach.procedure.settings.power_set_throttle
        return sample.rpm is None or sample.rpm > 1800.0

    def _warning(self) -> str | None:
        """The words of the takeoff's last warning, while the takeoff lasts."""
        coach = self._coach
        for event in reversed(coach.teller.said):
            if event.kind == "warning" and coach.teller.takeoff is not None and event.takeoff == coach.teller.takeoff:
                return event.say or event.id
        return None

    def _target(self) -> tuple[float | None, str | None, float | None, float | None]:
        coach = self._coach
        speeds, settings = coach.aircraft.speeds_kias, coach.procedure.settings
        if coach.phase in ("lined-up", "takeoff-roll", "rotation"):
            return speeds.rotate, "VR", None, None
        if coach.phase not in IN_THE_CLIMB:
            return None, None, None, None
        if coach.judge.engine_failed:
            return speeds.best_glide, "best glide", None, None
        by_angle = coach.procedure.short_field and "obstacle-clear" not in coach.routine.done
        name, target = ("VX", speeds.best_angle) if by_angle and speeds.best_angle else ("VY", speeds.best_rate)
        return target, name, target - settings.climb_slow_kt, target + settings.climb_fast_kt

    def _next(self) -> tuple[str | None, str | None]:
        coach = self._coach
        done, speeds, settings = coach.routine.done, coach.aircraft.speeds_kias, coach.procedure.settings
        if coach.phase in ("takeoff-roll", "rotation", "lined-up"):
            if coach.judge.aborted:
                return "abort", "Stop"
            for id_, text in NEXT_ON_THE_ROLL:
                if id_ not in done:
                    return id_, text
            return ("rotate", f"Rotate at {speeds.rotate:.0f} kt") if "rotate" not in done else (None, None)
        if coach.phase not in IN_THE_CLIMB or coach.judge.engine_failed:
            return None, None
        flaps_ft = (
            settings.flaps_height_with_flaps_ft if coach.routine.takeoff_flaps_deg > 0.0 else settings.flaps_height_ft
        )
        waiting = (
            ("climb-speed", f"Climb speed {speeds.best_rate:.0f} kt"),
            ("flaps-up", f"Flaps at {flaps_ft:.0f} ft"),
            ("turn", f"Turn altitude at {settings.turn_height_ft:.0f} ft"),
            ("after-takeoff", f"After-takeoff checks at {settings.after_takeoff_ft:.0f} ft"),
            ("lean", "Mixture, passing the lean height"),
        )
        return next(((id_, text) for id_, text in waiting if id_ not in done), (None, None))


def _said(event: Event) -> Said:
    text = event.say if event.say else event.id.replace("-", " ")
    return Said(event.t_s, event.kind, event.id, text, event.say is not None)


def _where(value: float | None, band: Band, powered: bool) -> str:
    if value is None:
        return "off"
    if (band.min is not None and value < band.min) or (band.max is not None and value > band.max):
        return "red"
    if band.green is None:
        return "unmarked" if band.min is None and band.max is None else "green"
    if value < band.green[0]:
        return "caution" if powered else "unmarked"
    return "green" if value <= band.green[1] else "caution"
