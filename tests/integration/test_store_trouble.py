"""What a database cannot do now is told apart from what it never can."""

from contextlib import AsyncExitStack

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from fadewatch_collector.errors import StoreTrouble
from fadewatch_collector.usecases.services import Services
from tests.integration.postgres import DATABASES

ON = DATABASES


async def test_a_statement_that_is_wrong_stays_an_error(services: Services) -> None:
    with pytest.raises((DBAPIError, StoreTrouble)) as told:
        async with services.store.writing() as connection:
            await connection.execute(text("INSERT INTO packs (id) VALUES (1)"))

    assert isinstance(told.value, DBAPIError)


async def test_what_breaks_for_another_reason_is_not_blamed_on_the_store(
    services: Services,
) -> None:
    with pytest.raises(ConnectionResetError):
        async with services.store.reading():
            raise ConnectionResetError


async def test_a_store_whose_connections_are_all_taken_is_trouble_and_passes(
    services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    # What raises otherwise ends every worker of the collector at once.
    monkeypatch.setattr(services.store.engine.sync_engine.pool, "_timeout", 0.05)

    async def take_all(stack: AsyncExitStack) -> None:
        for _ in range(100):
            held = await stack.enter_async_context(services.store.reading())
            assert not held.closed

    async with AsyncExitStack() as stack:
        with pytest.raises(StoreTrouble, match="no connection became free"):
            await take_all(stack)

    async with services.store.reading() as connection:
        assert await connection.scalar(text("SELECT 1")) == 1
