"""May a laptop be issued: the bench check's rules on what the store knows."""

import asyncio
from collections.abc import AsyncGenerator, Sequence
from dataclasses import dataclass

from fadewatch_collector.errors import InvalidRequest, NotFound
from fadewatch_collector.rules.paging import laptop_cursor, laptop_key
from fadewatch_collector.rules.policy_scopes import LIMITS
from fadewatch_collector.store import bench as rows
from fadewatch_collector.store import pages
from fadewatch_collector.store.bench import BenchLaptop
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.bench_figures import (
    Common,
    Gathered,
    gathered,
    read_common,
)
from fadewatch_collector.usecases.large_counts import count_laptops
from fadewatch_collector.usecases.services import Services
from fadewatch_common.bench.facts import BenchFigures
from fadewatch_common.bench.gather import gather
from fadewatch_common.bench.verdict import VERDICTS, BenchCheck, Verdict, check

__all__ = [
    "BenchLaptop",
    "CheckFilter",
    "CheckList",
    "CheckedLaptop",
    "bench_check_of",
    "bench_figures_of",
    "check_list",
    "stream_checks",
]

PAGE_ROWS = 50
"""Laptops on one page [count]. Own choice."""

CHUNK = 200
"""Laptops read and judged at a time [count]. Own choice."""

MOST_LOOKED_AT = 200
"""Laptops judged for one page with a filter [count].

Own choice: about a tenth of a second of work. A rarer verdict goes on with the next page.
"""


@dataclass(frozen=True, slots=True)
class CheckedLaptop:
    """A laptop with its verdict."""

    laptop: BenchLaptop
    check: BenchCheck

    @property
    def id(self) -> int:
        """Number of the laptop."""
        return self.laptop.id


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckFilter:
    """Which laptops, and for how long they are to serve [year]; None: the policy's."""

    site: str | None = None
    verdict: Verdict | None = None
    service_years: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckList:
    """A page of the list; ``next_cursor`` is None on the last one.

    Attributes
    ----------
    looked_at
        Laptops judged for it: a page may be short and yet go on.
    """

    laptops: Sequence[CheckedLaptop]
    next_cursor: str | None
    sites: Sequence[str]
    laptop_count: int
    looked_at: int


async def bench_check_of(
    services: Services, laptop_id: int, service_years: float | None = None
) -> CheckedLaptop:
    """Return the verdict on one laptop.

    Raises
    ------
    NotFound
        There is no such laptop.
    InvalidRequest
        The years cannot be.
    """
    _check_years(service_years)
    async with services.store.reading() as connection:
        common = await read_common(connection, services)
        found = await _one(connection, services, common, laptop_id)
    return _checked(found, common, service_years)


async def bench_figures_of(services: Services, laptop_id: int) -> BenchFigures:
    """Return the figures that the agent of a laptop asks for.

    Raises
    ------
    NotFound
        There is no such laptop.
    """
    async with services.store.reading() as connection:
        common = await read_common(connection, services)
        return (await _one(connection, services, common, laptop_id)).figures


async def check_list(
    services: Services,
    wanted: CheckFilter,
    cursor: str | None = None,
    limit: int = PAGE_ROWS,
) -> CheckList:
    """Return a page of laptops with their verdicts, in the order of their numbers.

    Raises
    ------
    InvalidRequest
        The cursor is not one that a page has given, or the filter cannot be.
    """
    _check_years(wanted.service_years)
    if wanted.verdict is not None and wanted.verdict not in VERDICTS:
        raise InvalidRequest(f"a verdict is one of {', '.join(VERDICTS)}")
    after = None if cursor is None else laptop_key(cursor)
    found: list[CheckedLaptop] = []
    looked_at, is_end = 0, False
    async with services.store.reading() as connection:
        common = await read_common(connection, services)
        size = CHUNK if wanted.verdict else limit + 1
        while len(found) <= limit and looked_at < MOST_LOOKED_AT and not is_end:
            part = await _part(connection, services, common, wanted, after, size)
            looked_at, is_end = looked_at + len(part), len(part) < size
            after = part[-1].id if part else after
            found += [one for one in part if _is_wanted(one, wanted)]
        sites = await pages.sites(connection)
        count = await count_laptops(connection, services)
    if len(found) > limit:
        last: int | None = found[limit - 1].id
    else:
        last = None if is_end else after
    return CheckList(
        laptops=found[:limit],
        next_cursor=None if last is None else laptop_cursor(last),
        sites=sites,
        laptop_count=count,
        looked_at=looked_at,
    )


async def stream_checks(
    services: Services, wanted: CheckFilter
) -> AsyncGenerator[list[CheckedLaptop]]:
    """Yield the verdicts on all laptops, some hundred at a time, of one steady view."""
    _check_years(wanted.service_years)
    after = None
    async with services.store.reading() as connection:
        common = await read_common(connection, services)
        while part := await _part(connection, services, common, wanted, after, CHUNK):
            after = part[-1].id
            yield [one for one in part if _is_wanted(one, wanted)]


async def _part(
    connection: WriteConnection,
    services: Services,
    common: Common,
    wanted: CheckFilter,
    after: int | None,
    size: int,
) -> list[CheckedLaptop]:
    laptops = await rows.bench_laptops(
        connection, site=wanted.site, after=after, limit=size
    )
    if not laptops:
        return []
    known = await gathered(connection, services, common, laptops)
    # Judging takes the processor for a while: the loop goes on answering meanwhile.
    return await asyncio.to_thread(
        lambda: [_checked(one, common, wanted.service_years) for one in known]
    )


async def _one(
    connection: WriteConnection, services: Services, common: Common, laptop_id: int
) -> Gathered:
    laptop = await rows.bench_laptop(connection, laptop_id)
    if laptop is None:
        raise NotFound("laptop", laptop_id)
    return (await gathered(connection, services, common, [laptop]))[0]


def _checked(
    known: Gathered, common: Common, service_years: float | None
) -> CheckedLaptop:
    facts = gather(
        known.reading, known.figures, today=common.today, service_years=service_years
    )
    return CheckedLaptop(known.laptop, check(facts))


def _is_wanted(one: CheckedLaptop, wanted: CheckFilter) -> bool:
    return wanted.verdict is None or one.check.verdict == wanted.verdict


def _check_years(years: float | None) -> None:
    low, high = LIMITS["service_years"]
    if years is not None and not low <= years <= high:
        raise InvalidRequest(f"years of service go from {low:g} to {high:g}")
