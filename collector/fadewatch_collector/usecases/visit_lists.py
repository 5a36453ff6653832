"""Laptops due for a visit with their sheets, a page at a time; visits by state."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from fadewatch_collector.errors import InvalidRequest, NotFound
from fadewatch_collector.rules.paging import DueKey, due_cursor, due_key
from fadewatch_collector.rules.policy_scopes import policy_in_force, scopes_of
from fadewatch_collector.rules.visit_facts import VisitedLaptop
from fadewatch_collector.rules.visit_terms import VisitState, due_until
from fadewatch_collector.rules.visits import VisitSheet, visit_sheet
from fadewatch_collector.store import due, pages, policies, visit_facts
from fadewatch_collector.store import visits as rows
from fadewatch_collector.store.due import DueFilter, DueLaptop, SiteCount, Wanted
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.visits import Visit
from fadewatch_collector.usecases.due_memory import recent_counts
from fadewatch_collector.usecases.services import Services

__all__ = [
    "DueEntry",
    "DueList",
    "SiteCount",
    "Visit",
    "Wanted",
    "due_list",
    "list_visits",
    "one_sheet",
    "sheets_of",
]

LIST_ROWS = 50
"""Laptops on a page of the list [count]. Own choice."""

SHEETS_AT_ONCE = 20
"""Sheets on one print page [count]: a day's visits of one person. Own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DueEntry:
    """A laptop that is due, with its sheet.

    Attributes
    ----------
    planned
        Its planned visit, if there is one.
    last_done
        The newest visit that was done.
    """

    sheet: VisitSheet
    planned: Visit | None
    last_done: Visit | None

    @property
    def waits_for_report(self) -> bool:
        """Say whether nothing was reported since the last visit was done."""
        done_at = None if self.last_done is None else self.last_done.done_at
        reported = self.sheet.laptop.last_report_at
        return done_at is not None and (reported is None or reported <= done_at)

    def is_overdue(self, today: date) -> bool:
        """Say whether its planned day is past."""
        on = None if self.planned is None else self.planned.planned_on
        return on is not None and on < today


@dataclass(frozen=True, slots=True, kw_only=True)
class DueList:
    """A page of laptops that are due; ``next_cursor`` is None on the last one."""

    entries: Sequence[DueEntry]
    next_cursor: str | None
    counts: Sequence[SiteCount]
    sites: Sequence[str]
    operators: Sequence[str]


async def due_list(
    services: Services,
    *,
    within_days: int,
    wanted: Wanted = "due",
    site: str | None = None,
    cursor: str | None = None,
    limit: int = LIST_ROWS,
    is_counted: bool = True,
) -> DueList:
    """Return laptops that are due: stop-use first, then by site and number.

    Parameters
    ----------
    is_counted
        Count by site too, which looks at the whole fleet.

    Raises
    ------
    InvalidRequest
        The cursor is not one that a page has given.
    """
    until = due_until(services.clock().date(), within_days)
    chosen = DueFilter(until=until, wanted=wanted, site=site)
    after = None if cursor is None else due_key(cursor)
    async with services.store.reading() as connection:
        counts = (
            await recent_counts(connection, services, chosen) if is_counted else None
        )
        due_count = None if counts is None else sum(one.due for one in counts)
        found = await due_part(connection, chosen, after, limit + 1, due_count)
        shown = found[:limit]
        return DueList(
            entries=await entries_of(
                connection, services, [one.id for one in shown], until
            ),
            next_cursor=due_cursor(shown[-1].key) if len(found) > limit else None,
            counts=counts or (),
            sites=await pages.sites(connection),
            operators=await rows.able_names(connection),
        )


async def due_part(
    connection: WriteConnection,
    wanted: DueFilter,
    after: DueKey | None,
    limit: int,
    due_count: int | None = None,
) -> list[DueLaptop]:
    """Return laptops that are due, from a place in the list on."""
    site = None if after is None else await due.site_of(connection, after.id)
    if after is not None and (site is not None) != (after.tier % 2 == 0):
        raise InvalidRequest(
            "the laptop at which the list goes on has moved; begin at the first page"
        )
    return await due.due_laptops(
        connection,
        wanted,
        after=after,
        after_site=site,
        limit=limit,
        due_count=due_count,
    )


async def sheets_of(
    services: Services, laptop_ids: Collection[int], within_days: int
) -> list[DueEntry]:
    """Return the sheets of some laptops; those that there are not are left out."""
    until = due_until(services.clock().date(), within_days)
    async with services.store.reading() as connection:
        return await entries_of(connection, services, laptop_ids, until)


async def one_sheet(
    services: Services, laptop_id: int, within_days: int
) -> tuple[DueEntry, list[str]]:
    """Return a laptop's sheet, and the operators that a visit can be given to.

    Raises
    ------
    NotFound
        There is no such laptop.
    """
    until = due_until(services.clock().date(), within_days)
    async with services.store.reading() as connection:
        found = await entries_of(connection, services, [laptop_id], until)
        names = await rows.able_names(connection)
    if not found:
        raise NotFound("laptop", laptop_id)
    return found[0], names


async def entries_of(
    connection: WriteConnection,
    services: Services,
    laptop_ids: Collection[int],
    until: date,
) -> list[DueEntry]:
    """Return laptops with their sheets and visits, in the order asked for."""
    laptops = await visit_facts.visited_laptops(connection, laptop_ids)
    changes = await policies.all_changes(connection)
    planned = await rows.planned_visits(connection, laptop_ids)
    done = await rows.last_done_visits(connection, laptop_ids)
    return [
        DueEntry(
            sheet=_sheet(services, laptops[number], changes, until),
            planned=planned.get(number),
            last_done=done.get(number),
        )
        for number in laptop_ids
        if number in laptops
    ]


def _sheet(
    services: Services,
    laptop: VisitedLaptop,
    changes: Mapping[str, Mapping[str, object]],
    until: date,
) -> VisitSheet:
    scopes = scopes_of(laptop.site, laptop.maker, laptop.model)
    policy = policy_in_force(services.policy, changes, scopes)
    return visit_sheet(laptop, policy, until)


async def list_visits(
    services: Services,
    *,
    states: Collection[VisitState],
    site: str | None = None,
    laptop_id: int | None = None,
    before: int | None = None,
    limit: int = LIST_ROWS,
) -> list[Visit]:
    """Return visits, the newest first."""
    async with services.store.reading() as connection:
        return await rows.visits_before(
            connection,
            states=states,
            site=site,
            laptop_id=laptop_id,
            before=before,
            limit=limit,
        )


async def site_names(services: Services) -> list[str]:
    """Return the sites that laptops are at."""
    async with services.store.reading() as connection:
        return await pages.sites(connection)
