"""A short form of ``python -m tests.faults.kill_rounds``; figures are in DEVELOPERS.md."""

from pathlib import Path

import pytest

from tests.faults.kill_rounds import AGENTS, run


@pytest.mark.timeout(300)
def test_kill_9_of_agents_and_collector_loses_nothing_and_doubles_nothing(
    tmp_path: Path,
) -> None:
    rig = run(tmp_path, rounds=2, seed=20261126, name="sqlite")

    assert rig.counts["agent killed"] + rig.counts["collector killed"] >= 1
    assert rig.counts["reports"] >= AGENTS
    assert len(rig.wire.ledger.sent) == rig.counts["reports"]
