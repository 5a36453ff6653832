"""Measure what a laptop takes in the store in a year, table by table.

    python -m tests.benchmarks.storage [sqlite|postgres] [--laptops 40] [--days 365]

Laptops report four times a day. Reports go through the real store: taken in, filed,
assessed each month, forecasts and months kept. Sizes are those of the database's own
count of pages, indexes included, after what it does to tidy up at times. Then it says
what fleets need once they have run for longer than raw reports are kept.

Takes about a minute for 40 laptops on an idle core.
"""

import argparse
import asyncio
import random
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from pydantic import SecretStr
from sqlalchemy import insert, text

from fadewatch_collector.settings import Settings
from fadewatch_collector.store import intake
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import Store, open_store
from fadewatch_collector.store.tables import laptops
from fadewatch_collector.usecases.assessing import assess_all
from fadewatch_collector.usecases.charging import tell_habits
from fadewatch_collector.usecases.filing import file_waiting
from fadewatch_collector.usecases.forecasts import keep_forecasts
from fadewatch_collector.usecases.months import keep_months
from fadewatch_collector.usecases.services import Services
from fadewatch_common.encoding import to_json
from fadewatch_common.policy import DEFAULT_POLICY
from fadewatch_common.report import Drive, Memory, MemorySlot, Report
from tests.fakes.clock import StandingClock
from tests.integration.postgres import running_postgres
from tests.reports import LAPTOP, PACK, START, make_report

A_DAY = 4
STEP = 5
"""Days brought in at a time [d]."""

RAW = ("reports", "readings")
"""Tables whose rows go after the time that raw reports are kept."""

FLEETS = (1_000, 100_000, 1_000_000)
YEARS = (1, 2, 5)

MEMORY = Memory(
    total_mib=16384,
    slots=tuple(
        MemorySlot(
            locator=f"DIMM {name}",
            size_mib=8192,
            kind="DDR4",
            speed_mts=3200,
            maker="Marlowind",
            part="MW8-8G-32",
            soldered=False,
        )
        for name in "AB"
    ),
)


def report_of(rng: random.Random, number: int, at: datetime) -> Report:
    """Make a laptop's report of one moment, its numbers somewhat different each time."""
    days = (at - START) / timedelta(days=1)
    full = 56000 - number * 7 - round(days * 12) + rng.randrange(-90, 90)
    pack = replace(
        PACK,
        serial=f"{number:05}",
        full_charge_capacity=full,
        remaining_capacity=round(full * rng.uniform(0.2, 1.0)),
        cycle_count=61 + round(days * 0.6),
        voltage_mv=rng.randrange(10_900, 12_600),
        temperature_c=rng.randrange(220, 400) / 10,
        state=rng.choice(("full", "discharging", "charging")),
    )
    drive = Drive(
        name="nvme0n1",
        kind="nvme",
        size_bytes=512_110_190_592,
        model="Corvane N3",
        serial=f"CN{number:09}",
    )
    return make_report(
        at,
        (pack,),
        laptop=replace(LAPTOP, serial=f"BM-{number:05}", hostname=f"tern-{number:05}"),
        mains_online=rng.random() < 0.6,
        memory=MEMORY,
        drives=(drive,),
    )


def reports_of(count: int, first: int, days: int) -> Iterator[tuple[int, Report]]:
    """Give the reports of some days in the order of time, the same on every run."""
    rng = random.Random(first)  # noqa: S311  invented figures
    for moment in range(first * A_DAY, (first + days) * A_DAY):
        at = START + moment * timedelta(days=1) / A_DAY
        for number in range(1, count + 1):
            yield number, report_of(rng, number, at + timedelta(seconds=number))


async def live(services: Services, clock: StandingClock, count: int, days: int) -> int:
    """Let the laptops report and the collector work; returns the bytes of bodies."""
    size = 0
    async with services.store.writing() as connection:
        await connection.execute(
            insert(laptops),
            [
                {"id": number, "enrolled_at": START, "site": "North"}
                for number in range(1, count + 1)
            ],
        )
    for first in range(0, days, STEP):
        values: list[dict[str, Any]] = []
        for number, report in reports_of(count, first, min(STEP, days - first)):
            body = to_json(report)
            size += len(body.encode())
            values.append(
                {
                    "report_id": report.report_id,
                    "laptop_id": number,
                    "measured_at": report.measured_at,
                    "received_at": report.measured_at + timedelta(seconds=2),
                    "body": body,
                }
            )
        clock.now = START + (first + STEP) * timedelta(days=1)
        if first % 30 == 0:
            await keep_months(services)
        async with services.store.writing() as connection:
            await intake.add_reports(connection, values)
        while (await file_waiting(services)).reports:
            continue
        if first % 30 == 0:
            await assess_all(services)
            await keep_forecasts(services)
            await tell_habits(services)
    return size


