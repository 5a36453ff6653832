"""The agents: versions, who never reported, and the key of one laptop."""

from http import HTTPStatus

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.answers import (
    AgentOverview,
    AgentVersion,
    RenewedKey,
    SilentStart,
)
from fadewatch_collector.api.keys import (
    AGENT_KEY,
    LAPTOP_ID,
    OPERATOR,
    REPORT_BUCKETS,
    SERVICES,
)
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.queries import PartQuery, query_of
from fadewatch_collector.api.replies import done, reply
from fadewatch_collector.api.wording import taken
from fadewatch_collector.rules.paging import number_cursor, number_key
from fadewatch_collector.usecases import agent_keys
from fadewatch_collector.usecases.agents import agents_view

_RENEWED = TypeAdapter(RenewedKey)
_AGENTS = TypeAdapter(AgentOverview)


async def renew_key(request: web.Request) -> web.Response:
    """Answer with a second key for the laptop."""
    request.app[REPORT_BUCKETS].take(request[LAPTOP_ID])
    key = await agent_keys.renew_key(request.app[SERVICES], request[AGENT_KEY])
    return reply(_RENEWED, RenewedKey(key=key), HTTPStatus.CREATED)


async def show_agents(request: web.Request) -> web.Response:
    """Answer with the versions in use, and laptops that never reported."""
    query = query_of(request, PartQuery)
    before = None if query.cursor is None else number_key("agent", query.cursor)
    view = await agents_view(request.app[SERVICES], before, query.limit)
    after = number_cursor("agent", view.never[-1].id) if view.more else None
    told = AgentOverview(
        collector_version=view.own_version,
        versions=[AgentVersion(**taken(AgentVersion, one)) for one in view.versions],
        never_reported=view.never_count,
        laptops=[SilentStart(**taken(SilentStart, one)) for one in view.never],
        next_cursor=after,
    )
    return reply(_AGENTS, told)


async def ask_renewal(request: web.Request) -> web.Response:
    """Let a laptop renew its key with its next report."""
    laptop_id = number_in(request, "laptop_id", "laptop")
    by = request[OPERATOR].name
    await agent_keys.ask_renewal(request.app[SERVICES], laptop_id, by)
    return done()


async def revoke_key(request: web.Request) -> web.Response:
    """End a laptop's key."""
    laptop_id = number_in(request, "laptop_id", "laptop")
    await agent_keys.revoke_key(
        request.app[SERVICES], laptop_id, request[OPERATOR].name
    )
    return done()
