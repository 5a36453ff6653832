"""From the store's rows to the figures that a bench check rests on."""

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import exp
from typing import Any

from fadewatch_collector.analysis.figures import DAYS_PER_MONTH
from fadewatch_collector.rules.policy_scopes import policy_in_force, scopes_of
from fadewatch_collector.store import bench as rows
from fadewatch_collector.store.bench import BenchLaptop, OpenMatter
from fadewatch_collector.store.policies import all_changes
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.values import get_values
from fadewatch_collector.usecases.borrowing import COUNTED_AS, KEPT_AS
from fadewatch_collector.usecases.services import Services
from fadewatch_common.bench.facts import (
    BenchFigures,
    BenchReading,
    Matter,
    PackHistory,
    SeenPack,
    SlotFigures,
    TypeFade,
    TypicalFade,
)
from fadewatch_common.bench.power import SEEN_CHARGING_DAYS
from fadewatch_common.decoding import UnreadableRecord, from_plain
from fadewatch_common.policy import Policy
from fadewatch_common.report import PACK_STATES, Drive, Memory, Pack

NINE_TENTHS = 1.2816
"""90 % point of the standard normal distribution: four of five lie within."""


@dataclass(frozen=True, slots=True)
class Gathered:
    """A laptop's newest reading, and the figures of it."""

    laptop: BenchLaptop
    reading: BenchReading
    figures: BenchFigures


@dataclass(frozen=True, slots=True)
class Common:
    """What the checks of one request share."""

    policy: Policy
    changes: Mapping[str, Mapping[str, Any]]
    fades: Mapping[str, TypeFade]
    today: date

    def policy_of(self, laptop: BenchLaptop) -> Policy:
        """Return the policy in force for a laptop."""
        scopes = scopes_of(laptop.site, laptop.maker, laptop.model)
        return policy_in_force(self.policy, self.changes, scopes)


async def read_common(connection: WriteConnection, services: Services) -> Common:
    """Read what the checks of one request share."""
    kept = await get_values(connection, KEPT_AS, COUNTED_AS)
    pools, counts = (json.loads(kept.get(n, "{}")) for n in (KEPT_AS, COUNTED_AS))
    return Common(
        policy=services.policy,
        changes=await all_changes(connection),
        fades={
            name: _type_fade(name, fade, spread, counts.get(name))
            for name, (fade, spread) in pools.items()
        },
        today=services.clock().date(),
    )


async def gathered(
    connection: WriteConnection,
    services: Services,
    common: Common,
    laptops: Sequence[BenchLaptop],
) -> list[Gathered]:
    """Read the figures of some laptops, by a fixed number of queries."""
    numbers = [laptop.id for laptop in laptops]
    stays: dict[int, list[Any]] = defaultdict(list)
    for row in await rows.bench_stays(connection, numbers):
        stays[row.laptop_id].append(row)
    here = {r.pack_id for of in stays.values() for r in of if r.until_at is None}
    since = services.clock() - timedelta(days=SEEN_CHARGING_DAYS + 1)
    charged = await rows.charged_on(connection, here, since)
    matters: dict[int, list[OpenMatter]] = defaultdict(list)
    for matter in await rows.open_matters(connection, numbers):
        if matter.pack_id is None or matter.pack_id in here:
            matters[matter.laptop_id].append(matter)
    return [
        _gathered(laptop, common, stays[laptop.id], charged, matters[laptop.id])
        for laptop in laptops
    ]


def _gathered(
    laptop: BenchLaptop,
    common: Common,
    stays: Sequence[Any],
    charged: Mapping[int, date],
    matters: Sequence[OpenMatter],
) -> Gathered:
    packs = tuple(_pack(row) for row in stays if row.until_at is None)
    return Gathered(
        laptop=laptop,
        reading=BenchReading(
            read_on=(laptop.last_measured_at or laptop.enrolled_at).date(),
            packs=packs,
            mains_online=laptop.mains_online,
            memory=_memory(laptop.memory),
            drives=tuple(_drives(laptop.drives or ())),
            remarks=tuple(laptop.remarks or ()),
        ),
        figures=BenchFigures(
            as_of=common.today,
            policy=common.policy_of(laptop),
            slots=tuple(_slots(stays, charged)),
            fades=tuple(_fades(common, packs)),
            matters=tuple(
                Matter(kind=m.kind, urgency=m.urgency, sentence=" ".join(m.reasons))
                for m in matters
            ),
        ),
    )


