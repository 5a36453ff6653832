"""First start and hard times: lost answers, renewed keys, wrong clocks, suspension."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path
from typing import Any

import pytest

from fadewatch_agent import cli
from fadewatch_agent.clock import Ticks
from fadewatch_agent.configuration import Settings
from fadewatch_agent.delivery import Patience
from fadewatch_agent.errors import UnusableSpool
from fadewatch_agent.reading import Moment
from fadewatch_agent.reporting import Result, Surroundings, report
from fadewatch_agent.system import saved_tree
from tests.fakes.collector_server import (
    CollectorServer,
    Heard,
    Say,
    collector_server,
    problem,
    results,
    store_all,
)
from tests.unit.agent.laptops import HEALTHY, empty_tree, supply

YEARS = timedelta(days=26 * 365)


@pytest.fixture
def collector() -> Iterator[CollectorServer]:
    with collector_server() as server:
        yield server


@dataclass
class Agent:
    """An agent whose clock, start and chance a test sets."""

    folder: Path
    collector: CollectorServer
    now: datetime
    ticks: Ticks | None = None

    @property
    def state(self) -> Path:
        return self.folder / "state"

    def settings(self) -> Settings:
        return Settings(
            collector=self.collector.url,
            token_file=self.folder / "token",
            state=self.state,
        )

    def report(self, pauses: list[float] | None = None, spread: float = 0) -> Result:
        waits = [] if pauses is None else pauses
        patience = Patience(0, waits.append, lambda most: most / 2)
        moment = Moment(self.now, int.from_bytes(os.urandom(9)), self.ticks)
        machine = saved_tree(self.folder / "tree")
        return report(self.settings(), Surroundings(machine, moment, patience, spread))

    def kept(self) -> dict[str, Any]:
        told: dict[str, Any] = json.loads((self.state / "enrolment.json").read_text())
        return told


@pytest.fixture
def agent(tmp_path: Path, collector: CollectorServer) -> Agent:
    supply(empty_tree(tmp_path / "tree"), "BAT0", HEALTHY)
    (tmp_path / "token").write_text("word")
    return Agent(tmp_path, collector, datetime.now(UTC).replace(microsecond=0))


def dated(say: Say | None, ahead: timedelta) -> Say | None:
    """Let an answer carry the Date of a clock that is ahead of this machine's."""
    if say is None:
        return None
    date = format_datetime(datetime.now(UTC) + ahead, usegmt=True)
    return Say(say.status, say.body, say.kind, say.headers | {"Date": date})


def reports_heard(collector: CollectorServer) -> list[dict[str, Any]]:
    posts = [h for h in collector.heard if h.path.endswith("/reports")]
    return [report for post in posts for report in post.body["reports"]]


def test_a_laptop_waits_at_random_before_it_enrols_and_never_after(
    agent: Agent,
) -> None:
    first: list[float] = []
    later: list[float] = []

    agent.report(first, spread=120)
    agent.report(later, spread=120)

    assert (first, later) == ([60.0], [])


def test_an_enrolment_whose_answer_is_lost_is_asked_again_by_its_name(
    agent: Agent, collector: CollectorServer
) -> None:
    collector.answer = lambda _: None
    agent.report()
    collector.answer = store_all
    agent.report()

    asked = [h.body["attempt"] for h in collector.heard if h.path.endswith("/enrol")]
    assert len(asked) == 2
    assert asked[0] == asked[1]
    assert len(asked[0]) == 32
    assert not (agent.state / "attempt.json").exists()


def renewing(heard: Heard) -> Say | None:
    """Ask for a renewal until a new key is used."""
    if heard.path.endswith("/key"):
        return Say(201, b'{"key": "key-2"}')
    if heard.path.endswith("/reports") and heard.headers["Authorization"].endswith(
        "417"
    ):
        told = json.loads(results("stored", heard.report_ids).body)
        return Say(200, json.dumps(told | {"renew_key": True}).encode())
    return store_all(heard)


def test_a_key_is_renewed_when_the_collector_asks(
    agent: Agent, collector: CollectorServer
) -> None:
    collector.answer = renewing

    assert agent.report().obstacle is None

    kept = agent.kept()
    assert (kept["key"], kept["next_key"]) == ("key-2", None)
    collector.heard.clear()
    agent.report()
    assert [h.headers["Authorization"] for h in collector.heard] == ["Bearer key-2"]


def test_a_renewal_without_an_answer_leaves_the_key_that_works(
    agent: Agent, collector: CollectorServer
) -> None:
    collector.answer = lambda h: None if h.path.endswith("/key") else renewing(h)

    assert agent.report().obstacle is None
    assert agent.kept()["key"] == "key-of-417"


def test_killed_before_a_new_key_was_used_both_are_kept_and_the_new_one_tried(
    agent: Agent, collector: CollectorServer
) -> None:
    def hangs_up_on_the_new(heard: Heard) -> Say | None:
        is_new = heard.headers.get("Authorization", "").endswith("key-2")
        return None if is_new else renewing(heard)

    collector.answer = hangs_up_on_the_new
    agent.report()
    kept = agent.kept()
    assert (kept["key"], kept["next_key"]) == ("key-of-417", "key-2")

    collector.answer = renewing
    assert agent.report().obstacle is None
    assert agent.kept()["key"] == "key-2"


