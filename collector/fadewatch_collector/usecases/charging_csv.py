"""How packs are charged as CSV, streamed: one row a pack that sits in a laptop."""

from collections.abc import AsyncGenerator, Sequence
from contextlib import aclosing
from operator import attrgetter
from typing import Any

from fadewatch_collector.rules.charging import Share
from fadewatch_collector.store.charging import stream_charging
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
from fadewatch_collector.usecases.services import Services


async def stream_charging_csv(
    services: Services, *, byte_order_mark: bool = False
) -> AsyncGenerator[bytes]:
    """Yield the file in pieces of some hundred rows, most near full first.

    Parameters
    ----------
    byte_order_mark
        As in the fleet health CSV.
    """
    yield header_line(_COLUMNS, byte_order_mark=byte_order_mark)
    async with (
        services.store.reading() as connection,
        aclosing(stream_charging(connection, CHUNK)) as chunks,
    ):
        async for rows in chunks:
            yield csv_lines(_COLUMNS, [_VALUES(row) for row in rows])


def _degrees(values: Sequence[float | None]) -> list[str]:
    return ["" if value is None else f"{value:z.1f}" for value in values]


def _estimates(values: Sequence[Share | None]) -> list[str]:
    return percent_cells(
        [None if share is None else share.estimate for share in values]
    )


def _lows(values: Sequence[Share | None]) -> list[str]:
    return percent_cells([None if share is None else share.low for share in values])


def _highs(values: Sequence[Share | None]) -> list[str]:
    return percent_cells([None if share is None else share.high for share in values])


def _of_span(name: str, source: str) -> tuple[Column, ...]:
    share = f"{source}.near_full_share"
    columns: tuple[tuple[str, str, Any], ...] = (
        ("days", "days", number_cells),
        ("readings", "readings", number_cells),
        ("on_mains_readings", "on_mains", number_cells),
        ("near_full_readings", "near_full", number_cells),
        ("held_readings", "held", number_cells),
        ("median_temperature_c", "temperature_c", _degrees),
        ("near_full_median_temperature_c", "near_full_temperature_c", _degrees),
        ("lowest_charge_percent", "lowest_charge", percent_cells),
    )
    return (
        *(Column(f"{name}_{one}", f"{source}.{of}", by) for one, of, by in columns),
        Column(f"{name}_near_full_percent", share, _estimates),
        Column(f"{name}_near_full_percent_low", share, _lows),
        Column(f"{name}_near_full_percent_high", share, _highs),
    )


_COLUMNS = (
    Column("as_of", "habit.as_of", day_cells),
    Column("site", "site", text_cells),
    Column("asset_tag", "asset_tag", text_cells),
    Column("hostname", "hostname", text_cells),
    Column("laptop_serial", "laptop_serial", text_cells),
    Column("slot", "slot", text_cells),
    Column("pack_maker", "maker", text_cells),
    Column("pack_model", "model", text_cells),
    Column("pack_serial", "serial", text_cells),
    Column("habit", "habit.habit", text_cells),
    Column("charge_limit_percent", "habit.charge_limit_percent", number_cells),
    Column("charge_limit", "habit.limit", text_cells),
    Column("advice", "habit.advice", text_cells),
    *_of_span("last_30_days", "habit.recent"),
    *_of_span("last_90_days", "habit.longer"),
)

_VALUES = attrgetter(*(column.source for column in _COLUMNS))

CHARGING_CSV_COLUMNS = tuple(column.name for column in _COLUMNS)
"""The columns' names, in the file's order."""
