"""The laptop list."""

from aiohttp import web

from fadewatch_collector.usecases.overview import laptop_list
from fadewatch_collector.web.alert_list import address, collector_url, site_of
from fadewatch_collector.web.find import typed_in
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.render import page

LAPTOPS = "/laptops"


async def show_laptops(request: web.Request) -> web.Response:
    """Show laptops with the wear of their worst pack, a page at a time."""
    site = site_of(request.query.get("site"))
    find = typed_in(request)
    cursor = request.query.get("after") or None
    shown = await laptop_list(request.app[SERVICES], site, cursor, find=find)
    chosen = {"find": find, "site": site}
    return page(
        request,
        "laptops.html",
        shown=shown,
        site=site,
        find=find,
        is_first_page=cursor is None,
        first_page=address(LAPTOPS, chosen),
        next_page=shown.next_cursor
        and address(LAPTOPS, {**chosen, "after": shown.next_cursor}),
        csv=address("/exports/fleet.csv", chosen),
        collector_url=collector_url(request),
    )
