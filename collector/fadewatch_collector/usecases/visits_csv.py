"""Visits as CSV, streamed: what is due or planned, then what was done or called off."""

from collections.abc import AsyncGenerator, Sequence
from contextlib import aclosing
from typing import Any

from fadewatch_collector.rules.paging import DueKey
from fadewatch_collector.rules.visit_terms import (
    DEFAULT_HORIZON,
    due_until,
    work_in_words,
)
from fadewatch_collector.store.due import DueFilter
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.visits import Visit, stream_visits
from fadewatch_collector.usecases.csv_cells import (
    CHUNK,
    Column,
    csv_lines,
    day_cells,
    header_line,
    moment_cells,
    number_cells,
    text_cells,
)
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.visit_lists import DueEntry, due_part, entries_of


async def stream_visits_csv(
    services: Services,
    *,
    within_days: int = DEFAULT_HORIZON,
    byte_order_mark: bool = False,
) -> AsyncGenerator[bytes]:
    """Yield the visits in pieces of some hundred rows, of one steady view.

    Parameters
    ----------
    within_days
        Packs that pass the plan threshold so soon make a laptop due [day].
    byte_order_mark
        As in the fleet health CSV.
    """
    yield header_line(_COLUMNS, byte_order_mark=byte_order_mark)
    async with services.store.reading() as connection:
        async with aclosing(_due(connection, services, within_days)) as parts:
            async for entries in parts:
                yield csv_lines(_COLUMNS, [_due_row(entry) for entry in entries])
        over = stream_visits(connection, ("done", "called off"), CHUNK)
        async with aclosing(over) as chunks:
            async for visits in chunks:
                yield csv_lines(_COLUMNS, [_over_row(visit) for visit in visits])


async def _due(
    connection: WriteConnection, services: Services, within_days: int
) -> AsyncGenerator[Sequence[DueEntry]]:
    until = due_until(services.clock().date(), within_days)
    wanted, after = DueFilter(until=until), None
    while True:
        found = await due_part(connection, wanted, after, CHUNK)
        if found:
            numbers = [one.id for one in found]
            yield await entries_of(connection, services, numbers, until)
        if len(found) < CHUNK:
            return
        after = DueKey(found[-1].tier, found[-1].id)


def _due_row(entry: DueEntry) -> Sequence[Any]:
    laptop, planned, last = entry.sheet.laptop, entry.planned, entry.last_done
    return (
        "planned" if planned else "due",
        "yes" if entry.sheet.stop_use else "no",
        laptop.site,
        laptop.asset_tag,
        laptop.holder,
        laptop.hostname,
        laptop.serial,
        laptop.maker,
        laptop.model,
        planned and planned.planned_on,
        planned and planned.assigned_name,
        "; ".join(matter.head for matter in entry.sheet.matters) or None,
        " ".join(entry.sheet.bring) or None,
        planned and planned.note,
        None,
        None,
        None,
        planned and planned.changed_by,
        last and last.done_at,
        laptop.id,
        planned and planned.id,
    )


def _over_row(visit: Visit) -> Sequence[Any]:
    return (
        visit.state,
        None,
        visit.site,
        visit.asset_tag,
        visit.holder,
        visit.hostname,
        visit.laptop_serial,
        visit.laptop_maker,
        visit.laptop_model,
        visit.planned_on,
        visit.assigned_name,
        "; ".join(visit.matters) or None,
        None,
        visit.note,
        work_in_words(visit.work or ()) or None,
        visit.found,
        visit.done_at,
        visit.changed_by,
        None,
        visit.laptop_id,
        visit.id,
    )


_COLUMNS = tuple(
    Column(name, name, write)
    for name, write in (
        ("state", text_cells),
        ("stop_use", text_cells),
        ("site", text_cells),
        ("asset_tag", text_cells),
        ("holder", text_cells),
        ("hostname", text_cells),
        ("laptop_serial", text_cells),
        ("laptop_maker", text_cells),
        ("laptop_model", text_cells),
        ("planned_on", day_cells),
        ("assigned_to", text_cells),
        ("matters", text_cells),
        ("bring", text_cells),
        ("note", text_cells),
        ("work", text_cells),
        ("found", text_cells),
        ("done_at", moment_cells),
        ("changed_by", text_cells),
        ("last_done_at", moment_cells),
        ("laptop_id", number_cells),
        ("visit_id", number_cells),
    )
)

VISITS_CSV_COLUMNS = tuple(column.name for column in _COLUMNS)
"""The columns' names, in the file's order."""
