"""Migrations bring every store to the newest schema, and no further."""

import pytest
from sqlalchemy import text

from fadewatch_collector.errors import StoreIsNewer
from fadewatch_collector.store.schema import revisions, upgrade
from fadewatch_collector.usecases.services import Services
from tests.integration.postgres import DATABASES
from tests.old_store import differences

ON = DATABASES


async def test_the_migrations_make_exactly_the_tables(services: Services) -> None:
    async with services.store.reading() as connection:
        assert await connection.run_sync(differences) == []


async def test_upgrading_twice_changes_nothing(services: Services) -> None:
    before = await upgrade(services.store)

    assert before.found == before.known


async def test_a_newer_store_is_refused_and_left_alone(services: Services) -> None:
    async with services.store.writing() as connection:
        await connection.execute(text("UPDATE alembic_version SET version_num='9999'"))

    with pytest.raises(StoreIsNewer, match="9999"):
        await upgrade(services.store)
    assert (await revisions(services.store)).found == "9999"


async def test_a_commit_is_on_the_disk_before_it_is_told(services: Services) -> None:
    if not services.store.is_sqlite:
        pytest.skip("how PostgreSQL writes is its administrator's to set")
    async with services.store.reading() as connection:
        synchronous = await connection.scalar(text("PRAGMA synchronous"))
        journal = await connection.scalar(text("PRAGMA journal_mode"))
        foreign_keys = await connection.scalar(text("PRAGMA foreign_keys"))

    assert (synchronous, journal, foreign_keys) == (2, "wal", 1)
