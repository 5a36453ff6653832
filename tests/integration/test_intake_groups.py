"""Groups of reports: the same few statements, whatever is in them, and keys that end."""

import asyncio
import random
from collections.abc import AsyncIterator, Collection, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import select, text
from sqlalchemy.pool import QueuePool

from fadewatch_collector.store.agent_keys import KeyRow
from fadewatch_collector.store.key_reader import KeyReader, key_reader
from fadewatch_collector.store.report_group import NewReport
from fadewatch_collector.store.report_writer import report_writer
from fadewatch_collector.store.store import open_store
from fadewatch_collector.store.tables import filing_queue, reports
from fadewatch_collector.usecases.agent_keys import (
    KeyEnded,
    ask_renewal,
    renew_key,
    revoke_key,
)
from fadewatch_collector.usecases.enrolment import enrol, make_token
from fadewatch_collector.usecases.intake import Intake, Receipt, ReceivedReport
from fadewatch_collector.usecases.intake_tally import Commit
from fadewatch_collector.usecases.known_keys import KnownKey, KnownKeys
from fadewatch_collector.usecases.services import Services
from tests.fleet import new_laptop, rows
from tests.integration.counting import counted_writer
from tests.integration.postgres import DATABASES
from tests.reports import AGENT, LAPTOP, START, make_report, received

ON = DATABASES
END_OTHERS = """
    SELECT pg_terminate_backend(pid) FROM pg_stat_activity
    WHERE datname = current_database() AND pid <> pg_backend_pid()
"""


async def enrolled(services: Services, serial: str = "BM-1") -> str:
    """Enrol a laptop; returns its key."""
    token = await make_token(
        services,
        label="test",
        site=None,
        lifetime=timedelta(days=1),
        use_limit=1,
        who="test",
    )
    return (await enrol(services, token, replace(LAPTOP, serial=serial), AGENT)).key


class Noted:
    """A key reader that notes how many keys it was asked for each time."""

    def __init__(self, inner: KeyReader) -> None:
        self._inner = inner
        self.asked: list[int] = []

    async def find(self, digests: Collection[bytes]) -> dict[bytes, KeyRow]:
        self.asked.append(len(digests))
        return await self._inner.find(digests)

    async def close(self) -> None:
        await self._inner.close()


@asynccontextmanager
async def remembering(
    services: Services, most: int = 100
) -> AsyncIterator[tuple[KnownKeys, Noted]]:
    reader = Noted(key_reader(services.store))
    keys = KnownKeys(services, most, reader)
    try:
        yield keys, reader
    finally:
        await keys.close()


def some(count: int) -> list[ReceivedReport]:
    return [received(make_report(START + timedelta(hours=n))) for n in range(count)]


async def taken(
    services: Services, *requests: tuple[KnownKey, Sequence[ReceivedReport]]
) -> list[Receipt | BaseException]:
    """Let an intake take requests that arrived together."""
    intake = Intake(services, lambda: None)
    waiting = [
        asyncio.ensure_future(intake.receive(key, sent)) for key, sent in requests
    ]
    await asyncio.sleep(0)
    intake.close()
    await intake.run()
    return await asyncio.gather(*waiting, return_exceptions=True)


def statuses(receipt: object) -> list[str]:
    assert isinstance(receipt, Receipt), receipt
    return [status.status for status in receipt.statuses]


async def stored(services: Services) -> set[str]:
    found = await rows(services, select(reports.c.report_id))
    queued = await rows(services, select(filing_queue.c.report_id))
    assert sorted(queued) == sorted(found)
    return {report_id for (report_id,) in found}


async def test_a_key_that_was_revoked_elsewhere_stores_nothing_from_then_on(
    services: Services,
) -> None:
    async with remembering(services) as (keys, _):
        ended = await keys.find(await enrolled(services, "BM-1"))
        good = await keys.find(await enrolled(services, "BM-2"))
    theirs, ours = some(1), some(2)

    await revoke_key(services, ended.laptop_id, "kim")
    refused, receipt, again = await taken(
        services, (ended, theirs), (good, ours), (good, theirs)
    )

    assert isinstance(refused, KeyEnded)
    assert statuses(receipt) == ["stored", "stored"]
    # What the ended key brought is not there, so whoever brings it next stores it.
    assert statuses(again) == ["stored"]
    assert len(await stored(services)) == 3


async def test_a_request_without_a_good_report_needs_a_valid_key_too(
    services: Services,
) -> None:
    async with remembering(services) as (keys, _):
        key = await keys.find(await enrolled(services))
    await revoke_key(services, key.laptop_id, "kim")

    (answer,) = await taken(services, (key, []))

    assert isinstance(answer, KeyEnded)


async def test_a_renewal_asked_for_is_told_with_the_next_report(
    services: Services,
) -> None:
    async with remembering(services) as (keys, _):
        key = await keys.find(await enrolled(services))
    (before,) = await taken(services, (key, some(1)))

    await ask_renewal(services, key.laptop_id, "kim")
    (after,) = await taken(services, (key, some(1)))

    assert isinstance(before, Receipt)
    assert isinstance(after, Receipt)
    assert (before.renew_key, after.renew_key) == (False, True)


