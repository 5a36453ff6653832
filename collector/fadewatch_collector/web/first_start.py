"""What pages say while no laptop is enrolled: how the first one comes here."""

from typing import Any

from aiohttp import web

from fadewatch_collector.usecases.overview import count_laptops
from fadewatch_collector.web.alert_list import collector_url
from fadewatch_collector.web.keys import SERVICES


async def first_start(request: web.Request, *, nothing_shown: bool) -> dict[str, Any]:
    """Return what ``_first_start.html`` needs.

    Parameters
    ----------
    nothing_shown
        Whether the page has nothing to list; the store is asked for laptops only then.
    """
    return {
        "no_laptops": nothing_shown and await count_laptops(request.app[SERVICES]) == 0,
        "collector_url": collector_url(request),
    }
