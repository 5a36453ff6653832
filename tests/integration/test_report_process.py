"""The process that writes groups of reports to SQLite: it dies, is started, says why."""

import asyncio
import os
import signal
import sqlite3
from collections.abc import AsyncIterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import insert, select

from fadewatch_collector.errors import StoreTrouble
from fadewatch_collector.store.report_group import NewReport, Written
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.sqlite_connection import prepare_sqlite
from fadewatch_collector.store.sqlite_group import QUEUE, write_group
from fadewatch_collector.store.sqlite_reports import SqliteWriter, SqliteWriterApart
from fadewatch_collector.store.store import Store, open_store, sqlite_url
from fadewatch_collector.store.tables import agent_keys, filing_queue, laptops, reports
from fadewatch_collector.usecases.intake import Intake
from fadewatch_collector.usecases.services import Services
from tests.fleet import new_laptop, rows
from tests.reports import START, make_report, received

pytestmark = pytest.mark.timeout(120)

VALID, ASKED, REVOKED = 1, 2, 3
"""Keys: valid, to be renewed, and revoked."""
END_OF_VALID = "UPDATE agent_keys SET revoked_at = 1 WHERE id = 1"


@pytest.fixture
async def store(tmp_path: Path) -> AsyncIterator[Store]:
    """A store with a laptop and its three keys."""
    found = await filled(tmp_path / "store.sqlite3")
    yield found
    await found.close()


@pytest.fixture
async def writer(store: Store) -> AsyncIterator[SqliteWriterApart]:
    """A writer whose process runs already."""
    async with SqliteWriterApart(store) as found:
        await found.write([], [], START)
        yield found


async def filled(path: Path) -> Store:
    store = open_store(sqlite_url(path))
    await upgrade(store)
    async with store.writing() as connection:
        await connection.execute(insert(laptops).values(id=1, enrolled_at=START))
        for key, asked, revoked in (
            (VALID, None, None),
            (ASKED, START, None),
            (REVOKED, None, START),
        ):
            await connection.execute(
                insert(agent_keys).values(
                    id=key,
                    laptop_id=1,
                    digest=bytes([key]),
                    created_at=START,
                    renewal_asked_at=asked,
                    revoked_at=revoked,
                )
            )
    return store


def some(*keys: int | None) -> list[NewReport]:
    found = []
    for n, key in enumerate(keys):
        one = received(make_report(START + timedelta(hours=n)))
        found.append(NewReport(one.report_id, 1, key, one.measured_at, one.body))
    return found


async def stored(store: Store) -> list[tuple[object, ...]]:
    """Return the reports in their order; each must wait to be filed once."""
    async with store.reading() as connection:
        found = (await connection.execute(select(reports))).all()
        queued = (
            await connection.execute(
                select(filing_queue.c.report_id).order_by(filing_queue.c.id)
            )
        ).scalars()
        assert [row.report_id for row in found] == list(queued)
    return [tuple(row) for row in found]


def pid_of(writer: SqliteWriterApart) -> int:
    pid = writer._process.pid
    assert pid is not None
    return pid


def is_gone(pid: int) -> bool:
    return not Path(f"/proc/{pid}").exists()


async def test_it_writes_what_a_thread_writes_and_answers_the_same(
    tmp_path: Path,
) -> None:
    group = some(VALID, ASKED, REVOKED, None, VALID)
    first, again = group, [*group[:2], *some(VALID), group[3], group[3]]
    told, kept = [], []
    for kind in (SqliteWriter, SqliteWriterApart):
        store = await filled(tmp_path / f"{kind.__name__}.sqlite3")
        async with kind(store) as writer:
            answers = [
                await writer.write(first, [VALID, ASKED, REVOKED], START),
                await writer.write(again, [VALID, ASKED], START),
                await writer.write([], [REVOKED, VALID], START),
            ]
        told.append([Written(one.new, dict(one.keys)) for one in answers])
        kept.append(await stored(store))
        await store.close()

    assert told[0] == told[1]
    assert [len(one.new) for one in told[1]] == [4, 1, 0]
    assert told[1][0].keys == {VALID: False, ASKED: True}
    assert kept[0] == kept[1]
    assert len(kept[1]) == 5


class Interrupted(sqlite3.Connection):
    """A connection at whose side something happens once the keys were looked at."""

    then: str | None = None

    def execute(self, *asked: Any) -> Any:
        found = super().execute(*asked)
        if self.then is None or "json_group_object" not in asked[0]:
            return found
        rows_found, then, self.then = list(found), self.then, None
        super().execute(then)
        return rows_found


async def test_a_key_that_ends_between_the_look_and_the_insert_stores_nothing(
    store: Store,
) -> None:
    group = some(VALID, ASKED, None)
    with closing(sqlite3.connect(store.path, factory=Interrupted)) as connection:
        connection.isolation_level = None
        prepare_sqlite(connection)
        connection.execute(QUEUE)
        connection.then = END_OF_VALID

        written = write_group(connection, group, [VALID, ASKED], START)

    assert written.new == {group[1].report_id, group[2].report_id}
    assert written.keys == {ASKED: True}
    assert len(await stored(store)) == 2


