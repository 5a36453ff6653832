"""Accounts on a real store: what opens, what ends, what is kept."""

import logging
from collections.abc import Awaitable, Callable
from datetime import timedelta

import pytest
from argon2 import PasswordHasher
from sqlalchemy import Table, insert, select

from fadewatch_collector.errors import (
    Conflict,
    InvalidRequest,
    NotFound,
    NotSignedIn,
)
from fadewatch_collector.store import tables
from fadewatch_collector.store.accounts import add_operator
from fadewatch_collector.usecases import accounts
from fadewatch_collector.usecases.services import Services
from tests.fakes.clock import StandingClock
from tests.integration.postgres import DATABASES

ON = DATABASES

PASSWORD = "three boats on a lake"  # noqa: S105  of a test's operator

HOUR = timedelta(hours=1)


@pytest.fixture
async def mira(services: Services) -> accounts.Operator:
    """An operator whose password nobody needs."""
    async with services.store.writing() as connection:
        return await add_operator(
            connection, "mira", "technician", "no password", services.clock()
        )


async def rows_of(services: Services, table: Table) -> str:
    async with services.store.reading() as connection:
        return str((await connection.execute(select(table))).all())


async def trail(services: Services) -> list[tuple[str, str, str]]:
    audit = tables.audit
    async with services.store.reading() as connection:
        rows = await connection.execute(
            select(audit.c.who, audit.c.action, audit.c.subject).order_by(audit.c.id)
        )
        return [(row.who, row.action, row.subject) for row in rows]


async def test_who_was_added_can_sign_in(services: Services) -> None:
    added = await accounts.add_operator(services, " Mira ", "viewer", PASSWORD)

    assert added.name == "mira"
    assert await accounts.sign_in(services, "MIRA", PASSWORD) == added


async def test_a_password_is_kept_as_an_argon2id_hash(services: Services) -> None:
    await accounts.add_operator(services, "mira", "viewer", PASSWORD)

    kept = await rows_of(services, tables.operators)
    assert PASSWORD not in kept
    assert "$argon2id$" in kept


async def test_an_account_s_hash_is_not_shown_by_accident(services: Services) -> None:
    await accounts.add_operator(services, "mira", "viewer", PASSWORD)

    assert "argon2" not in repr(await accounts.list_operators(services))


async def test_a_name_is_taken_once_however_it_is_spelt(
    services: Services, mira: accounts.Operator
) -> None:
    with pytest.raises(Conflict):
        await accounts.add_operator(services, "MIRA", "viewer", PASSWORD)


async def test_a_new_password_replaces_the_old_one_and_ends_sessions(
    services: Services,
) -> None:
    operator = await accounts.add_operator(services, "mira", "viewer", PASSWORD)
    session = await accounts.open_session(services, operator)

    await accounts.set_password(services, "Mira", "four boats on a lake")

    assert await accounts.operator_of_session(services, session) is None
    assert await accounts.sign_in(services, "mira", "four boats on a lake") == operator
    with pytest.raises(NotSignedIn):
        await accounts.sign_in(services, "mira", PASSWORD)


async def test_a_refused_sign_in_is_logged_without_what_may_be_a_password(
    services: Services, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.WARNING), pytest.raises(NotSignedIn):
        await accounts.sign_in(services, PASSWORD, "x")

    assert "sign-in refused" in caplog.text
    assert PASSWORD not in caplog.text


async def test_an_outdated_hash_is_renewed_by_signing_in(services: Services) -> None:
    weak = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(PASSWORD)
    async with services.store.writing() as connection:
        await add_operator(connection, "mira", "viewer", weak, services.clock())

    await accounts.sign_in(services, "mira", PASSWORD)

    assert weak not in await rows_of(services, tables.operators)
    assert (await accounts.sign_in(services, "mira", PASSWORD)).name == "mira"


async def test_a_hash_that_is_no_hash_lets_nobody_in(
    services: Services, mira: accounts.Operator
) -> None:
    with pytest.raises(NotSignedIn):
        await accounts.sign_in(services, mira.name, "no password")


