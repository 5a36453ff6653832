"""Visits: what is due, and what people plan and do about it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from http import HTTPStatus
from typing import Annotated

from aiohttp import web
from pydantic import Field, StringConstraints, TypeAdapter

from fadewatch_collector.api.bodies import read_model
from fadewatch_collector.api.fields import (
    BODY_BYTES,
    NOTHING_ELSE,
    WRITTEN,
    Number,
    OperatorName,
    Site,
    Version,
)
from fadewatch_collector.api.keys import OPERATOR, SERVICES
from fadewatch_collector.api.parts import goes_on_at, part_of
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.queries import DEFAULT_ROWS, Limit, QueryText, query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.api.wording import taken
from fadewatch_collector.rules.visit_terms import (
    DEFAULT_HORIZON,
    FARTHEST_HORIZON,
    VISIT_STATES,
    VisitState,
    Work,
)
from fadewatch_collector.usecases import visit_outcomes, visits
from fadewatch_collector.usecases.visit_changes import NOTE_LENGTH
from fadewatch_collector.usecases.visit_lists import Visit as Row
from fadewatch_collector.usecases.visit_lists import list_visits
from fadewatch_collector.usecases.visits import MOST_AT_ONCE, Plan, Planned
from fadewatch_common.bounds import Between

LIST = "visits"

Words = Annotated[str, StringConstraints(max_length=NOTE_LENGTH, pattern=WRITTEN)]
Days = Annotated[int, Between(0, FARTHEST_HORIZON)]


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitQuery:
    """Which visits, and where the list goes on."""

    __pydantic_config__ = NOTHING_ELSE

    state: VisitState | None = None
    site: QueryText | None = None
    laptop_id: Annotated[int, Between(1, 2**63 - 1)] | None = None
    cursor: QueryText | None = None
    limit: Limit = DEFAULT_ROWS


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """A visit at a laptop.

    Attributes
    ----------
    planned_on
        Null when it was marked done without having been planned.
    matters
        What it was for.
    work
        What was done; null while it is not done.
    found
        What was written when it was done or called off.
    version
        Send it with what is to be done.
    """

    id: int
    laptop_id: int
    hostname: str | None
    asset_tag: str | None
    holder: str | None
    site: str | None
    state: VisitState
    planned_on: date | None
    assigned_to: str | None
    note: str | None
    matters: Sequence[str]
    work: Sequence[str] | None
    found: str | None
    done_at: datetime | None
    created_at: datetime
    created_by: str
    changed_at: datetime
    changed_by: str
    version: int


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitPage:
    """A part of the visits, the newest first.

    Attributes
    ----------
    next
        The ``cursor`` of the next part; null at the end.
    """

    visits: Sequence[Visit]
    next: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitPlan:
    """A day for some laptops; their open alerts are planned with them if not told."""

    __pydantic_config__ = NOTHING_ELSE

    laptop_ids: Annotated[
        Sequence[Number], Field(min_length=1, max_length=MOST_AT_ONCE)
    ]
    on: date
    assigned_to: OperatorName | None = None
    note: Words | None = None
    with_alerts: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundPlan:
    """A day for every laptop of a site that is due and not planned yet."""

    __pydantic_config__ = NOTHING_ELSE

    site: Site | None
    on: date
    within_days: Days = DEFAULT_HORIZON
    assigned_to: OperatorName | None = None
    note: Words | None = None
    with_alerts: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitMove:
    """Another day, person or note of a planned visit."""

    __pydantic_config__ = NOTHING_ELSE

    version: Version
    on: date
    assigned_to: OperatorName | None = None
    note: Words | None = None
    with_alerts: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitDone:
    """What was done at a planned visit."""

    __pydantic_config__ = NOTHING_ELSE

    version: Version
    work: Annotated[Sequence[Work], Field(min_length=1, max_length=10)]
    found: Words | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class UnplannedVisit:
    """What was done at a visit that nobody had planned."""

    __pydantic_config__ = NOTHING_ELSE

    work: Annotated[Sequence[Work], Field(min_length=1, max_length=10)]
    found: Words | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitCalledOff:
    """Why a planned visit is called off."""

    __pydantic_config__ = NOTHING_ELSE

    version: Version
    because: Words


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedVisits:
    """Visits that were planned.

    Attributes
    ----------
    planned_alerts
        Alerts that were planned with them [count].
    more
        Laptops are due that one round had no room for.
    """

    visit_ids: Sequence[int]
    planned_alerts: int
    more: bool


_VISIT = TypeAdapter(Visit)
_PAGE = TypeAdapter(VisitPage)
_PLANNED = TypeAdapter(PlannedVisits)
_PLAN = TypeAdapter(VisitPlan)
_ROUND = TypeAdapter(RoundPlan)
_MOVE = TypeAdapter(VisitMove)
_DONE = TypeAdapter(VisitDone)
_UNPLANNED = TypeAdapter(UnplannedVisit)
_CALLED_OFF = TypeAdapter(VisitCalledOff)


async def show_visits(request: web.Request) -> web.Response:
    """Answer with a part of the visits."""
    query = query_of(request, VisitQuery)
    found = await list_visits(
        request.app[SERVICES],
        states=VISIT_STATES if query.state is None else (query.state,),
        site=query.site,
        laptop_id=query.laptop_id,
        before=goes_on_at(LIST, query.cursor),
        limit=query.limit + 1,
    )
    some, cursor = part_of(LIST, found, query.limit)
    return reply(_PAGE, VisitPage(visits=[_visit(one) for one in some], next=cursor))


async def show_visit(request: web.Request) -> web.Response:
    """Answer with one visit."""
    return await _answer(request, _number(request))


async def plan_visits(request: web.Request) -> web.Response:
    """Plan a visit at each of some laptops."""
    asked = await read_model(request, _PLAN, BODY_BYTES)
    made = await visits.plan_visits(
        request.app[SERVICES], asked.laptop_ids, _plan(asked), request[OPERATOR]
    )
    return _made(made)


async def plan_round(request: web.Request) -> web.Response:
    """Plan one day for everything due at a site."""
    asked = await read_model(request, _ROUND, BODY_BYTES)
    made = await visits.plan_round(
        request.app[SERVICES],
        asked.site,
        asked.within_days,
        _plan(asked),
        request[OPERATOR],
    )
    return _made(made)


async def move_visit(request: web.Request) -> web.Response:
    """Set another day, person or note."""
    asked = await read_model(request, _MOVE, BODY_BYTES)
    number, services = _number(request), request.app[SERVICES]
    await visits.move_visit(
        services, number, asked.version, _plan(asked), request[OPERATOR]
    )
    return await _answer(request, number)


async def finish_visit(request: web.Request) -> web.Response:
    """Mark a planned visit done."""
    asked = await read_model(request, _DONE, BODY_BYTES)
    number = _number(request)
    await visit_outcomes.finish_visit(
        request.app[SERVICES],
        number,
        asked.version,
        request[OPERATOR],
        work=asked.work,
        found=asked.found,
    )
    return await _answer(request, number)


async def record_visit(request: web.Request) -> web.Response:
    """Keep a visit that nobody had planned."""
    asked = await read_model(request, _UNPLANNED, BODY_BYTES)
    laptop_id = number_in(request, "laptop_id", "laptop")
    number = await visit_outcomes.record_visit(
        request.app[SERVICES],
        laptop_id,
        request[OPERATOR],
        work=asked.work,
        found=asked.found,
    )
    return await _answer(request, number, HTTPStatus.CREATED)


async def call_visit_off(request: web.Request) -> web.Response:
    """Call a planned visit off."""
    asked = await read_model(request, _CALLED_OFF, BODY_BYTES)
    number, services = _number(request), request.app[SERVICES]
    await visit_outcomes.call_off_visit(
        services, number, asked.version, request[OPERATOR], asked.because
    )
    return await _answer(request, number)


def _plan(asked: VisitPlan | RoundPlan | VisitMove) -> Plan:
    return Plan(
        on=asked.on,
        assigned_to=asked.assigned_to,
        note=asked.note,
        with_alerts=asked.with_alerts,
    )


def _made(made: Planned) -> web.Response:
    answer = PlannedVisits(
        visit_ids=made.visit_ids, planned_alerts=made.alerts, more=made.more
    )
    return reply(_PLANNED, answer, HTTPStatus.CREATED)


def _number(request: web.Request) -> int:
    return number_in(request, "visit_id", "visit")


async def _answer(
    request: web.Request, number: int, status: HTTPStatus = HTTPStatus.OK
) -> web.Response:
    found = await visit_outcomes.find_visit(request.app[SERVICES], number)
    return reply(_VISIT, _visit(found), status)


def _visit(row: Row) -> Visit:
    known = taken(Visit, row, without=("assigned_to",))
    return Visit(assigned_to=row.assigned_name, **known)
