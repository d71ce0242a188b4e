"""The numbers the coach judges by, as a typed struct. Values, meanings and sources are in the procedure files."""

from __future__ import annotations

import msgspec


class Settings(msgspec.Struct, frozen=True):
    """Every threshold, hold and lead, units in the names. `procedures/normal.toml` gives each with its source."""

    roll_throttle: float
    roll_acceleration_kt_s: float
    rotation_rise_deg: float
    hop_s: float
    liftoff_sure_ft: float
    liftoff_rise_fast_ft: float
    liftoff_hold_fast_s: float
    liftoff_rise_slow_ft: float
    liftoff_hold_slow_s: float
    liftoff_climb_fpm: float
    liftoff_near_ft: float
    touchdown_speed_part: float
    power_set_throttle: float
    full_throttle: float
    rpm_steady: float
    rpm_steady_s: float
    power_set_latest_s: float
    power_judged_latest_s: float
    alive_kt: float
    alive_rise_kt: float
    acceleration_part: float
    rotate_lead_s: float
    rotate_lead_max_s: float
    rotate_early_max_kt: float
    quiet_after_s: float
    positive_rate_fpm: float
    positive_rate_hold_s: float
    positive_rate_ft: float
    climb_speed_lead_kt: float
    obstacle_ft: float
    flaps_height_ft: float
    flaps_height_with_flaps_ft: float
    flaps_speed_margin_kt: float
    flaps_up_deg: float
    turn_height_ft: float
    pattern_height_ft: float
    pattern_margin_ft: float
    after_takeoff_ft: float
    lean_height_ft: float
    re_lean_egt_degf: float
    re_lean_every_ft: float
    level_off_part: float
    abort_line_s: float
    rpm_low_hold_s: float
    manifold_pressure_margin_inhg: float
    manifold_pressure_low_hold_s: float
    power_loss_part: float
    power_loss_hold_s: float
    rpm_slope_per_kt: float
    engine_failure_part: float
    no_lever_failure_hold_s: float
    no_lever_failure_height_ft: float
    no_acceleration_kt_s: float
    no_acceleration_hold_s: float
    cannot_climb_fpm: float
    land_ahead_low_ft: float
    land_ahead_high_ft: float
    oil_pressure_low_hold_s: float
    oil_pressure_caution_hold_s: float
    oil_temperature_high_hold_s: float
    rpm_high_fixed_part: float
    rpm_high_governed_part: float
    rpm_high_hold_s: float
    rpm_caution_governed_part: float
    rpm_caution_governed_hold_s: float
    gauge_hold_s: float
    dead_groundspeed_kt: float
    dead_groundspeed_wind_known_kt: float
    airspeed_dead_hold_s: float
    stuck_groundspeed_kt: float
    stuck_ias_kt: float
    airspeed_check_s: float
    direction_abort_deg: float
    direction_from_kt: float
    direction_hold_s: float
    runway_check_deg: float
    data_lost_s: float
    climb_fast_kt: float
    climb_slow_kt: float
    bank_deg: float
