"""The debrief's items: a figure, its target and band with their source, and the verdict."""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from replay import climb_out, ground_track
from replay.figures import INSTANT_S, Measures, measure
from replay.series import NotMeasured

COMMON = "common practice, no source"
ACS_SPEED = "FAA-S-ACS-6C PA.IV.A.S11: maintain VY +10/-5 kt"
ACS_OBSTACLE = "FAA-S-ACS-6C PA.IV.E.S10: VX +10/-5 kt to the obstacle or 50 ft"
ACS_ROTATE = "FAA-S-ACS-6C PA.IV.A.S9 gives no number; the band is " + COMMON
ACS_DIRECTION = "FAA-S-ACS-6C PA.IV.A.S14 gives no number; the band is " + COMMON
ABOUT_10_FT = "from the line through where the roll began, good to about 10 ft; "
AFH_POWER = "FAA-H-8083-3C ch. 6: takeoff power to at least 500 ft; 10 % counts as a reduction (" + COMMON + ")"
PROFILE = "aeroplane profile"
SEA_LEVEL_FT = 1500.0
"""Up to this elevation a sea-level distance of the profile is taken as a target; common practice, no source."""


class Item(msgspec.Struct, frozen=True):
    """One line of the debrief. low, high: the band, None = open. verdict: within, outside or not-measured, and why."""

    id: str
    target: float | None
    actual: float | None
    unit: str
    low: float | None
    high: float | None
    verdict: str
    why: str | None
    source: str


class Goal(msgspec.Struct, frozen=True):
    """What a figure is judged by; `none` says why there is no band, None when there is one."""

    unit: str
    source: str
    target: float | None = None
    low: float | None = None
    high: float | None = None
    none: str | None = None


Rule = tuple[str, Callable[[Measures], float], Callable[[Measures], Goal]]


def judge(m: Measures, rule: Rule) -> Item:
    """The item of one rule for one takeoff."""
    id_, function, goal_of = rule
    goal = goal_of(m)
    actual, why = measure(function, m, 2)
    open_ended = goal.low is None and goal.high is None
    if actual is None or open_ended:
        verdict = "not-measured"
        why = why or goal.none or "there is nothing to judge it by"
    else:
        verdict, why = _verdict(actual, goal)
    return Item(
        id_, _round(goal.target), actual, goal.unit, _round(goal.low), _round(goal.high), verdict, why, goal.source
    )


def _verdict(actual: float, goal: Goal) -> tuple[str, str | None]:
    if goal.low is not None and actual < goal.low:
        return "outside", f"{goal.low - actual:.1f} {goal.unit} below the band".replace("  ", " ")
    if goal.high is not None and actual > goal.high:
        return "outside", f"{actual - goal.high:.1f} {goal.unit} above the band".replace("  ", " ")
    return "within", None


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _around(attribute: str, minus: float, plus: float, source: str) -> Callable[[Measures], Goal]:
    """A band about one of the profile's speeds."""

    def goal(m: Measures) -> Goal:
        speed: float | None = getattr(m.aircraft.speeds_kias, attribute)
        if speed is None:
            return Goal("kt", source, none=f"the profile has no {attribute}")
        return Goal("kt", source, speed, speed - minus, speed + plus)

    return goal


def _fixed(
    unit: str, source: str, target: float | None = None, low: float | None = None, high: float | None = None
) -> Callable[[Measures], Goal]:
    goal = Goal(unit, source, target, low, high)
    return lambda _m: goal


def _stall_kt(m: Measures) -> float | None:
    """The stall speed in the takeoff configuration: the clean one, with flaps set the lower one."""
    speeds = m.aircraft.speeds_kias
    flaps = m.procedure.flaps_deg if m.procedure.flaps_deg is not None else m.aircraft.takeoff_flaps_deg
    return speeds.stall_flaps if flaps > 0 and speeds.stall_flaps is not None else speeds.stall_clean


def _stall_margin(m: Measures) -> float:
    stall = _stall_kt(m)
    if stall is None:
        raise NotMeasured("the profile has no stall speed")
    return m.liftoff_ias_kt() / stall


