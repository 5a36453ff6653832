"""The queue's file damaged in many ways: set aside, told of, and a new one begun.

Whatever the damage, no run ends with anything but a known exit code and a sentence, the
reading of that very run is delivered, and the one after it is too.
"""

import random
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from fadewatch_agent import cli
from tests.fakes.collector_server import CollectorServer, collector_server, store_all
from tests.faults.agents import AgentProcess, new_agent

PAGE = 4096


def flipped(seed: int, count: int) -> Callable[[bytes], bytes]:
    """Turn some bits round, where chance says."""

    def damage(content: bytes) -> bytes:
        chance = random.Random(seed)  # noqa: S311  where to damage, no secret
        spoilt = bytearray(content)
        for _ in range(count):
            spoilt[chance.randrange(len(spoilt))] ^= 1 << chance.randrange(8)
        return bytes(spoilt)

    return damage


def page_of(byte: int, number: int) -> Callable[[bytes], bytes]:
    """Fill one page."""

    def damage(content: bytes) -> bytes:
        start = min(number * PAGE, len(content) - PAGE)
        return content[:start] + bytes([byte]) * PAGE + content[start + PAGE :]

    return damage


DAMAGES: dict[str, Callable[[bytes], bytes]] = {
    "empty": lambda _: b"",
    "one byte": lambda _: b"S",
    "cut in its first page": lambda content: content[:100],
    "cut in a page": lambda content: content[:-1000],
    "cut by a page": lambda content: content[:-PAGE],
    "only its first page": lambda content: content[:PAGE],
    "grown": lambda content: content + b"x" * 5000,
    "zeroed": lambda content: bytes(len(content)),
    "text": lambda _: b"<html>not a queue</html>" * 500,
    "another file": lambda _: b'{"state": 1}',
    "header alone": lambda content: content[:16] + bytes(84),
    "doubled": lambda content: content * 2,
    "no longer aligned": lambda content: content[1:],
    **{f"page {n} zeroed": page_of(0, n) for n in range(4)},
    **{f"page {n} full of ones": page_of(255, n) for n in range(4)},
    **{
        f"{count} bits, seed {seed}": flipped(seed, count)
        for seed in range(4)
        for count in (1, 30, 2_000)
    },
}


@pytest.fixture(scope="module")
def server() -> Iterator[CollectorServer]:
    with collector_server() as told:
        yield told


@pytest.fixture(scope="module")
def queued(
    tmp_path_factory: pytest.TempPathFactory, server: CollectorServer
) -> AgentProcess:
    """An agent with a queue of some pages, to be copied."""
    agent = new_agent(tmp_path_factory.mktemp("queued"), 1, server.url, "word")
    assert cli.main(agent.words()) == cli.DONE
    server.answer = lambda _: None
    for _ in range(12):
        assert cli.main(agent.words()) == cli.QUEUED
    assert agent.spool.stat().st_size >= 5 * PAGE
    return agent


@pytest.mark.parametrize("name", DAMAGES)
def test_a_damaged_queue_never_stops_the_next_reading(
    queued: AgentProcess,
    server: CollectorServer,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    name: str,
) -> None:
    shutil.copytree(queued.folder, tmp_path / "own")
    agent = AgentProcess(tmp_path / "own", server.url)
    content = agent.spool.read_bytes()
    agent.spool.write_bytes(DAMAGES[name](content))
    server.answer = store_all
    server.heard.clear()

    codes = [cli.main(agent.words()) for _ in range(2)]

    said = capsys.readouterr().err
    assert codes == [cli.DONE, cli.DONE], said
    told = [remark for post in server.heard for remark in remarks_of(post.body)]
    if agent.was_damaged():
        assert any("queue file damaged and begun anew" in one for one in told)
        # What was set aside is kept as it was found, for whoever can read it.
        assert agent.spool.with_name("spool.sqlite.damaged").stat().st_size > 0
    assert len(set(server.heard_ids())) >= 2
    assert agent.waiting() == []


def remarks_of(body: dict[str, list[dict[str, list[str]]]]) -> list[str]:
    return [one for report in body["reports"] for one in report.get("remarks", [])]


def test_a_folder_in_the_place_of_the_queue_is_named(
    server: CollectorServer, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    agent = new_agent(tmp_path, 2, server.url, "word")
    agent.spool.mkdir(parents=True)

    assert cli.main(agent.words()) == cli.FAILED

    assert "queue" in capsys.readouterr().err


@pytest.mark.parametrize(
    "content", [b"", b"\0" * 600, b"junk" * 400, b"\xd9\xd5\x05\xf9" * 99]
)
def test_a_journal_of_somebody_elses_does_no_harm(
    queued: AgentProcess, server: CollectorServer, tmp_path: Path, content: bytes
) -> None:
    shutil.copytree(queued.folder, tmp_path / "own")
    agent = AgentProcess(tmp_path / "own", server.url)
    before = agent.waiting()
    agent.spool.with_name("spool.sqlite-journal").write_bytes(content)
    server.answer = store_all
    server.heard.clear()

    assert cli.main(agent.words()) == cli.DONE

    assert set(before) <= set(server.heard_ids()) or agent.was_damaged()
