"""Slow and half-open connections, and headers that lie, from both ends."""

import asyncio
import gzip
import json
import socket
import threading
import time
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import aiohttp
import pytest
from aiohttp import web

from fadewatch_agent.client import Client
from fadewatch_agent.errors import Unreachable
from fadewatch_collector.app import IDLE_S
from tests.faults.ledger import kept_by
from tests.faults.senders import Senders
from tests.processes import CollectorProcess, new_collector

ALIVE = b"GET /healthz HTTP/1.1\nHost: x\nConnection: close"

DROPS = {
    "nothing": b"",
    "a status line": b"HTTP/1.1 200 " + b"O" * 10_000,
    "a head": b"HTTP/1.1 200 OK\r\nX-Slow: " + b"y" * 10_000,
    "a body": b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n\r\n"
    + b" " * 10_000,
}


@contextmanager
def dripping(answer: bytes) -> Iterator[str]:
    """Answer by a byte a time, for as long as somebody listens."""
    listener = socket.create_server(("127.0.0.1", 0))
    over = threading.Event()

    def serve() -> None:
        client, _ = listener.accept()
        with client, suppress(OSError):
            client.recv(65_536)
            quick, slow = answer[:60], answer[60:]
            client.sendall(quick)
            for byte in slow:
                if over.wait(0.02):
                    return
                client.sendall(bytes((byte,)))
            over.wait(20)

    server = threading.Thread(target=serve)
    server.start()
    try:
        yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    finally:
        over.set()
        server.join()
        listener.close()


@pytest.mark.parametrize("name", DROPS)
def test_an_agent_gives_up_on_an_answer_that_comes_drop_by_drop(name: str) -> None:
    with dripping(DROPS[name]) as url:
        client = Client(url, ca=None, timeout=1.0, longest=1.5)
        began = time.monotonic()
        with pytest.raises(Unreachable):
            client.post("/api/v1/reports", b"{}", expected=200)

    assert time.monotonic() - began < 10


@pytest.fixture(scope="module")
def collector(tmp_path_factory: pytest.TempPathFactory) -> Iterator[CollectorProcess]:
    made = new_collector(tmp_path_factory.mktemp("collector"))
    with made.running():
        yield made


@pytest.fixture(scope="module")
def senders(collector: CollectorProcess) -> Senders:
    made = Senders(collector)

    async def enrol() -> None:
        async with aiohttp.ClientSession() as session:
            await made.enrol(session, 5)

    asyncio.run(enrol())
    return made


