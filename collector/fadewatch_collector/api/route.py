"""One route: what the router and the description both are made from."""

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Literal

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.callers import Caller, let_in
from fadewatch_collector.api.queries import NoQuery, read_query
from fadewatch_collector.rules.operators import Role

JSON = "application/json"

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


@dataclass(frozen=True, slots=True)
class Sent:
    """The body that a route takes; no model: not JSON."""

    model: type | None
    example: Any
    media_type: str = JSON


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """The answer of a route when all is well; no model: not JSON.

    Attributes
    ----------
    media_type
        None: the answer has no body.
    """

    description: str
    model: type | None = None
    status: HTTPStatus = HTTPStatus.OK
    media_type: str | None = JSON
    example: Any = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """An address with its method.

    Attributes
    ----------
    path
        Below the API's own address; parameters in braces.
    role
        Least role of an operator who may call.
    problems
        Statuses of problems beside those that every such route has.
    """

    method: Literal["GET", "POST", "PUT"]
    path: str
    name: str
    summary: str
    handler: Handler
    answer: Answered
    caller: Caller = "operator"
    role: Role = "viewer"
    description: str = ""
    query: type = NoQuery
    body: Sent | None = None
    path_parameters: Mapping[str, Mapping[str, Any]] | None = None
    problems: tuple[HTTPStatus, ...] = ()

    def guarded(self) -> Handler:
        """Return the handler behind the checks that every route makes first."""
        query: TypeAdapter[Any] = TypeAdapter(self.query)

        async def handle(request: web.Request) -> web.StreamResponse:
            await let_in(request, self.caller, self.role)
            if request.query_string or self.query is not NoQuery:
                read_query(request, query)
            return await self.handler(request)

        return handle