async def test_no_secret_is_kept_that_opens_anything(
    services: Services, mira: accounts.Operator
) -> None:
    secrets = [
        await accounts.open_session(services, mira),
        await accounts.make_single_sign_in(services, "mira", HOUR),
        await accounts.make_api_token(services, "mira", "script", 30),
    ]

    kept = "".join([await rows_of(services, t) for t in tables.metadata.sorted_tables])
    assert len({secret[:4] for secret in secrets}) == 3
    assert not any(secret in kept or secret[4:] in kept for secret in secrets)


async def test_secrets_of_one_sort_open_nothing_of_another(
    services: Services, mira: accounts.Operator
) -> None:
    session = await accounts.open_session(services, mira)
    once = await accounts.make_single_sign_in(services, "mira", HOUR)
    token = await accounts.make_api_token(services, "mira", "script", 30)

    assert await accounts.operator_of_session(services, token) is None
    assert await accounts.operator_of_session(services, once) is None
    assert await accounts.operator_of_api_token(services, session) is None
    with pytest.raises(NotSignedIn):
        await accounts.use_single_sign_in(services, token)


async def test_expired_sessions_and_links_do_not_pile_up(
    services: Services, mira: accounts.Operator, clock: StandingClock
) -> None:
    await accounts.open_session(services, mira)
    await accounts.make_single_sign_in(services, "mira", HOUR)
    clock.move(timedelta(days=40))

    await accounts.open_session(services, mira)
    await accounts.make_single_sign_in(services, "mira", HOUR)

    for table in (tables.operator_sessions, tables.single_sign_ins):
        async with services.store.reading() as connection:
            assert len((await connection.execute(select(table))).all()) == 1


async def test_a_one_time_token_is_spent_by_its_first_use(
    services: Services, mira: accounts.Operator
) -> None:
    token = await accounts.make_single_sign_in(services, "mira", HOUR)

    assert await accounts.use_single_sign_in(services, token) == mira
    with pytest.raises(NotSignedIn):
        await accounts.use_single_sign_in(services, token)


async def test_a_one_time_token_expires(
    services: Services, mira: accounts.Operator, clock: StandingClock
) -> None:
    token = await accounts.make_single_sign_in(services, "mira", HOUR)
    clock.move(HOUR)

    with pytest.raises(NotSignedIn):
        await accounts.use_single_sign_in(services, token)


async def test_an_api_token_acts_for_its_operator_until_it_expires(
    services: Services, mira: accounts.Operator, clock: StandingClock
) -> None:
    token = await accounts.make_api_token(services, "mira", "script", 30)

    assert await accounts.operator_of_api_token(services, token) == mira
    clock.move(timedelta(days=30))
    assert await accounts.operator_of_api_token(services, token) is None


async def test_a_revoked_api_token_is_worth_nothing_and_stays_listed(
    services: Services, mira: accounts.Operator
) -> None:
    token = await accounts.make_api_token(services, "mira", "script", 30)
    (listed,) = await accounts.list_api_tokens(services)

    await accounts.revoke_api_token(services, listed.id)

    assert await accounts.operator_of_api_token(services, token) is None
    (listed,) = await accounts.list_api_tokens(services)
    assert (listed.label, listed.operator_name) == ("script", "mira")
    assert listed.revoked_at == services.clock()
    with pytest.raises(NotFound):
        await accounts.revoke_api_token(services, listed.id)


@pytest.mark.parametrize(
    ("label", "days"), [("", 30), ("a\nb", 30), ("x" * 101, 30), ("a", 0), ("a", 731)]
)
async def test_an_api_token_needs_a_label_and_an_end(
    services: Services, mira: accounts.Operator, label: str, days: int
) -> None:
    with pytest.raises(InvalidRequest):
        await accounts.make_api_token(services, "mira", label, days)