def _lowest_goal(m: Measures) -> Goal:
    stall = _stall_kt(m)
    if stall is None:
        return Goal("kt", COMMON, none="the profile has no stall speed")
    return Goal("kt", "1.1 times the stall speed of the profile; " + COMMON, low=1.1 * stall)


def _ground_roll_goal(m: Measures) -> Goal:
    known = m.aircraft.ground_roll_ft
    if known is None:
        return Goal("ft", PROFILE, none="the profile has no ground_roll_ft")
    elevation = m.options.field_elevation_ft
    if elevation is None and not m.series.has("height_ft"):
        elevation = m.zero_ft
    if elevation is None or abs(elevation) > SEA_LEVEL_FT:
        return Goal("ft", PROFILE, none="the profile's distance is for sea level; the field is not, or is not known")
    return Goal("ft", PROFILE + " at sea level and no wind, +15 % (" + COMMON + ")", known, high=1.15 * known)


def _rpm_goal(m: Measures) -> Goal:
    least = m.aircraft.rpm_takeoff_min
    return Goal("rev/min", PROFILE, least, least, none=None if least else "the profile has no engine.rpm.takeoff_min")


def _pitch_goal(m: Measures) -> Goal:
    most = m.aircraft.pitch_max_deg
    if most is None:
        return Goal("deg", PROFILE, m.aircraft.pitch_target_deg, none="the profile has no pitch_max_deg")
    source = PROFILE + ": 2 deg below the tail's limit (" + COMMON + ")"
    return Goal("deg", source, m.aircraft.pitch_target_deg, high=most - 2.0)


def _centreline_goal(m: Measures) -> Goal:
    measured = "from the surveyed centreline; " if m.surveyed is not None else ABOUT_10_FT
    return Goal("ft", measured + ACS_DIRECTION, 0.0, high=15.0)


def _flaps_height_goal(m: Measures) -> Goal:
    least = m.procedure.settings.flaps_height_with_flaps_ft
    return Goal("ft", _source(m, "flaps_height_with_flaps_ft"), least, low=least)


def _bank_goal(m: Measures) -> Goal:
    return Goal("deg", _source(m, "bank_deg"), 0.0, high=m.procedure.settings.bank_deg)


def _turn_goal(m: Measures) -> Goal:
    least = m.procedure.settings.turn_height_ft
    if m.procedure.turn_rule == "pattern":
        pattern = m.options.pattern_height_ft or m.procedure.settings.pattern_height_ft
        least = pattern - m.procedure.settings.pattern_margin_ft
        return Goal("ft", _source(m, "pattern_margin_ft"), pattern, low=least)
    return Goal("ft", _source(m, "turn_height_ft"), least, low=least)


def _source(m: Measures, setting: str) -> str:
    """Where a number of the procedure comes from."""
    found = m.procedure.table.get(setting)
    return COMMON if found is None else found.source


def _flaps_speed_goal(m: Measures) -> Goal:
    speeds = m.aircraft.speeds_kias
    return Goal("kt", "FAA-H-8083-3C ch. 6; the 5 kt are " + COMMON, speeds.best_rate, speeds.best_rate - 5.0,
                speeds.flaps_extended_max)  # fmt: skip


def _cue_s(m: Measures) -> float:
    event = m.takeoff.first("warning", "abort")
    if event is None or event.t_s is None:
        raise NotMeasured("there was no call to abort")
    return event.t_s


def _brakes_after(m: Measures) -> float:
    cue = _cue_s(m)
    found = m.series.column("brake").crossing(0.1, cue, m.takeoff.end_s, INSTANT_S)
    if found is None:
        raise NotMeasured("the brakes were not used")
    return found - cue


def _stop_distance(m: Measures) -> float:
    return ground_track.distance_ft(m.series, m.roll_start_s(), m.stopped_s(), INSTANT_S)


def _runway_left(m: Measures) -> float:
    line = m.surveyed
    if line is not None:
        return line.length_ft - line.along_ft(*ground_track.position(m.series, m.stopped_s(), INSTANT_S))
    if m.options.runway_length_ft is None:
        raise NotMeasured("neither the runway's thresholds nor its length were given")
    return m.options.runway_length_ft - _stop_distance(m)


