"""One's own page: password, sessions, and signing out everywhere."""

from collections.abc import AsyncIterator
from datetime import timedelta

import pytest

from fadewatch_collector.usecases import accounts
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.limits import ACCOUNT_BURST
from tests.fakes.clock import StandingClock
from tests.integration.pages_service import Pages, running_pages
from tests.integration.web_acts import send

ACCOUNT = "/account"
PASSWORD = "three boats on a lake"  # noqa: S105  of a test's operator
NEW = "four boats on a lake"


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    async with running_pages(services) as running:
        yield running


async def be_kim(pages: Pages) -> tuple[accounts.Operator, str]:
    kim = await accounts.add_operator(pages.services, "kim", "viewer", PASSWORD)
    session = await accounts.open_session(pages.services, kim)
    pages.be(session)
    return kim, session


async def test_a_viewer_changes_their_own_password_and_stays_signed_in_here_alone(
    pages: Pages, services: Services
) -> None:
    kim, session = await be_kim(pages)
    other = await accounts.open_session(services, kim)

    answer = await send(
        pages, ACCOUNT, ACCOUNT + "/password", current=PASSWORD, password=NEW
    )

    assert answer.status == 303
    assert (
        "Your password is changed"
        in (await pages.get(answer.headers["Location"])).texts
    )
    for ended in (session, other):
        assert await accounts.operator_of_session(services, ended) is None
    assert await accounts.sign_in(services, "kim", NEW) == kim


async def test_who_holds_a_stolen_session_cannot_guess_the_password(
    pages: Pages, services: Services
) -> None:
    await be_kim(pages)
    for _ in range(ACCOUNT_BURST):
        answer = await send(
            pages, ACCOUNT, ACCOUNT + "/password", current="a guess", password=NEW
        )
        assert answer.status == 400
        assert "current password is wrong" in answer.texts

    later = await send(
        pages, ACCOUNT, ACCOUNT + "/password", current=PASSWORD, password=NEW
    )

    assert later.status == 429
    assert (await accounts.sign_in(services, "kim", PASSWORD)).name == "kim"


async def test_sessions_are_shown_and_one_is_ended(
    pages: Pages, services: Services, clock: StandingClock
) -> None:
    kim, _ = await be_kim(pages)
    clock.move(timedelta(minutes=-10))
    other = await accounts.open_session(services, kim, "link")
    clock.move(timedelta(minutes=10))
    shown = await pages.get(ACCOUNT)

    assert "a link that works once" in shown.texts
    assert "this browser" in shown.texts
    await send(pages, ACCOUNT, ACCOUNT + "/end", session=shown.field("session"))

    assert await accounts.operator_of_session(services, other) is None
    assert (await pages.ask(ACCOUNT)).status == 200


async def test_signing_out_everywhere_ends_this_session_too(
    pages: Pages, services: Services
) -> None:
    kim, session = await be_kim(pages)
    token = await accounts.make_api_token(services, "kim", "script", 1)

    answer = await send(pages, ACCOUNT, ACCOUNT + "/sign-out-everywhere", tokens="yes")

    assert answer.headers["Location"].startswith("/sign-in")
    assert await accounts.operator_of_session(services, session) is None
    assert await accounts.operator_of_api_token(services, token) is None
    assert kim.name not in (await pages.get("/sign-in")).texts
