"""What a database cannot do now is told apart from what it never can."""

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
