"""A whole ``report`` against a collector on loopback."""

import json
import socket
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter

from fadewatch_agent import cli
from fadewatch_agent.configuration import Settings
from fadewatch_agent.delivery import Patience
from fadewatch_agent.readers.files import SystemFiles
from fadewatch_agent.readers.linux import LinuxMachine
from fadewatch_agent.reporting import Surroundings, report
from fadewatch_agent.state import only_one
from fadewatch_common import __version__
from fadewatch_common.report import Report
from tests.fakes.collector_server import (
    CollectorServer,
    Heard,
    Say,
    collector_server,
    problem,
    results,
    store_all,
)
from tests.unit.agent.laptops import (
    HEALTHY,
    MOMENT,
    block_device,
    empty_tree,
    supply,
    without,
)

KEY = "key-of-417"
ADMITTED_BY = "word-for-the-lab"


@dataclass
class Agent:
    """One laptop's agent with its own tree and state folder."""

    folder: Path
    collector: str
    capture: pytest.CaptureFixture[str]

    @property
    def state(self) -> Path:
        return self.folder / "state"

    @property
    def tree(self) -> Path:
        return self.folder / "tree"

    def settings(self) -> list[str]:
        return [
            f"--state={self.state}",
            f"--collector={self.collector}",
            f"--token-file={self.folder / 'token'}",
        ]

    def report(self, patience: float = 0) -> int:
        words = [f"--root={self.tree}", f"--patience={patience}", *self.settings()]
        return cli.main(["report", *words])

    def status(self) -> dict[str, Any]:
        self.capture.readouterr()
        assert cli.main(["status", "--json", *self.settings()]) == cli.DONE
        told: dict[str, Any] = json.loads(self.capture.readouterr().out)
        return told


@pytest.fixture
def collector() -> Iterator[CollectorServer]:
    with collector_server() as server:
        yield server


@pytest.fixture
def agent(
    tmp_path: Path, collector: CollectorServer, capsys: pytest.CaptureFixture[str]
) -> Agent:
    supply(empty_tree(tmp_path / "tree"), "BAT0", HEALTHY)
    (tmp_path / "token").write_text(f"{ADMITTED_BY}\n")
    return Agent(tmp_path, collector.url, capsys)


def test_the_first_report_enrols_and_delivers(
    agent: Agent, collector: CollectorServer
) -> None:
    assert agent.report() == cli.DONE

    enrol, post = collector.heard
    assert enrol.path == "/api/v1/enrol"
    assert enrol.body["token"] == ADMITTED_BY
    assert set(enrol.body) == {"token", "laptop", "agent", "attempt"}
    assert "Authorization" not in enrol.headers
    assert post.path == "/api/v1/reports"
    assert post.headers["Authorization"] == f"Bearer {KEY}"
    assert post.headers["Content-Type"] == "application/json"
    assert post.headers["Content-Encoding"] == "gzip"
    assert post.headers["User-Agent"] == f"fadewatch-agent/{__version__}"
    assert "delivered 1" in agent.capture.readouterr().out


