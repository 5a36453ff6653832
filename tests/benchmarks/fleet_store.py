"""A store with as many packs as asked for, filled straight into the tables."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import insert

from fadewatch_collector.store.store import Store
from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    laptops,
    metadata,
    packs,
    slot_stays,
)

NOW = datetime(2026, 11, 1, 6, 30, tzinfo=UTC)
BATCH = 5_000


def wear_of(n: Any) -> Any:
    """Return the wear of a pack, or of packs, by number: spread evenly up to 35 %."""
    # 7,919 is prime to 20,000: every one of so many packs has a wear of its own.
    return n * 7_919 % 20_000 / 57_000


async def fill(store: Store, count: int) -> None:
    """Create the tables and put one pack into each of ``count`` laptops."""
    async with store.writing() as connection:
        await connection.run_sync(metadata.create_all)
    for first in range(0, count, BATCH):
        numbers = range(first + 1, min(first + BATCH, count) + 1)
        async with store.writing() as connection:
            await connection.execute(insert(laptops), list(map(_laptop, numbers)))
            await connection.execute(insert(packs), list(map(_pack, numbers)))
            await connection.execute(insert(slot_stays), list(map(_stay, numbers)))
            await connection.execute(insert(assessments), list(map(_verdict, numbers)))
            await connection.execute(insert(alerts), list(_alerts(numbers)))


def _laptop(n: int) -> dict[str, Any]:
    return {
        "id": n,
        "hostname": f"lt-{n:06}",
        "maker": "Alderney Systems",
        "model": f"Quill {n % 7 + 1}",
        "serial": f"{n:08}",
        "site": f"Site {n % 23:02}" if n % 31 else None,
        "asset_tag": f"A{n}",
        "enrolled_at": NOW - timedelta(days=n % 900),
        "last_report_at": NOW - timedelta(minutes=n % 4000),
        "agent_version": "0.1.0",
        "memory_total_mib": 16_384,
        "memory_slots_used": 1,
        "memory_slots_free": 1,
        "storage_total_bytes": 512_110_190_592,
        "drives": [
            {
                "name": "nvme0n1",
                "kind": "nvme",
                "size_bytes": 512_110_190_592,
                "model": "Corvane N3",
                "serial": f"N{n:07}",
            }
        ],
    }


def _pack(n: int) -> dict[str, Any]:
    return {
        "id": n,
        "identity": f"pack-{n}",
        "maker": "Tarn Cells",
        "model": f"TC-{n % 61}",
        "serial": f"{n % 65536:04X}",
        "made_on": date(2023, 1, 1) + timedelta(days=n % 800),
        "chemistry": "Li-ion",
        "unit": "mWh",
        "design_capacity": 57_000 - n % 3 * 10,
        "design_voltage_mv": 11_400,
        "full_charge_capacity": 57_000 - n * 7_919 % 20_000,
        "cycle_count": n % 600 + 1,
        "first_seen_at": NOW,
        "last_seen_at": NOW,
    }


def _stay(n: int) -> dict[str, Any]:
    return {
        "laptop_id": n,
        "pack_id": n,
        "slot": "BAT0",
        "from_at": NOW,
        "last_seen_at": NOW,
    }


def _verdict(n: int) -> dict[str, Any]:
    wear = wear_of(n)
    # A pack comes to 30 % at about 0.8 % a month, give or take, with a wide interval.
    left = max(0.3 - wear, 0.002) / 0.008 * 30.4 * (0.6 + n % 83 / 83)
    early, on, late = (
        NOW.date() + timedelta(days=round(left * part)) for part in (0.45, 1.0, 2.2)
    )
    return {
        "pack_id": n,
        "as_of": NOW.date(),
        "readings": 300,
        "wear": wear,
        "band": "plan" if wear >= 0.3 else "sound",
        "fade_per_month": 0.008,
        "plan_earliest": early,
        "plan_on": on,
        "plan_latest": late,
        "gauge": "good",
        "concern": "plan" if wear >= 0.3 else "none",
        "reasons": [],
    }


def _alerts(numbers: range) -> Iterator[dict[str, Any]]:
    for n in numbers[::10]:
        yield {
            "kind": "wear-plan",
            "urgency": "plan",
            "urgency_rank": 2,
            "state": "open",
            "subject": f"pack:{n}",
            "laptop_id": n,
            "pack_id": n,
            "opened_at": NOW,
            "changed_at": NOW,
            "reasons": [],
            "next_step": "order a pack",
            "figures_opened": {},
            "figures_now": {},
        }
