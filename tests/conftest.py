"""Fixtures that many tests share: a real store with a clock that stands still."""

import asyncio
import gc
import shutil
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from pathlib import Path

import pytest
from aiohttp import web_app
from hypothesis import settings as hypothesis_settings
from pydantic import SecretStr
from sqlalchemy.pool import QueuePool

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import Store, open_store, sqlite_url
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import DEFAULT_POLICY
from tests.fakes.clock import StandingClock
from tests.integration.postgres import (
    DATABASES,
    NoServer,
    PostgresServer,
    running_postgres,
)
from tests.running_order import told_the_time, turn

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


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--both-databases",
        action="store_true",
        help="run on PostgreSQL too what else runs on SQLite alone: tests of pages",
    )


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run the tests of a module that says ``ON = DATABASES`` on each of them."""
    on = getattr(metafunc.module, "ON", None)
    marks = metafunc.definition.iter_markers("parametrize")
    is_chosen = any("database" in mark.args[0] for mark in marks)
    if on is None and metafunc.config.getoption("both_databases"):
        on = DATABASES
    if on is not None and "database" in metafunc.fixturenames and not is_chosen:
        metafunc.parametrize("database", on, indirect=True)


@pytest.fixture
def database(request: pytest.FixtureRequest) -> str:
    """Name the database that the test runs on."""
    name: str = getattr(request, "param", "sqlite")
    return name


@pytest.fixture(scope="session")
def postgres_of_the_run() -> Iterator[PostgresServer]:
    try:
        with running_postgres(short_lived=True) as server:
            yield server
    except NoServer as problem:
        pytest.skip(str(problem))


@pytest.fixture
def postgres(postgres_of_the_run: PostgresServer) -> Iterator[PostgresServer]:
    """The run's PostgreSQL server; the test's databases go with the test."""
    yield postgres_of_the_run
    postgres_of_the_run.let_go_of_all()


@pytest.fixture(autouse=True, scope="session")
def _connections_are_given_back() -> Iterator[None]:
    """Let a store that is closed while a connection is in use fail its test.

    Else it fails another one, later, in which the garbage collector finds it.
    """
    close = Store.close

    async def closed(store: Store) -> None:
        pool = store.engine.pool
        held = pool.checkedout() if isinstance(pool, QueuePool) else 0
        await close(store)
        assert not held, f"{held} connections were not given back"

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Store, "close", closed)
        yield


@pytest.fixture(autouse=True, scope="module")
def _applications_go() -> Iterator[None]:
    yield
    # aiohttp remembers applications here, and with each of them a whole store.
    web_app._cached_build_middleware.cache_clear()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    if told := told_the_time((item.nodeid for item in items), time.time()):
        raise pytest.UsageError(f"names that hold the present time: {told}")
    items.sort(key=lambda item: turn(item.nodeid))


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    # What was imported and collected stays until the end: no need to look through it
    # again and again for what may go.
    gc.collect()
    gc.freeze()


@pytest.fixture
def new_store(
    tmp_path: Path,
    upgraded_file: Path,
    database: str,
    request: pytest.FixtureRequest,
) -> Callable[[], Awaitable[Settings]]:
    """Make an empty database with the newest schema when it is called."""
    folder = tmp_path / "data"
    folder.mkdir()

    async def make() -> Settings:
        if database == "sqlite":
            shutil.copy(upgraded_file, folder / "fadewatch.sqlite3")
            return Settings(data_folder=folder)
        url = await server.new_database()
        return Settings(data_folder=folder, database_url=SecretStr(url))

    if database != "sqlite":
        server: PostgresServer = request.getfixturevalue("postgres")
    return make


@pytest.fixture
def empty_store(
    tmp_path: Path, database: str, request: pytest.FixtureRequest
) -> Callable[[], Awaitable[Settings]]:
    """Make a database without any schema when it is called."""
    folder = tmp_path / "empty"
    folder.mkdir()

    async def make() -> Settings:
        if database == "sqlite":
            return Settings(data_folder=folder)
        url = await server.empty_database()
        return Settings(data_folder=folder, database_url=SecretStr(url))

    if database != "sqlite":
        server: PostgresServer = request.getfixturevalue("postgres")
    return make


@pytest.fixture
async def services(
    new_store: Callable[[], Awaitable[Settings]], clock: StandingClock
) -> AsyncIterator[Services]:
    """Services on a new database with the newest schema."""
    settings = await new_store()
    store = open_store(settings.store_url)
    yield Services(store, settings, DEFAULT_POLICY, clock)
    await store.close()
