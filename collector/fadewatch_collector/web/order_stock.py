"""Stock by pack type on one page, and bringing it in as a CSV file."""

import asyncio
import hashlib

from aiohttp import web

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.money import plain_price
from fadewatch_collector.rules.stock import STOCK_FIELDS
from fadewatch_collector.rules.stock_csv import KEY, StockPlan, stock_words
from fadewatch_collector.usecases.stock import import_stock, list_stock
from fadewatch_collector.web import order_words
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Refused,
    go_to,
    read_act,
    refused,
    require,
)
from fadewatch_collector.web.first_start import first_start
from fadewatch_collector.web.keys import ORDERS, SERVICES
from fadewatch_collector.web.order import MAY
from fadewatch_collector.web.order_words import ORDER
from fadewatch_collector.web.places import lines_of
from fadewatch_collector.web.render import page
from fadewatch_collector.web.upload import (
    FILE_BYTES,
    PACKED_BYTES,
    packed,
    read_file,
    unpacked,
)

STOCK = ORDER + "/stock"
DRY_RUN = STOCK + "/dry-run"
IMPORT = STOCK + "/import"

LINES_SHOWN = 200
"""Lines of each sort shown of a dry run; the rest is counted. Own choice."""


async def show_stock(request: web.Request) -> web.Response:
    """Show what was entered of every type, and the form for a file."""
    require(request, "technician", MAY)
    return await _show(request)


async def _show(
    request: web.Request, problem: Refused = NOTHING_REFUSED
) -> web.Response:
    fleet = await request.app[ORDERS].fleet()
    stock = await list_stock(request.app[SERVICES], fleet.grouping.types)
    return page(
        request,
        "order_stock.html",
        status=problem.status,
        stock=stock,
        **await first_start(request, nothing_shown=not stock),
        said_as=order_words,
        plain_price=plain_price,
        key=KEY,
        fields=STOCK_FIELDS,
        megabytes=FILE_BYTES // 2**20,
        problem=problem,
    )


async def dry_run(request: web.Request) -> web.Response:
    """Say what a file would change; nothing is changed."""
    require(request, "technician", MAY)
    try:
        return await _plan(request, await read_file(request, "file"))
    except InvalidRequest as error:
        return await _show(request, refused("file", error, {}))


async def _plan(
    request: web.Request, content: bytes, *, changed: bool = False
) -> web.Response:
    operator = require(request, "technician", MAY)
    plan = await import_stock(
        request.app[SERVICES], lines_of(content), operator.name, dry_run=True
    )
    return page(
        request,
        "order_stock_plan.html",
        status=409 if changed else 200,
        plan=plan,
        shown=LINES_SHOWN,
        stock_words=stock_words,
        said_as=order_words,
        content=await asyncio.to_thread(packed, content),
        seen=_digest(plan),
        changed=changed,
    )


async def import_now(request: web.Request) -> web.Response:
    """Import a file whose dry run was shown; shown again when it differs by now."""
    act = await read_act(request, "technician", MAY, most_bytes=PACKED_BYTES)
    services = request.app[SERVICES]
    try:
        content = await asyncio.to_thread(unpacked, act.form.get("content", ""))
        lines = lines_of(content)
        plan = await import_stock(services, lines, act.operator.name, dry_run=True)
        if _digest(plan) != act.form.get("seen") or plan.problems:
            return await _plan(request, content, changed=True)
        await import_stock(services, lines, act.operator.name, dry_run=False)
    except InvalidRequest as error:
        return await _show(request, refused("file", error, {}))
    return go_to(f"{STOCK}?done=stock-imported")


def _digest(plan: StockPlan) -> str:
    """Return what stands for a plan: another one has another digest."""
    said = repr((plan.changes, plan.unchanged, len(plan.unmatched), plan.problems))
    return hashlib.sha256(said.encode("utf-8", "replace")).hexdigest()
