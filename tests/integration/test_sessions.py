"""Sessions end: by time, left idle, by their owner, and wherever they are known."""

from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import timedelta

import pytest

from fadewatch_collector.errors import Conflict, InvalidRequest, NotFound, NotSignedIn
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.store.store import open_store
from fadewatch_collector.usecases import accounts, organisation
from fadewatch_collector.usecases.roles import set_role
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.sessions import operator_of_session, sessions_of
from tests.fakes.clock import StandingClock
from tests.integration.postgres import DATABASES

ON = DATABASES

PASSWORD = "three boats on a lake"  # noqa: S105  of a test's operator
MINUTE = timedelta(minutes=1)


@pytest.fixture
async def mira(services: Services) -> Operator:
    return await accounts.add_operator(services, "mira", "technician", PASSWORD)


@pytest.fixture
async def elsewhere(services: Services) -> AsyncIterator[Services]:
    """Another collector on the same store."""
    store = open_store(services.settings.store_url)
    yield replace(services, store=store)
    await store.close()


async def test_a_session_in_use_lasts_as_long_as_the_settings_say(
    services: Services, mira: Operator, clock: StandingClock
) -> None:
    session = await accounts.open_session(services, mira)
    for _ in range(int(2 * services.settings.session_hours) - 1):
        clock.move(30 * MINUTE)
        assert await operator_of_session(services, session) == mira
    clock.move(30 * MINUTE - timedelta(microseconds=1))
    assert await operator_of_session(services, session) == mira

    clock.move(timedelta(microseconds=1))

    assert await operator_of_session(services, session) is None


async def test_a_session_that_is_left_idle_ends(
    services: Services, mira: Operator, clock: StandingClock
) -> None:
    session = await accounts.open_session(services, mira)
    idle = services.settings.session_idle_minutes * MINUTE
    clock.move(idle - MINUTE)
    assert await operator_of_session(services, session) == mira
    clock.move(idle - timedelta(microseconds=1))
    assert await operator_of_session(services, session) == mira

    clock.move(idle)

    assert await operator_of_session(services, session) is None


async def test_what_an_open_page_asks_by_itself_is_no_use(
    services: Services, mira: Operator, clock: StandingClock
) -> None:
    session = await accounts.open_session(services, mira)
    for _ in range(2):
        clock.move(services.settings.session_idle_minutes / 2 * MINUTE)
        await operator_of_session(services, session, is_use=False)

    assert await operator_of_session(services, session) is None


async def everything_ended(
    services: Services, elsewhere: Services, session: str, link: str
) -> bool:
    """Say whether session and link open nothing, here and at the other collector."""
    for collector in (services, elsewhere):
        if await operator_of_session(collector, session) is not None:
            return False
        with pytest.raises(NotSignedIn):
            await accounts.use_single_sign_in(collector, link)
    return True


async def test_every_way_of_ending_sessions_counts_at_once_at_every_collector(
    services: Services, elsewhere: Services, mira: Operator
) -> None:
    async def ended_by(how: str) -> bool:
        session = await accounts.open_session(services, mira)
        link = await accounts.make_single_sign_in(services, "mira", timedelta(hours=1))
        # Known there too, as behind one load balancer.
        assert await operator_of_session(elsewhere, session) == mira
        match how:
            case "everywhere":
                await accounts.sign_out_everywhere(services, "mira")
            case "password":
                await accounts.set_password(services, "mira", PASSWORD + "!")
            case "own password":
                await accounts.change_own_password(
                    services, mira, PASSWORD + "!", PASSWORD
                )
            case "role":
                await set_role(services, "mira", "viewer")
            case _:
                await accounts.disable_operator(services, "mira")
        return await everything_ended(services, elsewhere, session, link)

    assert await ended_by("everywhere")
    assert await ended_by("password")
    assert await ended_by("own password")
    assert await ended_by("role")
    mira = replace(mira, role="viewer")
    assert await ended_by("disabled")


