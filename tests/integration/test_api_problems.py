"""Whatever goes wrong is told as a problem, and tells no secrets."""

import asyncio
import logging
from collections.abc import AsyncIterator
from dataclasses import replace
from typing import Any

import pytest
from sqlalchemy import insert, text

from fadewatch_collector.api.keys import EXPORT_PLACES
from fadewatch_collector.api.setup import DEFAULT_LIMITS, PREFIX
from fadewatch_collector.errors import StoreError
from fadewatch_collector.store.tables import laptops
from fadewatch_collector.usecases.services import Services
from tests.integration.api_service import PROBLEM_TYPE, ApiService, running_api
from tests.integration.postgres import DATABASES
from tests.integration.proxied import behind_proxy
from tests.reports import START

ON = DATABASES


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services) as service:
        yield service


@pytest.fixture
async def hasty(services: Services) -> AsyncIterator[ApiService]:
    """Give up bodies after an instant."""
    limits = replace(DEFAULT_LIMITS, body_timeout_s=0.1)
    async with running_api(services, limits) as service:
        yield service


class BrokenIntake:
    """An intake that fails in the way it was told to."""

    def __init__(self, error: Exception) -> None:
        self.error = error

    async def receive(self, key: object, reports: object) -> Any:
        raise self.error


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/", 404),
        ("GET", "/nothing", 404),
        ("GET", "/laptops/1/2", 404),
        ("DELETE", "/laptops", 405),
        ("GET", "/reports", 405),
        ("POST", "/openapi.json", 405),
        ("HEAD", "/laptops", 405),
    ],
)
async def test_addresses_and_methods_that_are_not_there_are_problems(
    api: ApiService, method: str, path: str, status: int
) -> None:
    answer = await api.ask(method, path)

    assert answer.status == status
    assert answer.headers["Content-Type"].startswith(PROBLEM_TYPE)
    assert ("Allow" in answer.headers) == (status == 405)


async def test_an_expectation_that_nobody_knows_is_a_problem(api: ApiService) -> None:
    answer = await api.ask("GET", "/openapi.json", headers={"Expect": "miracles"})

    assert answer.status == 417
    assert answer.headers["Content-Type"].startswith(PROBLEM_TYPE)


async def test_a_caller_who_waits_before_the_body_is_told_to_go_on(
    api: ApiService,
) -> None:
    key = await api.enrol()

    answer = await api.ask(
        "POST", "/reports", key, json={"reports": []}, expect100=True
    )

    assert answer.status == 200


@pytest.mark.parametrize("sent", ["abc-1234", "A.b_C0000"])
async def test_a_trusted_proxys_request_id_comes_back(
    services: Services, sent: str
) -> None:
    async with running_api(behind_proxy(services)) as api:
        answer = await api.ask("GET", "/alerts", headers={"X-Request-Id": sent})

    assert answer.headers["X-Request-Id"] == answer.json["request_id"] == sent


@pytest.mark.parametrize("sent", ["", "short", "a b", "x" * 65, "<script>", "\u00e9"])
async def test_an_unfit_request_id_is_replaced(services: Services, sent: str) -> None:
    async with running_api(behind_proxy(services)) as api:
        answer = await api.ask("GET", "/alerts", headers={"X-Request-Id": sent})

    assert answer.headers["X-Request-Id"] == answer.json["request_id"] != sent
    assert len(answer.json["request_id"]) == 16


async def test_a_request_id_is_taken_from_nobody_else(api: ApiService) -> None:
    answer = await api.ask("GET", "/alerts", headers={"X-Request-Id": "abc-1234"})

    assert answer.headers["X-Request-Id"] == answer.json["request_id"] != "abc-1234"


async def test_a_failure_is_logged_and_answered_without_its_details(
    services: Services, caplog: pytest.LogCaptureFixture
) -> None:
    secret = "a-secret-of-the-inside"  # noqa: S105  not one
    async with running_api(services, intake=BrokenIntake(ValueError(secret))) as api:
        key = await api.enrol()
        answer = await api.ask("POST", "/reports", key, json={"reports": []})

    assert answer.status == 500
    assert answer.headers["Content-Type"].startswith(PROBLEM_TYPE)
    assert secret not in answer.body.decode()
    assert "Traceback" not in answer.body.decode()
    (record,) = [r for r in caplog.records if r.levelno == logging.ERROR]
    assert answer.json["request_id"] in record.getMessage()
    assert key not in caplog.text


async def test_a_store_that_fails_asks_to_come_back(services: Services) -> None:
    error = StoreError("the disk is full")
    async with running_api(services, intake=BrokenIntake(error)) as api:
        key = await api.enrol()
        answer = await api.ask("POST", "/reports", key, json={"reports": []})

    assert (answer.status, answer.headers["Retry-After"]) == (503, "10")


