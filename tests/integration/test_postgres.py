"""What only a database server can do: end a session, or not be there."""

import pytest
from sqlalchemy import text

from fadewatch_collector.errors import StoreTrouble
from fadewatch_collector.store.store import open_store
from fadewatch_collector.usecases.services import Services
from tests.integration.postgres import DATABASES, PostgresServer

ON = DATABASES[1:]


async def test_a_session_that_the_server_ends_is_trouble_and_passes(
    services: Services,
) -> None:
    end = text("SELECT pg_terminate_backend(pg_backend_pid())")

    with pytest.raises(StoreTrouble):
        async with services.store.writing() as connection:
            await connection.execute(end)

    async with services.store.reading() as connection:
        assert await connection.scalar(text("SELECT 1")) == 1


@pytest.mark.postgres
async def test_a_server_that_is_not_there_is_trouble(postgres: PostgresServer) -> None:
    store = open_store(f"postgresql://postgres@/any?host={postgres.folder}/nowhere")

    with pytest.raises(StoreTrouble):
        async with store.reading():
            pass
    await store.close()