async def test_api_tokens_are_revoked_with_the_sessions_if_so_asked(
    services: Services, elsewhere: Services, mira: Operator
) -> None:
    async def token_after(*, tokens: bool) -> Operator | None:
        token = await accounts.make_api_token(services, "mira", "script", 1)
        await accounts.sign_out_everywhere(services, "mira", tokens=tokens)
        return await accounts.operator_of_api_token(elsewhere, token)

    assert await token_after(tokens=False) == mira
    assert await token_after(tokens=True) is None


async def test_an_api_token_has_its_operators_role_at_once(
    services: Services, elsewhere: Services, mira: Operator
) -> None:
    token = await accounts.make_api_token(services, "mira", "script", 1)

    await set_role(services, "mira", "viewer")

    operator = await accounts.operator_of_api_token(elsewhere, token)
    assert operator == replace(mira, role="viewer")


async def test_the_same_role_again_ends_no_session(
    services: Services, mira: Operator
) -> None:
    session = await accounts.open_session(services, mira)

    await set_role(services, "mira", "technician")

    assert await operator_of_session(services, session) == mira


async def test_everybody_can_be_signed_out(
    services: Services, elsewhere: Services, mira: Operator
) -> None:
    sessions = [await accounts.open_session(services, mira) for _ in range(3)]

    assert await accounts.sign_everybody_out(services) == 3

    for session in sessions:
        assert await operator_of_session(elsewhere, session) is None


async def test_a_person_ends_one_of_their_own_sessions_and_nobody_elses(
    services: Services, mira: Operator
) -> None:
    kim = await accounts.add_operator(services, "kim", "viewer", PASSWORD)
    old, this = [await accounts.open_session(services, mira) for _ in range(2)]
    others = await accounts.open_session(services, kim)
    (foreign,) = await sessions_of(services, kim, others)

    shown = await sessions_of(services, mira, this)
    (left,) = [one.name for one in shown if not one.is_this]
    await accounts.end_own_session(services, mira, left)
    for name in (foreign.name, left, "not hexadecimal"):
        with pytest.raises(NotFound):
            await accounts.end_own_session(services, mira, name)

    assert await operator_of_session(services, old) is None
    assert await operator_of_session(services, this) == mira
    assert await operator_of_session(services, others) == kim


async def test_ones_own_password_is_changed_with_the_current_one_only(
    services: Services, mira: Operator
) -> None:
    with pytest.raises(InvalidRequest, match="current password"):
        await accounts.change_own_password(services, mira, "wrong", "four boats there")
    with pytest.raises(InvalidRequest, match="shorter"):
        await accounts.change_own_password(services, mira, PASSWORD, "short")
    assert await accounts.sign_in(services, "mira", PASSWORD) == mira

    await accounts.change_own_password(services, mira, PASSWORD, "four boats there")

    assert await accounts.sign_in(services, "mira", "four boats there") == mira


async def test_who_the_provider_vouches_for_has_one_account_at_every_collector(
    services: Services, elsewhere: Services
) -> None:
    settings = services.settings.model_copy(
        update={
            "oidc_issuer": "https://login.example.org",
            "oidc_new_accounts": True,
            "oidc_viewers": "everyone",
            "oidc_administrators": "keepers",
        }
    )
    here, there = (replace(one, settings=settings) for one in (services, elsewhere))
    claims = {
        "iss": "https://login.example.org",
        "sub": "248289761001",
        "preferred_username": "Mira",
        "groups": ["everyone"],
    }

    first = await organisation.operator_of(here, claims)
    second = await organisation.operator_of(there, claims | {"groups": ["keepers"]})

    assert (first.name, first.role) == ("mira", "viewer")
    assert second == replace(first, role="administrator")
    with pytest.raises(NotSignedIn, match="no role"):
        await organisation.operator_of(here, claims | {"groups": []})
    with pytest.raises(NotSignedIn, match="already"):
        await organisation.operator_of(here, claims | {"sub": "1"})
    with pytest.raises(Conflict):
        await organisation.link(here, "mira", "248289761001")
    # Nobody signs in with a password that is none.
    with pytest.raises(NotSignedIn):
        await accounts.sign_in(here, "mira", "")
