"""A full disk and a read-only one, on both sides: nothing accepted is lost."""

import asyncio
import subprocess
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import aiohttp
import pytest

from fadewatch_agent import cli
from tests.fakes.collector_server import CollectorServer, collector_server
from tests.faults.agents import new_agent
from tests.faults.ledger import kept_by
from tests.faults.mounts import Disk, NoMount, mounted
from tests.faults.senders import Senders
from tests.processes import BIN, CollectorProcess, free_port

Mount = Callable[[str, str], Disk]


@pytest.fixture
def mount(tmp_path: Path) -> Iterator[Mount]:
    with ExitStack() as stack:

        def make(name: str, size: str) -> Disk:
            try:
                return stack.enter_context(mounted(tmp_path / name, size))
            except NoMount as problem:
                pytest.skip(str(problem))

        yield make


@pytest.fixture
def server() -> Iterator[CollectorServer]:
    with collector_server() as told:
        yield told


def test_an_agent_on_a_full_disk_keeps_its_queue_and_goes_on_when_there_is_room(
    mount: Mount, server: CollectorServer, tmp_path: Path
) -> None:
    disk = mount("laptop-1", "1m")
    (disk.folder / "state").mkdir()
    agent = new_agent(tmp_path, 1, server.url, "word-for-the-lab")
    server.answer = lambda _: None
    assert agent.run()[0] == cli.QUEUED
    before = agent.waiting()
    disk.fill()

    code, said = agent.run()

    assert (code, "Traceback" in said) == (cli.FAILED, False), said
    assert "full" in said or "No space left" in said
    assert agent.waiting() == before
    assert not agent.was_damaged()

    disk.empty()
    server.answer = CollectorServer().answer
    server.heard.clear()
    assert agent.run()[0] == cli.DONE
    assert server.heard_ids()[0] == before[0]
    assert agent.waiting() == []


@pytest.mark.parametrize("room", range(0, 40_960, 4_096))
def test_an_agent_survives_whatever_little_room_is_left(
    mount: Mount, server: CollectorServer, tmp_path: Path, room: int
) -> None:
    disk = mount("laptop-1", "1m")
    (disk.folder / "state").mkdir()
    agent = new_agent(tmp_path, 1, server.url, "word-for-the-lab")
    server.answer = lambda _: None
    assert cli.main(agent.words()) == cli.QUEUED
    before = agent.waiting()
    disk.fill(leave=room)

    code = cli.main(agent.words())

    assert code in {cli.FAILED, cli.QUEUED}
    after = agent.waiting()
    assert after[: len(before)] == before
    assert len(after) == len(before) + (code == cli.QUEUED) or code == cli.FAILED
    disk.empty()
    server.answer = CollectorServer().answer
    assert cli.main(agent.words()) == cli.DONE
    assert set(after) <= set(server.heard_ids())


def test_an_agent_whose_folder_is_read_only_says_so(
    mount: Mount, server: CollectorServer, tmp_path: Path
) -> None:
    disk = mount("laptop-1", "1m")
    (disk.folder / "state").mkdir()
    agent = new_agent(tmp_path, 1, server.url, "word-for-the-lab")
    server.answer = lambda _: None
    assert agent.run()[0] == cli.QUEUED
    before = agent.waiting()
    disk.read_only(on=True)
    code, said = agent.run()
    disk.read_only(on=False)

    assert (code, "Traceback" in said) == (cli.FAILED, False), said
    assert "ead-only" in said or "readonly" in said
    assert agent.waiting() == before


@pytest.mark.timeout(180)
def test_a_collector_on_a_full_disk_asks_to_come_back_and_loses_nothing(
    mount: Mount,
) -> None:
    disk = mount("data", "6m")
    collector = CollectorProcess(disk.folder, free_port())
    with collector.running() as process:
        senders = Senders(collector)
        asyncio.run(_fill_and_free(senders, disk))
        assert process.poll() is None
    kept = kept_by(collector.store)

    assert senders.ledger.problems(kept) == []
    assert senders.ledger.answered == set(kept.reports)
    assert senders.faults
    assert {fault[:3] for fault in senders.faults} == {"503"}, senders.faults[:3]


async def _fill_and_free(senders: Senders, disk: Disk) -> None:
    async with aiohttp.ClientSession() as session:
        await senders.enrol(session, 20)
        reports = senders.reports()
        assert await senders.post(session, *next(reports))
        disk.fill()
        for _ in range(300):
            if not await senders.post(session, *next(reports)):
                break
        refused = [next(reports) for _ in range(20)]
        for one in refused:
            await senders.post(session, *one)
        disk.empty()
        # What was asked to come back comes back.
        for one in refused:
            assert await senders.post(session, *one), senders.faults[-1]


def test_a_collector_whose_folder_is_read_only_ends_with_a_sentence(
    mount: Mount,
) -> None:
    disk = mount("data", "6m")
    collector = CollectorProcess(disk.folder, free_port())
    with collector.running():
        pass
    disk.read_only(on=True)

    ended = subprocess.run(
        [BIN / "fadewatch-collector", "serve"],
        env=collector.environment(),
        capture_output=True,
        text=True,
        timeout=50,
        check=False,
    )

    assert ended.returncode == 1
    assert "Traceback" not in ended.stderr
    assert "read-only" in ended.stderr.lower()
