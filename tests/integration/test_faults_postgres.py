"""PostgreSQL restarted, and gone for a while: reports wait in queues, none is lost."""

import asyncio
import os
import signal
import time
from pathlib import Path

import pytest

from fadewatch_agent import cli
from tests.faults.agents import new_agent
from tests.faults.ledger import kept_by
from tests.faults.wire import wire_to
from tests.integration.postgres import PostgresServer, running_postgres
from tests.processes import new_collector


def stop_at_once(server: PostgresServer) -> None:
    """End the server as a power cut would, its children too."""
    file = server.folder / "postmaster.pid"
    os.kill(int(file.read_text().splitlines()[0]), signal.SIGQUIT)
    until = time.monotonic() + 20
    while file.exists():
        assert time.monotonic() < until, "the server does not end"
        time.sleep(0.05)


@pytest.mark.postgres
@pytest.mark.timeout(240)
def test_reports_outlive_a_database_that_goes_away_and_comes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with running_postgres() as server:
        address = asyncio.run(server.empty_database())
        monkeypatch.setenv("FADEWATCH_DATABASE_URL", address)
        collector = new_collector(tmp_path)
        with collector.running() as process, wire_to(collector.port) as wire:
            token = collector.command("token", "new", "--label", "t", "--uses", "9")
            agent = new_agent(tmp_path, 1, wire.url, token)
            assert agent.run()[0] == cli.DONE

            stop_at_once(server)
            for _ in range(2):
                code, said = agent.run()
                assert code == cli.QUEUED, said
                assert "Traceback" not in said
            waiting = agent.waiting()
            assert len(waiting) == 2
            assert process.poll() is None

            server.start_again()
            agent.deliver_all()

            # Restarted between two reports, it costs none of them anything.
            stop_at_once(server)
            server.start_again()
            agent.deliver_all()
            assert process.poll() is None
        kept = kept_by(address)

    assert wire.ledger.problems(kept) == []
    assert set(waiting) <= set(kept.reports)
    assert wire.ledger.sent == wire.ledger.answered == set(kept.reports)
