"""Everything that is held about one laptop, as one JSON object."""

import json
from collections.abc import AsyncGenerator
from datetime import date
from typing import Any

from fadewatch_collector.errors import NotFound
from fadewatch_collector.store import held
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.services import Services
from fadewatch_common import __version__

FORM = 1
"""Form of the export; counts up when its meaning changes."""


async def stream_laptop_export(
    services: Services, laptop_id: int
) -> AsyncGenerator[bytes]:
    """Yield the JSON, piece by piece.

    ``tables`` holds the rows of each table that point to the laptop or tell of it,
    and of its packs while they were in it. Digests of keys are left out.

    Raises
    ------
    NotFound
        There is no such laptop.
    """
    async with services.store.reading() as connection:
        if not await held.is_held(connection, laptop_id):
            raise NotFound("laptop", laptop_id)
        head = {
            "form": FORM,
            "laptop_id": laptop_id,
            "made_at": services.clock(),
            "program_version": __version__,
        }
        yield _json(head)[:-1] + b', "tables": {'
        tables = await held.everything_of(connection, laptop_id)
        for number, (table, condition) in enumerate(tables):
            comma = b",\n" if number else b"\n"
            yield comma + _json(table.name) + b": ["
            async for piece in _rows(connection, table, condition, laptop_id):
                yield piece
            yield b"]"
        yield b"\n}}\n"


async def _rows(
    connection: WriteConnection, table: Any, condition: Any, laptop_id: int
) -> AsyncGenerator[bytes]:
    is_first = True
    async for row in held.rows_where(connection, table, condition):
        shown = _own_part(row, laptop_id)
        if shown is not None:
            yield (b"\n" if is_first else b",\n") + _json(shown)
            is_first = False


def _own_part(row: dict[str, Any], laptop_id: int) -> dict[str, Any] | None:
    """Leave out of a message what it tells of other laptops; None: all of it."""
    listed = (row.get("payload") or {}).get("alerts")
    if listed is None:
        return row
    own = [one for one in listed if one.get("laptop_id") == laptop_id]
    return row | {"payload": row["payload"] | {"alerts": own}} if own else None


def _json(value: Any) -> bytes:
    return json.dumps(value, default=_told, ensure_ascii=False).encode()


def _told(value: Any) -> str:
    # A moment is a date, too; both are written as ISO 8601.
    return value.isoformat() if isinstance(value, date) else str(value)
