"""Lists for people and programs: alerts and laptops, a page at a time.

Every function runs a fixed number of queries, however long the list is.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Row,
    Select,
    func,
    literal,
    select,
    tuple_,
    union_all,
)
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.rules.alert_terms import (
    LIVE_STATES,
    URGENCIES,
    AlertKind,
    AlertState,
    Urgency,
)
from fadewatch_collector.rules.assessment import Concern
from fadewatch_collector.rules.concern import RANKED
from fadewatch_collector.rules.paging import AlertKey
from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    laptops,
    operators,
    packs,
    slot_stays,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertFilter:
    """Which alerts a list shows; None is: all of them."""

    kind: AlertKind | None = None
    urgency: Urgency | None = None
    site: str | None = None
    states: tuple[AlertState, ...] = LIVE_STATES


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertRow:
    """One alert with the laptop and the pack it is about.

    Attributes
    ----------
    assigned_name
        The operator it was handed over to.
    version
        Goes up with each change of its state.
    reopened
        How often it came back [count].
    """

    id: int
    kind: AlertKind
    urgency: Urgency
    urgency_rank: int
    state: AlertState
    site: str | None
    opened_at: datetime
    changed_at: datetime
    ended_at: datetime | None
    ended_because: str | None
    ended_by: str | None
    planned_on: date | None
    assigned_name: str | None
    version: int
    reopened: int
    reasons: list[str]
    next_step: str
    figures_opened: dict[str, Any]
    figures_now: dict[str, Any]
    laptop_id: int | None
    hostname: str | None
    asset_tag: str | None
    laptop_maker: str | None
    laptop_model: str | None
    laptop_serial: str | None
    pack_id: int | None
    pack_maker: str | None
    pack_model: str | None
    pack_serial: str | None

    @property
    def key(self) -> AlertKey:
        """Place in the alert list."""
        return AlertKey(self.urgency_rank, self.opened_at, self.id)


@dataclass(frozen=True, slots=True, kw_only=True)
class PackBrief:
    """One pack of a laptop in the laptop list; wear is a fraction."""

    pack_id: int
    slot: str
    wear: float | None
    band: Band
    concern: Concern | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopRow:
    """One laptop in the laptop list."""

    id: int
    hostname: str | None
    asset_tag: str | None
    site: str | None
    holder: str | None
    maker: str | None
    model: str | None
    serial: str | None
    last_report_at: datetime | None
    agent_version: str | None
    packs: tuple[PackBrief, ...]

    @property
    def concern(self) -> Concern:
        """The most urgent concern about any of its packs."""
        concerns = [pack.concern or "none" for pack in self.packs]
        return max(concerns, key=RANKED.index, default="none")

    @property
    def worst_pack(self) -> PackBrief | None:
        """The pack with most wear; one whose wear is unknown comes last."""
        known = [pack for pack in self.packs if pack.wear is not None]
        if known:
            return max(known, key=lambda pack: pack.wear or 0.0)
        return self.packs[0] if self.packs else None


async def alert_rows(
    connection: AsyncConnection,
    wanted: AlertFilter,
    *,
    after: AlertKey | None,
    limit: int,
) -> list[AlertRow]:
    """Return alerts, most urgent first and then oldest, from a place in the list on.

    Notes
    -----
    One ordered piece of ``ix_alerts_list`` for each state, merged: the cost follows
    ``limit`` and not the number of alerts.
    """
    pieces = [
        select(_keys_of(state, wanted, after, limit).subquery())
        for state in wanted.states
    ]
    if not pieces:
        return []
    keys = union_all(*pieces).subquery()
    query = (
        select_alerts()
        .join(keys, keys.c.id == alerts.c.id)
        .order_by(keys.c.urgency_rank, keys.c.opened_at, keys.c.id)
        .limit(limit)
    )
    return [alert_from(row) for row in await connection.execute(query)]


def _keys_of(
    state: AlertState, wanted: AlertFilter, after: AlertKey | None, limit: int
) -> Select[Any]:
    place = (alerts.c.urgency_rank, alerts.c.opened_at, alerts.c.id)
    query = select(*place).where(alerts.c.state == state, *_conditions(wanted))
    if after is not None:
        passed = (after.urgency_rank, after.opened_at, after.id)
        key = (
            literal(value, column.type)
            for value, column in zip(passed, place, strict=True)
        )
        query = query.where(tuple_(*place) > tuple_(*key))
    return query.order_by(*place).limit(limit)


def _conditions(wanted: AlertFilter) -> list[ColumnElement[bool]]:
    conditions = []
    if wanted.kind is not None:
        conditions.append(alerts.c.kind == wanted.kind)
    if wanted.urgency is not None:
        rank = URGENCIES.index(wanted.urgency)
        conditions.append(alerts.c.urgency_rank == rank)
    if wanted.site is not None:
        conditions.append(alerts.c.site == wanted.site)
    return conditions


_OF_ALERTS = tuple(name for name in AlertRow.__dataclass_fields__ if name in alerts.c)


def select_alerts() -> Select[Any]:
    """Select what an :class:`AlertRow` is made of."""
    return (
        select(
            *(alerts.c[name] for name in _OF_ALERTS),
            laptops.c.hostname,
            laptops.c.asset_tag,
            laptops.c.maker.label("laptop_maker"),
            laptops.c.model.label("laptop_model"),
            laptops.c.serial.label("laptop_serial"),
            packs.c.maker.label("pack_maker"),
            packs.c.model.label("pack_model"),
            packs.c.serial.label("pack_serial"),
            operators.c.name.label("assigned_name"),
        )
        .select_from(alerts)
        .outerjoin(operators, operators.c.id == alerts.c.assigned_to)
        .outerjoin(laptops, laptops.c.id == alerts.c.laptop_id)
        .outerjoin(packs, packs.c.id == alerts.c.pack_id)
    )


def alert_from(row: Row[Any]) -> AlertRow:
    """Return the alert in a row of :func:`select_alerts`."""
    return AlertRow(**row._asdict())


async def sites(connection: AsyncConnection) -> list[str]:
    """Return the sites that laptops are at, in order.

    Notes
    -----
    One look into ``ix_laptops_site_id`` for each site, from one to the next: the cost
    follows the number of sites and not that of the laptops.
    """
    column = laptops.c.site
    each = select(func.min(column).label("site")).cte("each_site", recursive=True)
    after = select(func.min(column)).where(column > each.c.site).scalar_subquery()
    each = each.union_all(select(after).where(each.c.site.is_not(None)))
    query = select(each.c.site).where(each.c.site.is_not(None))
    return sorted(await connection.scalars(query))


async def laptop_ids_after(
    connection: AsyncConnection, after: int, limit: int
) -> list[int]:
    """Return the next laptops by number: a walk over all of them in steps."""
    column = laptops.c.id
    query = select(column).where(column > after).order_by(column).limit(limit)
    return list(await connection.scalars(query))


async def laptop_rows(
    connection: AsyncConnection,
    *,
    site: str | None,
    after: int | None,
    limit: int,
    sought: ColumnElement[bool] | None = None,
) -> list[LaptopRow]:
    """Return laptops in the order of their numbers, with the packs they carry now.

    Parameters
    ----------
    sought
        What else must hold, from :func:`fadewatch_collector.store.search`.
    after
        Number of the laptop after which the list goes on.
    """
    query = select(laptops).order_by(laptops.c.id).limit(limit)
    if site is not None:
        query = query.where(laptops.c.site == site)
    if after is not None:
        query = query.where(laptops.c.id > after)
    if sought is not None:
        query = query.where(sought)
    rows = (await connection.execute(query)).all()
    carried = await _packs_now(connection, [row.id for row in rows])
    return [_laptop_row(row, carried.get(row.id, ())) for row in rows]


def _laptop_row(row: Row[Any], carried: Sequence[PackBrief]) -> LaptopRow:
    return LaptopRow(
        id=row.id,
        hostname=row.hostname,
        asset_tag=row.asset_tag,
        site=row.site,
        holder=row.holder,
        maker=row.maker,
        model=row.model,
        serial=row.serial,
        last_report_at=row.last_report_at,
        agent_version=row.agent_version,
        packs=tuple(carried),
    )


async def _packs_now(
    connection: AsyncConnection, laptop_ids: Sequence[int]
) -> dict[int, list[PackBrief]]:
    rows = await connection.execute(
        select(
            slot_stays.c.laptop_id,
            slot_stays.c.pack_id,
            slot_stays.c.slot,
            assessments.c.wear,
            assessments.c.band,
            assessments.c.concern,
        )
        .outerjoin(assessments, assessments.c.pack_id == slot_stays.c.pack_id)
        .where(slot_stays.c.laptop_id.in_(laptop_ids), slot_stays.c.until_at.is_(None))
        .order_by(slot_stays.c.laptop_id, slot_stays.c.slot)
    )
    carried: dict[int, list[PackBrief]] = {}
    for row in rows:
        carried.setdefault(row.laptop_id, []).append(
            PackBrief(
                pack_id=row.pack_id,
                slot=row.slot,
                wear=row.wear,
                band=row.band or "unknown",
                concern=row.concern,
            )
        )
    return carried