async def test_killed_while_it_rests_the_next_group_goes_to_another(
    store: Store, writer: SqliteWriterApart, caplog: pytest.LogCaptureFixture
) -> None:
    first = pid_of(writer)
    os.kill(first, signal.SIGKILL)

    written = await writer.write(some(None, None), [], START)

    assert len(written.new) == len(await stored(store)) == 2
    assert pid_of(writer) != first
    assert "ended by signal 9; the reports go to another" in caplog.text


async def test_killed_with_a_group_in_hand_the_group_is_written_once(
    store: Store, writer: SqliteWriterApart
) -> None:
    first = pid_of(writer)
    # It has the group before it, and does not come to it.
    os.kill(first, signal.SIGSTOP)
    writing = asyncio.create_task(writer.write(some(None, VALID), [VALID], START))
    done, _ = await asyncio.wait({writing}, timeout=0.3)
    assert not done
    os.kill(first, signal.SIGKILL)

    written = await writing

    assert len(written.new) == len(await stored(store)) == 2


async def test_killed_between_commit_and_answer_the_group_is_there_once(
    store: Store, writer: SqliteWriterApart
) -> None:
    line = writer._process._line
    assert line is not None
    ask = line.ask

    async def lost(message: bytes) -> object:
        await ask(message)
        raise ConnectionResetError("killed before it could answer")

    line.ask = lost  # type: ignore[method-assign]  # the answer is lost on its way
    group = some(None, None)

    written = await writer.write(group, [], START)

    assert written.new == set()
    assert len(await stored(store)) == 2


async def test_one_that_dies_each_time_is_trouble_of_the_store_and_passes(
    store: Store, writer: SqliteWriterApart, monkeypatch: pytest.MonkeyPatch
) -> None:
    group = some(None)
    os.kill(pid_of(writer), signal.SIGKILL)
    with monkeypatch.context() as patch:
        patch.setattr("sys.executable", "/bin/false")
        with pytest.raises(StoreTrouble, match="ended with code 1"):
            await writer.write(group, [], START)
        patch.setattr("sys.executable", "/nowhere/python")
        with pytest.raises(StoreTrouble, match="No such file"):
            await writer.write(group, [], START)

    assert len((await writer.write(group, [], START)).new) == 1
    assert len(await stored(store)) == 1


async def test_a_file_that_cannot_be_opened_is_trouble_of_the_store_and_passes(
    tmp_path: Path,
) -> None:
    path = tmp_path / "store.sqlite3"
    path.mkdir()
    group, store = some(None), open_store(sqlite_url(path))
    async with SqliteWriterApart(store) as writer:
        with pytest.raises(StoreTrouble, match="unable to open database file"):
            await writer.write(group, [], START)
        pid = pid_of(writer)
        path.rmdir()
        await (await filled(path)).close()

        written = await writer.write(group, [], START)

        assert len(written.new) == 1
        assert pid_of(writer) == pid
    await store.close()


async def test_what_the_database_refuses_is_told_with_its_place(
    store: Store, writer: SqliteWriterApart
) -> None:
    (good,) = some(None)
    of_nobody = NewReport("x", 99, None, START, "{}")

    with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY") as caught:
        await writer.write([good, of_nobody], [], START)

    assert "write_group" in caught.value.__notes__[0]
    assert await stored(store) == []
    assert (await writer.write([good], [], START)).new == {good.report_id}


async def test_who_is_cancelled_leaves_no_answer_to_the_next(
    store: Store, writer: SqliteWriterApart
) -> None:
    first = pid_of(writer)
    os.kill(first, signal.SIGSTOP)
    writing = asyncio.create_task(writer.write(some(None), [], START))
    done, _ = await asyncio.wait({writing}, timeout=0.3)
    assert not done
    writing.cancel()
    with pytest.raises(asyncio.CancelledError):
        await writing
    group = some(None, None)

    written = await writer.write(group, [], START)

    assert written.new == {one.report_id for one in group}
    assert is_gone(first)


async def test_signals_that_end_a_service_leave_it_to_the_service_to_end_it(
    store: Store,
) -> None:
    async with SqliteWriterApart(store) as writer:
        await writer.write([], [], START)
        pid = pid_of(writer)
        for sent in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            os.kill(pid, sent)

        written = await writer.write(some(None), [], START)

        assert len(written.new) == 1
        assert pid_of(writer) == pid
    assert is_gone(pid)


async def test_one_that_does_not_end_is_killed(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fadewatch_collector.store.report_process.END_S", 0.1)
    async with SqliteWriterApart(store) as writer:
        await writer.write([], [], START)
        pid = pid_of(writer)
        os.kill(pid, signal.SIGSTOP)
    assert is_gone(pid)


async def test_an_intake_stores_by_it_and_a_poisoned_request_costs_no_other(
    services: Services,
) -> None:
    laptop_id = await new_laptop(services)
    writer = SqliteWriterApart(services.store)
    intake = Intake(services, lambda: None, writer=writer)
    requests = [
        asyncio.ensure_future(
            intake.store(
                999_999 if n == 2 else laptop_id,
                [received(make_report(START + timedelta(hours=n)))],
            )
        )
        for n in range(5)
    ]
    await asyncio.sleep(0)
    intake.close()
    await intake.run()

    answers = await asyncio.gather(*requests, return_exceptions=True)

    assert [n for n, one in enumerate(answers) if isinstance(one, Exception)] == [2]
    assert len(await rows(services, select(reports.c.report_id))) == 4
