"""Stock, orders, lead time and price of pack types, as people enter them."""

import asyncio
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from fadewatch_collector.errors import ChangedMeanwhile, NotFound
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.rules.pack_types import PackType, same_type, type_of_key
from fadewatch_collector.rules.stock import NOTHING_ENTERED, StockFigures, checked
from fadewatch_collector.rules.stock_csv import StockPlan, plan_stock, read_stock
from fadewatch_collector.rules.type_groups import TypeCount, group_types
from fadewatch_collector.store import audit
from fadewatch_collector.store import stock as rows
from fadewatch_collector.store.due_packs import described_packs
from fadewatch_collector.store.stock import KeptStock
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.services import Services


@dataclass(frozen=True, slots=True)
class TypeStock:
    """A pack type, how many of it are in use, and what was entered of it.

    Attributes
    ----------
    fitted
        0 for a type that has stock but is in no laptop any more.
    kept_under
        The key its figures stand under; None: nothing was entered.
    version
        Send it with a change; 0 when nothing was entered.
    """

    type: PackType
    fitted: int
    figures: StockFigures
    kept_under: str | None
    version: int
    changed_at: datetime | None
    changed_by: str | None


async def list_stock(
    services: Services, types: Sequence[TypeCount] | None = None
) -> list[TypeStock]:
    """Return every type in use or in stock, with what was entered of it.

    Parameters
    ----------
    types
        Those in use, where they are known already; else all packs are counted.
    """
    async with services.store.reading() as connection:
        return await _known(connection, types)


async def find_stock(
    services: Services, key: str, types: Sequence[TypeCount] | None = None
) -> TypeStock:
    """Return what was entered of a type.

    Parameters
    ----------
    types
        Those in use, where they are known already; else all packs are counted.

    Raises
    ------
    InvalidRequest
        The key is none.
    NotFound
        There is no such type in use or in stock.
    """
    async with services.store.reading() as connection:
        return _found(await _known(connection, types), key)


async def set_stock(
    services: Services,
    key: str,
    figures: StockFigures,
    operator: Operator,
    *,
    version: int,
) -> None:
    """Keep what a person entered of a type.

    Parameters
    ----------
    version
        Of what the person saw.

    Raises
    ------
    InvalidRequest
        The key is none, or a figure cannot be kept.
    NotFound
        There is no such type.
    ChangedMeanwhile
        Somebody entered something else since.
    """
    checked(figures)
    async with services.store.writing() as connection:
        known = _found(await _known(connection), key)
        if known.version != version:
            raise ChangedMeanwhile("the stock", known.changed_by, known.changed_at)
        await _keep(connection, services.clock(), known, figures, operator.name)


async def import_stock(
    services: Services, lines: Iterable[str], who: str, *, dry_run: bool
) -> StockPlan:
    """Import stock figures from a CSV file, or only say what would change.

    Nothing is changed when a row has a problem.

    Raises
    ------
    InvalidRequest
        The file cannot be read; the message names the line.
    """
    read = await asyncio.to_thread(read_stock, lines)
    now = services.clock()
    async with services.store.writing() as connection:
        known = await _known(connection)
        types = [one.type for one in known]
        entered = {place: one.figures for place, one in enumerate(known)}
        plan = plan_stock(read, types, entered, services.settings.currency)
        if dry_run or plan.problems:
            return plan
        place = {kind.key: number for number, kind in enumerate(types)}
        for change in plan.changes:
            one = known[place[change.type.key]]
            await _keep(connection, now, one, change.after, who)
    return plan


def match_stock(
    kept: Sequence[KeptStock], types: Sequence[PackType]
) -> dict[int, KeptStock]:
    """Return what was entered of each type, by the type's place.

    Where several entries fit a type, that under its own key counts, else the newest.
    """
    found: dict[int, KeptStock] = {}
    by_key = {kind.key: place for place, kind in enumerate(types)}
    for one in kept:
        place = by_key.get(one.type_key)
        place = same_type(one.type_key, types) if place is None else place
        if place is None:
            continue
        if place not in found or one.type_key == types[place].key:
            found[place] = one
    return found


async def _known(
    connection: WriteConnection, grouped: Sequence[TypeCount] | None = None
) -> list[TypeStock]:
    if grouped is None:
        grouped = group_types(await described_packs(connection)).types
    kept = await rows.all_stock(connection)
    types = [one.type for one in grouped]
    matched = match_stock(kept, types)
    known = [
        _type_stock(one.type, one.packs, matched.get(place))
        for place, one in enumerate(grouped)
    ]
    used = {one.type_key for one in matched.values()}
    idle = sorted((one for one in kept if one.type_key not in used), key=_key)
    return known + [_type_stock(type_of_key(one.type_key), 0, one) for one in idle]


def _key(kept: KeptStock) -> str:
    return kept.type_key


def _type_stock(kind: PackType, fitted: int, kept: KeptStock | None) -> TypeStock:
    if kept is None:
        return TypeStock(kind, fitted, NOTHING_ENTERED, None, 0, None, None)
    return TypeStock(
        kind,
        fitted,
        kept.figures,
        kept.type_key,
        kept.version,
        kept.changed_at,
        kept.changed_by,
    )


def _found(known: Sequence[TypeStock], key: str) -> TypeStock:
    place = same_type(key, [one.type for one in known])
    if place is None:
        raise NotFound("pack type", key[:80])
    return known[place]


async def _keep(
    connection: WriteConnection,
    now: datetime,
    known: TypeStock,
    figures: StockFigures,
    who: str,
) -> None:
    kept = await rows.keep_stock(
        connection,
        known.type.key,
        figures,
        who=who,
        now=now,
        replaces=known.kept_under,
        version=known.version,
    )
    if not kept:
        there = await rows.stock_of(connection, known.type.key)
        raise ChangedMeanwhile(
            "the stock",
            there.changed_by if there else None,
            there.changed_at if there else None,
        )
    await audit.note(
        connection,
        now,
        who,
        "stock changed",
        f"stock:{known.type.key}",
        {"before": known.figures.as_json(), "after": figures.as_json()},
    )
