"""Whatever comes in place of an answer: reports wait, and are stored once in the end.

Real agents and a real collector, with a wire between them that fails.
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from fadewatch_agent import cli
from tests.faults.agents import AgentProcess, new_agent
from tests.faults.ledger import kept_by
from tests.faults.wire import Fault, Wire, html, lost, unharmed, wire_to
from tests.processes import CollectorProcess, new_collector


@pytest.fixture(scope="module")
def collector(
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[tuple[CollectorProcess, str]]:
    made = new_collector(tmp_path_factory.mktemp("collector"))
    with made.running():
        words = ("token", "new", "--label", "t", "--uses", "100")
        yield made, made.command(*words)


@pytest.fixture
def wire(collector: tuple[CollectorProcess, str]) -> Iterator[Wire]:
    with wire_to(collector[0].port) as laid:
        yield laid


@pytest.fixture
def agent(
    collector: tuple[CollectorProcess, str],
    wire: Wire,
    tmp_path: Path,
    request: pytest.FixtureRequest,
) -> AgentProcess:
    number = sum(map(ord, request.node.name)) % 9_000
    made = new_agent(tmp_path, number, wire.url, collector[1])
    assert made.run()[0] == cli.DONE
    return made


def cut(answer: bytes) -> bytes:
    return answer[:-7]


def cut_in_the_head(answer: bytes) -> bytes:
    return answer[:40]


def garbled(answer: bytes) -> bytes:
    return bytes(byte ^ 0x55 for byte in answer)


def of(make: Callable[[], bytes]) -> Fault:
    return lambda _: make()


FAULTS: dict[str, Fault] = {
    "nothing": lost,
    "a page with 200": of(lambda: html(200)),
    "a page with 302": of(lambda: html(302)),
    "a page with 403": of(lambda: html(403)),
    "a page with 502": of(lambda: html(502)),
    "half": cut,
    "half a head": cut_in_the_head,
    "noise": garbled,
    "another protocol": of(lambda: b"SSH-2.0-invented\r\n" * 50),
    "a head without end": of(lambda: b"HTTP/1.1 200 OK\r\n" + b"X: y\r\n" * 5_000),
    "an empty object": of(
        lambda: (
            b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n"
            b"Content-Length: 2\r\n\r\n{}"
        )
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_lost_or_spoilt_answer_loses_nothing_and_doubles_nothing(
    collector: tuple[CollectorProcess, str], wire: Wire, agent: AgentProcess, name: str
) -> None:
    wire.fault = FAULTS[name]
    code, said = agent.run()

    assert code in {cli.QUEUED, cli.REFUSED}, said
    assert "Traceback" not in said
    (waiting,) = agent.waiting()
    # The collector has it: what went wrong came after its commit.
    assert waiting in wire.ledger.stored

    wire.fault = unharmed
    code, said = agent.run()

    assert (code, agent.waiting()) == (cli.DONE, []), said
    assert waiting in wire.ledger.duplicate
    assert wire.ledger.sent == wire.ledger.answered
    kept = kept_by(collector[0].store)
    assert wire.ledger.sent <= set(kept.reports)
    assert len(kept.reports) == len(set(kept.reports))