ROLL: tuple[Rule, ...] = (
    ("full-power-after", climb_out.seconds_to_full_power, _fixed("s", COMMON, high=5.0)),
    ("takeoff-rpm", climb_out.takeoff_rpm, _rpm_goal),
    ("heading-on-wheels", Measures.max_heading_deviation_roll_deg, _fixed("deg", ACS_DIRECTION, 0.0, high=5.0)),
    ("centreline", Measures.max_centreline_deviation_ft, _centreline_goal),
    ("pitch-on-wheels", Measures.max_pitch_deg_on_wheels, _pitch_goal),
)
CLIMB: tuple[Rule, ...] = (
    ("rotation-speed", Measures.rotation_ias_kt, _around("rotate", 5, 8, ACS_ROTATE)),
    ("lift-off-speed", Measures.liftoff_ias_kt, _around("lift_off", 5, 8, ACS_ROTATE)),
    ("stall-margin", _stall_margin, _fixed("x VS", "lift-off speed over the profile's stall speed; " + COMMON,
                                           low=1.1)),
    ("ground-roll", Measures.ground_roll_ft, _ground_roll_goal),
    *ROLL,
    ("best-rate-after", climb_out.seconds_to_best_rate, _fixed("s", COMMON, high=20.0)),
    ("lowest-speed", climb_out.lowest_speed_kt, _lowest_goal),
    ("climb-speed", Measures.climb_ias_mean_kt, _around("best_rate", 5, 10, ACS_SPEED)),
    ("climb-speed-share", climb_out.climb_share_percent, _fixed("%", ACS_SPEED + "; 90 % is " + COMMON, 100.0, 90.0)),
    ("hands-off-speed", climb_out.hands_off_kt, _fixed("kt", "how well it was trimmed; " + COMMON, 0.0, high=3.0)),
    ("drift", climb_out.drift_deg, _fixed("deg", ACS_DIRECTION, 0.0, high=5.0)),
    ("bank-to-500-ft", Measures.max_bank_deg_below_500_ft, _bank_goal),
    ("bank-in-turn", climb_out.bank_in_turn_deg, _fixed("deg", COMMON, high=20.0)),
    ("flaps-up-height", climb_out.flaps_up_height_ft, _flaps_height_goal),
    ("flaps-up-speed", climb_out.flaps_up_ias_kt, _flaps_speed_goal),
    ("first-turn-height", climb_out.first_turn_height_ft, _turn_goal),
    ("power-to-500-ft", climb_out.power_kept_percent, _fixed("%", AFH_POWER, 100.0, low=90.0)),
)  # fmt: skip
SHORT_FIELD: tuple[Rule, ...] = (
    ("obstacle-speed", climb_out.obstacle_speed_kt, _around("best_angle", 5, 10, ACS_OBSTACLE)),
)
AFH_REJECT = "FAA-H-8083-3C ch. 6: power to idle, maximum braking, directional control; the seconds are " + COMMON
REJECTED: tuple[Rule, ...] = (
    ("cue-to-throttle", lambda m: m.throttle_closed_s() - _cue_s(m), _fixed("s", AFH_REJECT, high=2.0)),
    ("cue-to-brakes", _brakes_after, _fixed("s", AFH_REJECT, high=3.0)),
    ("speed-at-throttle", lambda m: m.ias_at(m.throttle_closed_s()),
     lambda m: Goal("kt", PROFILE + ": below VR", high=m.aircraft.speeds_kias.rotate)),
    ("distance-to-stop", _stop_distance, lambda m: Goal("ft", COMMON, none="there is no target for it")),
    ("runway-left", _runway_left, _fixed("ft", "the runway's given length", low=0.0)),
)  # fmt: skip


def items_of(m: Measures) -> list[Item]:
    """The items that apply to a takeoff of this outcome, in the order shown."""
    if m.takeoff.liftoff_s is None:
        rules = (*REJECTED, *ROLL) if m.takeoff.outcome == "rejected" else ROLL
    else:
        rules = (*CLIMB, *SHORT_FIELD) if m.procedure.short_field else CLIMB
    return [judge(m, rule) for rule in rules]
