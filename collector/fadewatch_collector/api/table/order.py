"""Routes of the order list and of stock."""

from http import HTTPStatus

from fadewatch_collector.api.downloads import (
    CSV_TYPE,
    send_budget_csv,
    send_due_packs_csv,
    send_order_csv,
    send_stock_csv,
)
from fadewatch_collector.api.order_list import (
    OrderAnswer,
    PacksOfType,
    TypePacksQuery,
    show_order_list,
    show_type_packs,
)
from fadewatch_collector.api.places import CSV, ImportQuery
from fadewatch_collector.api.route import Answered, Handler, Route, Sent
from fadewatch_collector.api.stock import (
    NewStock,
    StockList,
    StockOfType,
    StockOutcome,
    StockQuery,
    put_stock,
    show_stock,
    take_stock,
)


def _csv(path: str, name: str, summary: str, handler: Handler) -> Route:
    return Route(
        method="GET",
        path=f"/exports/{path}.csv",
        name=name,
        summary=summary,
        description="UTF-8, RFC 4180, CRLF; the README names its columns.",
        handler=handler,
        answer=Answered(description="The file", media_type=CSV_TYPE),
        problems=(HTTPStatus.TOO_MANY_REQUESTS,),
    )


ORDER_ROUTES = (
    Route(
        method="GET",
        path="/order-list",
        name="showOrderList",
        summary="Show which packs to buy, by type and by when, and the budget",
        description="Every figure is a median in an 80 % range, drawn over all "
        "forecasts together: totals are not sums of lines. The same day has the same "
        "draws.",
        handler=show_order_list,
        answer=Answered(description="The order list", model=OrderAnswer),
    ),
    Route(
        method="GET",
        path="/order-list/packs",
        name="listPacksOfType",
        summary="List the packs of one type with the days of their forecasts",
        handler=show_type_packs,
        query=TypePacksQuery,
        answer=Answered(description="The packs", model=PacksOfType),
        problems=(HTTPStatus.NOT_FOUND,),
    ),
    Route(
        method="GET",
        path="/stock",
        name="listStock",
        summary="List stock, orders, lead time and price by pack type",
        handler=show_stock,
        answer=Answered(description="The stock", model=StockList),
    ),
    Route(
        method="PUT",
        path="/stock",
        name="changeStock",
        summary="Set stock, orders, lead time and price of a pack type",
        handler=put_stock,
        role="technician",
        query=StockQuery,
        body=Sent(
            NewStock,
            {"version": 0, "on_hand": 4, "lead_time_days": 21, "price_minor": 6490},
        ),
        answer=Answered(description="The stock as it is now", model=StockOfType),
        problems=(HTTPStatus.NOT_FOUND, HTTPStatus.CONFLICT),
    ),
    Route(
        method="POST",
        path="/stock/import",
        name="importStock",
        summary="Import stock from a CSV file",
        description="UTF-8, RFC 4180, at most 4 MiB. The first line names `pack_type` "
        "(the key of the order list) and any of `on_hand`, `on_order`, `expected_on`, "
        "`lead_time_days`, `price`, `note`; an empty cell clears the field. The other "
        "columns of `/exports/stock.csv` may stand in it. Nothing is changed when a "
        "row has a problem, nor with `dry_run`.",
        handler=take_stock,
        role="technician",
        query=ImportQuery,
        body=Sent(
            None,
            "pack_type,on_hand,lead_time_days,price\r\n"
            "Tarnvale|TV-B57|mWh|57000|11400,4,21,64.90\r\n",
            CSV,
        ),
        answer=Answered(description="What changed, or would", model=StockOutcome),
    ),
    _csv("order", "exportOrderList", "The order list as CSV", send_order_csv),
    _csv("budget", "exportBudget", "The budget by month and site", send_budget_csv),
    _csv(
        "order-packs",
        "exportOrderPacks",
        "The packs behind the order list as CSV",
        send_due_packs_csv,
    ),
    _csv("stock", "exportStock", "Stock by pack type as CSV", send_stock_csv),
)
