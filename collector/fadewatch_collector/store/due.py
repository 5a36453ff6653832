"""Which laptops are due for a visit: a page at a time, by site, stop-use first.

Nothing of it is kept: assessments, alerts and planned visits decide anew each time.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from sqlalchemy import (
    ColumnElement,
    Select,
    Subquery,
    and_,
    case,
    exists,
    func,
    literal,
    not_,
    or_,
    select,
    text,
    tuple_,
    union,
    union_all,
)
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.alert_terms import LIVE_STATES
from fadewatch_collector.rules.paging import DueKey
from fadewatch_collector.rules.visit_terms import (
    DUE_BANDS,
    DUE_CONCERNS,
    HANDS_ON_KINDS,
)
from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    laptops,
    slot_stays,
    visits,
)

Wanted = Literal["due", "not planned", "planned"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DueFilter:
    """Which laptops a list shows.

    Attributes
    ----------
    until
        Last day on which a crossing of the plan threshold makes a laptop due.
    wanted
        ``due`` is: due, or with a planned visit; ``not planned``: due, and nobody has
        planned it; ``planned``: with a planned visit, due or not.
    site
        None is every site.
    """

    until: date
    wanted: Wanted = "due"
    site: str | None = None


@dataclass(frozen=True, slots=True)
class DueLaptop:
    """A laptop in its place of the list; the tier is 0 or 1 for one to stop using."""

    tier: int
    id: int

    @property
    def key(self) -> DueKey:
        """Return its place in the list."""
        return DueKey(self.tier, self.id)


@dataclass(frozen=True, slots=True)
class SiteCount:
    """How many laptops of a site are due [count]; None is without a site."""

    site: str | None
    due: int
    stop_use: int
    planned: int


FEW_DUE = 1_000
"""Up to how many due laptops a page is cut from all of them, sorted [count].

