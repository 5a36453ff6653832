"""GET /exports/...: CSV files, streamed."""

import asyncio
import logging
from collections.abc import AsyncGenerator, Awaitable, Callable
from contextlib import aclosing

from aiohttp import web

from fadewatch_collector.api.keys import EXPORT_PLACES, LIMITS, ORDERS, SERVICES
from fadewatch_collector.api.queries import HorizonQuery, query_of
from fadewatch_collector.edge.request_ids import request_id
from fadewatch_collector.errors import TooManyAttempts
from fadewatch_collector.usecases.charging_csv import stream_charging_csv
from fadewatch_collector.usecases.exports import stream_fleet_csv
from fadewatch_collector.usecases.fleet_csv import FleetFile, stream_fleet_file
from fadewatch_collector.usecases.issue_csv import stream_issue_csv
from fadewatch_collector.usecases.order_csv import (
    stream_budget_csv,
    stream_due_packs_csv,
    stream_order_csv,
)
from fadewatch_collector.usecases.removed_csv import stream_removed_csv
from fadewatch_collector.usecases.stock_csv import stream_stock_csv
from fadewatch_collector.usecases.visits_csv import stream_visits_csv

BUSY_RETRY_S = 10.0
"""What a caller is asked to wait while others export [s]. Own choice."""

CSV_TYPE = "text/csv; charset=utf-8; header=present"

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]

log = logging.getLogger(__name__)


async def send_fleet_csv(request: web.Request) -> web.StreamResponse:
    """Answer with the fleet CSV."""
    return await _send_csv(request, "fleet", stream_fleet_csv(request.app[SERVICES]))


async def send_removed_csv(request: web.Request) -> web.StreamResponse:
    """Answer with the register of removed packs."""
    stream = stream_removed_csv(request.app[SERVICES])
    return await _send_csv(request, "removed", stream)


async def send_charging_csv(request: web.Request) -> web.StreamResponse:
    """Answer with how packs are charged."""
    stream = stream_charging_csv(request.app[SERVICES])
    return await _send_csv(request, "charging", stream)


async def send_order_csv(request: web.Request) -> web.StreamResponse:
    """Answer with the order list."""
    return await _send_csv(request, "order", stream_order_csv(request.app[ORDERS]))


async def send_budget_csv(request: web.Request) -> web.StreamResponse:
    """Answer with the order list's budget."""
    return await _send_csv(request, "budget", stream_budget_csv(request.app[ORDERS]))


async def send_due_packs_csv(request: web.Request) -> web.StreamResponse:
    """Answer with the packs behind the order list."""
    stream = stream_due_packs_csv(request.app[SERVICES], request.app[ORDERS])
    return await _send_csv(request, "order-packs", stream)


async def send_stock_csv(request: web.Request) -> web.StreamResponse:
    """Answer with stock by pack type."""
    return await _send_csv(request, "stock", stream_stock_csv(request.app[SERVICES]))


async def send_visits_csv(request: web.Request) -> web.StreamResponse:
    """Answer with what is due, planned, done and called off."""
    within_days = query_of(request, HorizonQuery).within_days
    stream = stream_visits_csv(request.app[SERVICES], within_days=within_days)
    return await _send_csv(request, "visits", stream)


def fleet_file_sender(name: FleetFile) -> Handler:
    """Return what answers with one file of the fleet view."""

    async def send(request: web.Request) -> web.StreamResponse:
        stream = stream_fleet_file(request.app[SERVICES], name)
        return await _send_csv(request, name, stream)

    return send


async def send_issue_csv(request: web.Request) -> web.StreamResponse:
    """Answer with whether each laptop may be issued."""
    return await _send_csv(request, "issue", stream_issue_csv(request.app[SERVICES]))


async def _send_csv(
    request: web.Request, name: str, stream: AsyncGenerator[bytes]
) -> web.StreamResponse:
    """Answer with a CSV file, piece by piece as it is read."""
    return await send_pieces(request, name, stream, CSV_TYPE, "csv")


async def send_pieces(
    request: web.Request,
    name: str,
    stream: AsyncGenerator[bytes],
    media_type: str,
    ending: str,
) -> web.StreamResponse:
    """Answer with a file, piece by piece as it is read."""
    places = request.app[EXPORT_PLACES]
    if places.locked():
        raise TooManyAttempts("exports at the same time", BUSY_RETRY_S)
    async with places, aclosing(stream) as pieces:
        # The first rows before the status: a store that fails still gets a problem.
        first = await anext(pieces) + await anext(pieces, b"")
        response = web.StreamResponse(
            headers={
                "Content-Type": media_type,
                "Content-Disposition": "attachment; "
                f'filename="{name}-{request.app[SERVICES].clock():%Y-%m-%d}.{ending}"',
            }
        )
        await response.prepare(request)
        await _send(request, response, first, pieces)
    return response


async def _send(
    request: web.Request,
    response: web.StreamResponse,
    first: bytes,
    more: AsyncGenerator[bytes],
) -> None:
    timeout_s = request.app[LIMITS].piece_timeout_s
    try:
        await _write(response, first, timeout_s)
        async for piece in more:
            await _write(response, piece, timeout_s)
        await response.write_eof()
    except ConnectionError:
        log.info("the caller of export %s has gone", request_id(request))
    except Exception:
        # The status is sent already. Cutting the connection off before the last chunk
        # is the only way to tell the caller that the file is not whole.
        log.exception("export %s broke off", request_id(request))
        if request.transport is not None:
            request.transport.abort()


async def _write(response: web.StreamResponse, piece: bytes, timeout_s: float) -> None:
    async with asyncio.timeout(timeout_s):
        await response.write(piece)
