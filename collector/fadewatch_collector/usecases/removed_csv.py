"""The register of removed packs as CSV, streamed."""

from collections.abc import AsyncGenerator, Sequence
from contextlib import aclosing
from operator import attrgetter

from fadewatch_collector.store.removed import stream_removed
from fadewatch_collector.usecases.csv_cells import (
    CHUNK,
    Column,
    csv_lines,
    header_line,
    moment_cells,
    number_cells,
    text_cells,
)
from fadewatch_collector.usecases.services import Services

_YES_NO = {True: "yes", False: "no"}


async def stream_removed_csv(
    services: Services, *, byte_order_mark: bool = False
) -> AsyncGenerator[bytes]:
    """Yield the register in pieces of some hundred rows, newest record first.

    Parameters
    ----------
    byte_order_mark
        As in the fleet health CSV.
    """
    yield header_line(_COLUMNS, byte_order_mark=byte_order_mark)
    async with (
        services.store.reading() as connection,
        aclosing(stream_removed(connection, CHUNK)) as chunks,
    ):
        async for records in chunks:
            yield csv_lines(_COLUMNS, [_VALUES(record) for record in records])


def _swollen(values: Sequence[bool | None]) -> list[str]:
    # Empty is: nobody has said. It is not a no.
    return ["" if value is None else f'"{_YES_NO[value]}"' for value in values]


_COLUMNS = (
    Column("state", "state", text_cells),
    Column("swollen", "swollen", _swollen),
    Column("removed_at", "removed_at", moment_cells),
    Column("removed_by", "removed_by", text_cells),
    Column("changed_at", "changed_at", moment_cells),
    Column("changed_by", "changed_by", text_cells),
    Column("place", "place", text_cells),
    Column("note", "note", text_cells),
    Column("site", "site", text_cells),
    Column("asset_tag", "asset_tag", text_cells),
    Column("hostname", "hostname", text_cells),
    Column("laptop_serial", "laptop_serial", text_cells),
    Column("slot", "slot", text_cells),
    Column("pack_maker", "maker", text_cells),
    Column("pack_model", "model", text_cells),
    Column("pack_serial", "serial", text_cells),
    Column("chemistry", "chemistry", text_cells),
    Column("capacity_unit", "unit", text_cells),
    Column("design_capacity", "design_capacity", number_cells),
    Column("full_charge_capacity", "full_charge_capacity", number_cells),
)

_VALUES = attrgetter(*(column.source for column in _COLUMNS))

REMOVED_CSV_COLUMNS = tuple(column.name for column in _COLUMNS)
"""The columns' names, in the file's order."""
