"""GET /alerts, /laptops and /laptops/{laptop_id}: what operators' programs read."""

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api import wording
from fadewatch_collector.api.answers import AlertPage, LaptopDetails, LaptopPage
from fadewatch_collector.api.keys import SERVICES
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.queries import AlertQuery, LaptopQuery, query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.rules.alert_terms import LIVE_STATES
from fadewatch_collector.store.pages import AlertFilter
from fadewatch_collector.usecases.overview import (
    alert_list,
    laptop_list,
    laptop_view,
)

_ALERTS = TypeAdapter(AlertPage)
_LAPTOPS = TypeAdapter(LaptopPage)
_LAPTOP = TypeAdapter(LaptopDetails)


async def list_alerts(request: web.Request) -> web.Response:
    """Answer with a part of the alert list."""
    query = query_of(request, AlertQuery)
    wanted = AlertFilter(
        kind=query.kind,
        urgency=query.urgency,
        site=query.site,
        states=LIVE_STATES if query.state is None else (query.state,),
    )
    services = request.app[SERVICES]
    found = await alert_list(services, wanted, query.cursor, query.limit)
    return reply(_ALERTS, wording.alert_page(found))


async def list_laptops(request: web.Request) -> web.Response:
    """Answer with a part of the laptop list."""
    query = query_of(request, LaptopQuery)
    services = request.app[SERVICES]
    found = await laptop_list(
        services, query.site, query.cursor, query.limit, query.find
    )
    return reply(_LAPTOPS, wording.laptop_page(found))


async def show_laptop(request: web.Request) -> web.Response:
    """Answer with everything about one laptop."""
    number = number_in(request, "laptop_id", "laptop")
    found = await laptop_view(request.app[SERVICES], number)
    return reply(_LAPTOP, wording.laptop_details(found))
