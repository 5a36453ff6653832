"""The clock: missed rounds are made up once, and one collector runs it."""

import asyncio
from datetime import timedelta

import pytest
from sqlalchemy import text

from fadewatch_collector.jobs.clock import CATCH_UP_AFTER, keep_clock, start_clock
from fadewatch_collector.store.clock_turn import CLOCK_KEY, clock_turn
from fadewatch_collector.store.store import open_store
from fadewatch_collector.usecases.rounds import ROUNDS, Round, do_round, last_done
from fadewatch_collector.usecases.services import Services
from tests.fakes.clock import StandingClock
from tests.integration.postgres import DATABASES

# The clock itself is tested where it can be: in times of its own on SQLite, its turn on
# PostgreSQL, where several may ask for it. Every round runs on both.
POSTGRES = DATABASES[1]


async def due(services: Services) -> dict[str, timedelta]:
    """Return how long after the start each round would be done first."""
    scheduler = await start_clock(services)
    try:
        now = services.clock()
        return {job.id: job.next_run_time - now for job in scheduler.get_jobs()}
    finally:
        scheduler.shutdown(wait=False)


async def test_what_was_missed_is_made_up_soon_after_the_start(
    services: Services,
) -> None:
    assert set((await due(services)).values()) == {CATCH_UP_AFTER}


@pytest.mark.parametrize("database", DATABASES, indirect=True)
async def test_what_was_done_lately_waits_for_its_time(
    services: Services, clock: StandingClock
) -> None:
    for work in ROUNDS:
        await do_round(services, work)
    clock.move(timedelta(minutes=30))

    for work in ROUNDS:
        done = await last_done(services, work)
        assert done is not None
        assert services.clock() - done == timedelta(minutes=30)
    assert CATCH_UP_AFTER not in (await due(services)).values()


async def test_a_long_pause_is_made_up_once(
    services: Services, clock: StandingClock
) -> None:
    for work in ROUNDS:
        await do_round(services, work)
    clock.move(timedelta(days=9))

    first = await due(services)
    for work in ROUNDS:
        await do_round(services, work)
    second = await due(services)

    assert set(first.values()) == {CATCH_UP_AFTER}
    assert CATCH_UP_AFTER not in second.values()


async def test_a_round_in_hand_when_the_clock_stops_is_no_failure_and_is_made_up(
    services: Services,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    begun, others = asyncio.Event(), asyncio.all_tasks()

    async def without_end(_services: Services) -> int:
        begun.set()
        await asyncio.Event().wait()
        return 1

    long = Round("look-for-silent", None, without_end)
    monkeypatch.setattr("fadewatch_collector.jobs.clock.ROUNDS", (long,))
    monkeypatch.setattr("fadewatch_collector.jobs.clock.CATCH_UP_AFTER", timedelta())
    caplog.set_level("INFO")
    clock = asyncio.create_task(keep_clock(services))
    async with asyncio.timeout(20):
        await begun.wait()
    clock.cancel()
    with pytest.raises(asyncio.CancelledError):
        await clock
    await asyncio.wait(asyncio.all_tasks() - others, timeout=20)

    assert "look-for-silent was broken off" in caplog.text
    assert [one for one in caplog.records if one.levelname == "ERROR"] == []
    assert await last_done(services, long) is None


async def test_on_sqlite_the_clock_is_always_ours(services: Services) -> None:
    async with clock_turn(services.store) as lost:
        assert lost is not None
        assert not lost.is_set()


@pytest.mark.parametrize("database", [POSTGRES], indirect=True)
async def test_one_collector_runs_the_clock_and_another_takes_over(
    services: Services,
) -> None:
    other = open_store(services.settings.store_url)
    try:
        async with clock_turn(services.store) as ours:
            assert ours is not None
            async with clock_turn(other) as theirs:
                assert theirs is None
        async with clock_turn(other) as theirs:
            assert theirs is not None
    finally:
        await other.close()


@pytest.mark.parametrize("database", [POSTGRES], indirect=True)
async def test_a_holder_whose_connection_dies_gives_the_clock_up(
    services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fadewatch_collector.store.clock_turn.LOOK_S", 0.05)
    other = open_store(services.settings.store_url)
    kill = text(
        "SELECT pg_terminate_backend(pid) FROM pg_locks WHERE locktype = 'advisory'"
    )
    try:
        async with clock_turn(services.store) as lost:
            assert lost is not None
            async with other.engine.connect() as connection:
                await connection.execute(kill)
            await lost.wait()
            async with clock_turn(other) as theirs:
                assert theirs is not None
    finally:
        await other.close()


@pytest.mark.parametrize("database", [POSTGRES], indirect=True)
async def test_a_holder_that_falls_silent_loses_the_clock_to_another(
    services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As one does whose machine froze or vanished: its connection stays open."""
    where = "fadewatch_collector.store.clock_turn"
    monkeypatch.setattr(f"{where}.LOOK_S", 60)
    monkeypatch.setattr(
        f"{where}._SERVER_SETTINGS",
        {"idle_session_timeout": "200ms", "no_such_setting": "1"},
    )
    other = open_store(services.settings.store_url)
    try:
        async with clock_turn(services.store) as ours:
            assert ours is not None
            # A waiting lock of the same number: it comes when the clock is free.
            async with asyncio.timeout(20), other.engine.connect() as connection:
                await connection.execute(
                    text("SELECT pg_advisory_lock(:key)"), {"key": CLOCK_KEY}
                )
    finally:
        await other.close()


async def test_a_round_that_was_just_done_elsewhere_is_not_done_again(
    services: Services, clock: StandingClock
) -> None:
    done: list[int] = []

    async def work(_services: Services) -> int:
        done.append(1)
        return 1

    for minutes in (0, 5, 60):
        clock.move(timedelta(minutes=minutes))
        await do_round(services, Round("counted", None, work))

    assert len(done) == 2
