"""May a laptop be issued: verdicts for programs, figures for agents."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.fields import NOTHING_ELSE
from fadewatch_collector.api.keys import LAPTOP_ID, REPORT_BUCKETS, SERVICES
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.queries import DEFAULT_ROWS, Limit, QueryText, query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.usecases.bench_check import (
    CheckedLaptop,
    CheckFilter,
    bench_check_of,
    bench_figures_of,
    check_list,
)
from fadewatch_common.bench.facts import BenchFigures
from fadewatch_common.bench.remark import Figure, Kind, Severity
from fadewatch_common.bench.verdict import Verdict
from fadewatch_common.bounds import Between
from fadewatch_common.cautions import FIGURES_ARE_A_PROXY, STOP_USE_CAUTIONS
from fadewatch_common.signs import SIGNS

ServiceYears = Annotated[float, Between(0, 10)]


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchQuery:
    """For how many years the laptop is to serve; left out: the policy's."""

    __pydantic_config__ = NOTHING_ELSE

    service_years: ServiceYears | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchListQuery:
    """Which laptops, for how many years, and where the list goes on."""

    __pydantic_config__ = NOTHING_ELSE

    site: QueryText | None = None
    verdict: Verdict | None = None
    service_years: ServiceYears | None = None
    cursor: QueryText | None = None
    limit: Limit = DEFAULT_ROWS


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchRemark:
    """One thing found, in a sentence; null slot: it is about the laptop.

    Attributes
    ----------
    severity
        ``stops``: not ready until it is settled; ``note``: in order, or to know.
    figures
        The figures of the sentence, by name with their unit.
    """

    kind: Kind
    severity: Severity
    slot: str | None
    sentence: str
    figures: Mapping[str, Figure]


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchVerdict:
    """May this laptop be issued, as far as its newest report tells."""

    laptop_id: int
    hostname: str | None
    asset_tag: str | None
    site: str | None
    serial: str | None
    last_report_at: datetime | None
    verdict: Verdict
    service_years: float
    remarks: Sequence[BenchRemark]


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchCheckAnswer(BenchVerdict):
    """A verdict, with what a person looks for.

    Attributes
    ----------
    look_first
        Look for the signs before anything else.
    """

    look_first: bool
    signs: Sequence[str]
    cautions: Sequence[str]
    figures_are_a_proxy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchPage:
    """A part of the list, in the order of the laptops' numbers.

    Attributes
    ----------
    next
        The ``cursor`` of the next part; null at the end. With a verdict asked for, a
        part may be short, or empty, and yet go on.
    """

    laptops: Sequence[BenchVerdict]
    next: str | None


_ANSWER = TypeAdapter(BenchCheckAnswer)
_PAGE = TypeAdapter(BenchPage)
_FIGURES = TypeAdapter(BenchFigures)


async def show_bench_check(request: web.Request) -> web.Response:
    """Answer with the verdict on one laptop."""
    number = number_in(request, "laptop_id", "laptop")
    years = query_of(request, BenchQuery).service_years
    found = await bench_check_of(request.app[SERVICES], number, years)
    return reply(
        _ANSWER,
        BenchCheckAnswer(
            **_verdict(found),
            look_first=found.check.look_first,
            signs=tuple(SIGNS.values()),
            cautions=STOP_USE_CAUTIONS,
            figures_are_a_proxy=FIGURES_ARE_A_PROXY,
        ),
    )


async def list_bench_checks(request: web.Request) -> web.Response:
    """Answer with a part of the list of verdicts."""
    query = query_of(request, BenchListQuery)
    wanted = CheckFilter(
        site=query.site, verdict=query.verdict, service_years=query.service_years
    )
    found = await check_list(request.app[SERVICES], wanted, query.cursor, query.limit)
    laptops = [BenchVerdict(**_verdict(one)) for one in found.laptops]
    return reply(_PAGE, BenchPage(laptops=laptops, next=found.next_cursor))


async def give_bench_figures(request: web.Request) -> web.Response:
    """Answer an agent with the figures of its own laptop."""
    laptop_id = request[LAPTOP_ID]
    request.app[REPORT_BUCKETS].take(laptop_id)
    figures = await bench_figures_of(request.app[SERVICES], laptop_id)
    return reply(_FIGURES, figures)


def _verdict(found: CheckedLaptop) -> dict[str, Any]:
    laptop, check = found.laptop, found.check
    return {
        "laptop_id": laptop.id,
        "hostname": laptop.hostname,
        "asset_tag": laptop.asset_tag,
        "site": laptop.site,
        "serial": laptop.serial,
        "last_report_at": laptop.last_report_at,
        "verdict": check.verdict,
        "service_years": check.service_years,
        "remarks": [
            BenchRemark(
                kind=one.kind,
                severity=one.severity,
                slot=one.slot,
                sentence=one.sentence,
                figures=one.figures,
            )
            for one in check.remarks
        ],
    }
