"""The configuration of nginx that is given out, before a real collector.

Runs where nginx is installed; ``deploy/prove.sh`` does more, with several collectors.
"""

import asyncio
import shutil
import urllib.error
import urllib.request
from collections.abc import AsyncIterator, Awaitable, Callable
from importlib import import_module
from ipaddress import ip_network
from pathlib import Path
from typing import Any

import pytest

from fadewatch_collector.settings import Settings
from fadewatch_collector.web.limits import INSPECT_BURST
from tests.integration.whole_service import serving

DEPLOY = Path(__file__).parents[2] / "deploy" / "service"

pytestmark = pytest.mark.skipif(
    shutil.which("nginx") is None or shutil.which("openssl") is None,
    reason="nginx or openssl is not installed",
)


@pytest.fixture
async def stage(
    tmp_path: Path,
    new_store: Callable[[], Awaitable[Settings]],
    monkeypatch: pytest.MonkeyPatch,
) -> AsyncIterator[Any]:
    """Run nginx before one collector; the other one of its list is not there."""
    monkeypatch.syspath_prepend(DEPLOY)
    found = import_module("proving.stage").Stage(tmp_path)
    settings = (await new_store()).model_copy(
        update={
            "port": found.ports[1],
            "trusted_proxies": (ip_network("127.0.0.1"),),
        }
    )
    async with serving(settings):
        try:
            await asyncio.to_thread(found.make_certificates)
            await asyncio.to_thread(found.start_nginx)
            yield found
        finally:
            await asyncio.to_thread(found.stop_all)


async def test_it_leads_to_tls_binds_cookies_and_bounds_bodies(stage: Any) -> None:
    checks = import_module("proving.checks")

    # It raises an error that names what is not as it should be.
    await asyncio.to_thread(checks.headers, stage)

    status, headers, _ = await asyncio.to_thread(checks.ask, stage, "GET", "/sign-in")
    assert status == 200
    assert len(headers["X-Request-Id"]) == 32  # nginx's own number, 16 bytes as hex


async def test_what_a_client_says_of_its_address_goes_no_further(stage: Any) -> None:
    def look(number: int) -> int:
        request = urllib.request.Request(  # noqa: S310  a loopback address
            f"{stage.url}/inspect/fwi_x",
            headers={"X-Forwarded-For": f"198.51.100.{number}"},
        )
        try:
            with urllib.request.urlopen(  # noqa: S310  the same
                request, context=stage.trust()
            ) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            return error.code

    def look_around() -> list[int]:
        return [look(number) for number in range(INSPECT_BURST + 1)]

    *before, last = await asyncio.to_thread(look_around)

    assert set(before) == {404}
    assert last == 429
