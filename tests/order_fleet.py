"""A small fleet put straight into the tables, for tests of the order list."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from sqlalchemy import insert

from fadewatch_collector.store.tables import (
    assessments,
    laptops,
    packs,
    removed_packs,
    slot_stays,
)
from fadewatch_collector.usecases.services import Services

BROOK_KEY = "Tarnvale|TV-B57|mWh|57000|11400"
HEATH_KEY = "Tarnvale|TV-H42|mWh|42000|11400"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A pack in a laptop of its own; ``days`` are those to its crossing."""

    model: str | None = "TV-B57"
    maker: str | None = "Tarnvale"
    unit: str = "mWh"
    capacity: int | None = 57_000
    band: str = "sound"
    concern: str = "none"
    days: tuple[int, int, int] | None = None
    site: str | None = "North"
    is_fitted: bool = True
    is_removed: bool = False
    serial: str | None = None
    hostname: str | None = None


FIVE = (
    Fitted(band="plan", concern="plan"),
    Fitted(days=(30, 30, 30)),
    Fitted(days=(100, 100, 100), site="South"),
    Fitted(model="TV-H42", capacity=42_000, days=(89, 89, 89), site="South"),
    Fitted(model="TV-H42", capacity=42_000, band="unknown", site=None),
)
"""Five packs whose order list can be worked out by hand."""


async def fit(services: Services, *fleet: Fitted) -> None:
    """Put packs, each in a laptop of its own, into the store: numbered from 1."""
    now = services.clock()
    rows: dict[Any, list[dict[str, Any]]] = {
        table: [] for table in (laptops, packs, slot_stays, assessments, removed_packs)
    }
    for number, one in enumerate(fleet, start=1):
        rows[laptops].append(
            {
                "id": number,
                "hostname": one.hostname or f"lt-{number}",
                "site": one.site,
                "enrolled_at": now,
            }
        )
        rows[packs].append(
            {
                "id": number,
                "maker": one.maker,
                "model": one.model,
                "serial": one.serial,
                "chemistry": "Li-ion",
                "unit": one.unit,
                "design_capacity": one.capacity,
                "design_voltage_mv": 11_400,
                "first_seen_at": now,
                "last_seen_at": now,
            }
        )
        rows[slot_stays].append(
            {
                "laptop_id": number,
                "slot": "BAT0",
                "pack_id": number,
                "from_at": now,
                "last_seen_at": now,
                "until_at": None if one.is_fitted else now,
            }
        )
        rows[assessments].append(_verdict(number, one, now.date()))
        if one.is_removed:
            rows[removed_packs].append(
                {
                    "pack_id": number,
                    "laptop_id": number,
                    "slot": "BAT0",
                    "state": "removed",
                    "removed_at": now,
                    "removed_by": "pat",
                    "changed_at": now,
                }
            )
    async with services.store.writing() as connection:
        for table, values in rows.items():
            if values:
                await connection.execute(insert(table), values)


def _verdict(number: int, one: Fitted, today: date) -> dict[str, Any]:
    ends: list[date | None] = [None] * 3
    if one.days is not None:
        ends = [today + timedelta(days=left) for left in one.days]
    return {
        "pack_id": number,
        "as_of": today,
        "readings": 100,
        "wear": None if one.band == "unknown" else 0.2,
        "band": one.band,
        "plan_earliest": ends[0],
        "plan_on": ends[1],
        "plan_latest": ends[2],
        "concern": one.concern,
        "reasons": [],
    }
