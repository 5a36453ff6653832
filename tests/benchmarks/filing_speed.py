"""Measure how fast stored reports are filed on SQLite.

    python -m tests.benchmarks.filing_speed [--laptops 500] [--days 8] [--rounds 3]

Every laptop reports four times a day; reports wait in the order of time. Prints the
reports filed a second in each round, by the wall clock and by processor time.
"""

import argparse
import asyncio
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from sqlalchemy import insert

from fadewatch_collector.settings import Settings
from fadewatch_collector.store import intake
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import open_store
from fadewatch_collector.store.tables import laptops
from fadewatch_collector.usecases.filing import file_waiting
from fadewatch_collector.usecases.services import Services
from fadewatch_common.encoding import to_json
from fadewatch_common.policy import DEFAULT_POLICY
from fadewatch_common.report import Report
from tests.reports import LAPTOP, PACK, START, make_report

A_DAY = 4
CHUNK = 2_000


def reports_of(count: int, days: int) -> Iterator[tuple[int, Report]]:
    """Give every laptop's reports in the order of time."""
    for moment in range(days * A_DAY):
        at = START + moment * timedelta(days=1) / A_DAY
        for number in range(1, count + 1):
            full = PACK.full_charge_capacity or 0
            pack = replace(
                PACK,
                serial=f"{number:05}",
                full_charge_capacity=full - moment * 3,
                remaining_capacity=full - moment * 3 - number % 900,
                temperature_c=25.0 + number % 15,
                state="full" if number % 3 else "discharging",
            )
            told = replace(LAPTOP, serial=f"S{number}")
            yield number, make_report(at, (pack,), laptop=told, mains_online=True)


async def one_round(folder: Path, count: int, days: int) -> tuple[int, float, float]:
    """Fill a store and file; return reports, wall clock and processor time [s]."""
    settings = Settings(data_folder=folder)
    store = open_store(settings.store_url)
    await upgrade(store)
    services = Services(store, settings, DEFAULT_POLICY, lambda: START)
    async with store.writing() as connection:
        known = [{"id": n, "enrolled_at": START} for n in range(1, count + 1)]
        await connection.execute(insert(laptops), known)
    rows = [
        {
            "report_id": report.report_id,
            "laptop_id": number,
            "measured_at": report.measured_at,
            "received_at": report.measured_at,
            "body": to_json(report),
        }
        for number, report in reports_of(count, days)
    ]
    for start in range(0, len(rows), CHUNK):
        async with store.writing() as connection:
            await intake.add_reports(connection, rows[start : start + CHUNK])
    wall, processor, filed = time.perf_counter(), time.process_time(), 0
    while (done := await file_waiting(services)).reports:
        filed += done.reports
    took = time.perf_counter() - wall, time.process_time() - processor
    await store.close()
    return filed, *took


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--laptops", type=int, default=500)
    parser.add_argument("--days", type=int, default=8)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    for _ in range(asked.rounds):
        with tempfile.TemporaryDirectory() as folder:
            filed, wall, processor = asyncio.run(
                one_round(Path(folder), asked.laptops, asked.days)
            )
        print(
            f"{filed:,} reports: {filed / wall:,.0f}/s by the wall clock, "
            f"{filed / processor:,.0f}/s of processor time"
        )


if __name__ == "__main__":
    main()
