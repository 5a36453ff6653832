"""Clocks that are years off, on either side: every report is stored once, in time."""

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.faults.agents import by_another_clock, new_agent
from tests.faults.ledger import kept_by
from tests.faults.wire import unharmed, wire_to
from tests.processes import CollectorProcess, new_collector

YEARS = 3653
"""Ten years [day]."""


def lost_when_stored(answer: bytes) -> bytes | None:
    """Lose what is said of reports; an agent in doubt asks for the time before."""
    return None if b'"stored"' in answer else answer


@contextmanager
def running(collector: CollectorProcess, days: int) -> Iterator[None]:
    """Run a collector whose clock is some days off."""
    program = by_another_clock(days, "fadewatch_collector.__main__")
    process = collector.start(program=(*program, "serve"))
    try:
        yield
    finally:
        process.terminate()
        process.wait(30)


@pytest.mark.timeout(240)
@pytest.mark.parametrize(
    ("theirs", "ours"), [(0, (-YEARS, YEARS)), (YEARS, (0, -YEARS))]
)
def test_reports_of_wrong_clocks_are_stored_once_and_in_the_collectors_time(
    tmp_path: Path, theirs: int, ours: tuple[int, ...]
) -> None:
    collector = new_collector(tmp_path)
    now = datetime.now(UTC) + timedelta(days=theirs)
    with running(collector, theirs), wire_to(collector.port) as wire:
        tokens = by_another_clock(theirs, "fadewatch_collector.__main__")
        token = subprocess.run(
            [*tokens, "token", "new", "--label", "t", "--uses", "9"],
            env=collector.environment(),
            capture_output=True,
            text=True,
            check=True,
        ).stdout.strip()
        for number, days in enumerate(ours):
            agent = new_agent(tmp_path, number, wire.url, token)
            program = by_another_clock(days, "fadewatch_agent.__main__")
            assert agent.run(program=program)[0] == 0
            # One more whose answer is lost, so that it is sent twice.
            wire.fault = lost_when_stored
            assert agent.run(program=program)[0] == 4
            wire.fault = unharmed
            code, said = agent.run(program=program)
            assert (code, agent.waiting()) == (0, []), said
    kept = kept_by(collector.store)

    assert wire.ledger.problems(kept) == []
    assert wire.ledger.sent == wire.ledger.answered == set(kept.reports)
    assert len(kept.reports) == 3 * len(ours)
    assert len(wire.ledger.duplicate) == len(ours)
    for moment in kept.moments:
        assert abs(moment - now) < timedelta(hours=1), moment
