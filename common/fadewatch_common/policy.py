"""The policy's defaults: thresholds with where they come from."""

from dataclasses import dataclass

PLAN_WEAR = 0.30
"""Wear from which a new pack is planned [fraction]. Common practice, no source."""

REPLACE_WEAR = 0.40
"""Wear from which a pack is replaced [fraction]. Common practice, no source."""

PUBLISHED_END_OF_LIFE_WEAR = 0.20
"""Wear that most published work calls end of life [fraction].

*Energies* 2019, 12(15), 2910: 80 % of nominal capacity. Shown on plots as a mark.
"""

SERVICE_YEARS = 3.0
"""Years a pack should stay below the plan threshold when a laptop is issued [year].

Common practice (packs are renewed before issue), no source.
"""

NEW_PACK_WEAR = 0.05
"""Most wear of a new pack [fraction]. Common practice, no source."""

NEW_PACK_CYCLES = 5
"""Most cycles of a new pack [count]. Common practice, no source."""

ARRIVAL_CHARGE_PERCENT = 30
"""Charge with which packs are shipped at most [percent of rated capacity].

Air-transport packing instruction 965 (UN 3480): state of charge <= 30 %.
"""

SILENT_DAYS = 14
"""Days without a report after which a laptop counts as silent [day]. Own choice."""

LEAST_MEMORY_MIB = 8192
"""Least memory with which a laptop is issued [MiB]. Own choice."""

LEAST_STORAGE_GB = 240
"""Least size of a laptop's largest drive [GB of 10^9 bytes, as drives are sold].

Own choice: the smallest size now sold as a quarter of a terabyte.
"""

HYSTERESIS_WEAR = 0.01
"""How far wear must fall back below a threshold before it counts [fraction].

Own choice: day-to-day noise of a laptop's gauge is near 1 % of design capacity.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """The settings in force for one laptop; fractions are of design capacity."""

    plan_wear: float = PLAN_WEAR
    replace_wear: float = REPLACE_WEAR
    hysteresis_wear: float = HYSTERESIS_WEAR
    service_years: float = SERVICE_YEARS
    new_pack_wear: float = NEW_PACK_WEAR
    new_pack_cycles: int = NEW_PACK_CYCLES
    arrival_charge_percent: int = ARRIVAL_CHARGE_PERCENT
    silent_days: int = SILENT_DAYS
    least_memory_mib: int = LEAST_MEMORY_MIB
    least_storage_gb: int = LEAST_STORAGE_GB


DEFAULT_POLICY = Policy()