async def test_keys_that_are_asked_for_together_share_one_look_up(
    services: Services,
) -> None:
    sent = [await enrolled(services, f"BM-{n}") for n in range(6)]
    async with remembering(services) as (keys, reader):
        await keys.find(sent[0])
        found = await asyncio.gather(
            *map(keys.find, [*sent[1:], "fwk_unknown"]), return_exceptions=True
        )
        await asyncio.gather(*map(keys.find, sent))

    assert isinstance(found.pop(), KeyEnded)
    assert len({key.laptop_id for key in found if isinstance(key, KnownKey)}) == 5
    assert reader.asked == [1, 6]


async def test_the_first_use_of_a_renewed_key_ends_the_old_one(
    services: Services,
) -> None:
    sent = await enrolled(services)
    async with remembering(services) as (keys, _):
        old = await keys.find(sent)
        new = await keys.find(await renew_key(services, sent))

        refused, receipt = await taken(services, (old, some(1)), (new, some(1)))

        assert isinstance(refused, KeyEnded)
        assert statuses(receipt) == ["stored"]
        keys.forget(sent)
        with pytest.raises(KeyEnded):
            await keys.find(sent)


async def test_memory_of_keys_is_bounded(services: Services) -> None:
    sent = [await enrolled(services, f"BM-{n}") for n in range(3)]
    async with remembering(services, most=2) as (keys, reader):
        for key in sent:
            await keys.find(key)
        reader.asked.clear()
        await keys.find(sent[2])
        newest = list(reader.asked)
        await keys.find(sent[0])

    assert newest == []
    assert reader.asked == [1]


async def test_who_asked_for_a_key_may_go_before_the_answer(
    services: Services,
) -> None:
    secret = await enrolled(services)
    keys = KnownKeys(services)
    asking = asyncio.ensure_future(keys.find(secret))
    await asyncio.sleep(0)
    asking.cancel()

    await keys.close()

    assert keys.known(secret) is not None
    pool = services.store.engine.pool
    assert isinstance(pool, QueuePool)
    assert pool.checkedout() == 0


async def test_the_number_of_statements_is_the_same_for_every_group(
    services: Services,
) -> None:
    laptop_id = await new_laptop(services)
    counts = []
    async with report_writer(services.store) as writer:
        await writer.write([], [], START)
        for size in (1, 3, 300):
            group = [
                NewReport(one.report_id, laptop_id, None, one.measured_at, one.body)
                for one in some(size)
            ]
            async with counted_writer(writer) as asked:
                await writer.write(group, [], START)
                # Once more: what is there already takes no statement of its own.
                await writer.write([*group, *group[:1]], [1], START)
            counts.append(asked.count)

    assert len(set(counts)) == 1
    assert len(await stored(services)) == 304


async def test_two_collectors_that_get_the_same_reports_at_once_store_each_once(
    services: Services,
) -> None:
    laptop_id = await new_laptop(services)
    other_store = open_store(services.settings.store_url)
    other = replace(services, store=other_store)
    sent = some(40)
    order = random.Random(3)  # noqa: S311  an order, no secret

    async def through(one: Services) -> list[str]:
        intake = Intake(one, lambda: None)
        async with asyncio.TaskGroup() as group:
            group.create_task(intake.run())
            mixed = order.sample(sent, len(sent))
            parts = [mixed[first : first + 8] for first in range(0, 40, 8)]
            found = await asyncio.gather(
                *(intake.store(laptop_id, part) for part in parts)
            )
            intake.close()
        return [status.status for part in found for status in part]

    answers = [*(await asyncio.gather(through(services), through(other)))]
    await other_store.close()

    said = [status for answer in answers for status in answer]
    assert sorted(said) == ["duplicate"] * 40 + ["stored"] * 40
    assert len(await stored(services)) == 40


async def test_a_poisoned_request_costs_none_of_its_many_neighbours(
    services: Services,
) -> None:
    laptop_id = await new_laptop(services)
    intake = Intake(services, lambda: None)
    requests = [
        asyncio.ensure_future(intake.store(999_999 if n == 5 else laptop_id, some(2)))
        for n in range(12)
    ]
    await asyncio.sleep(0)
    intake.close()
    await intake.run()

    answers = await asyncio.gather(*requests, return_exceptions=True)

    assert [n for n, one in enumerate(answers) if isinstance(one, BaseException)] == [5]
    assert len(await stored(services)) == 22


async def test_commits_are_told_to_whoever_keeps_count(services: Services) -> None:
    laptop_id = await new_laptop(services)
    told: list[Commit] = []
    intake = Intake(services, lambda: None, told.append)
    batch = some(2)
    waiting = [asyncio.ensure_future(intake.store(laptop_id, batch)) for _ in range(3)]
    await asyncio.sleep(0)
    intake.close()
    await intake.run()
    await asyncio.gather(*waiting)

    (commit,) = told
    assert (commit.requests, commit.reports, commit.new) == (3, 6, 2)
    assert commit.seconds > 0


async def test_a_restart_of_the_database_is_not_seen_by_agents(
    services: Services, database: str
) -> None:
    if database == "sqlite":
        pytest.skip("a file does not restart")
    laptop_id = await new_laptop(services)
    first, second = (
        NewReport(one.report_id, laptop_id, None, one.measured_at, one.body)
        for one in some(2)
    )
    async with report_writer(services.store) as writer:
        await writer.write([first], [], START)
        ended = await rows(services, text(END_OTHERS))
        written = await writer.write([second], [], START)

    assert len(ended) == 1
    assert written.new == {second.report_id}