async def test_disabling_ends_everything_at_once(
    services: Services, mira: accounts.Operator
) -> None:
    session = await accounts.open_session(services, mira)
    once = await accounts.make_single_sign_in(services, "mira", HOUR)
    token = await accounts.make_api_token(services, "mira", "script", 30)

    await accounts.disable_operator(services, "mira")

    assert await accounts.operator_of_session(services, session) is None
    assert await accounts.operator_of_api_token(services, token) is None
    with pytest.raises(NotSignedIn):
        await accounts.use_single_sign_in(services, once)
    with pytest.raises(Conflict):
        await accounts.make_api_token(services, "mira", "another", 30)


async def test_enabling_again_brings_no_old_session_or_token_back(
    services: Services, mira: accounts.Operator
) -> None:
    session = await accounts.open_session(services, mira)
    token = await accounts.make_api_token(services, "mira", "script", 30)
    await accounts.disable_operator(services, "mira")

    await accounts.enable_operator(services, "mira")

    assert await accounts.operator_of_session(services, session) is None
    assert await accounts.operator_of_api_token(services, token) is None
    assert await accounts.make_api_token(services, "mira", "another", 30)


async def test_disabling_twice_keeps_the_first_date(
    services: Services, mira: accounts.Operator, clock: StandingClock
) -> None:
    first = clock()
    await accounts.disable_operator(services, "mira")
    clock.move(HOUR)
    await accounts.disable_operator(services, "mira")

    (account,) = await accounts.list_operators(services)
    assert account.disabled_at == first


Change = Callable[[Services], Awaitable[object]]
CHANGES: list[Change] = [
    lambda s: accounts.set_password(s, "nobody", PASSWORD),
    lambda s: accounts.disable_operator(s, "nobody"),
    lambda s: accounts.enable_operator(s, "nobody"),
    lambda s: accounts.make_single_sign_in(s, "nobody", HOUR),
    lambda s: accounts.make_api_token(s, "nobody", "script", 30),
]


async def test_nothing_can_be_done_with_an_operator_that_is_not_there(
    services: Services,
) -> None:
    for change in CHANGES:
        with pytest.raises(NotFound):
            await change(services)
    assert await trail(services) == []


async def test_every_change_is_in_the_audit_trail(services: Services) -> None:
    operator = await accounts.add_operator(services, "mira", "viewer", PASSWORD)
    await accounts.close_session(
        services, await accounts.open_session(services, operator)
    )
    once = await accounts.make_single_sign_in(services, "mira", HOUR, by="tor")
    await accounts.use_single_sign_in(services, once)
    await accounts.make_api_token(services, "mira", "script", 30, by="tor")
    await accounts.revoke_api_token(services, 1, by="tor")
    await accounts.set_password(services, "mira", "four boats on a lake", by="tor")
    await accounts.disable_operator(services, "mira", by="tor")
    await accounts.enable_operator(services, "mira", by="tor")

    subject = f"operator:{operator.id}"
    assert await trail(services) == [
        ("command line", "operator added", subject),
        ("mira", "signed in", subject),
        ("mira", "signed out", subject),
        ("tor", "sign-in link made", subject),
        ("mira", "sign-in link used", subject),
        ("tor", "API token made", subject),
        ("tor", "API token revoked", "api-token:1"),
        ("tor", "password set", subject),
        ("tor", "operator disabled", subject),
        ("tor", "operator enabled", subject),
    ]


async def test_closing_a_session_that_is_none_is_no_error(services: Services) -> None:
    await accounts.close_session(services, "fws_nothing")

    assert await trail(services) == []


async def test_the_cookie_secret_is_made_once(services: Services) -> None:
    first = await accounts.cookie_secret(services)

    assert await accounts.cookie_secret(services) == first
    assert len(first) >= 43


async def test_a_secret_that_is_there_already_is_kept(services: Services) -> None:
    async with services.store.writing() as connection:
        await connection.execute(
            insert(tables.store_values).values(name="cookie-secret", value="older")
        )

    assert await accounts.cookie_secret(services) == "older"
