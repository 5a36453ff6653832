"""Make reports for tests, with invented laptops and packs."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import count
from typing import Any

from fadewatch_collector.usecases.intake import ReceivedReport
from fadewatch_common.encoding import to_json
from fadewatch_common.report import Agent, Laptop, Pack, Report
from fadewatch_common.report_id import make_report_id

AGENT = Agent(version="0.1.0", platform="linux")
LAPTOP = Laptop(
    hostname="tern-014",
    maker="Brightmoor",
    model="Tern 14",
    serial="BM-00314",
    board_uuid="6f1d3a52-8a3e-4f0a-9c11-aabbccddeeff",
    chassis="notebook",
)
PACK = Pack(
    slot="BAT0",
    unit="mWh",
    state="discharging",
    maker="Callow Cells",
    model="CC-57",
    serial="00417",
    design_capacity=57000,
    full_charge_capacity=54150,
    remaining_capacity=40000,
    cycle_count=61,
    design_voltage_mv=11400,
)
START = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)

_numbers = count(1)


def make_report(
    at: datetime = START, packs: tuple[Pack, ...] = (PACK,), **changes: Any
) -> Report:
    """Make a report with an id of its own, measured at the given moment."""
    unix_ms = int(at.timestamp() * 1000)
    report = Report(
        report_id=make_report_id(max(unix_ms, 0), next(_numbers)),
        measured_at=at,
        agent=AGENT,
        laptop=LAPTOP,
        packs=packs,
    )
    return replace(report, **changes)


def received(report: Report) -> ReceivedReport:
    """Return the report as intake gets it."""
    return ReceivedReport(report.report_id, report.measured_at, to_json(report))
