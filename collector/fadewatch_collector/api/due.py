"""GET /visits/due: which laptops to go to, and what to do and bring there."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.fields import NOTHING_ELSE
from fadewatch_collector.api.keys import SERVICES
from fadewatch_collector.api.queries import DEFAULT_ROWS, Limit, QueryText, query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.api.wording import taken
from fadewatch_collector.rules.alert_terms import AlertKind, Urgency
from fadewatch_collector.rules.visit_matters import Matter as Found
from fadewatch_collector.rules.visit_terms import (
    DEFAULT_HORIZON,
    FARTHEST_HORIZON,
    Work,
)
from fadewatch_collector.rules.visits import Step as Do
from fadewatch_collector.usecases.visit_lists import DueEntry, Wanted, due_list
from fadewatch_common.bounds import Between


@dataclass(frozen=True, slots=True, kw_only=True)
class DueQuery:
    """Which laptops, and where the list goes on.

    Attributes
    ----------
    wanted
        ``due`` is: due, or with a planned visit.
    """

    __pydantic_config__ = NOTHING_ELSE

    site: QueryText | None = None
    within_days: Annotated[int, Between(0, FARTHEST_HORIZON)] = DEFAULT_HORIZON
    wanted: Wanted = "due"
    cursor: QueryText | None = None
    limit: Limit = DEFAULT_ROWS


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """One thing for which somebody goes there; ``kind`` is that of its alert."""

    head: str
    urgency: Urgency
    why: Sequence[str]
    pack_id: int | None
    kind: AlertKind | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing to do; ``work`` is what it counts as when the visit is done."""

    text: str
    work: Work | None
    blanks: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class DueLaptop:
    """A laptop to go to, with its sheet.

    Attributes
    ----------
    stop_use
        It is pulled from use and handed to trained staff; nobody opens it on a round.
    first, steps, checks
        What to do before it is opened, while it is open, and afterwards.
    planned_visit_id, planned_on
        Of its planned visit; null when there is none.
    """

    id: int
    hostname: str | None
    asset_tag: str | None
    holder: str | None
    site: str | None
    maker: str | None
    model: str | None
    serial: str | None
    stop_use: bool
    cautions: Sequence[str]
    matters: Sequence[Matter]
    bring: Sequence[str]
    first: Sequence[Step]
    steps: Sequence[Step]
    checks: Sequence[Step]
    planned_visit_id: int | None
    planned_on: date | None
    last_done_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DuePage:
    """A part of the list: those to stop using first, then by site and number.

    Attributes
    ----------
    next
        The ``cursor`` of the next part; null at the end.
    """

    laptops: Sequence[DueLaptop]
    next: str | None


_PAGE = TypeAdapter(DuePage)
_WORDED = (
    "stop_use",
    "cautions",
    "matters",
    "bring",
    "first",
    "steps",
    "checks",
    "planned_visit_id",
    "planned_on",
    "last_done_at",
)


async def show_due(request: web.Request) -> web.Response:
    """Answer with a part of the laptops that are due."""
    query = query_of(request, DueQuery)
    found = await due_list(
        request.app[SERVICES],
        within_days=query.within_days,
        wanted=query.wanted,
        site=query.site,
        cursor=query.cursor,
        limit=query.limit,
        is_counted=False,
    )
    laptops = [_laptop(entry) for entry in found.entries]
    return reply(_PAGE, DuePage(laptops=laptops, next=found.next_cursor))


def _laptop(entry: DueEntry) -> DueLaptop:
    sheet, planned, last = entry.sheet, entry.planned, entry.last_done
    return DueLaptop(
        stop_use=sheet.stop_use,
        cautions=sheet.cautions,
        matters=[_matter(matter) for matter in sheet.matters],
        bring=sheet.bring,
        first=[_step(step) for step in sheet.first],
        steps=[_step(step) for step in sheet.steps],
        checks=[_step(step) for step in sheet.checks],
        planned_visit_id=None if planned is None else planned.id,
        planned_on=None if planned is None else planned.planned_on,
        last_done_at=None if last is None else last.done_at,
        **taken(DueLaptop, sheet.laptop, without=_WORDED),
    )


def _matter(matter: Found) -> Matter:
    return Matter(**taken(Matter, matter))


def _step(step: Do) -> Step:
    return Step(**taken(Step, step))
