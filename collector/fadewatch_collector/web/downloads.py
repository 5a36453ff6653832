"""Files to take home."""

import asyncio
import logging
from collections.abc import AsyncGenerator, AsyncIterator, Awaitable, Callable
from contextlib import aclosing

from aiohttp import web

from fadewatch_collector.errors import TooManyAttempts
from fadewatch_collector.usecases.alerts_csv import stream_alerts_csv
from fadewatch_collector.usecases.charging_csv import stream_charging_csv
from fadewatch_collector.usecases.exports import stream_fleet_csv
from fadewatch_collector.usecases.fleet_csv import FleetFile, stream_fleet_file
from fadewatch_collector.usecases.issue_csv import stream_issue_csv
from fadewatch_collector.usecases.laptop_export import stream_laptop_export
from fadewatch_collector.usecases.order_csv import (
    stream_budget_csv,
    stream_due_packs_csv,
    stream_order_csv,
)
from fadewatch_collector.usecases.removed_csv import stream_removed_csv
from fadewatch_collector.usecases.stock_csv import stream_stock_csv
from fadewatch_collector.usecases.visits_csv import stream_visits_csv
from fadewatch_collector.web.acting import require
from fadewatch_collector.web.alert_list import FILTERS, site_of, wanted_of
from fadewatch_collector.web.days import days_of
from fadewatch_collector.web.find import typed_in
from fadewatch_collector.web.issue_filter import issue_filter
from fadewatch_collector.web.keys import DOWNLOADS, ORDERS, SERVICES
from fadewatch_collector.web.numbers import number_in

FLEET_CSV = "/exports/fleet.csv"
ALERTS_CSV = "/exports/alerts.csv"
REMOVED_CSV = "/exports/removed.csv"
ISSUE_CSV = "/exports/issue.csv"
CHARGING_CSV = "/exports/charging.csv"
VISITS_CSV = "/exports/visits.csv"

LAPTOP_JSON = "/laptops/{laptop_id}/held.json"

CSV_TYPE = "text/csv; charset=utf-8; header=present"

AT_ONCE = 4
"""Downloads at the same time [count]; each holds a view of the store. Own choice."""

RETRY_AFTER_S = 10.0
"""Pause asked for while that many run [s]. Own choice."""

PIECE_TIMEOUT_S = 60.0
"""Longest a browser may take for one piece of the file [s]. Own choice."""

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]

_log = logging.getLogger(__name__)


async def download_fleet(request: web.Request) -> web.StreamResponse:
    """Send the fleet health CSV as it is read from the store."""
    site, find = site_of(request.query.get("site")), typed_in(request)
    pieces = stream_fleet_csv(request.app[SERVICES], site=site, find=find)
    return await _download(request, "fleet", pieces)


async def download_alerts(request: web.Request) -> web.StreamResponse:
    """Send the alerts that a filter shows."""
    chosen = {name: request.query.get(name) or None for name in FILTERS}
    pieces = stream_alerts_csv(request.app[SERVICES], wanted_of(chosen))
    return await _download(request, "alerts", pieces)


async def download_removed(request: web.Request) -> web.StreamResponse:
    """Send the register of removed packs as it is read from the store."""
    require(request, "technician", "see the register of removed packs")
    pieces = stream_removed_csv(request.app[SERVICES])
    return await _download(request, "removed", pieces)


async def download_charging(request: web.Request) -> web.StreamResponse:
    """Send how packs are charged as it is read from the store."""
    pieces = stream_charging_csv(request.app[SERVICES])
    return await _download(request, "charging", pieces)


async def download_visits(request: web.Request) -> web.StreamResponse:
    """Send what is due, planned, done and called off."""
    within_days = days_of(request.query.get("within", ""))
    pieces = stream_visits_csv(request.app[SERVICES], within_days=within_days)
    return await _download(request, "visits", pieces)


async def download_order(request: web.Request) -> web.StreamResponse:
    """Send the order list."""
    return await _download(request, "order", stream_order_csv(request.app[ORDERS]))


async def download_budget(request: web.Request) -> web.StreamResponse:
    """Send the order list's budget."""
    return await _download(request, "budget", stream_budget_csv(request.app[ORDERS]))


async def download_due_packs(request: web.Request) -> web.StreamResponse:
    """Send the packs behind the order list."""
    pieces = stream_due_packs_csv(request.app[SERVICES], request.app[ORDERS])
    return await _download(request, "order-packs", pieces)


async def download_stock(request: web.Request) -> web.StreamResponse:
    """Send stock by pack type, as an import takes it."""
    return await _download(request, "stock", stream_stock_csv(request.app[SERVICES]))


ORDER_DOWNLOADS = {
    "/exports/order.csv": download_order,
    "/exports/budget.csv": download_budget,
    "/exports/order-packs.csv": download_due_packs,
    "/exports/stock.csv": download_stock,
}


def fleet_file_download(name: FleetFile) -> Handler:
    """Return what sends one file of the fleet view."""

    async def send(request: web.Request) -> web.StreamResponse:
        return await _download(
            request, name, stream_fleet_file(request.app[SERVICES], name)
        )

    return send


async def download_issue(request: web.Request) -> web.StreamResponse:
    """Send whether each laptop may be issued, as the address narrows it."""
    pieces = stream_issue_csv(request.app[SERVICES], issue_filter(request))
    return await _download(request, "issue", pieces)


async def download_laptop(request: web.Request) -> web.StreamResponse:
    """Send everything that is held about one laptop, as JSON."""
    require(request, "administrator", "take home what is held about a laptop")
    number = number_in(request, "laptop_id", "laptop")
    pieces = stream_laptop_export(request.app[SERVICES], number)
    return await _send_file(
        request, f"laptop-{number}", pieces, "application/json", "json"
    )


async def _download(
    request: web.Request, what: str, pieces: AsyncGenerator[bytes]
) -> web.StreamResponse:
    return await _send_file(request, what, pieces, CSV_TYPE, "csv")


async def _send_file(
    request: web.Request,
    what: str,
    pieces: AsyncGenerator[bytes],
    media_type: str,
    ending: str,
) -> web.StreamResponse:
    services, places = request.app[SERVICES], request.app[DOWNLOADS]
    if places.locked():
        raise TooManyAttempts("downloads at the same time", RETRY_AFTER_S)
    async with places, aclosing(pieces):
        # With the first rows in hand, a failure can still become a page.
        first = await anext(pieces) + await anext(pieces, b"")
        name = f"fadewatch-{what}-{services.clock():%Y-%m-%d}.{ending}"
        answer = web.StreamResponse(
            headers={
                "Content-Type": media_type,
                "Content-Disposition": f'attachment; filename="{name}"',
            }
        )
        await answer.prepare(request)
        try:
            await _send(answer, first, pieces)
        except ConnectionError:
            _log.info("the browser has gone before the end of the %s file", what)
    return answer


async def _send(
    answer: web.StreamResponse, first: bytes, more: AsyncIterator[bytes]
) -> None:
    await _write(answer, first)
    async for piece in more:
        await _write(answer, piece)
    await answer.write_eof()


async def _write(answer: web.StreamResponse, piece: bytes) -> None:
    async with asyncio.timeout(PIECE_TIMEOUT_S):
        await answer.write(piece)