def _slots(stays: Sequence[Any], charged: Mapping[int, date]) -> Iterable[SlotFigures]:
    by_slot: dict[str, list[Any]] = defaultdict(list)
    for row in stays:
        by_slot[row.slot].append(row)
    for slot, (newest, *older) in by_slot.items():
        # A pack that was out for a while and came back is not its own predecessor.
        before = next((row for row in older if row.pack_id != newest.pack_id), None)
        yield SlotFigures(
            slot=slot,
            seen=_seen(newest),
            since=newest.from_at.date(),
            is_empty=newest.until_at is not None,
            before=None if before is None else _seen(before),
            history=_history(newest, charged.get(newest.pack_id)),
        )


def _seen(row: Any) -> SeenPack:
    return SeenPack(pack=_pack(row), seen_on=row.stay_seen_at.date())


def _pack(row: Any) -> Pack:
    return Pack(
        slot=row.slot,
        unit=row.unit,
        state=row.state if row.state in PACK_STATES else "unknown",
        maker=row.maker,
        model=row.model,
        serial=row.serial,
        made_on=row.made_on,
        chemistry=row.chemistry,
        design_capacity=row.design_capacity,
        full_charge_capacity=row.full_charge_capacity,
        remaining_capacity=row.remaining_capacity,
        cycle_count=row.cycle_count,
        voltage_mv=row.voltage_mv,
        design_voltage_mv=row.design_voltage_mv,
        temperature_c=row.temperature_c,
        charge_limit_percent=row.charge_limit_percent,
    )


def _history(row: Any, charged_on: date | None) -> PackHistory | None:
    if row.a_as_of is None:
        return None
    return PackHistory(
        as_of=row.a_as_of,
        readings=row.a_readings,
        wear=row.a_wear,
        gauge=row.a_gauge,
        concern=row.a_concern,
        fade_per_month=row.a_fade_per_month,
        fade_source=row.a_fade_source,
        plan_earliest=row.a_plan_earliest,
        plan_on=row.a_plan_on,
        plan_latest=row.a_plan_latest,
        replace_on=row.a_replace_on,
        reasons=tuple(row.a_reasons or ()),
        charged_on=charged_on,
    )


def _memory(plain: dict[str, Any] | None) -> Memory | None:
    try:
        return None if plain is None else from_plain(Memory, plain)
    except UnreadableRecord:
        return None


def _drives(plain: Iterable[dict[str, Any]]) -> Iterable[Drive]:
    for one in plain:
        try:
            yield from_plain(Drive, one)
        except UnreadableRecord:
            continue


def _fades(common: Common, packs: Sequence[Pack]) -> Iterable[TypeFade]:
    names = {f"{pack.maker or ''}|{pack.model}" for pack in packs if pack.model}
    for name in (*sorted(names), ""):
        if name in common.fades:
            yield common.fades[name]


def _type_fade(name: str, fade: float, spread: float, packs: int | None) -> TypeFade:
    """Return what a pool says: a median [1/d], and the spread of its logarithm."""
    maker, _, model = name.partition("|")
    monthly = fade * DAYS_PER_MONTH
    return TypeFade(
        maker=maker or None,
        model=model or None,
        fade=TypicalFade(
            per_month=monthly,
            slow_per_month=monthly * exp(-NINE_TENTHS * spread),
            fast_per_month=monthly * exp(NINE_TENTHS * spread),
            lender="own pack type" if name else "fleet",
            packs=packs,
        ),
    )
