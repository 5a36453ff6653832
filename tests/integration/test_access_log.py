"""Who was refused, and who came in, stands in the log, without what they showed."""

import logging

import pytest

from fadewatch_collector.usecases import accounts
from fadewatch_collector.usecases.services import Services
from tests.integration.api_service import running_api
from tests.integration.pages_service import running_pages

PASSWORD = "three boats on a lake"  # noqa: S105  of a test's operator


async def test_sign_ins_and_refusals_are_logged_with_where_they_came_from(
    services: Services, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    await accounts.add_operator(services, "kim", "viewer", PASSWORD)
    async with running_pages(services) as pages:
        await pages.try_sign_in("kim", "x")
        await pages.try_sign_in("kim", PASSWORD)
        await pages.get("/settings/accounts")

    assert "a sign-in from 127.0.0.1 was refused" in caplog.text
    assert "operator 1 signed in by password from 127.0.0.1" in caplog.text
    assert "operator 1 is viewer: refused" in caplog.text


async def test_tokens_that_open_nothing_or_too_little_are_logged(
    services: Services, caplog: pytest.LogCaptureFixture
) -> None:
    async with running_api(services) as api:
        token = await api.api_token("viewer")
        await api.ask("GET", "/operators", token)
        await api.ask("GET", "/operators", "fwa_unknown")

    assert "operator 1 is viewer: refused" in caplog.text
    assert "an API token that opens nothing was sent" in caplog.text
    assert "fwa_" not in caplog.text
