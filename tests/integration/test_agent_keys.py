"""Keys renewed and ended, and enrolments whose answer was lost."""

from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import func, select

from fadewatch_collector.errors import NotFound, NotSignedIn
from fadewatch_collector.store.tables import agent_keys, enrolment_tokens, laptops
from fadewatch_collector.usecases.agent_keys import (
    KEY_AGE,
    ask_renewal,
    owner_of_key,
    renew_key,
    revoke_key,
)
from fadewatch_collector.usecases.enrolment import enrol, make_token
from fadewatch_collector.usecases.services import Services
from fadewatch_common.report import Laptop
from tests.fakes.clock import StandingClock
from tests.integration.postgres import DATABASES
from tests.reports import AGENT, LAPTOP

ON = DATABASES
Act = Callable[[Services, int, str], Awaitable[None]]
WEAK = replace(LAPTOP, serial="To be filled by O.E.M.", board_uuid=None)


async def token(services: Services) -> str:
    return await make_token(
        services,
        label="autumn imaging",
        site=None,
        lifetime=timedelta(days=400),
        use_limit=10,
        who="kim",
    )


async def enrolled(services: Services) -> tuple[int, str]:
    made = await enrol(services, await token(services), LAPTOP, AGENT)
    return made.laptop_id, made.key


async def is_valid(services: Services, key: str) -> bool:
    try:
        await owner_of_key(services, key)
    except NotSignedIn:
        return False
    return True


async def count(services: Services, what: str) -> int:
    table = {"laptops": laptops, "keys": agent_keys}[what]
    async with services.store.reading() as connection:
        return int(
            (
                await connection.execute(select(func.count()).select_from(table))
            ).scalar_one()
        )


async def test_both_keys_work_until_the_new_one_is_used(services: Services) -> None:
    laptop_id, old = await enrolled(services)

    new = await renew_key(services, old)

    assert await is_valid(services, old)
    assert (await owner_of_key(services, new)).laptop_id == laptop_id
    assert not await is_valid(services, old)
    assert await is_valid(services, new)


async def test_a_new_key_whose_answer_was_lost_ends_with_the_next_one(
    services: Services,
) -> None:
    _, old = await enrolled(services)

    lost = await renew_key(services, old)
    new = await renew_key(services, old)

    assert not await is_valid(services, lost)
    assert await is_valid(services, new)


async def test_a_key_that_has_its_age_is_to_be_renewed(
    services: Services, clock: StandingClock
) -> None:
    _, key = await enrolled(services)
    assert not (await owner_of_key(services, key)).renew

    clock.now += KEY_AGE

    assert (await owner_of_key(services, key)).renew


async def test_an_administrator_asks_for_a_renewal_once(services: Services) -> None:
    laptop_id, old = await enrolled(services)

    await ask_renewal(services, laptop_id, "kim")

    assert (await owner_of_key(services, old)).renew
    new = await renew_key(services, old)
    assert not (await owner_of_key(services, new)).renew


async def test_a_revoked_laptop_has_no_key_left(services: Services) -> None:
    laptop_id, old = await enrolled(services)
    new = await renew_key(services, old)

    await revoke_key(services, laptop_id, "kim")

    assert not await is_valid(services, old)
    assert not await is_valid(services, new)
    with pytest.raises(NotSignedIn):
        await renew_key(services, old)


@pytest.mark.parametrize("act", [ask_renewal, revoke_key])
async def test_a_laptop_that_has_no_key_is_not_found(
    services: Services, act: Act
) -> None:
    with pytest.raises(NotFound):
        await act(services, 999, "kim")


@pytest.mark.parametrize("laptop", [LAPTOP, WEAK])
async def test_an_enrolment_whose_answer_was_lost_makes_no_second_laptop(
    services: Services, laptop: Laptop
) -> None:
    word = await token(services)
    first = await enrol(services, word, laptop, AGENT, "attempt-1")

    again = await enrol(services, word, laptop, AGENT, "attempt-1")

    assert again.laptop_id == first.laptop_id
    assert not await is_valid(services, first.key)
    assert await is_valid(services, again.key)
    assert await count(services, "laptops") == 1
    async with services.store.reading() as connection:
        uses = await connection.scalar(select(enrolment_tokens.c.uses))
    assert uses == 1


async def test_another_attempt_of_a_weak_laptop_is_another_laptop(
    services: Services,
) -> None:
    word = await token(services)
    first = await enrol(services, word, WEAK, AGENT, "attempt-1")

    second = await enrol(services, word, WEAK, AGENT, "attempt-2")

    assert second.laptop_id != first.laptop_id


async def test_an_attempt_is_worth_nothing_with_another_token(
    services: Services,
) -> None:
    first = await enrol(services, await token(services), WEAK, AGENT, "attempt-1")

    other = await enrol(services, await token(services), WEAK, AGENT, "attempt-1")

    assert other.laptop_id != first.laptop_id
    assert await is_valid(services, first.key)
