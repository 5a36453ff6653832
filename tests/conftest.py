"""Fixtures that many tests share: a real store with a clock that stands still."""

import asyncio
import shutil
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from hypothesis import settings as hypothesis_settings

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import open_store, sqlite_url
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import DEFAULT_POLICY
from tests.fakes.clock import StandingClock

# The same examples everywhere, and no limit on how long a busy machine takes for one.
hypothesis_settings.register_profile("project", deadline=None, derandomize=True)
hypothesis_settings.load_profile("project")


@pytest.fixture
def clock() -> StandingClock:
    return StandingClock()


@pytest.fixture(scope="session")
def upgraded_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty SQLite file with the newest schema: copying one is quick."""
    path = tmp_path_factory.mktemp("upgraded") / "store.sqlite3"

    async def make() -> None:
        store = open_store(sqlite_url(path))
        await upgrade(store)
        await store.close()

    asyncio.run(make())
    return path


@pytest.fixture
async def services(
    tmp_path: Path, upgraded_file: Path, clock: StandingClock
) -> AsyncIterator[Services]:
    """Services on a new SQLite file with the newest schema."""
    settings = Settings(data_folder=tmp_path / "data")
    settings.data_folder.mkdir()
    shutil.copy(upgraded_file, settings.data_folder / "fadewatch.sqlite3")
    store = open_store(settings.store_url)
    yield Services(store, settings, DEFAULT_POLICY, clock)
    await store.close()
