"""Stock by pack type as CSV: the file that an import takes back."""

from collections.abc import AsyncGenerator
from typing import Any

from fadewatch_collector.usecases.csv_cells import (
    Column,
    csv_lines,
    day_cells,
    header_line,
    number_cells,
    text_cells,
)
from fadewatch_collector.usecases.order_csv import (
    TYPE_COLUMNS,
    price_cells,
    type_values,
)
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.stock import TypeStock, list_stock


async def stream_stock_csv(
    services: Services, *, byte_order_mark: bool = False
) -> AsyncGenerator[bytes]:
    """Yield the stock: a row a pack type, in use or in stock."""
    yield header_line(_STOCK, byte_order_mark=byte_order_mark)
    found = await list_stock(services)
    if found:
        yield csv_lines(_STOCK, [_row(one) for one in found])


_STOCK = (
    *TYPE_COLUMNS,
    Column("fitted", "", number_cells),
    Column("on_hand", "", number_cells),
    Column("on_order", "", number_cells),
    Column("expected_on", "", day_cells),
    Column("lead_time_days", "", number_cells),
    Column("price", "", price_cells),
    Column("currency", "", text_cells),
    Column("note", "", text_cells),
)

STOCK_CSV_COLUMNS = tuple(column.name for column in _STOCK)
"""The columns' names, in the file's order."""


def _row(one: TypeStock) -> list[Any]:
    figures = one.figures
    price = None
    if figures.price_minor is not None and figures.currency is not None:
        price = (figures.price_minor, figures.currency)
    return [
        *type_values(one.type),
        one.fitted,
        figures.on_hand,
        figures.on_order,
        figures.expected_on,
        figures.lead_time_days,
        price,
        figures.currency,
        figures.note,
    ]