def test_what_is_delivered_is_a_report_by_the_collectors_own_rules(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()

    (raw,) = collector.heard[-1].body["reports"]
    report = TypeAdapter(Report).validate_json(json.dumps(raw), strict=True)

    assert report.packs[0].serial == "00417"


def test_later_reports_use_the_key_and_not_the_token(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    (agent.folder / "token").unlink()

    assert agent.report() == cli.DONE
    assert [h.path for h in collector.heard].count("/api/v1/enrol") == 1


def test_the_key_is_for_its_owner_alone_and_never_shown(
    agent: Agent, collector: CollectorServer
) -> None:
    assert agent.report() == cli.DONE

    mode = (agent.state / "enrolment.json").stat().st_mode
    assert stat.S_IMODE(mode) == 0o600
    assert stat.S_IMODE(agent.state.stat().st_mode) == 0o700
    assert KEY not in json.dumps(agent.status())
    assert len(collector.heard) == 2


def test_status_tells_of_a_delivery(agent: Agent) -> None:
    agent.report()

    told = agent.status()

    assert told["enrolled"] is True
    assert told["laptop_id"] == 417
    assert told["delivered_at"].endswith("Z")
    assert told["queued"] == told["set_aside"] == 0
    assert told["error"] is None


def test_a_collector_that_is_away_leaves_reports_queued(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    collector.answer = lambda _: None

    assert agent.report() == cli.QUEUED == 4
    assert agent.report() == cli.QUEUED
    told = agent.status()
    assert told["queued"] == 2
    assert told["error"]

    collector.answer = store_all
    collector.heard.clear()
    assert agent.report() == cli.DONE
    assert len(set(collector.heard_ids())) == 3
    assert collector.heard_ids() == sorted(collector.heard_ids())
    assert agent.status()["error"] is None


def test_a_port_where_nobody_listens_leaves_the_report_queued(agent: Agent) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        agent.collector = f"http://127.0.0.1:{free.getsockname()[1]}"

    assert agent.report() == cli.QUEUED
    assert "refused" in str(agent.status()["error"])


@pytest.mark.parametrize("status", [401, 403])
def test_a_refused_key_is_shown_and_never_loops(
    agent: Agent, collector: CollectorServer, status: int
) -> None:
    agent.report()
    collector.answer = lambda _: problem(status, "Key not known")
    collector.heard.clear()

    assert agent.report(patience=60) == cli.REFUSED == 6

    assert len(collector.heard) == 1
    told = agent.status()
    assert told["refused"] is True
    assert told["queued"] == 1
    assert "Key not known" in told["error"]


def test_a_refused_key_is_replaced_when_a_person_brings_a_new_token(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    collector.answer = lambda _: problem(401, "Key not known")
    agent.report()
    collector.answer = store_all
    collector.heard.clear()
    (agent.folder / "token").write_text("word-of-another-day")

    assert agent.report() == cli.DONE

    assert [h.path for h in collector.heard] == ["/api/v1/enrol", "/api/v1/reports"]
    assert agent.status()["refused"] is False


@pytest.mark.parametrize("change", ["an old token", "no token"])
def test_a_revoked_laptop_does_not_let_itself_in_again(
    agent: Agent, collector: CollectorServer, change: str
) -> None:
    agent.report()
    if change == "no token":
        (agent.folder / "token").unlink()
    collector.answer = lambda _: problem(401, "Key not known")
    agent.report()
    collector.heard.clear()

    assert agent.report() == cli.REFUSED

    assert [h.path for h in collector.heard] == ["/api/v1/reports"]


def test_a_new_token_does_not_replace_a_key_that_works(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    (agent.folder / "token").write_text("word-of-another-day")

    assert agent.report() == cli.DONE
    assert [h.path for h in collector.heard].count("/api/v1/enrol") == 1


def test_a_refused_token_is_shown_and_never_loops(
    agent: Agent, collector: CollectorServer
) -> None:
    collector.answer = lambda _: problem(401, "Token has run out")

    assert agent.report(patience=60) == cli.REFUSED

    assert len(collector.heard) == 1
    told = agent.status()
    assert (told["enrolled"], told["queued"]) == (False, 1)


def test_status_in_words_says_what_to_do_about_a_refusal(
    agent: Agent, collector: CollectorServer
) -> None:
    collector.answer = lambda _: problem(401, "Token has run out")
    agent.report()
    agent.capture.readouterr()

    cli.main(["status", *agent.settings()])

    out = agent.capture.readouterr().out
    assert "reports waiting    1\n" in out
    assert "make a new enrolment token on the collector" in out


@pytest.mark.parametrize(
    "say",
    [
        Say(200, b"<html>Sign in to the network</html>", "text/html"),
        Say(200, b"<html>", "application/json"),
        Say(200, b"[]"),
        Say(200, b'{"results": []}'),
        Say(200, b'{"results": [{"report_id": 7}]}'),
        Say(204),
        Say(201, b'{"results": []}'),
        Say(404, b"not here", "text/plain"),
        Say(407, b"", "text/html"),
        Say(200, b'{"results": ' + b"[" * 20_000),
    ],
)
def test_an_answer_that_is_not_the_collectors_delivers_nothing(
    agent: Agent, collector: CollectorServer, say: Say
) -> None:
    agent.report()
    collector.answer = lambda _: say

    assert agent.report() == cli.QUEUED
    assert agent.status()["queued"] == 1


def test_an_answer_cut_off_delivers_nothing(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()

    def cut(heard: Heard) -> Say:
        whole = results("stored", heard.report_ids).body
        return Say(200, whole[:20], headers={"Content-Length": str(len(whole))})

    collector.answer = cut

    assert agent.report() == cli.QUEUED
    assert agent.status()["queued"] == 1


def test_an_answer_without_end_is_given_up(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    collector.answer = lambda _: Say(200, b" " * (5 * 1024 * 1024))

    assert agent.report() == cli.QUEUED
    assert agent.status()["error"].endswith("the answer does not end")


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_not_followed(
    agent: Agent, collector: CollectorServer, status: int
) -> None:
    with collector_server() as elsewhere:
        agent.report()
        target = f"{elsewhere.url}/api/v1/reports"
        collector.answer = lambda _: Say(status, headers={"Location": target})

        assert agent.report() == cli.QUEUED

        assert elsewhere.heard == []
    assert "redirect" in agent.status()["error"]


def test_an_enrolment_answer_without_a_key_is_no_enrolment(
    agent: Agent, collector: CollectorServer
) -> None:
    for body in (b"{}", b'{"laptop_id": 417, "key": "a\\nb"}', b'{"key": "k"}'):
        answer = Say(201, body)
        collector.answer = lambda _, say=answer: say  # type: ignore[misc]  # bound now

        assert agent.report() == cli.QUEUED
        assert agent.status()["enrolled"] is False


def test_without_a_token_the_report_is_queued_and_the_exit_says_so(
    agent: Agent, collector: CollectorServer
) -> None:
    (agent.folder / "token").unlink()

    assert agent.report() == cli.NOT_CONFIGURED == 5

    assert collector.heard == []
    assert agent.status()["queued"] == 1


@pytest.mark.parametrize("content", [b"", b"  \n", b"two words", b"x" * 5000])
def test_a_token_file_without_a_token_is_named(agent: Agent, content: bytes) -> None:
    (agent.folder / "token").write_bytes(content)

    assert agent.report() == cli.NOT_CONFIGURED
    assert "holds no token" in agent.status()["error"]


def test_without_a_token_file_setting_it_says_so(agent: Agent) -> None:
    words = [f"--root={agent.tree}", *agent.settings()[:2]]

    assert cli.main(["report", *words]) == cli.NOT_CONFIGURED
    assert "no token is set" in agent.capture.readouterr().err


def test_a_rejected_report_is_shown_and_does_not_block(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    collector.answer = lambda heard: results(
        "rejected", heard.report_ids, problem="measured in the future"
    )

    assert agent.report() == cli.DONE
    assert "rejected 1 (see status)" in agent.capture.readouterr().out
    told = agent.status()
    assert (told["queued"], told["set_aside"]) == (0, 1)
    assert told["problems"][0].endswith("measured in the future")

    collector.answer = store_all
    assert agent.report() == cli.DONE
    cli.main(["status", *agent.settings()])
    assert "1 rejected by the collector" in agent.capture.readouterr().out


def test_a_collector_that_asks_to_wait_is_left_alone_until_then(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    collector.answer = lambda _: problem(503, "Full", Retry_After="3600")
    assert agent.report(patience=60) == cli.QUEUED
    told = agent.status()
    assert told["retry_at"] is not None
    heard = len(collector.heard)

    collector.answer = store_all
    assert agent.report(patience=60) == cli.QUEUED

    assert len(collector.heard) == heard
    later = agent.status()
    assert (later["queued"], later["retry_at"]) == (2, told["retry_at"])
    cli.main(["status", *agent.settings()])
    assert "next attempt       not before" in agent.capture.readouterr().out


@pytest.mark.parametrize(
    "retry_at", ["2020-01-01T00:00:00Z", "2999-01-01T00:00:00Z", "soon", 7, None]
)
def test_a_wait_that_is_over_or_senseless_is_forgotten(
    agent: Agent, collector: CollectorServer, retry_at: object
) -> None:
    agent.state.mkdir()
    (agent.state / "state.json").write_text(json.dumps({"retry_at": retry_at}))

    assert agent.report() == cli.DONE
    assert len(collector.heard) == 2


def test_a_full_collector_is_asked_again_within_the_same_run(
    agent: Agent, collector: CollectorServer
) -> None:
    busy = [
        problem(503, "Full", Retry_After="4"),
        problem(429, "Much", Retry_After="7"),
    ]
    collector.answer = lambda heard: busy.pop() if busy else store_all(heard)
    settings = Settings(
        collector=agent.collector,
        state=agent.state,
        token_file=agent.folder / "token",
    )
    waits: list[float] = []
    patience = Patience(60, waits.append, lambda most: most / 2)
    around = Surroundings(LinuxMachine(SystemFiles(agent.tree)), MOMENT, patience)

    result = report(settings, around)

    assert result.delivered.reports == 1
    # What the collector asked for, and half of 2 s and 4 s of its own.
    assert waits == [7 + 1, 4 + 2]


def test_a_key_is_never_sent_to_another_collector(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    with collector_server() as other:
        agent.collector = other.url

        assert agent.report() == cli.DONE

        assert [h.path for h in other.heard] == ["/api/v1/enrol", "/api/v1/reports"]
        assert all("key-of-417" not in str(h.headers) for h in other.heard[:1])
    assert len(collector.heard) == 2


def identify(tree: Path, serial: str) -> None:
    folder = tree / "sys/class/dmi/id"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "product_serial").write_text(serial + "\n")


def test_a_copied_disk_enrols_as_the_laptop_it_is_in(
    agent: Agent, collector: CollectorServer
) -> None:
    identify(agent.tree, "TH4X9Q7K")
    agent.report()
    collector.answer = lambda _: None
    agent.report()
    collector.answer = store_all
    identify(agent.tree, "TH5B2R8M")
    collector.heard.clear()

    assert agent.report() == cli.DONE

    assert [h.path for h in collector.heard] == ["/api/v1/enrol", "/api/v1/reports"]
    (sent,) = collector.heard[1].body["reports"]
    assert sent["laptop"]["serial"] == "TH5B2R8M"
    told = agent.status()
    assert told["set_aside"] == 1
    assert "another laptop" in told["problems"][0]


def test_a_copied_disk_without_a_token_keeps_its_own_reports(
    agent: Agent, collector: CollectorServer
) -> None:
    identify(agent.tree, "TH4X9Q7K")
    agent.report()
    identify(agent.tree, "TH5B2R8M")
    (agent.folder / "token").unlink()

    assert agent.report() == cli.NOT_CONFIGURED
    assert agent.report() == cli.NOT_CONFIGURED

    told = agent.status()
    assert (told["queued"], told["set_aside"], told["enrolled"]) == (2, 0, False)
    assert len(collector.heard) == 2


def test_a_second_report_at_the_same_time_leaves_the_work_to_the_first(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.state.mkdir()
    with only_one(agent.state) as alone:
        assert alone

        assert agent.report() == cli.DONE

    assert "another report is running" in agent.capture.readouterr().out
    assert collector.heard == []


def test_a_damaged_queue_is_begun_anew_and_told(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    (agent.state / "spool.sqlite").write_bytes(b"damage" * 1000)

    assert agent.report() == cli.DONE

    (sent,) = collector.heard[-1].body["reports"]
    assert "queue file damaged and begun anew, times: 1" in sent["remarks"]
    assert (agent.state / "spool.sqlite.damaged").exists()
    assert agent.report() == cli.DONE
    (sent,) = collector.heard[-1].body["reports"]
    assert not any("damaged" in remark for remark in sent["remarks"])


def test_readings_thinned_while_away_are_told_in_the_next_report(
    agent: Agent, collector: CollectorServer
) -> None:
    (agent.folder / "agent.toml").write_text("queue_limit = 10\n")
    words = [f"--config={agent.folder / 'agent.toml'}", "--patience=0"]
    words += [f"--root={agent.tree}", *agent.settings()]
    collector.answer = lambda _: None
    for _ in range(11):
        assert cli.main(["report", *words]) == cli.QUEUED
    collector.answer = store_all

    assert cli.main(["report", *words]) == cli.DONE

    sent = collector.heard[-1].body["reports"]
    told = [r for report in sent for r in report["remarks"] if "queue full" in r]
    assert len(sent) == 10
    assert told == ["queue full: readings thinned to one a day: 1"]


def test_a_damaged_state_file_does_not_stop_a_report(agent: Agent) -> None:
    agent.report()
    (agent.state / "state.json").write_text('{"packs": [')

    assert agent.report() == cli.DONE


def test_a_damaged_key_file_makes_the_laptop_enrol_again(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    (agent.state / "enrolment.json").write_bytes(b"\0\0\0")

    assert agent.report() == cli.DONE
    assert [h.path for h in collector.heard].count("/api/v1/enrol") == 2


def test_a_report_of_many_drives_and_packs_is_delivered_whole(
    agent: Agent, collector: CollectorServer
) -> None:
    supply(agent.tree, "BAT1", without(serial_number="00900"))
    for index in range(4):
        block_device(agent.tree, f"nvme{index}n1", {"device/model": "Larkspur"})

    assert agent.report() == cli.DONE

    (sent,) = collector.heard[-1].body["reports"]
    assert [pack["slot"] for pack in sent["packs"]] == ["BAT0", "BAT1"]
    assert len(sent["drives"]) == 4


def launch(agent: Agent, *more: str) -> subprocess.Popen[bytes]:
    words = ["report", f"--root={agent.tree}", *agent.settings(), *more]
    return subprocess.Popen(
        [sys.executable, "-m", "fadewatch_agent", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def queued_ids(state: Path) -> list[str]:
    connection = sqlite3.connect(state / "spool.sqlite")
    rows = connection.execute("SELECT report_id FROM queued ORDER BY sequence")
    ids = [row[0] for row in rows]
    (checked,) = connection.execute("PRAGMA integrity_check").fetchone()
    connection.close()
    assert checked == "ok"
    return ids


def test_killed_while_the_collector_has_not_answered_nothing_is_lost(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    running: list[subprocess.Popen[bytes]] = []

    def kill(_: Heard) -> None:
        running[0].kill()
        running[0].wait()

    collector.answer = kill
    collector.heard.clear()
    running.append(launch(agent))
    running[0].communicate()
    (lost_touch,) = collector.heard_ids()
    assert queued_ids(agent.state) == [lost_touch]

    collector.answer = store_all
    collector.heard.clear()
    assert agent.report() == cli.DONE
    assert collector.heard_ids()[0] == lost_touch


def test_killed_after_the_answer_the_same_id_is_sent_again(
    agent: Agent, collector: CollectorServer
) -> None:
    # The collector stored it and the agent died before it could take that down.
    agent.report()
    running: list[subprocess.Popen[bytes]] = []
    stored: list[str] = []

    def store_and_kill(heard: Heard) -> Say:
        stored.extend(heard.report_ids)
        running[0].kill()
        running[0].wait()
        return results("stored", heard.report_ids)

    collector.answer = store_and_kill
    running.append(launch(agent))
    running[0].communicate()
    collector.answer = lambda heard: results("duplicate", heard.report_ids)
    collector.heard.clear()

    assert agent.report() == cli.DONE
    assert collector.heard_ids()[0] == stored[0]
    assert queued_ids(agent.state) == []


@pytest.mark.parametrize("share", [0.15, 0.3, 0.45, 0.6, 0.75, 0.9])
def test_killed_at_any_moment_the_queue_stays_whole(
    agent: Agent, collector: CollectorServer, share: float
) -> None:
    collector.answer = lambda _: None
    agent.report()
    before = queued_ids(agent.state)
    running = launch(agent, "--patience=0")
    try:
        # How long a whole run takes here varies; where in it the kill falls may too.
        running.wait(timeout=share * 0.3)
    except subprocess.TimeoutExpired:
        running.kill()
    running.communicate()

    assert queued_ids(agent.state)[: len(before)] == before
    collector.answer = store_all
    assert agent.report() == cli.DONE
    assert queued_ids(agent.state) == []


def test_a_second_process_meets_the_lock_of_the_first(
    agent: Agent, collector: CollectorServer
) -> None:
    agent.report()
    second: list[tuple[int, bytes]] = []

    def run_second(heard: Heard) -> Say:
        other = launch(agent)
        out, _ = other.communicate()
        second.append((other.returncode, out))
        return store_all(heard)

    collector.answer = run_second

    assert agent.report() == cli.DONE
    assert second == [(0, b"another report is running; nothing to do\n")]