async def sizes(store: Store) -> dict[str, int]:
    """Return the bytes of each table with its indexes."""
    if store.is_sqlite:
        query = (
            "SELECT m.tbl_name, sum(d.pgsize) FROM dbstat d"
            " JOIN sqlite_schema m ON m.name = d.name GROUP BY m.tbl_name"
        )
    else:
        # A part of a partitioned table counts for the whole.
        query = (
            "SELECT coalesce(p.relname, c.relname), sum(pg_total_relation_size(c.oid))"
            " FROM pg_class c LEFT JOIN pg_inherits i ON i.inhrelid = c.oid"
            " LEFT JOIN pg_class p ON p.oid = i.inhparent"
            " WHERE c.relkind = 'r' AND c.relnamespace = 'public'::regnamespace"
            " GROUP BY 1"
        )
    async with store.reading() as connection:
        found = await connection.execute(text(query))
        return {row[0]: int(row[1]) for row in found}


async def tidy(store: Store) -> None:
    """Do what the database does by itself from time to time."""
    if not store.is_sqlite:
        async with store.engine.connect() as plain:
            alone = await plain.execution_options(isolation_level="AUTOCOMMIT")
            await alone.execute(text("VACUUM ANALYZE"))


def human(size: float) -> str:
    for unit in ("B", "kB", "MB", "GB"):
        if size < 1000:
            return f"{size:.0f} {unit}"
        size /= 1000
    return f"{size:.2f} TB"


def tell(
    before: dict[str, int],
    after: dict[str, int],
    *,
    bodies: int,
    count: int,
    days: int,
    keep_days: int,
) -> None:
    """Print what a laptop takes, and what fleets need."""
    reports = count * days * A_DAY
    grown = {name: size - before.get(name, 0) for name, size in after.items()}
    print(f"{reports:,} reports of {bodies / reports:.0f} bytes each")
    print("| table | bytes a report | bytes a laptop and year | share |")
    print("|---|---|---|---|")
    a_year = {
        name: size / count * 365 / days for name, size in grown.items() if size > 0
    }
    whole = sum(a_year.values())
    for name, size in sorted(a_year.items(), key=lambda item: -item[1]):
        if size > whole / 200:
            each = size / 365 / A_DAY
            print(f"| {name} | {each:.0f} | {size:,.0f} | {size / whole:.1%} |")
    print(f"| all | {whole / 365 / A_DAY:.0f} | {whole:,.0f} | |")
    raw = sum(a_year.get(name, 0) for name in RAW)
    print()
    print(f"kept: raw {keep_days} days, the rest for ever")
    print(f"| laptops | {' | '.join(f'after {n} years' for n in YEARS)} |")
    print("|---|" + "---|" * len(YEARS))
    for fleet in FLEETS:
        needs = [
            human(fleet * (raw * min(n, keep_days / 365) + (whole - raw) * n))
            for n in YEARS
        ]
        print(f"| {fleet:,} | {' | '.join(needs)} |")


async def measure(settings: Settings, count: int, days: int) -> None:
    store = open_store(settings.store_url)
    await upgrade(store)
    clock = StandingClock(START)
    # Nothing is deleted while it is measured.
    kept = settings.model_copy(update={"keep_reports_days": 0})
    services = Services(store, kept, DEFAULT_POLICY, clock)
    before = await sizes(store)
    began = time.perf_counter()
    bodies = await live(services, clock, count, days)
    print(f"{time.perf_counter() - began:.0f} s")
    await tidy(store)
    after = await sizes(store)
    await store.close()
    tell(
        before,
        after,
        bodies=bodies,
        count=count,
        days=days,
        keep_days=settings.keep_reports_days,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument(
        "engine", nargs="?", default="sqlite", choices=["sqlite", "postgres"]
    )
    parser.add_argument("--laptops", type=int, default=40)
    parser.add_argument("--days", type=int, default=365)
    chosen = parser.parse_args()
    print(f"load {Path('/proc/loadavg').read_text().split()[0]}")
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        settings = Settings(data_folder=folder)
        if chosen.engine == "postgres":
            server = stack.enter_context(running_postgres())
            url = asyncio.run(server.empty_database())
            settings = Settings(data_folder=folder, database_url=SecretStr(url))
        asyncio.run(measure(settings, chosen.laptops, chosen.days))


if __name__ == "__main__":
    main()
