"""The fleet health CSV, streamed."""

import json
from collections.abc import AsyncGenerator, Mapping, Sequence
from contextlib import aclosing
from typing import Any

from fadewatch_collector.rules.search_terms import words_sought
from fadewatch_collector.store.fleet import stream_fleet
from fadewatch_collector.usecases.csv_cells import (
    Column,
    csv_lines,
    day_cells,
    guarded,
    header_line,
    moment_cells,
    number_cells,
    percent_cells,
    quoted,
    rate_cells,
    text_cells,
)
from fadewatch_collector.usecases.services import Services

__all__ = [
    "FLEET_CSV_COLUMNS",
    "FLEET_SOURCES",
    "drive_text",
    "guarded",
    "size_text",
    "stream_fleet_csv",
]

AT_ONCE = 2_000
"""Rows read and written at a time [count]. Own choice: the more, the more often a text
of the same column comes again; a piece has about half a megabyte."""

MEGABYTE, GIGABYTE, TERABYTE = 10**6, 10**9, 10**12
"""Decimal units, in which drives are sold (SI prefixes) [byte]."""


async def stream_fleet_csv(
    services: Services,
    *,
    byte_order_mark: bool = False,
    site: str | None = None,
    find: str | None = None,
) -> AsyncGenerator[bytes]:
    """Yield the fleet health CSV in pieces of some thousand rows, of one steady view.

    Parameters
    ----------
    site, find
        Only laptops at this site that what was typed finds, as in the laptop list.
    byte_order_mark
        Begin with U+FEFF, by which some spreadsheet programs tell UTF-8 from an old
        code page. Off by default: to most other readers the mark becomes a part of
        the first column's name.
    """
    yield header_line(_COLUMNS, byte_order_mark=byte_order_mark)
    async with (
        services.store.reading() as connection,
        aclosing(
            stream_fleet(
                connection,
                FLEET_SOURCES,
                AT_ONCE,
                site=site,
                words=words_sought(find or ""),
            )
        ) as chunks,
    ):
        async for rows in chunks:
            yield csv_lines(_COLUMNS, rows)


def drive_text(drive: Mapping[str, Any]) -> str:
    """Say in words what a drive of an inventory is: name, kind, size and model."""
    size = size_text(drive["size_bytes"])
    words = (drive["name"], drive.get("kind"), size, drive.get("model"))
    return " ".join(word for word in words if word)


def size_text(size_bytes: int) -> str:
    """Write a drive's size as drives are sold, in decimal units."""
    if size_bytes >= TERABYTE:
        return f"{size_bytes / TERABYTE:.1f} TB"
    if size_bytes >= GIGABYTE:
        return f"{size_bytes / GIGABYTE:.0f} GB"
    return f"{size_bytes / MEGABYTE:.0f} MB"


def _drives(values: Sequence[Any]) -> list[str]:
    """Write drives: a text of JSON in one store, what it says in the other."""
    told = [json.loads(one) if isinstance(one, str) else one for one in values]
    return [quoted("; ".join(map(drive_text, one))) if one else "" for one in told]


def _days(values: Sequence[Any]) -> list[str]:
    """Write days: texts of one store, dates of the other."""
    if any(isinstance(day, str) for day in values):
        return [day or "" for day in values]
    return day_cells(values)


def _moments(values: Sequence[Any]) -> list[str]:
    """Write moments in UTC: texts of one store, moments of the other."""
    if any(isinstance(at, str) for at in values):
        return [f"{at[:10]}T{at[11:19]}Z" if at else "" for at in values]
    return moment_cells(values)


_COLUMNS = (
    Column("site", "laptop.site", text_cells),
    Column("asset_tag", "laptop.asset_tag", text_cells),
    Column("hostname", "laptop.hostname", text_cells),
    Column("laptop_serial", "laptop.serial", text_cells),
    Column("laptop_maker", "laptop.maker", text_cells),
    Column("laptop_model", "laptop.model", text_cells),
    Column("slot", "stay.slot", text_cells),
    Column("pack_maker", "pack.maker", text_cells),
    Column("pack_model", "pack.model", text_cells),
    Column("pack_serial", "pack.serial", text_cells),
    Column("pack_made_on", "pack.made_on", _days),
    Column("chemistry", "pack.chemistry", text_cells),
    Column("capacity_unit", "pack.unit", text_cells),
    Column("design_capacity", "pack.design_capacity", number_cells),
    Column("full_charge_capacity", "pack.full_charge_capacity", number_cells),
    Column("wear_percent", "assessment.wear", percent_cells),
    Column("band", "band", text_cells),
    Column("cycle_count", "pack.cycle_count", number_cells),
    Column("fade_percent_per_month", "assessment.fade_per_month", rate_cells),
    Column("plan_crossing_earliest", "assessment.plan_earliest", _days),
    Column("plan_crossing_on", "assessment.plan_on", _days),
    Column("plan_crossing_latest", "assessment.plan_latest", _days),
    Column("replace_crossing_earliest", "assessment.replace_earliest", _days),
    Column("replace_crossing_on", "assessment.replace_on", _days),
    Column("replace_crossing_latest", "assessment.replace_latest", _days),
    Column("concern", "assessment.concern", text_cells),
    Column("open_alerts", "open_alerts", number_cells),
    Column("memory_total_mib", "laptop.memory_total_mib", number_cells),
    Column("memory_slots_used", "laptop.memory_slots_used", number_cells),
    Column("memory_slots_free", "laptop.memory_slots_free", number_cells),
    Column("drives", "laptop.drives", _drives),
    Column("storage_total_bytes", "laptop.storage_total_bytes", number_cells),
    Column("last_report_at", "laptop.last_report_at", _moments),
    Column("agent_version", "laptop.agent_version", text_cells),
)

FLEET_CSV_COLUMNS = tuple(column.name for column in _COLUMNS)
"""The columns' names, in the file's order."""

FLEET_SOURCES = tuple(column.source for column in _COLUMNS)
"""Where each column comes from, by its name in :mod:`fadewatch_collector.store.fleet`."""
