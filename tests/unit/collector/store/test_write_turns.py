"""Turns at writing to one SQLite file; two of them stand for two processes."""

import asyncio
from collections.abc import Iterator
from pathlib import Path

import pytest

from fadewatch_collector.store import write_turns
from fadewatch_collector.store.write_turns import WriteTurns


@pytest.fixture
def three(tmp_path: Path) -> Iterator[list[WriteTurns]]:
    made = [WriteTurns(tmp_path / "store.sqlite3") for _ in range(3)]
    yield made
    for one in made:
        one.close()


async def test_who_writes_without_a_pause_lets_the_other_in_after_each_write(
    three: list[WriteTurns],
) -> None:
    order: list[str] = []

    async def write_often(name: str, turns: WriteTurns) -> None:
        for _ in range(20):
            async with turns.turn():
                order.append(name)
                await asyncio.sleep(0)

    await asyncio.gather(
        write_often("intake", three[0]), write_often("filing", three[1])
    )

    assert order[:39] == ["intake", "filing"] * 19 + ["intake"]


async def write(turns: WriteTurns) -> None:
    async with turns.turn():
        pass


async def test_one_at_a_time_has_the_turn(three: list[WriteTurns]) -> None:
    first, second, _ = three
    async with first.turn():
        waiting = asyncio.create_task(write(second))
        done, _ = await asyncio.wait([waiting], timeout=0.05)
        assert done == set()
    await waiting


async def test_a_writer_that_never_ends_stops_nobody_for_ever(
    three: list[WriteTurns], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(write_turns, "PATIENCE_S", 0.02)
    first, second, _ = three
    async with first.turn():
        waiting = asyncio.create_task(write(second))
        done, _ = await asyncio.wait([waiting], timeout=10)
        assert done == {waiting}


async def test_who_gives_up_waiting_leaves_the_doorway(three: list[WriteTurns]) -> None:
    first, second, third = three
    async with first.turn():
        waiting = asyncio.create_task(write(second))
        await asyncio.sleep(0)
        waiting.cancel()
        await asyncio.wait([waiting])
    async with asyncio.timeout(1), third.turn():
        pass


async def test_without_room_for_the_locks_writing_goes_on(tmp_path: Path) -> None:
    async with WriteTurns(tmp_path / "no folder" / "store.sqlite3").turn():
        pass
