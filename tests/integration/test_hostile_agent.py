"""Hostile strings of firmware, through the agent's own exits."""

import json
import re
from pathlib import Path

import pytest

from fadewatch_agent import cli
from fadewatch_collector.api.batches import read_batch
from fadewatch_collector.usecases.intake import ReceivedReport
from tests.fakes.collector_server import CollectorServer, Say, collector_server, problem
from tests.faults.agents import new_agent
from tests.hostile import HOSTILE
from tests.unit.agent.laptops import HEALTHY, empty_tree, supply

EFFECTIVE = re.compile(
    "[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]"
)
"""All that does something to a terminal but the end of a line."""


def strings(text: str) -> dict[str, str]:
    """Give a pack one string wherever firmware puts one."""
    # A file holds bytes: half a character is one that is no UTF-8.
    one_line = text.replace("\n", "\\n").replace("\ud800", "\udcff")
    names = ("manufacturer", "model_name", "serial_number", "technology", "status")
    return dict.fromkeys(names, one_line)


@pytest.mark.parametrize("name", HOSTILE)
def test_what_the_agent_prints_does_nothing_to_a_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    tree = empty_tree(tmp_path / "tree")
    supply(tree, "BAT0", HEALTHY | strings(HOSTILE[name]))
    identity = tree / "sys/class/dmi/id"
    identity.mkdir(parents=True)
    for file in ("sys_vendor", "product_name", "product_serial"):
        (identity / file).write_bytes(HOSTILE[name].encode("utf-8", "surrogatepass"))

    for words in (["read"], ["read", "--json"], ["bench"], ["bench", "--json"]):
        cli.main([*words, f"--root={tree}"])
        out, errors = capsys.readouterr()
        assert not EFFECTIVE.search(out + errors), words
        assert len(out) < 20_000
        if "--json" in words:
            assert isinstance(json.loads(out), dict)


@pytest.mark.parametrize("name", HOSTILE)
def test_what_the_agent_sends_is_a_report_that_can_be_kept(
    tmp_path: Path, name: str
) -> None:
    with collector_server() as server:
        agent = new_agent(tmp_path, 1, server.url, "word", strings(HOSTILE[name]))
        assert cli.main(agent.words()) == cli.DONE

    (sent,) = server.heard[-1].body["reports"]
    (taken,) = read_batch(json.dumps({"reports": [sent]}).encode())
    assert isinstance(taken, ReceivedReport)
    assert sent["packs"][0]["full_charge_capacity"] == 49_020


@pytest.mark.parametrize("name", HOSTILE)
def test_what_a_stranger_answers_does_nothing_to_a_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    text = HOSTILE[name]
    rejected = {"status": "rejected", "problem": text}
    with collector_server() as server:
        agent = new_agent(tmp_path, 1, server.url, "word")
        assert cli.main(agent.words()) == cli.DONE
        for answer in (
            lambda _: problem(422, text),
            lambda _: problem(403, text),
            lambda _: problem(503, text),
            lambda _: Say(200, json.dumps(text).encode()),
            lambda heard: Say(
                200,
                json.dumps(
                    {"results": [{"report_id": i} | rejected for i in heard.report_ids]}
                ).encode(),
            ),
        ):
            server.answer = answer
            cli.main(agent.words())
            cli.main(["status", *agent.words()[2:5]])
            out, errors = capsys.readouterr()
            assert not EFFECTIVE.search(out + errors), ascii(out + errors)
            assert len(out + errors) < 20_000
            server.answer = CollectorServer().answer
