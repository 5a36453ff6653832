"""The order list, its budget and the packs behind it as CSV files."""

from collections.abc import AsyncGenerator, Sequence
from contextlib import aclosing
from dataclasses import fields
from typing import Any

from fadewatch_collector.rules.money import plain_price
from fadewatch_collector.rules.order_list import (
    HORIZONS,
    OrderLine,
    OrderList,
    Range,
)
from fadewatch_collector.rules.pack_types import PackType
from fadewatch_collector.usecases.csv_cells import (
    CHUNK,
    Column,
    csv_lines,
    day_cells,
    header_line,
    number_cells,
    percent_cells,
    text_cells,
)
from fadewatch_collector.usecases.order_lists import OrderLists
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.type_packs import DuePack, stream_due_packs

HORIZON_NAMES = {0: "now", **{days: f"{days}_days" for days in HORIZONS[1:]}}


async def stream_order_csv(
    orders: OrderLists, *, byte_order_mark: bool = False
) -> AsyncGenerator[bytes]:
    """Yield the order list: a row a pack type, and one of all types together."""
    yield header_line(_ORDER, byte_order_mark=byte_order_mark)
    found = (await orders.present()).found
    lines = [_order_row(one, found.currency) for one in found.lines]
    yield csv_lines(_ORDER, [*lines, _all_types(found)])


async def stream_budget_csv(
    orders: OrderLists, *, byte_order_mark: bool = False
) -> AsyncGenerator[bytes]:
    """Yield the budget: a row a month and site, and all of them together."""
    yield header_line(_BUDGET, byte_order_mark=byte_order_mark)
    found = (await orders.present()).found
    yield csv_lines(_BUDGET, list(_budget_rows(found)))


async def stream_due_packs_csv(
    services: Services, orders: OrderLists, *, byte_order_mark: bool = False
) -> AsyncGenerator[bytes]:
    """Yield the packs in use, each with its type and the days of its forecast."""
    yield header_line(_PACKS, byte_order_mark=byte_order_mark)
    async with aclosing(
        stream_due_packs(services, await orders.fleet(), CHUNK)
    ) as chunks:
        async for packs in chunks:
            yield csv_lines(_PACKS, [_pack_row(one) for one in packs])


def price_cells(values: Sequence[tuple[int, str] | None]) -> list[str]:
    """Write amounts, each with its currency, as plain numbers."""
    return ["" if one is None else plain_price(*one) for one in values]


def type_values(kind: PackType) -> tuple[Any, ...]:
    """Return the values of `TYPE_COLUMNS`."""
    return (
        kind.key,
        kind.maker,
        kind.model,
        kind.unit,
        kind.design_capacity,
        kind.design_voltage_mv,
        kind.chemistry,
    )


TYPE_COLUMNS = (
    Column("pack_type", "", text_cells),
    Column("pack_maker", "", text_cells),
    Column("pack_model", "", text_cells),
    Column("capacity_unit", "", text_cells),
    Column("design_capacity", "", number_cells),
    Column("design_voltage_mv", "", number_cells),
    Column("chemistry", "", text_cells),
)
"""What says which pack type a row is about; `type_values` are theirs."""

_ENDS = tuple(field.name for field in fields(Range))


def _ranged(names: Sequence[str], write: Any = number_cells) -> tuple[Column, ...]:
    return tuple(
        Column(name if end == "central" else f"{name}_{end}", "", write)
        for name in names
        for end in _ENDS
    )


_ORDER = (
    Column("row", "", text_cells),
    *TYPE_COLUMNS,
    Column("doubts", "", text_cells),
    Column("fitted", "", number_cells),
    Column("cannot_forecast", "", number_cells),
    Column("on_hand", "", number_cells),
    Column("on_order", "", number_cells),
    Column("expected_on", "", day_cells),
    Column("lead_time_days", "", number_cells),
    Column("price", "", price_cells),
    Column("currency", "", text_cells),
    Column("missing_on", "", day_cells),
    Column("order_by", "", day_cells),
    *_ranged([f"needed_{name}" for name in HORIZON_NAMES.values()]),
    *_ranged([f"to_buy_{name}" for name in HORIZON_NAMES.values()]),
    *_ranged([f"cost_{name}" for name in HORIZON_NAMES.values()], price_cells),
)

