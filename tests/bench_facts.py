"""Facts for bench checks: a good laptop, and what a test changes of it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from fadewatch_common.bench.facts import (
    BenchFigures,
    BenchReading,
    LaptopFacts,
    Matter,
    PackHistory,
    SeenPack,
    SlotFigures,
    TypeFade,
    TypicalFade,
)
from fadewatch_common.bench.gather import gather
from fadewatch_common.bench.remark import Remark
from fadewatch_common.bench.verdict import BenchCheck, check
from fadewatch_common.policy import DEFAULT_POLICY, Policy
from fadewatch_common.report import Drive, Memory, MemorySlot, Pack

TODAY = date(2026, 11, 25)

PACK = Pack(
    slot="BAT0",
    unit="mWh",
    state="charging",
    maker="Tarn Cells",
    model="TC-57",
    serial="1A2B",
    chemistry="Li-poly",
    design_capacity=50_000,
    full_charge_capacity=48_500,  # wear 3 %
    remaining_capacity=38_800,  # 80 %
    cycle_count=60,
    voltage_mv=12_000,
    design_voltage_mv=11_400,
    temperature_c=25.0,
)

READING = BenchReading(
    read_on=TODAY,
    packs=(PACK,),
    mains_online=True,
    memory=Memory(
        total_mib=16_384,
        slots=(
            MemorySlot(locator="DIMM A", size_mib=16_384),
            MemorySlot(locator="DIMM B", size_mib=0),
        ),
    ),
    drives=(Drive(name="nvme0n1", kind="nvme", size_bytes=512_110_190_592),),
)

# 10 % in 20 months, between 10 % in 25 months and in some 14.
OWN_TYPE = TypicalFade(
    per_month=0.005,
    slow_per_month=0.004,
    fast_per_month=0.007,
    lender="own pack type",
    packs=41,
)
MEASURED = (TypeFade(maker="Tarn Cells", model="TC-57", fade=OWN_TYPE),)


def worn(percent: float, **changes: Any) -> Pack:
    """Return the pack with a wear in percent."""
    full = round(PACK.design_capacity or 0) * (100 - percent) / 100
    return replace(PACK, full_charge_capacity=round(full), **changes)


def history(**changes: Any) -> PackHistory:
    """Return a history of a good pack whose own fade is known."""
    known = PackHistory(
        as_of=TODAY,
        readings=400,
        wear=0.03,
        gauge="good",
        concern="none",
        fade_per_month=0.003,
        fade_source="own history",
        plan_earliest=date(2031, 1, 1),
        plan_on=date(2033, 1, 1),
        plan_latest=date(2036, 1, 1),
    )
    return replace(known, **changes)


def slot_of(pack: Pack = PACK, since: date = date(2025, 1, 1), **changes: Any) -> Any:
    """Return what is known of a pack's slot."""
    seen = SeenPack(pack=pack, seen_on=TODAY)
    return replace(SlotFigures(slot=pack.slot, seen=seen, since=since), **changes)


def facts(
    *packs: Pack,
    policy: Policy = DEFAULT_POLICY,
    slots: Sequence[SlotFigures] = (),
    fades: Sequence[TypeFade] = MEASURED,
    matters: Sequence[Matter] = (),
    service_years: float | None = None,
    new_pack: bool = False,
    **reading: Any,
) -> LaptopFacts:
    """Return the facts of a laptop that is good but for what is said."""
    return gather(
        replace(READING, packs=packs or (PACK,), **reading),
        BenchFigures(
            as_of=TODAY,
            policy=policy,
            slots=tuple(slots),
            fades=tuple(fades),
            matters=tuple(matters),
        ),
        today=TODAY,
        service_years=service_years,
        is_new_pack=new_pack,
    )


def checked(*packs: Pack, **known: Any) -> BenchCheck:
    """Return the check of such a laptop."""
    return check(facts(*packs, **known))


def only(found: BenchCheck, kind: str) -> Remark:
    """Return the one remark of a kind."""
    (remark,) = (one for one in found.remarks if one.kind == kind)
    return remark
