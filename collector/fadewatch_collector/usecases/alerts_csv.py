"""The alert list as CSV: the rows that a filter shows, streamed."""

from collections.abc import AsyncGenerator, Sequence
from operator import attrgetter

from fadewatch_collector.store.pages import AlertFilter, alert_rows
from fadewatch_collector.usecases.csv_cells import (
    CHUNK,
    Column,
    csv_lines,
    day_cells,
    header_line,
    moment_cells,
    number_cells,
    quoted,
    text_cells,
)
from fadewatch_collector.usecases.services import Services


async def stream_alerts_csv(
    services: Services, wanted: AlertFilter, *, byte_order_mark: bool = False
) -> AsyncGenerator[bytes]:
    """Yield the alerts that match, in the order of the list, of one steady view.

    Parameters
    ----------
    byte_order_mark
        As in the fleet health CSV.
    """
    yield header_line(_COLUMNS, byte_order_mark=byte_order_mark)
    after = None
    async with services.store.reading() as connection:
        while rows := await alert_rows(connection, wanted, after=after, limit=CHUNK):
            yield csv_lines(_COLUMNS, [_VALUES(row) for row in rows])
            after = rows[-1].key


def _reasons(values: Sequence[Sequence[str]]) -> list[str]:
    return [quoted(" ".join(reasons)) if reasons else "" for reasons in values]


_COLUMNS = (
    Column("alert", "id", number_cells),
    Column("urgency", "urgency", text_cells),
    Column("kind", "kind", text_cells),
    Column("state", "state", text_cells),
    Column("opened_at", "opened_at", moment_cells),
    Column("planned_on", "planned_on", day_cells),
    Column("assigned_to", "assigned_name", text_cells),
    Column("site", "site", text_cells),
    Column("asset_tag", "asset_tag", text_cells),
    Column("hostname", "hostname", text_cells),
    Column("laptop_serial", "laptop_serial", text_cells),
    Column("laptop_maker", "laptop_maker", text_cells),
    Column("laptop_model", "laptop_model", text_cells),
    Column("pack_maker", "pack_maker", text_cells),
    Column("pack_model", "pack_model", text_cells),
    Column("pack_serial", "pack_serial", text_cells),
    Column("reasons", "reasons", _reasons),
    Column("next_step", "next_step", text_cells),
    Column("ended_at", "ended_at", moment_cells),
    Column("ended_because", "ended_because", text_cells),
)

_VALUES = attrgetter(*(column.source for column in _COLUMNS))

ALERTS_CSV_COLUMNS = tuple(column.name for column in _COLUMNS)
"""The columns' names, in the file's order."""
