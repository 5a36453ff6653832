"""The API in a thread of its own, for test tools that are not asynchronous."""

import asyncio
import threading
from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from fadewatch_collector.api.setup import DEFAULT_LIMITS, PREFIX, Rate
from fadewatch_collector.settings import Settings
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import open_store
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import DEFAULT_POLICY
from tests.fakes.clock import StandingClock
from tests.integration.api_service import ApiService, running_api

NO_LIMITS = replace(
    DEFAULT_LIMITS,
    reports=Rate(1e9, 1e9),
    enrolments=Rate(1e9, 1e9),
    operators=Rate(1e9, 1e9),
)


@dataclass(frozen=True, slots=True)
class LiveApi:
    """Where the API listens, and what opens it."""

    address: str
    agent_key: str
    api_token: str
    enrolment_token: str


@contextmanager
def live_api(folder: Path) -> Iterator[LiveApi]:
    """Run the API on a new store until the block ends."""
    listening: Future[LiveApi] = Future()
    loop = asyncio.new_event_loop()
    stop = asyncio.Event()
    thread = threading.Thread(
        target=loop.run_until_complete, args=(_serve(folder, listening, stop),)
    )
    thread.start()
    try:
        yield listening.result(timeout=30)
    finally:
        loop.call_soon_threadsafe(stop.set)
        thread.join()
        loop.close()


async def _api_token(api: ApiService) -> str:
    """Make an administrator's token that small numbers do not revoke or disable."""
    for number in range(5):
        await api.api_token("viewer", f"reader {number}")
    return await api.api_token("administrator")


async def _serve(folder: Path, listening: Future[LiveApi], stop: asyncio.Event) -> None:
    settings = Settings(data_folder=folder)
    store = open_store(settings.store_url)
    try:
        await upgrade(store)
        services = Services(store, settings, DEFAULT_POLICY, StandingClock())
        async with running_api(services, NO_LIMITS) as api:
            live = LiveApi(
                address=str(api.client.make_url(PREFIX)),
                agent_key=await api.enrol(),
                api_token=await _api_token(api),
                enrolment_token=await api.token(uses=1_000_000),
            )
            listening.set_result(live)
            await stop.wait()
    except BaseException as error:
        if not listening.done():
            listening.set_exception(error)
        raise
    finally:
        await store.close()
