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
    and_,
    exists,
    func,
    literal,
    not_,
    or_,
    select,
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


async def due_laptops(
    connection: AsyncConnection,
    wanted: DueFilter,
    *,
    after: DueKey | None,
    after_site: str | None,
    limit: int,
) -> list[DueLaptop]:
    """Return laptops that are due: those to stop using first, then by site and number.

    Parameters
    ----------
    after
        Place after which the list goes on.
    after_site
        Site of the laptop at that place.

    Notes
    -----
    Four ordered pieces of ``ix_laptops_site_id``, each no longer than the limit: with
    and without a site, to stop using and not. The walk ends with the limit, so its
    cost follows how rare due laptops are, and the fleet at most.
    """
    pieces = [
        select(_piece(tier, wanted, after, after_site, limit).subquery())
        for tier in range(0 if after is None else after.tier, 4)
    ]
    found = union_all(*pieces).subquery()
    query = (
        select(found.c.tier, found.c.id)
        .order_by(found.c.tier, found.c.site, found.c.id)
        .limit(limit)
    )
    return [DueLaptop(*row) for row in await connection.execute(query)]


def _piece(
    tier: int,
    wanted: DueFilter,
    after: DueKey | None,
    after_site: str | None,
    limit: int,
) -> Select[Any]:
    stop_use, has_site = tier < 2, tier % 2 == 0  # noqa: PLR2004  pairs of tiers
    urgent = laptops.c.id.in_(_to_stop_using())
    conditions = [
        urgent if stop_use else not_(urgent),
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


def _wanted(wanted: DueFilter) -> ColumnElement[bool]:
    # A set and no question for each laptop: planned visits are few in a big fleet.
    planned = laptops.c.id.in_(
        select(visits.c.laptop_id).where(visits.c.state == "planned")
    )
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
            or_(
                assessments.c.band.in_(DUE_BANDS),
                assessments.c.concern.in_(DUE_CONCERNS),
                assessments.c.plan_on <= until,
            ),
        )
        .correlate(laptops)
    )


def _has_alert() -> ColumnElement[bool]:
    return exists().where(
        alerts.c.laptop_id == laptops.c.id,
        alerts.c.state != "ended",
        or_(alerts.c.kind.in_(HANDS_ON_KINDS), alerts.c.urgency_rank == 0),
    )


def _to_stop_using() -> Select[Any]:
    by_alert = select(alerts.c.laptop_id).where(
        alerts.c.state.in_(LIVE_STATES),
        alerts.c.urgency_rank == 0,
        alerts.c.laptop_id.is_not(None),
    )
    by_figures = select(slot_stays.c.laptop_id).where(
        slot_stays.c.until_at.is_(None),
        slot_stays.c.pack_id == assessments.c.pack_id,
        assessments.c.concern == "stop-use",
        # Named again so that the small index of urgent concerns serves.
        assessments.c.concern.in_(("inspect", "stop-use")),
    )
    urgent = union(by_alert, by_figures).subquery()
    return select(urgent.c.laptop_id)


async def due_counts(connection: AsyncConnection, wanted: DueFilter) -> list[SiteCount]:
    """Count what is due at each site; laptops without a site come last."""
    urgent = laptops.c.id.in_(_to_stop_using())
    planned = laptops.c.id.in_(
        select(visits.c.laptop_id).where(visits.c.state == "planned")
    )
    query = (
        select(
            laptops.c.site,
            func.count().label("due"),
            func.count().filter(urgent).label("stop_use"),
            func.count().filter(planned).label("planned"),
        )
        .where(_wanted(wanted))
        .group_by(laptops.c.site)
    )
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
            laptops.c.id.not_in(_to_stop_using()),
            laptops.c.site.is_(None)
            if wanted.site is None
            else laptops.c.site == wanted.site,
        )
        .order_by(laptops.c.id)
        .limit(limit)
    )
    return list(await connection.scalars(query))
