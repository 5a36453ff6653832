"""The key of one laptop: renewed by its agent, or ended by an administrator."""

from http import HTTPStatus

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.answers import RenewedKey
from fadewatch_collector.api.keys import (
    AGENT_KEY,
    LAPTOP_ID,
    OPERATOR,
    REPORT_BUCKETS,
    SERVICES,
)
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.replies import done, reply
from fadewatch_collector.usecases import agent_keys

_RENEWED = TypeAdapter(RenewedKey)


async def renew_key(request: web.Request) -> web.Response:
    """Answer with a second key for the laptop."""
    request.app[REPORT_BUCKETS].take(request[LAPTOP_ID])
    key = await agent_keys.renew_key(request.app[SERVICES], request[AGENT_KEY])
    return reply(_RENEWED, RenewedKey(key=key), HTTPStatus.CREATED)


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
