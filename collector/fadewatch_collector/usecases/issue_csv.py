"""May each laptop be issued: the verdicts as CSV, streamed."""

from collections.abc import AsyncGenerator
from contextlib import aclosing
from typing import Any

from fadewatch_collector.usecases.bench_check import (
    CheckedLaptop,
    CheckFilter,
    stream_checks,
)
from fadewatch_collector.usecases.csv_cells import (
    Column,
    csv_lines,
    header_line,
    moment_cells,
    number_cells,
    text_cells,
)
from fadewatch_collector.usecases.services import Services
from fadewatch_common.bench.remark import Severity


async def stream_issue_csv(
    services: Services,
    wanted: CheckFilter | None = None,
    *,
    byte_order_mark: bool = False,
) -> AsyncGenerator[bytes]:
    """Yield the verdicts in pieces of some hundred laptops.

    Parameters
    ----------
    byte_order_mark
        As in the fleet health CSV.
    """
    yield header_line(_COLUMNS, byte_order_mark=byte_order_mark)
    async with aclosing(stream_checks(services, wanted or CheckFilter())) as chunks:
        async for checked in chunks:
            if checked:
                yield csv_lines(_COLUMNS, [_values(one) for one in checked])


def _values(one: CheckedLaptop) -> tuple[Any, ...]:
    laptop, check = one.laptop, one.check
    return (
        laptop.site,
        laptop.asset_tag,
        laptop.hostname,
        laptop.serial,
        laptop.maker,
        laptop.model,
        check.verdict,
        f"{check.service_years:g}",
        len(check.of("stops")),
        _sentences(one, "stops"),
        _sentences(one, "remark"),
        laptop.last_report_at,
    )


def _sentences(one: CheckedLaptop, severity: Severity) -> str | None:
    found = [
        f"{remark.slot}: {remark.sentence}" if remark.slot else remark.sentence
        for remark in one.check.of(severity)
    ]
    return " ".join(found) or None


def _plain(values: Any) -> list[str]:
    return list(values)


_COLUMNS = (
    Column("site", "", text_cells),
    Column("asset_tag", "", text_cells),
    Column("hostname", "", text_cells),
    Column("laptop_serial", "", text_cells),
    Column("laptop_maker", "", text_cells),
    Column("laptop_model", "", text_cells),
    Column("verdict", "", text_cells),
    Column("service_years", "", _plain),
    Column("stands_in_the_way", "", number_cells),
    Column("what_stands_in_the_way", "", text_cells),
    Column("remarks", "", text_cells),
    Column("last_report_at", "", moment_cells),
)

ISSUE_CSV_COLUMNS = tuple(column.name for column in _COLUMNS)
"""The columns' names, in the file's order."""
