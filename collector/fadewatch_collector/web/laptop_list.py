"""The laptop list, and the way from it to the fleet health CSV."""

from aiohttp import web

from fadewatch_collector.usecases.exports import stream_fleet_csv
from fadewatch_collector.usecases.overview import laptop_list
from fadewatch_collector.web.alert_list import address, collector_url, site_of
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.render import page

LAPTOPS = "/laptops"
FLEET_CSV = "/exports/fleet.csv"


async def show_laptops(request: web.Request) -> web.Response:
    """Show laptops with the wear of their worst pack, a page at a time."""
    site = site_of(request.query.get("site"))
    cursor = request.query.get("after") or None
    shown = await laptop_list(request.app[SERVICES], site, cursor)
    return page(
        request,
        "laptops.html",
        shown=shown,
        site=site,
        is_first_page=cursor is None,
        first_page=address(LAPTOPS, {"site": site}),
        next_page=shown.next_cursor
        and address(LAPTOPS, {"site": site, "after": shown.next_cursor}),
        collector_url=collector_url(request),
    )


async def download_fleet(request: web.Request) -> web.StreamResponse:
    """Send the fleet health CSV as it is read from the store."""
    services = request.app[SERVICES]
    pieces = stream_fleet_csv(services)
    # Until the first piece is there, a failure can still become a page.
    first = await anext(pieces)
    name = f"fadewatch-fleet-{services.clock():%Y-%m-%d}.csv"
    answer = web.StreamResponse(
        headers={
            "Content-Type": "text/csv; charset=utf-8; header=present",
            "Content-Disposition": f'attachment; filename="{name}"',
        }
    )
    await answer.prepare(request)
    await answer.write(first)
    async for piece in pieces:
        await answer.write(piece)
    await answer.write_eof()
    return answer
