"""What may stand behind the question mark of an address."""

from dataclasses import dataclass
from typing import Annotated, TypeVar

from aiohttp import web
from pydantic import ConfigDict, TypeAdapter, ValidationError

from fadewatch_collector.api.bodies import first_problem
from fadewatch_collector.api.keys import QUERY
from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.alert_terms import AlertKind, AlertState, Urgency
from fadewatch_collector.rules.visit_terms import DEFAULT_HORIZON, FARTHEST_HORIZON
from fadewatch_common.bounds import Between, Text

DEFAULT_ROWS = 50
MOST_ROWS = 200
"""Rows of a list in one answer [count]. Own choice."""

TEXT_LENGTH = 200
"""Longest text in a query [characters]. Own choice."""

QueryText = Annotated[str, Text(TEXT_LENGTH, min_length=1)]
Limit = Annotated[int, Between(1, MOST_ROWS)]

_NOTHING_ELSE = ConfigDict(extra="forbid")

Query = TypeVar("Query")


@dataclass(frozen=True, slots=True)
class NoQuery:
    """Nothing."""

    __pydantic_config__ = _NOTHING_ELSE


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertQuery:
    """Which alerts, and where the list goes on."""

    __pydantic_config__ = _NOTHING_ELSE

    kind: AlertKind | None = None
    urgency: Urgency | None = None
    state: AlertState | None = None
    site: QueryText | None = None
    cursor: QueryText | None = None
    limit: Limit = DEFAULT_ROWS


@dataclass(frozen=True, slots=True, kw_only=True)
class PartQuery:
    """Where a list goes on."""

    __pydantic_config__ = _NOTHING_ELSE

    cursor: QueryText | None = None
    limit: Limit = DEFAULT_ROWS


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopQuery:
    """Which laptops, and where the list goes on."""

    __pydantic_config__ = _NOTHING_ELSE

    site: QueryText | None = None
    find: QueryText | None = None
    cursor: QueryText | None = None
    limit: Limit = DEFAULT_ROWS


@dataclass(frozen=True, slots=True, kw_only=True)
class HorizonQuery:
    """How many days ahead a crossing of the plan threshold makes a laptop due."""

    __pydantic_config__ = _NOTHING_ELSE

    within_days: Annotated[int, Between(0, FARTHEST_HORIZON)] = DEFAULT_HORIZON


def read_query(request: web.Request, adapter: TypeAdapter[Query]) -> None:
    """Check the query and note it on the request.

    Raises
    ------
    InvalidRequest
        A parameter is unknown, repeated, or outside its bounds.
    """
    # Not list(request.query): newer multidicts then give each name once.
    names = [name for name, _ in request.query.items()]
    if repeated := next((name for name in names if names.count(name) > 1), None):
        raise InvalidRequest(f"the parameter {repeated[:40]!r} is given twice")
    try:
        request[QUERY] = adapter.validate_strings(dict(request.query))
    except ValidationError as error:
        raise InvalidRequest(f"in the query, {first_problem(error)}") from error


def query_of(request: web.Request, kind: type[Query]) -> Query:
    """Return the query that :func:`read_query` has checked."""
    query = request[QUERY]
    if not isinstance(query, kind):
        raise TypeError(f"the route reads {type(query)}, its handler wants {kind}")
    return query