def test_a_new_key_that_is_not_taken_gives_way_to_the_old_one(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    kept = agent.kept() | {"next_key": "key-lost"}
    (agent.state / "enrolment.json").write_text(json.dumps(kept))

    def refuses_the_new(heard: Heard) -> Say | None:
        is_new = heard.headers["Authorization"].endswith("key-lost")
        return problem(401, "Not known") if is_new else store_all(heard)

    collector.answer = refuses_the_new

    assert agent.report().obstacle is None
    assert (agent.kept()["key"], agent.kept()["next_key"]) == ("key-of-417", None)


def test_a_clock_that_is_years_behind_is_corrected_by_the_collectors_date(
    agent: Agent, collector: CollectorServer
) -> None:
    right = agent.now
    # Three readings without a network, a day apart, by a clock that stands in 2000.
    collector.answer = lambda _: None
    for day in range(3):
        agent.now = right - YEARS + timedelta(days=day)
        agent.ticks = Ticks("a", 86_400.0 * day)
        assert agent.report().obstacle is not None
    # Requests go out now, in real time; the collector is two days ahead of the laptop.
    collector.answer = lambda heard: dated(store_all(heard), YEARS - timedelta(days=2))
    collector.heard.clear()
    agent.now, agent.ticks = datetime.now(UTC), Ticks("a", 86_400.0 * 2 + 1)

    assert agent.report().obstacle is None

    told = reports_heard(collector)
    measured = [datetime.fromisoformat(one["measured_at"]) for one in told]
    true_now = agent.now + YEARS - timedelta(days=2)
    for one, days in zip(measured[:3], (2, 1, 0), strict=True):
        assert abs(one - (true_now - timedelta(days=days))) < timedelta(minutes=1)
    assert all("measured_at was corrected" in one["remarks"][-1] for one in told)


def test_a_doubtful_clock_is_compared_before_anything_is_sent(
    agent: Agent, collector: CollectorServer
) -> None:
    collector.answer = lambda heard: dated(store_all(heard), timedelta())
    agent.report()
    agent.now += timedelta(days=400)
    ahead = timedelta(days=-400)
    collector.answer = lambda heard: dated(store_all(heard), timedelta())
    collector.heard.clear()

    agent.report()

    first = [h.report_ids for h in collector.heard]
    assert first[0] == []
    assert len(first) == 2
    assert ahead < timedelta()


def test_a_clock_that_was_right_costs_no_further_request(
    agent: Agent, collector: CollectorServer
) -> None:
    collector.answer = lambda heard: dated(store_all(heard), timedelta())
    agent.report()
    collector.heard.clear()
    agent.now += timedelta(hours=6)

    agent.report()

    assert len(collector.heard) == 1
    assert "remarks" not in str(reports_heard(collector)[0].get("measured_at"))


def test_suspended_in_mid_delivery_everything_arrives_once(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    collector.heard.clear()
    running: list[subprocess.Popen[bytes]] = []

    def suspends(heard: Heard) -> Say | None:
        # Stored, then the lid is closed and the connection dies before the answer.
        running[0].send_signal(signal.SIGSTOP)
        return None if heard.report_ids else results("stored", [])

    collector.answer = suspends
    words = (
        f"--root={agent.folder / 'tree'}",
        f"--state={agent.state}",
        f"--collector={collector.url}",
        f"--token-file={agent.folder / 'token'}",
        "--patience=0",
    )
    running.append(
        subprocess.Popen(
            [sys.executable, "-m", "fadewatch_agent", "report", *words],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    )
    os.waitid(os.P_PID, running[0].pid, os.WSTOPPED)
    running[0].send_signal(signal.SIGCONT)

    assert running[0].wait(30) == cli.QUEUED
    (sent,) = {report_id for h in collector.heard for report_id in h.report_ids}
    collector.answer = store_all
    collector.heard.clear()
    assert agent.report().obstacle is None
    ids = [one["report_id"] for one in reports_heard(collector)]
    assert ids[0] == sent
    assert len(ids) == len(set(ids)) == 2


def test_the_resident_loop_reports_and_ends_when_it_is_asked_to(
    agent: Agent, collector: CollectorServer
) -> None:
    words = (
        f"--root={agent.folder / 'tree'}",
        f"--state={agent.state}",
        f"--collector={collector.url}",
        f"--token-file={agent.folder / 'token'}",
        "--every=15m",
    )
    with subprocess.Popen(
        [sys.executable, "-u", "-m", "fadewatch_agent", "watch", *words],
        stdout=subprocess.PIPE,
    ) as running:
        assert running.stdout is not None
        assert running.stdout.readline() == b"delivered 1\n"
        running.terminate()
        assert running.wait(20) == 0

    assert len(collector.heard_ids()) == 1


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a folder away")
def test_root_does_not_write_where_the_services_own_account_keeps_house(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.state.mkdir()
    os.chown(agent.state, 64_763, 64_763)

    with pytest.raises(UnusableSpool, match="systemctl start fadewatch-agent"):
        agent.report()

    assert list(agent.state.iterdir()) == []
    assert collector.heard == []
