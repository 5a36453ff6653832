"""The agents: their versions, laptops that never reported, how to set one up."""

from aiohttp import web

from fadewatch_collector.errors import NotFound
from fadewatch_collector.rules.paging import number_cursor, number_key
from fadewatch_collector.usecases import agent_keys
from fadewatch_collector.usecases.agents import LATELY, agents_view
from fadewatch_collector.web.acting import go_to, read_act, require
from fadewatch_collector.web.alert_list import address, collector_url
from fadewatch_collector.web.first_start import first_start
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.numbers import number_in
from fadewatch_collector.web.render import page

AGENTS = "/agents"
SET_UP = AGENTS + "/set-up"
KEY = "/laptops/{laptop_id}/key"

ROWS = 50
"""Laptops on a page [count]. Own choice."""

_MAY = "renew or revoke keys"


async def show_agents(request: web.Request) -> web.Response:
    """Show which versions are in use, and which laptops never reported."""
    cursor = request.query.get("after") or None
    before = None if cursor is None else number_key("agent", cursor)
    view = await agents_view(request.app[SERVICES], before, ROWS)
    after = number_cursor("agent", view.never[-1].id) if view.more else None
    return page(
        request,
        "agents.html",
        view=view,
        **await first_start(
            request, nothing_shown=not view.versions and not view.never
        ),
        lately_days=LATELY.days,
        is_first_page=before is None,
        first_page=AGENTS,
        next_page=after and address(AGENTS, {"after": after}),
    )


async def show_set_up(request: web.Request) -> web.Response:
    """Show the steps that bring laptops here, on each system."""
    require(request, "technician", "set laptops up")
    return page(request, "agents_set_up.html", collector_url=collector_url(request))


async def renew_key(request: web.Request) -> web.Response:
    """Let a laptop renew its key with its next report."""
    number = number_in(request, "laptop_id", "laptop")
    act = await read_act(request, "administrator", _MAY)
    services, by = request.app[SERVICES], act.operator.name
    try:
        await agent_keys.ask_renewal(services, number, by)
    except NotFound:
        return go_to(f"/laptops/{number}?done=no-key")
    return go_to(f"/laptops/{number}?done=key-renewal")


async def revoke_key(request: web.Request) -> web.Response:
    """End a laptop's key."""
    number = number_in(request, "laptop_id", "laptop")
    act = await read_act(request, "administrator", _MAY)
    services, by = request.app[SERVICES], act.operator.name
    try:
        await agent_keys.revoke_key(services, number, by)
    except NotFound:
        return go_to(f"/laptops/{number}?done=no-key")
    return go_to(f"/laptops/{number}?done=key-revoked")
