"""The table that a technician reads aloud."""

from datetime import date

import pytest

from fadewatch_agent.readout import readout, wear_text
from fadewatch_common.report import (
    Agent,
    Drive,
    Laptop,
    Memory,
    MemorySlot,
    Pack,
    PackState,
    Report,
)
from tests.unit.agent.laptops import MOMENT

BARE = Report(
    report_id="01958f0c-7d00-7000-8000-000000000007",
    measured_at=MOMENT.at,
    agent=Agent(version="0.1.0", platform="Linux"),
    laptop=Laptop(),
)

FIRST = Pack(
    slot="BAT0",
    unit="mWh",
    state="held",
    maker="Quellmar",
    model="QM57-3S",
    serial="00417",
    made_on=date(2023, 3, 15),
    design_capacity=57_000,
    full_charge_capacity=49_020,
    remaining_capacity=41_200,
    cycle_count=212,
)
SECOND = Pack(slot="BAT1", unit="relative", full_charge_capacity=100, state="charging")

WHOLE = Report(
    report_id=BARE.report_id,
    measured_at=MOMENT.at,
    agent=BARE.agent,
    laptop=Laptop(maker="Tarnholm", model="Ridgeway 14", serial="TH4X9Q7K"),
    packs=(FIRST, SECOND),
    mains_online=True,
    memory=Memory(
        total_mib=16_384,
        slots=(
            MemorySlot(
                locator="DIMM A",
                size_mib=16_384,
                kind="LPDDR5",
                speed_mts=6400,
                soldered=True,
            ),
            MemorySlot(locator="DIMM B", size_mib=0),
        ),
    ),
    drives=(
        Drive(
            name="nvme0n1",
            size_bytes=512_110_190_592,
            kind="nvme",
            model="Larkspur N512",
        ),
    ),
    remarks=("BAT1: gives only a percentage, so its wear cannot be told",),
)


def test_a_whole_report() -> None:
    assert readout(WHOLE) == (
        "Tarnholm Ridgeway 14, serial TH4X9Q7K, read 2026-03-14 09:26 UTC; on mains\n"
        "\n"
        "pack                  BAT0                    BAT1\n"
        "wear                  14.0 %                  not known\n"
        "full-charge capacity  49020 mWh               100 %\n"
        "design capacity       57000 mWh               not known\n"
        "remaining capacity    41200 mWh               not known\n"
        "cycle count           212 cycles              not known\n"
        "state                 on mains, not charging  charging\n"
        "maker                 Quellmar                not known\n"
        "model                 QM57-3S                 not known\n"
        "serial                00417                   not known\n"
        "made on               2023-03-15              not known\n"
        "\n"
        "memory  16384 MiB in all\n"
        "        DIMM A: 16384 MiB, LPDDR5, 6400 MT/s, soldered\n"
        "        DIMM B: empty\n"
        "drive   nvme0n1, nvme, 512 GB, Larkspur N512\n"
        "\n"
        "Not read, or doubtful:\n"
        "- BAT1: gives only a percentage, so its wear cannot be told\n"
    )


def test_a_report_of_nothing() -> None:
    assert readout(BARE) == (
        "Laptop, serial not known, read 2026-03-14 09:26 UTC; mains not known\n"
        "\n"
        "No pack was found.\n"
        "\n"
        "memory  not known\n"
    )


@pytest.mark.parametrize(
    ("full", "design", "text"),
    [
        # 1 - 3960 / 4400 = 10 %; 1 - 60420 / 57000 = -6 %.
        (3960, 4400, "10.0 %"),
        (60_420, 57_000, "-6.0 %"),
        (49_020, 57_000, "14.0 %"),
        (80_000, 57_000, "implausible"),
        (None, 57_000, "not known"),
        (3960, None, "not known"),
    ],
)
def test_wear_has_one_decimal_and_its_unit(
    full: int | None, design: int | None, text: str
) -> None:
    pack = Pack(
        slot="BAT0", unit="mAh", design_capacity=design, full_charge_capacity=full
    )

    assert wear_text(pack) == text


@pytest.mark.parametrize("state", ["charging", "discharging", "full", "held"])
def test_every_state_has_words(state: PackState) -> None:
    pack = Pack(slot="BAT0", unit="mWh", state=state)
    report = Report(
        report_id=BARE.report_id,
        measured_at=MOMENT.at,
        agent=BARE.agent,
        laptop=Laptop(),
        packs=(pack,),
    )

    assert "state                 not known" not in readout(report)


def test_a_ratio_without_a_unit_says_so() -> None:
    pack = Pack(
        slot="BAT0", unit="relative", design_capacity=100, full_charge_capacity=87
    )
    report = Report(
        report_id=BARE.report_id,
        measured_at=MOMENT.at,
        agent=BARE.agent,
        laptop=Laptop(),
        packs=(pack,),
        drives=(Drive(name="vda", size_bytes=10**9),),
    )

    text = readout(report)

    assert "87 (no unit)" in text
    assert "drive   vda, kind not known, 1 GB\n" in text
