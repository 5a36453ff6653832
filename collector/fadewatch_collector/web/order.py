"""The order list, and the page of each pack type with its packs and its stock."""

from aiohttp import web

from fadewatch_collector.errors import Conflict, InvalidRequest, NotFound
from fadewatch_collector.rules.money import plain_price
from fadewatch_collector.rules.operators import at_least
from fadewatch_collector.rules.paging import number_cursor, number_key
from fadewatch_collector.rules.stock import (
    NOTE_LENGTH,
    STOCK_FIELDS,
    StockFigures,
    stock_from_text,
)
from fadewatch_collector.usecases.stock import find_stock, set_stock
from fadewatch_collector.usecases.type_packs import (
    TypePacks,
    laptops_to_look_at,
    type_packs,
)
from fadewatch_collector.web import order_words
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Refused,
    go_to,
    read_act,
    refused,
)
from fadewatch_collector.web.alert_list import address
from fadewatch_collector.web.first_start import first_start
from fadewatch_collector.web.keys import OPERATOR, ORDERS, SERVICES
from fadewatch_collector.web.numbers import number_of
from fadewatch_collector.web.order_words import ORDER, TYPE
from fadewatch_collector.web.render import page

ROWS = 50
"""Packs on a type's page [count]. Own choice."""

MAY = "enter stock, lead times and prices"


async def show_order(request: web.Request) -> web.Response:
    """Show what to order, by pack type and by when."""
    services = request.app[SERVICES]
    drawn = await request.app[ORDERS].present()
    found = drawn.found
    doubtful = [line.type for line in found.lines if not line.type.is_certain]
    return page(
        request,
        "order.html",
        found=found,
        made_at=drawn.made_at,
        lines=order_words.ranked(found),
        look_at=await laptops_to_look_at(services, drawn.fleet, doubtful)
        if doubtful
        else {},
        said_as=order_words,
        **await first_start(request, nothing_shown=not found.lines),
        unentered=sum(line.stock.lead_time_days is None for line in found.lines),
    )


async def show_type(request: web.Request) -> web.Response:
    """Show one pack type: its stock, and the packs behind its line."""
    key = request.query.get("pack_type", "")
    return await _show_type(request, key, request.query.get("after") or None)


async def _show_type(
    request: web.Request,
    key: str,
    cursor: str | None = None,
    problem: Refused = NOTHING_REFUSED,
) -> web.Response:
    services = request.app[SERVICES]
    skip = 0 if cursor is None else number_key("o", cursor)
    drawn = await request.app[ORDERS].present()
    fleet = drawn.fleet
    known = await find_stock(services, key, fleet.grouping.types)
    found = TypePacks(known.type, (), more=False)
    line = None
    if known.fitted:
        found = await type_packs(services, fleet, known.type.key, skip=skip, limit=ROWS)
        lines = drawn.found.lines
        line = next((one for one in lines if one.type == known.type), None)
    currency = services.settings.currency
    return page(
        request,
        "order_type.html",
        status=problem.status,
        known=known,
        found=found,
        line=line,
        when=line and order_words.when_of(line, services.clock().date()),
        said_as=order_words,
        currency=currency,
        values=problem.typed or form_values(known.figures, currency),
        note_length=NOTE_LENGTH,
        problem=problem,
        may_enter=at_least(request[OPERATOR].role, "technician"),
        is_first_page=skip == 0,
        first_page=order_words.type_address(known.type),
        next_page=address(
            TYPE,
            {
                "pack_type": known.type.key,
                "after": number_cursor("o", skip + ROWS),
            },
        )
        if found.more
        else None,
    )


def form_values(figures: StockFigures, currency: str) -> dict[str, str]:
    """Return what the stock form shows of what was entered."""
    values = {
        name: "" if (value := getattr(figures, name, None)) is None else str(value)
        for name in STOCK_FIELDS
    }
    if figures.price_minor is not None and figures.currency == currency:
        values["price"] = plain_price(figures.price_minor, currency)
    return values


async def enter_stock(request: web.Request) -> web.Response:
    """Keep what a person entered of a pack type."""
    act = await read_act(request, "technician", MAY)
    services = request.app[SERVICES]
    key = act.form.get("pack_type", "")
    texts = {name: act.form.get(name, "") for name in STOCK_FIELDS}
    try:
        figures = stock_from_text(StockFigures(), texts, services.settings.currency)
        await set_stock(
            services, key, figures, act.operator, version=number_of(act.form, "version")
        )
    except (InvalidRequest, Conflict) as error:
        return await _show_type(request, key, problem=refused("stock", error, texts))
    except NotFound:
        return go_to(ORDER)
    return go_to(address(TYPE, {"pack_type": key, "done": "stock"}))
