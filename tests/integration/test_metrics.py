"""What /metrics tells, asked of the whole service and read by the library's own parser."""

import json
from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import aiohttp
import pytest
from prometheus_client.metrics_core import Metric
from prometheus_client.openmetrics.parser import text_string_to_metric_families
from prometheus_client.parser import (
    text_string_to_metric_families as plain_families,
)
from pydantic import SecretStr

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.store import open_store
from fadewatch_collector.usecases.enrolment import enrol, make_token
from fadewatch_collector.usecases.services import Services
from fadewatch_common.encoding import to_json
from fadewatch_common.policy import DEFAULT_POLICY
from tests.fakes.clock import StandingClock
from tests.integration.postgres import DATABASES
from tests.integration.whole_service import serving
from tests.processes import free_port
from tests.reports import AGENT, LAPTOP, PACK, make_report

ON = DATABASES
README = (Path(__file__).parents[2] / "README.md").read_text()
OPENMETRICS = "application/openmetrics-text; version=1.0.0"

Samples = dict[tuple[str, tuple[tuple[str, str], ...]], float]


@pytest.fixture
async def settings(new_store: Callable[[], Awaitable[Settings]]) -> Settings:
    metrics = f"127.0.0.1:{free_port()}"
    changes = {"port": 0, "metrics_address": metrics}
    return (await new_store()).model_copy(update=changes)


async def new_key(settings: Settings) -> str:
    store = open_store(settings.store_url)
    services = Services(store, settings, DEFAULT_POLICY, StandingClock())
    token = await make_token(
        services,
        label="test",
        site="Harbour",
        lifetime=timedelta(days=1),
        use_limit=1,
        who="test",
    )
    key = (await enrol(services, token, LAPTOP, AGENT)).key
    await store.close()
    return key


async def families(client: aiohttp.ClientSession, settings: Settings) -> list[Metric]:
    async with client.get(
        f"http://{settings.metrics_address}/metrics", headers={"Accept": OPENMETRICS}
    ) as answer:
        assert answer.content_type == "application/openmetrics-text"
        return list(text_string_to_metric_families(await answer.text()))


async def scraped(client: aiohttp.ClientSession, settings: Settings) -> Samples:
    """Return every sample by name and labels."""
    return {
        (sample.name, tuple(sorted(sample.labels.items()))): sample.value
        for family in await families(client, settings)
        for sample in family.samples
    }


def value(samples: Samples, name: str, **labels: str) -> float:
    return samples[name, tuple(sorted(labels.items()))]


async def test_after_real_reports_the_counts_are_right(settings: Settings) -> None:
    key = await new_key(settings)
    worn = replace(PACK, full_charge_capacity=20000)
    good = [json.loads(to_json(make_report(packs=(worn,)))) for _ in range(2)]
    bad = good[0] | {"report_id": "0", "measured_at": "yesterday"}
    headers = {"Authorization": f"Bearer {key}"}
    async with serving(settings) as url, aiohttp.ClientSession() as client:
        before = await scraped(client, settings)
        for reports in (good, [good[0], bad]):
            async with client.post(
                f"{url}/api/v1/reports", headers=headers, json={"reports": reports}
            ) as answer:
                assert answer.status == 200
        asked = (("GET", "/no/such/page"), ("BREW", "/laptops/1"), ("GET", "/sign-in"))
        for method, path in asked:
            async with client.request(method, url + path, allow_redirects=False):
                pass
        after = await scraped(client, settings)

    def outcome(name: str) -> float:
        return value(after, "fadewatch_reports_total", outcome=name)

    route = {"method": "POST", "route": "/api/v1/reports"}
    assert [outcome(o) for o in ("stored", "duplicate", "rejected")] == [2, 1, 1]
    assert value(after, "fadewatch_commit_seconds_count") == 2
    assert value(after, "fadewatch_commit_reports_sum") == 3
    assert value(after, "fadewatch_http_requests_total", **route, status="2xx") == 2
    assert value(after, "fadewatch_http_request_seconds_count", **route) == 2
    nowhere = {"route": "none", "method": "GET", "status": "4xx"}
    assert value(after, "fadewatch_http_requests_total", **nowhere) == 1
    assert not [labels for _, labels in after if ("method", "BREW") in labels]
    assert value(after, "fadewatch_intake_waiting_reports") == 0
    assert value(after, "fadewatch_database_answers") == 1
    waits = "fadewatch_database_wait_seconds_count"
    # The page of signing in asks the store whether there are accounts.
    read = [value(found, waits, access="reading") for found in (before, after)]
    assert read[0] < read[1]
    told = {text for _, labels in after for pair in labels for text in pair}
    for secret in (LAPTOP.serial, LAPTOP.hostname, PACK.serial, key, "Harbour"):
        assert not [text for text in told if secret and secret in text]


async def test_every_family_is_described_in_the_readme(settings: Settings) -> None:
    async with serving(settings), aiohttp.ClientSession() as client:
        found = {family.name for family in await families(client, settings)}

    usual = "fadewatch_background_process_"
    ours = {
        name
        for name in found
        if name.startswith("fadewatch_") and not name.startswith(usual)
    }
    assert len(ours) > 20
    assert [name for name in sorted(ours) if f"`{name}" not in README] == []
    # The rest are the usual ones of a process, of either.
    rest = {name.removeprefix("fadewatch_background_") for name in found - ours}
    assert {name.split("_")[0] for name in rest} == {"process"}
    assert f"`{usual}" in README


async def test_they_are_not_among_the_pages_and_plain_text_is_there_for_who_asks(
    settings: Settings,
) -> None:
    async with serving(settings) as url, aiohttp.ClientSession() as client:
        async with client.get(f"{url}/metrics", allow_redirects=False) as page:
            missing = page.status
        async with client.get(f"http://{settings.metrics_address}/metrics") as plain:
            families = list(plain_families(await plain.text()))
            kind = plain.content_type

    assert missing == 404
    assert kind == "text/plain"
    assert "fadewatch_build_info" in {family.name for family in families}


async def test_with_a_token_they_are_for_who_knows_it(settings: Settings) -> None:
    token = "sixteen letters or more"  # noqa: S105  of a test
    settings = settings.model_copy(update={"metrics_token": SecretStr(token)})
    sent = ["", token, f"Bearer {token}x", "Bearer \u00e9", f"Bearer {token}"]
    async with serving(settings), aiohttp.ClientSession() as client:
        statuses = []
        for authorization in sent:
            async with client.get(
                f"http://{settings.metrics_address}/metrics",
                headers={"Authorization": authorization} if authorization else {},
            ) as answer:
                statuses.append(answer.status)

    assert statuses == [401, 401, 401, 401, 200]


def test_beyond_the_loopback_address_they_need_a_token(tmp_path: Path) -> None:
    for address in ("127.0.0.1:8471", "[::1]:8471", "localhost:8471"):
        Settings(data_folder=tmp_path, metrics_address=address)
    with pytest.raises(ValueError, match="need a token"):
        Settings(data_folder=tmp_path, metrics_address="0.0.0.0:8471")
    with pytest.raises(ValueError, match="with a port"):
        Settings(data_folder=tmp_path, metrics_address="127.0.0.1")