_BUDGET = (
    Column("row", "", text_cells),
    Column("period", "", text_cells),
    Column("site", "", text_cells),
    *_ranged(["packs"]),
    *_ranged(["cost"], price_cells),
    Column("currency", "", text_cells),
)

_PACKS = (
    *TYPE_COLUMNS,
    Column("concern", "", text_cells),
    Column("state", "", text_cells),
    Column("plan_crossing_earliest", "", day_cells),
    Column("plan_crossing_on", "", day_cells),
    Column("plan_crossing_latest", "", day_cells),
    Column("wear_percent", "", percent_cells),
    Column("site", "", text_cells),
    Column("asset_tag", "", text_cells),
    Column("hostname", "", text_cells),
    Column("holder", "", text_cells),
    Column("slot", "", text_cells),
    Column("pack_serial", "", text_cells),
)

ORDER_CSV_COLUMNS, BUDGET_CSV_COLUMNS, DUE_PACKS_CSV_COLUMNS = (
    tuple(column.name for column in columns) for columns in (_ORDER, _BUDGET, _PACKS)
)
"""The columns' names, in the files' order."""


def _flat(ranges: Sequence[Range]) -> list[int]:
    return [getattr(one, end) for one in ranges for end in _ENDS]


def _paid(ranges: Sequence[Range], currency: str) -> list[tuple[int, str]]:
    return [(minor, currency) for minor in _flat(ranges)]


def _order_row(line: OrderLine, currency: str) -> list[Any]:
    stock = line.stock
    has_price = stock.price_minor is not None and stock.currency is not None
    return [
        "type",
        *type_values(line.type),
        " ".join(line.type.doubts) or None,
        line.fitted,
        line.cannot_forecast,
        stock.on_hand,
        stock.on_order,
        stock.expected_on,
        stock.lead_time_days,
        (stock.price_minor, stock.currency) if has_price else None,
        stock.currency,
        line.missing_on,
        line.order_by,
        *_flat(line.needed),
        *_flat(line.to_buy),
        *(_paid(line.cost, currency) if line.cost else [None] * _COST_CELLS),
    ]


def _all_types(found: OrderList) -> list[Any]:
    row: list[Any] = ["all types", *[None] * (len(TYPE_COLUMNS) + 1)]
    row += [
        found.fitted,
        found.cannot_forecast,
        *[None] * 5,
        found.currency,
        None,
        None,
    ]
    return [
        *row,
        *_flat(found.needed),
        *_flat(found.to_buy),
        *_paid(found.cost, found.currency),
    ]


_COST_CELLS = len(HORIZONS) * len(_ENDS)


def _budget_rows(found: OrderList) -> list[list[Any]]:
    currency = found.currency
    names = [f"{one.month:%Y-%m}" for one in found.months]
    whole = f"{names[0]} to {names[-1]}"
    total = [
        (n, one.packs, one.cost) for n, one in zip(names, found.months, strict=True)
    ]
    total.append((whole, found.year_packs, found.year_cost))
    rows: list[list[Any]] = [
        ["all sites", name, None, *_flat([packs]), *_paid([cost], currency), currency]
        for name, packs, cost in total
    ]
    for site in found.sites:
        months = [*zip(names, site.months, strict=True), (whole, site.year)]
        rows += [
            [
                "site",
                name,
                site.site,
                None,
                None,
                None,
                *_paid([cost], currency),
                currency,
            ]
            for name, cost in months
        ]
    return rows


def _pack_row(one: DuePack) -> list[Any]:
    at = one.at
    return [
        *type_values(one.type),
        one.concern,
        one.state,
        one.earliest,
        one.on,
        one.latest,
        at.wear,
        at.site,
        at.asset_tag,
        at.hostname,
        at.holder,
        at.slot,
        at.pack_serial,
    ]
