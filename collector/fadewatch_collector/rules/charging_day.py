"""What a day's readings say of how a pack is charged."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median
from typing import Protocol

NEAR_FULL = 0.95
"""Charge from which a pack counts as near full [fraction of full]. Own choice."""

MOST_CHARGE = 1.1
"""Charge beyond which a reading is no charge [fraction of full]. Own choice."""


class ChargeReading(Protocol):
    """What is looked at in one reading; capacities in the pack's own unit."""

    @property
    def full_charge_capacity(self) -> int | None:
        """What the gauge takes for full."""
        ...

    @property
    def remaining_capacity(self) -> int | None:
        """What is left of it."""
        ...

    @property
    def state(self) -> str:
        """State of the pack."""
        ...

    @property
    def mains_online(self) -> bool | None:
        """Whether the laptop says that it has mains."""
        ...

    @property
    def charge_limit_percent(self) -> int | None:
        """Charge at which the laptop stops."""
        ...

    @property
    def temperature_c(self) -> float | None:
        """Temperature of the pack."""
        ...


@dataclass(frozen=True, slots=True)
class ChargingDay:
    """One pack's readings of one day (UTC), counted.

    Attributes
    ----------
    readings
        All of them.
    judged
        Those of which charge and mains are known; the counts below are of these.
    near_full
        On mains at :data:`NEAR_FULL` or more, and not discharging.
    held
        On mains below that, and said not to be charging.
    temperature_c, near_full_temperature_c
        Median over all readings, and over those near full [degree Celsius].
    lowest_charge
        Least charge that was read [fraction of full].
    charge_limit_percent
        The one reported last that day.
    """

    day: date
    readings: int
    judged: int
    on_mains: int
    near_full: int
    held: int
    temperature_c: float | None
    near_full_temperature_c: float | None
    lowest_charge: float | None
    charge_limit_percent: int | None


def charge_of(remaining: int | None, full: int | None) -> float | None:
    """Return the charge as a fraction of full, where it can be one."""
    if remaining is None or not full or full < 0:
        return None
    charge = remaining / full
    return charge if 0.0 <= charge <= MOST_CHARGE else None


def is_on_mains(mains_online: bool | None, state: str) -> bool | None:
    """Say whether a reading was taken on mains; None is: not known.

    A pack that charges, or is held, has a supply, whatever the laptop says of its
    mains: some show a supply by USB nowhere else.
    """
    if state in {"charging", "held"}:
        return True
    if mains_online is not None:
        return mains_online
    return {"full": True, "discharging": False}.get(state)


def charging_day(day: date, readings: Sequence[ChargeReading]) -> ChargingDay:
    """Count one pack's readings of one day.

    Parameters
    ----------
    readings
        Oldest first.
    """
    judged = on_mains = held = 0
    limit: int | None = None
    lowest: float | None = None
    warmth: list[float] = []
    near_full_warmth: list[float | None] = []
    for one in readings:
        if one.temperature_c is not None:
            warmth.append(one.temperature_c)
        if one.charge_limit_percent is not None:
            limit = one.charge_limit_percent
        charge = charge_of(one.remaining_capacity, one.full_charge_capacity)
        mains = is_on_mains(one.mains_online, one.state)
        if charge is not None and (lowest is None or charge < lowest):
            lowest = charge
        if charge is None or mains is None:
            continue
        judged += 1
        if not mains:
            continue
        on_mains += 1
        if charge >= NEAR_FULL and one.state != "discharging":
            near_full_warmth.append(one.temperature_c)
        elif charge < NEAR_FULL and one.state == "held":
            held += 1
    return ChargingDay(
        day=day,
        readings=len(readings),
        judged=judged,
        on_mains=on_mains,
        near_full=len(near_full_warmth),
        held=held,
        temperature_c=median_of(warmth),
        near_full_temperature_c=median_of(near_full_warmth),
        lowest_charge=lowest,
        charge_limit_percent=limit,
    )


def median_of(values: Sequence[float | None]) -> float | None:
    """Return the median of the values that are known."""
    known = [value for value in values if value is not None]
    return median(known) if known else None
