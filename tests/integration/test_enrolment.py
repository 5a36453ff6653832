"""Who gets a key, and whose history goes on."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import select

from fadewatch_collector.errors import NotFound, NotSignedIn, TokenRefused
from fadewatch_collector.store.tables import agent_keys, audit, enrolment_tokens
from fadewatch_collector.usecases.agent_keys import laptop_of_key
from fadewatch_collector.usecases.enrolment import (
    enrol,
    list_tokens,
    make_token,
    revoke_token,
)
from fadewatch_collector.usecases.services import Services
from fadewatch_common.report import Laptop
from tests.fakes.clock import StandingClock
from tests.integration.postgres import DATABASES
from tests.reports import AGENT, LAPTOP

ON = DATABASES


async def token(services: Services, uses: int = 10, days: int = 1) -> str:
    return await make_token(
        services,
        label="autumn imaging",
        site="North",
        lifetime=timedelta(days=days),
        use_limit=uses,
        who="test",
    )


async def test_a_key_belongs_to_the_laptop_it_was_given_to(services: Services) -> None:
    enrolled = await enrol(services, await token(services), LAPTOP, AGENT)

    assert await laptop_of_key(services, enrolled.key) == enrolled.laptop_id


async def test_neither_key_nor_token_is_kept(services: Services) -> None:
    secret = await token(services)
    enrolled = await enrol(services, secret, LAPTOP, AGENT)

    async with services.store.reading() as connection:
        rows = [
            *(await connection.execute(select(agent_keys))).all(),
            *(await connection.execute(select(enrolment_tokens))).all(),
            *(await connection.execute(select(audit))).all(),
        ]
    assert enrolled.key not in str(rows)
    assert secret not in str(rows)


async def test_an_unknown_key_is_refused(services: Services) -> None:
    with pytest.raises(NotSignedIn):
        await laptop_of_key(services, "fwk_nonsense")


async def test_an_unknown_token_is_refused(services: Services) -> None:
    with pytest.raises(TokenRefused, match="unknown"):
        await enrol(services, "fwt_nonsense", LAPTOP, AGENT)


async def test_a_token_works_as_often_as_it_was_made_for(services: Services) -> None:
    secret = await token(services, uses=1)
    await enrol(services, secret, LAPTOP, AGENT)

    with pytest.raises(TokenRefused, match="used up"):
        await enrol(services, secret, LAPTOP, AGENT)


async def test_a_token_ends_with_its_lifetime(
    services: Services, clock: StandingClock
) -> None:
    secret = await token(services, days=1)
    clock.move(timedelta(days=1))

    with pytest.raises(TokenRefused, match="expired"):
        await enrol(services, secret, LAPTOP, AGENT)


async def test_a_revoked_token_is_refused_and_its_laptops_stay(
    services: Services,
) -> None:
    secret = await token(services)
    enrolled = await enrol(services, secret, LAPTOP, AGENT)
    (row,) = await list_tokens(services)
    await revoke_token(services, row.id, "test")

    with pytest.raises(TokenRefused, match="revoked"):
        await enrol(services, secret, LAPTOP, AGENT)
    assert await laptop_of_key(services, enrolled.key) == enrolled.laptop_id


async def test_revoking_a_token_that_is_not_there_says_so(services: Services) -> None:
    with pytest.raises(NotFound):
        await revoke_token(services, 99, "test")


async def test_a_laptop_set_up_again_keeps_its_history_and_gets_a_new_key(
    services: Services,
) -> None:
    secret = await token(services)
    first = await enrol(services, secret, LAPTOP, AGENT)
    again = await enrol(services, secret, replace(LAPTOP, hostname="new-name"), AGENT)

    assert again.laptop_id == first.laptop_id
    assert again.key != first.key
    with pytest.raises(NotSignedIn):
        await laptop_of_key(services, first.key)


@pytest.mark.parametrize(
    "other",
    [
        replace(LAPTOP, serial="BM-00315"),
        replace(LAPTOP, board_uuid="00000000-0000-4000-8000-000000000001"),
        replace(LAPTOP, model="Tern 15"),
        replace(LAPTOP, maker=None),
        replace(LAPTOP, board_uuid=None),
    ],
)
async def test_a_laptop_that_differs_in_one_part_is_a_new_one(
    services: Services, other: Laptop
) -> None:
    secret = await token(services)
    first = await enrol(services, secret, LAPTOP, AGENT)

    assert (await enrol(services, secret, other, AGENT)).laptop_id != first.laptop_id


@pytest.mark.parametrize(
    "placeholder",
    [
        replace(LAPTOP, serial="To be filled by O.E.M."),
        replace(LAPTOP, serial="0000000"),
        replace(LAPTOP, serial="Default string"),
        replace(LAPTOP, board_uuid="03000200-0400-0500-0006-000700080009"),
        replace(LAPTOP, board_uuid="ffffffff-ffff-ffff-ffff-ffffffffffff"),
    ],
)
async def test_laptops_with_placeholder_identities_are_never_merged(
    services: Services, placeholder: Laptop
) -> None:
    secret = await token(services)
    first = await enrol(services, secret, placeholder, AGENT)
    second = await enrol(services, secret, placeholder, AGENT)

    assert first.laptop_id != second.laptop_id
    assert await laptop_of_key(services, first.key) == first.laptop_id