Where more are due, a walk through the fleet in the order of the list ends early. Own
choice.
"""


async def due_laptops(
    connection: AsyncConnection,
    wanted: DueFilter,
    *,
    after: DueKey | None,
    after_site: str | None,
    limit: int,
    due_count: int | None = None,
) -> list[DueLaptop]:
    """Return laptops that are due: those to stop using first, then by site and number.

    Parameters
    ----------
    after
        Place after which the list goes on.
    after_site
        Site of the laptop at that place.
    due_count
        How many are due, where that is known already.

    Notes
    -----
    Where few are due, they are sorted. Where many are, the few to stop using are, and
    the others are ordered pieces of ``ix_laptops_site_id``, with and without a site:
    the walk ends with the limit. One site is walked through in any case.
    """
    few = wanted.site is None and await _are_few_due(connection, wanted, due_count)
    pieces = [_sorted_piece(wanted, after, after_site, limit, with_others=few)]
    if not few:
        first = 2 if after is None else max(2, after.tier)
        pieces += [
            _walked_piece(tier, wanted, after, after_site, limit)
            for tier in range(first, 4)
        ]
    found = union_all(*(select(one.subquery()) for one in pieces)).subquery()
    query = (
        select(found.c.tier, found.c.id)
        .order_by(found.c.tier, found.c.site, found.c.id)
        .limit(limit)
    )
    return [DueLaptop(*row) for row in await connection.execute(query)]


async def _are_few_due(
    connection: AsyncConnection, wanted: DueFilter, count: int | None
) -> bool:
    if count is None:
        ids = union_all(*_due_ids(wanted)).limit(FEW_DUE + 1).subquery()
        count = await connection.scalar(select(func.count()).select_from(ids))
    return (count or 0) <= FEW_DUE


def _sorted_piece(
    wanted: DueFilter,
    after: DueKey | None,
    after_site: str | None,
    limit: int,
    *,
    with_others: bool,
) -> Select[Any]:
    """Select from laptops to stop using, or from all due, by sorting them."""
    ids = union(*_due_ids(wanted)).subquery() if with_others else _to_stop_using()
    urgent = laptops.c.id.in_(select(_to_stop_using().c.laptop_id))
    tier = case((urgent, 0), else_=2) + case((laptops.c.site.is_(None), 1), else_=0)
    site = func.coalesce(laptops.c.site, "")
    query = (
        select(tier.label("tier"), laptops.c.site, laptops.c.id)
        .select_from(ids)
        .join(laptops, laptops.c.id == ids.c.laptop_id)
        .order_by(tier, site, laptops.c.id)
        .limit(limit)
    )
    if not with_others:
        query = query.where(_wanted(wanted))
    elif wanted.wanted == "not planned":
        query = query.where(laptops.c.id.not_in(_planned()))
    if wanted.site is not None:
        query = query.where(laptops.c.site == wanted.site)
    if after is not None:
        passed = (literal(after.tier), literal(after_site or ""), literal(after.id))
        query = query.where(tuple_(tier, site, laptops.c.id) > tuple_(*passed))
    return query


def _walked_piece(
    tier: int,
    wanted: DueFilter,
    after: DueKey | None,
    after_site: str | None,
    limit: int,
) -> Select[Any]:
    has_site = tier % 2 == 0
    conditions = [
        laptops.c.id.not_in(select(_to_stop_using().c.laptop_id)),
        laptops.c.site.is_not(None) if has_site else laptops.c.site.is_(None),
        _wanted(wanted),
    ]
    if wanted.site is not None:
        conditions.append(laptops.c.site == wanted.site)
    if after is not None and after.tier == tier:
        conditions.append(_beyond(after, after_site if has_site else None))
    order = (laptops.c.site, laptops.c.id) if has_site else (laptops.c.id,)
    return (
        select(literal(tier).label("tier"), laptops.c.site, laptops.c.id)
        .where(*conditions)
        .order_by(*order)
        .limit(limit)
    )


def _beyond(after: DueKey, site: str | None) -> ColumnElement[bool]:
    if site is None:
        return laptops.c.id > after.id
    place = tuple_(laptops.c.site, laptops.c.id)
    return place > tuple_(literal(site), literal(after.id))


def _due_ids(wanted: DueFilter) -> list[Select[Any]]:
    """Select the laptops that are due, some more than once; planned ones only if asked.

    What is due by its figures is told from ``ix_assessments_due`` alone.
    """
    if wanted.wanted == "planned":
        return [_planned()]
    due_packs = select(assessments.c.pack_id).where(_is_due(wanted.until))
    sitting = select(slot_stays.c.laptop_id).where(
        slot_stays.c.until_at.is_(None), slot_stays.c.pack_id.in_(due_packs)
    )
    alerted = select(alerts.c.laptop_id).where(
        alerts.c.laptop_id.is_not(None), _needs_hands()
    )
    return [sitting, alerted, *([_planned()] if wanted.wanted == "due" else [])]


def _planned() -> Select[Any]:
    return select(visits.c.laptop_id).where(visits.c.state == "planned")


def _wanted(wanted: DueFilter) -> ColumnElement[bool]:
    # A set and no question for each laptop: planned visits are few in a big fleet.
    planned = laptops.c.id.in_(_planned())
    if wanted.wanted == "planned":
        return planned
    due = or_(_has_due_pack(wanted.until), _has_alert())
    return or_(due, planned) if wanted.wanted == "due" else and_(due, not_(planned))


def _has_due_pack(until: date) -> ColumnElement[bool]:
    return (
        exists()
        .where(
            slot_stays.c.laptop_id == laptops.c.id,
            slot_stays.c.until_at.is_(None),
            assessments.c.pack_id == slot_stays.c.pack_id,
            _is_due(until),
        )
        .correlate(laptops)
    )


def _is_due(until: date) -> ColumnElement[bool]:
    return or_(
        assessments.c.band.in_(DUE_BANDS),
        assessments.c.concern.in_(DUE_CONCERNS),
        assessments.c.plan_on <= until,
    )


def _has_alert() -> ColumnElement[bool]:
    return exists().where(alerts.c.laptop_id == laptops.c.id, _needs_hands())


def _needs_hands() -> ColumnElement[bool]:
    """Say of an alert whether somebody has to go to the laptop for it."""
    return and_(
        alerts.c.state.in_(LIVE_STATES),
        or_(alerts.c.kind.in_(HANDS_ON_KINDS), alerts.c.urgency_rank == 0),
    )


def _to_stop_using() -> Subquery:
    by_alert = select(alerts.c.laptop_id).where(
        alerts.c.state.in_(LIVE_STATES),
        alerts.c.urgency_rank == 0,
        alerts.c.laptop_id.is_not(None),
    )
    by_figures = select(slot_stays.c.laptop_id).where(
        slot_stays.c.until_at.is_(None),
        slot_stays.c.pack_id == assessments.c.pack_id,
        assessments.c.concern == "stop-use",
        # As the small index of urgent concerns says it: SQLite does not use it for
        # values that are bound.
        text("assessments.concern IN ('inspect', 'stop-use')"),
    )
    return union(by_alert, by_figures).subquery()


async def due_counts(connection: AsyncConnection, wanted: DueFilter) -> list[SiteCount]:
    """Count what is due at each site; laptops without a site come last."""
    ids = union(*_due_ids(wanted)).subquery()
    urgent = ids.c.laptop_id.in_(select(_to_stop_using().c.laptop_id))
    planned = ids.c.laptop_id.in_(_planned())
    query = (
        select(
            laptops.c.site,
            func.count().label("due"),
            func.count().filter(urgent).label("stop_use"),
            func.count().filter(planned).label("planned"),
        )
        .select_from(ids)
        .join(laptops, laptops.c.id == ids.c.laptop_id)
        .group_by(laptops.c.site)
    )
    if wanted.wanted == "not planned":
        query = query.where(~planned)
    if wanted.site is not None:
        query = query.where(laptops.c.site == wanted.site)
    rows = [SiteCount(*row) for row in await connection.execute(query)]
    return sorted(rows, key=lambda row: (row.site is None, row.site or ""))


async def site_of(connection: AsyncConnection, laptop_id: int) -> str | None:
    """Return the site that a laptop is at."""
    query = select(laptops.c.site).where(laptops.c.id == laptop_id)
    return (await connection.execute(query)).scalar_one_or_none()


async def site_laptops(
    connection: AsyncConnection, wanted: DueFilter, limit: int
) -> Sequence[int]:
    """Return due laptops for a round: none to stop using, none seen to just now.

    A laptop where a visit was marked done after its last report is left out: nothing
    new is known of it.
    """
    visited = exists().where(
        visits.c.laptop_id == laptops.c.id,
        visits.c.state == "done",
        or_(
            laptops.c.last_report_at.is_(None),
            visits.c.done_at >= laptops.c.last_report_at,
        ),
    )
    query = (
        select(laptops.c.id)
        .where(
            _wanted(wanted),
            not_(visited),
            laptops.c.id.not_in(select(_to_stop_using().c.laptop_id)),
            laptops.c.site.is_(None)
            if wanted.site is None
            else laptops.c.site == wanted.site,
        )
        .order_by(laptops.c.id)
        .limit(limit)
    )
    return list(await connection.scalars(query))
