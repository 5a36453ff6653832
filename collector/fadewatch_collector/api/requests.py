"""What callers send, with an example of each."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Annotated

from fadewatch_common.bounds import AtMost, Text
from fadewatch_common.encoding import to_plain
from fadewatch_common.report import (
    MAX_REPORTS,
    Agent,
    Drive,
    Laptop,
    Memory,
    MemorySlot,
    Pack,
    Report,
)

TOKEN_LENGTH = 200
"""Longest enrolment token looked at [characters]. Own choice."""


ATTEMPT_LENGTH = 64
"""Longest name of an attempt [characters]. Own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportBatch:
    """Reports of one laptop. A report that breaks its bounds is rejected alone."""

    reports: Annotated[tuple[Report, ...], AtMost(MAX_REPORTS)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Enrolment:
    """A laptop that asks for its key, with the token it was given.

    Attributes
    ----------
    attempt
        Random text that the agent chooses before it asks and keeps until it is
        enrolled: asked again with it, it is the same laptop and spends no more.
    """

    token: Annotated[str, Text(TOKEN_LENGTH, min_length=1)]
    laptop: Laptop
    agent: Agent
    attempt: Annotated[str, Text(ATTEMPT_LENGTH, min_length=1)] | None = None


EXAMPLE_AGENT = Agent(version="0.1.0", platform="Linux 6.12 x86_64")
EXAMPLE_LAPTOP = Laptop(
    hostname="lt-0417",
    maker="Alderney Systems",
    model="Quill 14",
    serial="AQ14-7F31C0",
    board_uuid="6f0c1d6e-8a55-4b0e-9d7e-2f3b5a9c4e11",
)
EXAMPLE_REPORT = Report(
    report_id="019ab5f2-7c00-7d3e-9a41-5f0e6c2b8d17",
    measured_at=datetime(2026, 11, 25, 8, 30, tzinfo=UTC),
    agent=EXAMPLE_AGENT,
    laptop=EXAMPLE_LAPTOP,
    packs=(
        Pack(
            slot="BAT0",
            unit="mWh",
            state="discharging",
            maker="Tarn Cells",
            model="TC-57",
            serial="1A2B",
            made_on=date(2024, 3, 15),
            design_capacity=57_000,
            full_charge_capacity=45_600,
            remaining_capacity=30_100,
            cycle_count=312,
        ),
    ),
    mains_online=False,
    memory=Memory(
        total_mib=16_384,
        slots=(
            MemorySlot(locator="DIMM A", size_mib=16_384, kind="DDR5"),
            MemorySlot(locator="DIMM B", size_mib=0),
        ),
    ),
    drives=(
        Drive(
            name="nvme0n1", kind="nvme", size_bytes=512_110_190_592, model="Corvane N3"
        ),
    ),
)

REPORT_BATCH_EXAMPLE = {"reports": [to_plain(EXAMPLE_REPORT)]}
ENROLMENT_EXAMPLE = {
    "token": "fwt_the-token-that-an-administrator-made",
    "laptop": to_plain(EXAMPLE_LAPTOP),
    "agent": to_plain(EXAMPLE_AGENT),
}
