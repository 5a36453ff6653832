"""Compare what the collector said of a simulated fleet with the truth."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise

from sqlalchemy import select

from fadewatch_collector.simulation.care.fleet import CareFleet
from fadewatch_collector.simulation.care.plan import PlantedSwap
from fadewatch_collector.store.tables import alerts, swaps
from fadewatch_collector.usecases.services import Services
from tests.replay import AlertEvent, Replayed

FLAP = timedelta(days=30)
NEAR = timedelta(days=12)
"""How long after its day a swap may be placed."""

NEAR_WEAK = timedelta(days=30)
"""The same without identities: a new pack that replaces a nearly new one shows it only
when it tells its first cycle."""


@dataclass(frozen=True, slots=True)
class FoundSwap:
    """A swap as the collector has it."""

    id: int
    laptop: int
    slot: str
    on: date
    was_called_wrong: bool


@dataclass(slots=True)
class Tally:
    """Swaps of one sort of identity."""

    planted: int = 0
    found: int = 0
    late: int = 0
    missed: list[PlantedSwap] = field(default_factory=list)


@dataclass(slots=True)
class Score:
    """How the collector did."""

    firm: Tally = field(default_factory=Tally)
    weak: Tally = field(default_factory=Tally)
    invented: list[FoundSwap] = field(default_factory=list)
    wrong_named: int = 0
    wrong_missed: list[PlantedSwap] = field(default_factory=list)
    right_named_wrong: list[PlantedSwap] = field(default_factory=list)
    opened: Counter[str] = field(default_factory=Counter)
    returns: Counter[str] = field(default_factory=Counter)
    flaps: list[tuple[str, str, date]] = field(default_factory=list)


async def score(services: Services, fleet: CareFleet, seen: Replayed) -> Score:
    """Match swaps and alerts with what was planted."""
    found = await _found_swaps(services, seen)
    result = Score()
    used: set[int] = set()
    for planted in sorted(seen.planted, key=lambda one: one.first_after):
        match = _match(
            fleet,
            planted,
            [one for one in found if one.id not in used],
            _before_next(fleet, planted, seen.planted),
        )
        tally = result.firm if planted.is_firm else result.weak
        tally.planted += 1
        if match is None:
            tally.missed.append(planted)
            continue
        used.add(match.id)
        tally.found += 1
        tally.late += match.on > _day(fleet, planted.first_after) + NEAR
        _judge(result, planted, match)
    result.invented = [one for one in found if one.id not in used]
    _count_alerts(result, seen.events)
    return result


async def _found_swaps(services: Services, seen: Replayed) -> list[FoundSwap]:
    async with services.store.reading() as connection:
        query = select(alerts.c.pack_id).where(alerts.c.kind == "wrong-pack")
        wrong = set((await connection.execute(query)).scalars())
        rows = (await connection.execute(select(swaps).order_by(swaps.c.id))).all()
    return [
        FoundSwap(
            row.id,
            seen.numbers[row.laptop_id],
            row.slot,
            row.at.date(),
            row.new_pack_id in wrong,
        )
        for row in rows
    ]


def _before_next(
    fleet: CareFleet, planted: PlantedSwap, every: Sequence[PlantedSwap]
) -> date:
    """Return the last day on which no later swap of the slot can have been."""
    later = [
        one.last_before
        for one in every
        if (one.laptop, one.slot) == (planted.laptop, planted.slot)
        and one.first_after > planted.first_after
    ]
    return _day(fleet, min(later, default=fleet.days))


def _match(
    fleet: CareFleet,
    planted: PlantedSwap,
    found: Sequence[FoundSwap],
    before_next: date,
) -> FoundSwap | None:
    first = _day(fleet, planted.last_before)
    near = NEAR if planted.is_firm else NEAR_WEAK
    last = min(_day(fleet, planted.first_after) + near, before_next)
    matching = [
        one
        for one in found
        if (one.laptop, one.slot) == (planted.laptop, planted.slot)
        and first <= one.on <= last
    ]
    return min(matching, key=lambda one: one.on, default=None)


def _day(fleet: CareFleet, number: int) -> date:
    return fleet.start + timedelta(days=number)


def _judge(result: Score, planted: PlantedSwap, match: FoundSwap) -> None:
    if planted.is_wrong and match.was_called_wrong:
        result.wrong_named += 1
    elif planted.is_wrong:
        result.wrong_missed.append(planted)
    elif planted.is_wrong is False and match.was_called_wrong:
        result.right_named_wrong.append(planted)


def _count_alerts(result: Score, events: Sequence[AlertEvent]) -> None:
    by_matter: dict[tuple[str, str], list[AlertEvent]] = defaultdict(list)
    for event in events:
        by_matter[event.subject, event.kind].append(event)
    for (subject, kind), happened in by_matter.items():
        result.opened[kind] += sum(event.opened for event in happened)
        returns = list(_returns(happened))
        result.returns[kind] += len(returns)
        for one, other in pairwise(returns):
            if other - one <= FLAP:
                result.flaps.append((subject, kind, other))


def _returns(happened: Sequence[AlertEvent]) -> Iterator[date]:
    """Yield when the matter opened again within 30 days of its end."""
    for before, event in pairwise(happened):
        if event.opened and not before.opened and event.at - before.at <= FLAP:
            yield event.at.date()
