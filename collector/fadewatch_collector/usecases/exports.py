"""The fleet health CSV, streamed.

The file follows RFC 4180: CRLF line ends, one header line, UTF-8. Text is always in
quotes; numbers, dates and moments never are, so that a program which looks at quotes
keeps a serial such as ``00123`` as text. What is not known is an empty field.
"""

import re
from collections.abc import AsyncGenerator, Callable, Mapping, Sequence
from contextlib import aclosing
from datetime import date, datetime
from typing import Any, NamedTuple

from fadewatch_collector.store.fleet import stream_fleet
from fadewatch_collector.usecases.services import Services

CHUNK = 500
"""Rows read and written at a time [count]. Own choice."""

BYTE_ORDER_MARK = b"\xef\xbb\xbf"

MEGABYTE, GIGABYTE, TERABYTE = 10**6, 10**9, 10**12
"""Decimal units, in which drives are sold (SI prefixes) [byte]."""

_CAN_START_FORMULA = re.compile(
    "'*(?:[\t\r\n\0]|[\\s\0]*[-=+@\N{FULLWIDTH HYPHEN-MINUS}\N{FULLWIDTH EQUALS SIGN}"
    "\N{FULLWIDTH PLUS SIGN}\N{FULLWIDTH COMMERCIAL AT}])"
)
"""Text that a spreadsheet may take for a formula.

OWASP ASVS 5.0 1.2.10 names = + - @ tab and NUL; OWASP's page on CSV injection adds
line ends and the full-width forms (from memory). Leading blanks count because some
programs trim them, leading apostrophes so that taking one away gives the text back.
"""


async def stream_fleet_csv(
    services: Services, *, byte_order_mark: bool = False
) -> AsyncGenerator[bytes]:
    """Yield the fleet health CSV in pieces of some hundred rows, of one steady view.

    Parameters
    ----------
    byte_order_mark
        Begin with U+FEFF, by which some spreadsheet programs tell UTF-8 from an old
        code page. Off by default: to most other readers the mark becomes a part of
        the first column's name.
    """
    header = ",".join(FLEET_CSV_COLUMNS) + "\r\n"
    yield (BYTE_ORDER_MARK if byte_order_mark else b"") + header.encode()
    async with (
        services.store.reading() as connection,
        aclosing(stream_fleet(connection, FLEET_SOURCES, CHUNK)) as chunks,
    ):
        async for rows in chunks:
            yield _csv(rows)


def guarded(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet could run as a formula."""
    # Nearly every text begins with a letter or a digit: asking that first is cheaper.
    if text[:1].isalnum() or not _CAN_START_FORMULA.match(text):
        return text
    return "'" + text


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


def _csv(rows: Sequence[Sequence[Any]]) -> bytes:
    # Column by column: one call for each column of a chunk in place of one a cell.
    by_column = zip(_COLUMNS, zip(*rows, strict=True), strict=True)
    cells = [column.write(values) for column, values in by_column]
    lines = map(",".join, zip(*cells, strict=True))
    return ("\r\n".join(lines) + "\r\n").encode("utf-8", "replace")


def _quoted(text: str) -> str:
    return '"' + guarded(text).replace('"', '""') + '"'


def _text(values: Sequence[str | None]) -> list[str]:
    # A column repeats its texts (sites, makers, models), so each is quoted once.
    cells = {text: "" if text is None else _quoted(text) for text in set(values)}
    return [cells[text] for text in values]


def _number(values: Sequence[int | None]) -> list[str]:
    return ["" if number is None else str(number) for number in values]


def _percent(values: Sequence[float | None]) -> list[str]:
    # z: a wear of -0.0004 is 0.0, not -0.0.
    return ["" if part is None else f"{part * 100:z.1f}" for part in values]


def _rate(values: Sequence[float | None]) -> list[str]:
    # Packs fade by about 1 % a month: one decimal would hide most differences.
    return ["" if part is None else f"{part * 100:z.2f}" for part in values]


def _day(values: Sequence[date | None]) -> list[str]:
    return ["" if day is None else day.isoformat() for day in values]


def _moment(values: Sequence[datetime | None]) -> list[str]:
    # The store gives moments in UTC; a fraction of a second helps nobody here.
    return ["" if at is None else at.isoformat()[:19] + "Z" for at in values]


def _drives(values: Sequence[Sequence[Mapping[str, Any]] | None]) -> list[str]:
    return [_quoted("; ".join(map(drive_text, d))) if d else "" for d in values]


class _Column(NamedTuple):
    name: str
    source: str
    write: Callable[[Sequence[Any]], list[str]]


_COLUMNS = (
    _Column("site", "laptop.site", _text),
    _Column("asset_tag", "laptop.asset_tag", _text),
    _Column("hostname", "laptop.hostname", _text),
    _Column("laptop_serial", "laptop.serial", _text),
    _Column("laptop_maker", "laptop.maker", _text),
    _Column("laptop_model", "laptop.model", _text),
    _Column("slot", "stay.slot", _text),
    _Column("pack_maker", "pack.maker", _text),
    _Column("pack_model", "pack.model", _text),
    _Column("pack_serial", "pack.serial", _text),
    _Column("pack_made_on", "pack.made_on", _day),
    _Column("chemistry", "pack.chemistry", _text),
    _Column("capacity_unit", "pack.unit", _text),
    _Column("design_capacity", "pack.design_capacity", _number),
    _Column("full_charge_capacity", "pack.full_charge_capacity", _number),
    _Column("wear_percent", "assessment.wear", _percent),
    _Column("band", "band", _text),
    _Column("cycle_count", "pack.cycle_count", _number),
    _Column("fade_percent_per_month", "assessment.fade_per_month", _rate),
    _Column("plan_crossing_earliest", "assessment.plan_earliest", _day),
    _Column("plan_crossing_on", "assessment.plan_on", _day),
    _Column("plan_crossing_latest", "assessment.plan_latest", _day),
    _Column("replace_crossing_earliest", "assessment.replace_earliest", _day),
    _Column("replace_crossing_on", "assessment.replace_on", _day),
    _Column("replace_crossing_latest", "assessment.replace_latest", _day),
    _Column("concern", "assessment.concern", _text),
    _Column("open_alerts", "open_alerts", _number),
    _Column("memory_total_mib", "laptop.memory_total_mib", _number),
    _Column("memory_slots_used", "laptop.memory_slots_used", _number),
    _Column("memory_slots_free", "laptop.memory_slots_free", _number),
    _Column("drives", "laptop.drives", _drives),
    _Column("storage_total_bytes", "laptop.storage_total_bytes", _number),
    _Column("last_report_at", "laptop.last_report_at", _moment),
    _Column("agent_version", "laptop.agent_version", _text),
)

FLEET_CSV_COLUMNS = tuple(column.name for column in _COLUMNS)
"""The columns' names, in the file's order."""

FLEET_SOURCES = tuple(column.source for column in _COLUMNS)
"""Where each column comes from, by its name in :mod:`fadewatch_collector.store.fleet`."""
