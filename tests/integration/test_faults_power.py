"""A power cut at any moment: what was accepted is there, and what is there is whole.

The real programs run under strace; `tests/faults/power.py` says what the disk may hold
after a cut, and names the limits of that.
"""

import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path

import pytest

from fadewatch_agent.spool import Spool
from tests.fakes.collector_server import collector_server
from tests.faults.agents import AgentProcess, new_agent
from tests.faults.power import Change, Disk, changes, words
from tests.processes import BIN, new_collector

CUTS = 400 if "FADEWATCH_LONG" in os.environ else 100
"""Moments of a cut, about; many in a long run."""

pytestmark = [
    pytest.mark.timeout(300),
    pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not here"),
]


def can_trace(folder: Path) -> None:
    done = subprocess.run(
        [*words(folder / "try"), "true"], capture_output=True, check=False
    )
    if done.returncode:
        pytest.skip("programs cannot be traced here")


def laid_out(files: dict[str, bytes], folder: Path, into: Path) -> Path:
    """Write what a disk holds after a cut into a new folder."""
    shutil.rmtree(into, ignore_errors=True)
    for path, content in files.items():
        if path.endswith("-shm"):
            continue
        file = into / Path(path).relative_to(folder)
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    return into


def test_an_agents_queue_outlives_power_cuts(tmp_path: Path) -> None:
    can_trace(tmp_path)
    done: list[Change] = []
    with collector_server() as server:
        agent = new_agent(tmp_path, 1, server.url, "word")
        assert agent.run()[0] == 0
        server.answer = lambda _: None
        start = {
            str(file): file.read_bytes()
            for file in agent.state.iterdir()
            if file.is_file()
        }
        for number in range(3):
            trace = tmp_path / f"trace-{number}"
            program = (*words(trace), str(BIN / "fadewatch-agent"))
            code, said = agent.run(program=program)
            assert code == 4, said
            # The run has ended: from here on its report counts as accepted.
            done += [*changes(trace, agent.state), Change("say", agent.waiting()[-1])]
    assert sum(change.what == "sync" for change in done) >= 6

    assert cuts_that_lost(agent, start, done, tmp_path) == []
    # A program that does not sync is found out by the same cuts.
    careless = [change for change in done if change.what != "sync"]
    assert cuts_that_lost(agent, start, careless, tmp_path) != []


def a_disk_with(start: dict[str, bytes]) -> Disk:
    """Return a disk on which files are sure."""
    disk = Disk()
    for path, content in start.items():
        disk.do(Change("make", path))
        disk.do(Change("write", path, 0, content))
        disk.do(Change("sync", path))
    return disk


def cuts_that_lost(
    agent: AgentProcess, start: dict[str, bytes], done: list[Change], folder: Path
) -> list[str]:
    """Cut the power at many moments; say what each cut lost or left in pieces."""
    chance = random.Random(7)  # noqa: S311  where to cut, no secret
    disk, accepted, found = a_disk_with(start), list[str](), list[str]()
    every = max(1, len(done) * 4 // CUTS)
    for place, change in enumerate(done):
        disk.do(change)
        if change.what == "say" and change.path:
            accepted.append(change.path)
        for _ in range(4 if place % every == 0 else 0):
            after = laid_out(disk.cut(chance), agent.state, folder / "after")
            problem = what_is_wrong(after, accepted)
            if problem:
                found.append(f"after {place} ({change.what}): {problem}")
    return found


def what_is_wrong(state: Path, accepted: list[str]) -> str | None:
    try:
        with Spool(state / "spool.sqlite", 5_000) as spool:
            waiting = [row.report_id for row in spool.waiting(500, 10**9)]
        # A state file is the old one or the new one, never a part.
        last = json.loads((state / "state.json").read_bytes())
        key = json.loads((state / "enrolment.json").read_bytes())["key"]
    except (sqlite3.Error, ValueError, OSError) as error:
        return repr(error)
    if waiting[: len(accepted)] != accepted:
        return f"{waiting} in place of {accepted}"
    return None if isinstance(last, dict) and key else "no state or key"


def test_what_a_collector_has_answered_outlives_power_cuts(tmp_path: Path) -> None:
    can_trace(tmp_path)
    collector = new_collector(tmp_path)
    with collector.running():
        token = collector.command("token", "new", "--label", "t", "--uses", "9")
    trace = tmp_path / "trace"
    start = {
        str(file): file.read_bytes()
        for file in collector.folder.iterdir()
        if file.is_file()
    }
    process = collector.start(
        program=(*words(trace), str(BIN / "fadewatch-collector"), "serve")
    )
    try:
        for number in range(2):
            agent = new_agent(tmp_path, number, collector.url, token)
            assert [agent.run()[0] for _ in range(3)] == [0, 0, 0]
    finally:
        traced = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text()
        os.kill(int(traced.split()[0]), signal.SIGTERM)
        process.wait(60)
    done = list(changes(trace, collector.folder))
    chance = random.Random(9)  # noqa: S311  where to cut, no secret
    disk, answered = a_disk_with(start), set[str]()
    every = max(1, len(done) * 2 // CUTS)
    for place, change in enumerate(done):
        disk.do(change)
        if change.what == "say":
            answered |= stored_in(change.data)
        for _ in range(2 if place % every == 0 or change.what == "say" else 0):
            found = laid_out(disk.cut(chance), collector.folder, tmp_path / "after")
            with closing(sqlite3.connect(found / collector.store.name)) as store:
                assert store.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
                rows = store.execute("SELECT report_id FROM reports").fetchall()
            assert answered <= {row[0] for row in rows}, (place, change.what)
    assert len(answered) == 6


def stored_in(answer: bytes) -> set[str]:
    """Return the ids that an answer calls stored."""
    head, _, body = answer.partition(b"\r\n\r\n")
    if not head.startswith(b"HTTP/1.1 200") or b'"results"' not in body:
        return set()
    return {one["report_id"] for one in json.loads(body)["results"]}
