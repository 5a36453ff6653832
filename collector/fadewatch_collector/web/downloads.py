"""The fleet health CSV, to take home."""

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import aclosing

from aiohttp import web

from fadewatch_collector.errors import TooManyAttempts
from fadewatch_collector.usecases.exports import stream_fleet_csv
from fadewatch_collector.web.keys import DOWNLOADS, SERVICES

FLEET_CSV = "/exports/fleet.csv"

AT_ONCE = 4
"""Downloads at the same time [count]; each holds a view of the store. Own choice."""

RETRY_AFTER_S = 10.0
"""Pause asked for while that many run [s]. Own choice."""

PIECE_TIMEOUT_S = 60.0
"""Longest a browser may take for one piece of the file [s]. Own choice."""

_log = logging.getLogger(__name__)


async def download_fleet(request: web.Request) -> web.StreamResponse:
    """Send the fleet health CSV as it is read from the store."""
    services, places = request.app[SERVICES], request.app[DOWNLOADS]
    if places.locked():
        raise TooManyAttempts("downloads at the same time", RETRY_AFTER_S)
    async with places, aclosing(stream_fleet_csv(services)) as pieces:
        # With the first rows in hand, a failure can still become a page.
        first = await anext(pieces) + await anext(pieces, b"")
        name = f"fadewatch-fleet-{services.clock():%Y-%m-%d}.csv"
        answer = web.StreamResponse(
            headers={
                "Content-Type": "text/csv; charset=utf-8; header=present",
                "Content-Disposition": f'attachment; filename="{name}"',
            }
        )
        await answer.prepare(request)
        try:
            await _send(answer, first, pieces)
        except ConnectionError:
            _log.info("the browser has gone before the end of the fleet CSV")
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