async def test_the_process_is_healthy_and_ready(api: ApiService) -> None:
    for path in ("/healthz", "/readyz"):
        async with api.client.get(path) as response:
            assert (response.status, await response.json()) == (200, {"status": "ok"})


async def test_without_its_store_the_process_is_healthy_and_not_ready(
    api: ApiService,
) -> None:
    async with api.services.store.writing() as connection:
        await connection.execute(
            text("ALTER TABLE alembic_version RENAME TO elsewhere")
        )

    async with api.client.get("/healthz") as response:
        assert response.status == 200
    async with api.client.get("/readyz") as response:
        assert response.status == 503
        assert response.content_type == PROBLEM_TYPE


async def test_an_export_that_fails_midway_ends_without_its_last_chunk(
    api: ApiService, caplog: pytest.LogCaptureFixture
) -> None:
    token = await api.api_token()
    async with api.services.store.writing() as connection:
        await connection.execute(insert(laptops), [{"enrolled_at": START}] * 6000)
        # No moment that the driver can give.
        on_sqlite = "UPDATE laptops SET last_report_at = 7 WHERE id > 5900"
        spoil = on_sqlite.replace("7", "'4713-01-01 BC'")
        await connection.execute(
            text(on_sqlite if api.services.store.is_sqlite else spoil)
        )

    with pytest.raises((asyncio.IncompleteReadError, OSError, Exception)) as broken:
        await api.ask("GET", "/exports/fleet.csv", token)

    assert "payload" in str(broken.value).lower()
    assert "broke off" in caplog.text


async def test_a_body_that_comes_too_slowly_is_given_up(hasty: ApiService) -> None:
    key = await hasty.enrol()
    waiting = asyncio.Event()

    async def slow() -> AsyncIterator[bytes]:
        yield b'{"reports":'
        await waiting.wait()

    json = {"Content-Type": "application/json"}
    answer = await hasty.ask("POST", "/reports", key, data=slow(), headers=json)
    waiting.set()

    assert answer.status == 408
    assert answer.headers["Content-Type"].startswith(PROBLEM_TYPE)


async def test_a_caller_who_stops_reading_does_not_hold_the_store(
    services: Services, caplog: pytest.LogCaptureFixture
) -> None:
    limits = replace(DEFAULT_LIMITS, piece_timeout_s=0.2, exports_at_once=1)
    async with running_api(services, limits) as api:
        token = await api.api_token()
        await fill_with_large_rows(services)
        url = api.client.make_url(f"{PREFIX}/exports/fleet.csv")
        reader, writer = await asyncio.open_connection(url.host, url.port, limit=1024)
        request = f"GET {url.path} HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {token}"
        writer.write(request.encode() + b"\r\n\r\n")

        assert b"200" in await reader.readline()

        # The one place is free again when the export has ended.
        async with asyncio.timeout(20):
            await api.app[EXPORT_PLACES].acquire()
        writer.close()

    assert "broke off" in caplog.text
    pool: Any = services.store.engine.pool
    assert pool.checkedout() == 0


async def fill_with_large_rows(services: Services) -> None:
    """Make a fleet whose CSV is far larger than what connections buffer."""
    async with services.store.writing() as connection:
        large = {"enrolled_at": START, "site": "0" * 8192}
        await connection.execute(insert(laptops), [large] * 4000)


async def begun_request(
    api: ApiService,
) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """Open a connection and send all of a delivery but its body."""
    key = await api.enrol()
    url = api.client.make_url(f"{PREFIX}/reports")
    reader, writer = await asyncio.open_connection(url.host, url.port)
    head = (
        f"POST {url.path} HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {key}\r\n"
        "Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n"
        "Expect: 100-continue\r\n\r\n"
    )
    writer.write(head.encode())
    assert b"100" in await reader.readline()
    await reader.readline()
    return reader, writer


async def test_a_body_whose_chunks_make_no_sense_is_given_up(hasty: ApiService) -> None:
    reader, writer = await begun_request(hasty)

    writer.write(b"not a size\r\n")
    answer = await reader.readuntil(b"\r\n\r\n")
    writer.close()

    assert answer.startswith((b"HTTP/1.1 400 ", b"HTTP/1.1 408 "))
    assert PROBLEM_TYPE.encode() in answer


async def test_a_caller_who_leaves_in_the_middle_of_a_body_is_no_failure(
    services: Services, caplog: pytest.LogCaptureFixture
) -> None:
    async with running_api(services) as api:
        _, writer = await begun_request(api)
        writer.write(b'5\r\n{"rep\r\n')
        writer.close()
        await writer.wait_closed()

    assert [r.getMessage() for r in caplog.records if r.levelno > logging.INFO] == []
