"""The numbers the coach judges by, as a typed struct. Values, meanings and sources are in the procedure files."""

from __future__ import annotations

import msgspec


class Settings(msgspec.Struct, frozen=True):
    """Every threshold, hold and lead, units in the names. `procedures/normal.toml` gives each with its source."""

    rotate_lead_s: float
