"""Every released schema comes to the newest one, and takes its data along."""

from collections.abc import Awaitable, Callable, Collection, Sequence
from typing import Any

import pytest
from sqlalchemy import MetaData, text

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.schema import known_revisions, upgrade
from fadewatch_collector.store.store import open_store
from tests.integration.postgres import DATABASES
from tests.old_store import ROWS, differences, fill, read, tables_of

ON = DATABASES


def without(rows: Sequence[dict[str, Any]], names: Collection[str]) -> list[str]:
    """Return rows without some columns, in a form that can be compared."""
    return sorted(
        repr({n: v for n, v in sorted(row.items()) if n not in names}) for row in rows
    )


@pytest.mark.parametrize("stops", [known_revisions()[:1], known_revisions()])
async def test_what_any_release_wrote_comes_to_the_newest_schema(
    empty_store: Callable[[], Awaitable[Settings]], stops: Sequence[str]
) -> None:
    """Rows in the shape of each release, the first in one go, all step by step."""
    store = open_store((await empty_store()).store_url)
    written = []
    tables = MetaData()
    for number, stop in enumerate(stops):
        await upgrade(store, to=stop)
        async with store.writing() as connection:
            tables = await connection.run_sync(tables_of, tables)
            rows = await connection.run_sync(fill, tables, number * ROWS)
            written.append(rows)

    await upgrade(store)

    async with store.reading() as connection:
        tables = await connection.run_sync(tables_of, tables)
        after = await connection.run_sync(read, tables)
        assert await connection.run_sync(differences) == []
        if store.is_sqlite:
            broken = await connection.execute(text("PRAGMA foreign_key_check"))
            assert broken.all() == []
    for number, rows in enumerate(written):
        for table, expected in rows.items():
            unknown = after[table][0].keys() - expected[0].keys()
            there = without(after[table], unknown)
            missing = set(without(expected, ())) - set(there)
            assert not missing, f"{table} as {stops[number]} wrote it"
    await store.close()