HALVES = (
    b"",
    b"POST /api",
    b"POST /api/v1/reports HTTP/1.1\r\nHost: x\r\nX-Slow: ",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nContent-Length: 99\r\n\r\n{",
)
"""Nothing, half a request line, half a head, a head without its body."""


async def test_three_hundred_half_open_connections_stop_nobody(
    collector: CollectorProcess, senders: Senders
) -> None:
    reports = senders.reports()
    with ExitStack() as stack:
        for number in range(300):
            one = stack.enter_context(
                socket.create_connection(("127.0.0.1", collector.port))
            )
            one.sendall(HALVES[number % len(HALVES)])
        async with aiohttp.ClientSession() as session:
            for _ in range(10):
                assert await senders.post(session, *next(reports)), senders.faults

    assert senders.ledger.problems(kept_by(collector.store)) == []


async def test_a_connection_that_never_says_what_it_wants_is_ended() -> None:
    runner = web.AppRunner(web.Application(), keepalive_timeout=0.3)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    host, port = runner.addresses[0][:2]
    reader, writer = await asyncio.open_connection(host, port)
    writer.write(b"GET / HTTP/1.1\r\nX-Slow: ")

    assert await reader.read() == b""

    writer.close()
    await runner.cleanup()
    # The same setting is in force in the service, with more patience.
    assert 60 < IDLE_S <= 120


def ask(
    collector: CollectorProcess, head: bytes, body: bytes, *, hang_up: bool = False
) -> tuple[int, bytes]:
    """Send bytes as they are; return the status, 0 when there is none, and all of it."""
    with socket.create_connection(("127.0.0.1", collector.port), timeout=30) as one:
        with suppress(ConnectionError):
            one.sendall(head.replace(b"\n", b"\r\n") + b"\r\n\r\n" + body)
            if hang_up:
                one.shutdown(socket.SHUT_WR)
        answer = b""
        with suppress(ConnectionError):
            while part := one.recv(65_536):
                answer += part
    return (int(answer.split(b" ")[1]) if answer else 0), answer


def post(key: str, *fields: str) -> bytes:
    lines = [
        "POST /api/v1/reports HTTP/1.1",
        "Host: x",
        "Connection: close",
        f"Authorization: Bearer {key}",
        "Content-Type: application/json",
        *fields,
    ]
    return "\n".join(lines).encode()


def a_report(senders: Senders) -> tuple[str, bytes]:
    key, report = next(senders.reports())
    return key, json.dumps({"reports": [report]}).encode()


def test_a_body_shorter_than_its_length_says_stores_nothing(
    collector: CollectorProcess, senders: Senders
) -> None:
    key, body = a_report(senders)
    before = kept_by(collector.store).reports

    head = post(key, f"Content-Length: {len(body) + 9}")
    status, _ = ask(collector, head, body, hang_up=True)

    assert status in {0, 400}
    assert kept_by(collector.store).reports == before


@pytest.mark.parametrize(
    "fields",
    [
        ("Content-Length: 5",),
        ("Content-Length: -1",),
        ("Content-Length: 12abc",),
        ("Content-Length: 5", "Content-Length: 500"),
        ("Content-Length: 5", "Transfer-Encoding: chunked"),
        ("Transfer-Encoding: chunked",),
        ("Content-Length: 99999999999999999999",),
        ("Content-Length: 20", "Content-Encoding: gzip"),
    ],
)
def test_headers_that_lie_store_nothing_and_break_nothing(
    collector: CollectorProcess, senders: Senders, fields: tuple[str, ...]
) -> None:
    key, body = a_report(senders)
    before = kept_by(collector.store).reports

    status, answer = ask(collector, post(key, *fields), body)

    assert status in {0, 400, 413}, answer
    assert b"Traceback" not in answer
    assert kept_by(collector.store).reports == before
    assert ask(collector, ALIVE, b"")[0] == 200


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 0.999])
def test_a_truncated_gzip_stores_nothing(
    collector: CollectorProcess, senders: Senders, share: float
) -> None:
    key, body = a_report(senders)
    packed = gzip.compress(body)
    part = packed[: int(len(packed) * share)]
    before = kept_by(collector.store).reports

    fields = (f"Content-Length: {len(part)}", "Content-Encoding: gzip")
    status, answer = ask(collector, post(key, *fields), part)

    assert status == 400, answer
    assert kept_by(collector.store).reports == before


def test_a_gzip_bomb_costs_no_memory(
    collector: CollectorProcess, senders: Senders
) -> None:
    key, _ = a_report(senders)
    packer = zlib.compressobj(6, wbits=31)
    # A quarter of a gibibyte of blanks in a quarter of one MiB.
    bomb = b"".join(packer.compress(b" " * 2**20) for _ in range(256))
    bomb += packer.flush()
    before = _peak_mib(collector)

    fields = (f"Content-Length: {len(bomb)}", "Content-Encoding: gzip")
    for _ in range(5):
        assert ask(collector, post(key, *fields), bomb)[0] in {0, 413}

    # 4 MiB of room, as it grows and is copied once.
    assert _peak_mib(collector) - before < 32


def _peak_mib(collector: CollectorProcess) -> float:
    for process in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            environment = (process / "environ").read_bytes()
            line = (process / "cmdline").read_bytes()
            if str(collector.folder).encode() in environment and b"serve" in line:
                told = (process / "status").read_text()
                return int(told.split("VmHWM:")[1].split()[0]) / 1024
    raise LookupError(collector.folder)
