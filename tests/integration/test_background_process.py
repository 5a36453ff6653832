"""The process that works behind intake: it and the service end, die and come back."""

import asyncio
import fcntl
import os
import re
import signal
import subprocess
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import aiohttp
import pytest
from prometheus_client.parser import text_string_to_metric_families

from tests.faults.ledger import kept_by
from tests.faults.senders import Senders
from tests.processes import (
    BACKGROUND,
    WRITER,
    CollectorProcess,
    children_of,
    free_port,
    new_collector,
    signal_all,
)

LAPTOPS = 100
"""Each may send sixty reports at once before it is told to wait."""
WITHIN_S = 40.0

pytestmark = pytest.mark.timeout(120)


@pytest.fixture
def collector(tmp_path: Path) -> CollectorProcess:
    metrics = f"127.0.0.1:{free_port()}"
    return new_collector(tmp_path, {"METRICS_ADDRESS": metrics, "LOG_LEVEL": "INFO"})


async def until(is_so: Callable[[], bool], what: str) -> None:
    began = time.monotonic()
    while not is_so():
        assert time.monotonic() - began < WITHIN_S, what
        await asyncio.sleep(0.05)


async def until_more(senders: Senders, count: int) -> None:
    wanted = len(senders.ledger.answered) + count
    await until(lambda: len(senders.ledger.answered) >= wanted, "no load")


def is_alive(pid: int) -> bool:
    try:
        return ") Z " not in Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return False


async def child_of(process: subprocess.Popen[bytes], what: str = BACKGROUND) -> int:
    await until(lambda: bool(children_of(process.pid, what)), f"there is no {what}")
    (child,) = children_of(process.pid, what)
    return child


@asynccontextmanager
async def sending(
    collector: CollectorProcess,
) -> AsyncIterator[tuple[Senders, aiohttp.ClientSession]]:
    senders = Senders(collector)
    async with aiohttp.ClientSession() as session:
        await senders.enrol(session, LAPTOPS)
        yield senders, session


def is_all_filed(collector: CollectorProcess, senders: Senders) -> bool:
    kept = kept_by(collector.store)
    return kept.waiting == 0 and kept.readings == len(senders.ledger.answered)


def log_of(collector: CollectorProcess) -> str:
    return collector.log.read_text()


async def metrics_of(collector: CollectorProcess) -> dict[str, float]:
    url = f"http://{collector.settings['METRICS_ADDRESS']}/metrics"
    async with aiohttp.ClientSession() as session, session.get(url) as answer:
        return {
            sample.name: sample.value
            for family in text_string_to_metric_families(await answer.text())
            for sample in family.samples
        }


async def test_killed_under_load_it_is_back_and_every_report_is_filed_once(
    collector: CollectorProcess,
) -> None:
    with collector.running() as process:
        before = await metrics_of(collector)
        async with sending(collector) as (senders, session):
            for _ in range(2):
                child = await child_of(process)
                load = asyncio.create_task(senders.as_fast_as_it_goes(session, 2))
                await until_more(senders, 100)
                os.kill(child, signal.SIGKILL)
                await load
                assert not is_alive(child)
            await until(lambda: is_all_filed(collector, senders), "not all is filed")
        after = await metrics_of(collector)
    kept = kept_by(collector.store)

    assert senders.faults == []
    assert senders.ledger.problems(kept) == []
    assert kept.readings == len(kept.reports) == len(senders.ledger.answered)
    assert "the background process ended by signal 9" in log_of(collector)
    assert before["fadewatch_background_restarts_total"] == 0
    assert after["fadewatch_background_restarts_total"] == 2
    assert after["fadewatch_background_running"] == 1
    assert after["fadewatch_background_process_resident_memory_bytes"] > 1e7


async def test_the_writer_of_reports_killed_under_load_costs_nobody_an_answer(
    collector: CollectorProcess,
) -> None:
    with collector.running() as process:
        before = await metrics_of(collector)
        async with sending(collector) as (senders, session):
            for _ in range(3):
                load = asyncio.create_task(senders.as_fast_as_it_goes(session, 1))
                await until_more(senders, 50)
                child = await child_of(process, WRITER)
                os.kill(child, signal.SIGKILL)
                await load
                assert not is_alive(child)
            await until(lambda: is_all_filed(collector, senders), "not all is filed")
        after = await metrics_of(collector)
    kept = kept_by(collector.store)

    assert before["fadewatch_writer_restarts_total"] == 0
    assert after["fadewatch_writer_restarts_total"] == 3
    assert after["fadewatch_writer_process_resident_memory_bytes"] > 1e7
    assert senders.faults == []
    assert senders.ledger.problems(kept) == []
    assert len(kept.reports) == len(senders.ledger.answered)
    assert "writes reports ended by signal 9" in log_of(collector)


async def test_it_ends_by_itself_when_the_service_is_killed(
    collector: CollectorProcess,
) -> None:
    process = collector.start()
    child = await child_of(process)
    async with sending(collector) as (senders, session):
        await senders.as_fast_as_it_goes(session, 1)
        writer = await child_of(process, WRITER)

        process.kill()
        process.wait()

        await until(lambda: not is_alive(child), "it works on without a service")
        await until(lambda: not is_alive(writer), "it writes on without a service")
        with collector.running():
            await until(lambda: is_all_filed(collector, senders), "not all is filed")

    assert senders.ledger.problems(kept_by(collector.store)) == []


@pytest.mark.parametrize("to_both", [False, True], ids=["SIGTERM", "Ctrl-C"])
async def test_both_end_with_their_work_whole(
    collector: CollectorProcess, to_both: bool
) -> None:
    process = collector.start()
    child = await child_of(process)
    async with sending(collector) as (senders, session):
        await senders.as_fast_as_it_goes(session, 1)
    writer = await child_of(process, WRITER)

    if to_both:
        signal_all(process, signal.SIGINT)
    else:
        process.terminate()

    assert await asyncio.to_thread(process.wait, 30) == 0
    assert not is_alive(child)
    assert not is_alive(writer)
    kept = kept_by(collector.store)
    assert senders.ledger.problems(kept) == []
    assert kept.readings + kept.waiting == len(kept.reports)
    assert not re.search("ended|killed|Traceback", log_of(collector))


async def test_one_that_cannot_start_is_told_and_tried_again(
    collector: CollectorProcess,
) -> None:
    in_the_way = collector.folder / "background.lock"
    in_the_way.mkdir()
    with collector.running():
        async with sending(collector) as (senders, session):
            assert await senders.post(session, *next(senders.reports()))
            await until(
                lambda: "process ended with code 1; starting it" in log_of(collector),
                "nothing is told",
            )
            assert "IsADirectoryError" in log_of(collector)
            # It takes reports all the same, and files them as soon as it can.
            assert kept_by(collector.store).waiting == 1
            in_the_way.rmdir()
            await until(lambda: is_all_filed(collector, senders), "not all is filed")


async def test_it_waits_for_the_one_of_the_service_before(
    collector: CollectorProcess,
) -> None:
    with (collector.folder / "background.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        with collector.running():
            async with sending(collector) as (senders, session):
                assert await senders.post(session, *next(senders.reports()))
                await until(
                    lambda: "still works on the store" in log_of(collector),
                    "nothing is told",
                )
                assert kept_by(collector.store).waiting == 1
                fcntl.flock(lock, fcntl.LOCK_UN)
                await until(
                    lambda: is_all_filed(collector, senders), "not all is filed"
                )
