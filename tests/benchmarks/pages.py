"""What every page of a large fleet costs: python -m tests.benchmarks.pages [LAPTOPS] [FOLDER].

A fleet of `fleet_store` with the life of `fleet_life`, on SQLite, asked over a real port
by a signed-in administrator. For each page: the median wall clock and processor time
[ms], its size, and its queries. The browser is a client in this same process, so its
own work (sending, reading) is in both times. A FOLDER keeps the filled store for the
next run. Exits with 1 when a page takes more processor time or bytes than it may, or
is no page.
"""

import asyncio
import statistics
import sys
import tempfile
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.accounts import accounts
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import open_store
from fadewatch_collector.usecases.accounts import open_session
from fadewatch_collector.usecases.charging import tell_habits
from fadewatch_collector.usecases.finding import keep_search_terms
from fadewatch_collector.usecases.fleet_figures import sum_up_fleet
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.stock import list_stock
from fadewatch_common.policy import DEFAULT_POLICY
from tests.benchmarks.fleet_life import enter_stock, live
from tests.benchmarks.fleet_store import NOW, fill
from tests.integration.counting import counted
from tests.integration.pages_service import NAME, Pages, running_pages

LAPTOPS = 100_000
TIMES = 20
MOST_MS = 150.0
MOST_BYTES = 150_000
DEEP = 30
"""Pages turned before a deep page is measured [count]."""

FIXED = (
    "/",
    "/?kind=gauge-doubt",
    "/?kind=silent",
    "/?site=Site+05",
    "/?urgency=stop-use",
    "/?kind=gauge-doubt&site=Site+05",
    "/?kind=hardware-changed",
    "/?state=ended",
    "/?state=ended&kind=silent",
    "/laptops",
    "/laptops?site=Site+05",
    "/laptops?find=lt-077777",
    "/laptops?find=lt",
    "/laptops?find=lt+desk",
    "/find?find=a4711",
    "/find?find=lt",
    "/laptops/481",
    "/laptops/77777",
    "/packs/481",
    "/visits",
    "/visits?within=365",
    "/visits?site=Site+05",
    "/visits?state=open",
    "/visits?state=planned",
    "/visits?state=done",
    "/visits/sheets",
    "/laptops/481/sheet",
    "/issue",
    "/issue?verdict=ready",
    "/issue?verdict=not-ready",
    "/issue?site=Site+05",
    "/charging",
    "/charging?packs=all",
    "/charging?packs=all&site=Site+05",
    "/charging?limit=reported",
    "/order",
    "/order/stock",
    "/fleet",
    "/removed",
    "/removed?state=set+aside",
    "/places",
    "/settings/policy",
    "/settings/policy/edit?scope=fleet",
    "/settings/policy/edit?scope=site%3ASite+05",
    "/settings/told",
    "/settings/tokens",
    "/settings/accounts",
    "/about",
    "/agents",
    "/agents/set-up",
)

DEEP_FROM = ("/", "/?site=Site+05", "/laptops", "/visits", "/charging")


@dataclass(frozen=True, slots=True)
class Figures:
    """What one page costs."""

    path: str
    status: int
    wall_ms: float
    processor_ms: float
    size: int
    queries: int

    @property
    def is_over(self) -> bool:
        """Say whether it costs more than it may."""
        return (
            self.processor_ms > MOST_MS or self.size > MOST_BYTES or self.status != 200
        )


@asynccontextmanager
async def filled(folder: Path, laptops: int) -> AsyncIterator[Services]:
    """Give services on the filled store; it is filled if the folder has none."""
    settings = Settings(data_folder=folder)
    is_new = not (folder / "filled").exists()
    store = open_store(settings.store_url)
    services = Services(store, settings, DEFAULT_POLICY, lambda: NOW)
    await upgrade(store)
    if is_new:
        await fill(store, laptops)
        await live(store)
        await enter_stock(services)
        for work in (keep_search_terms, tell_habits, sum_up_fleet):
            started = time.process_time()
            await work(services)
            print(
                f"{work.__name__}: {time.process_time() - started:.1f} s of processor"
            )
        (folder / "filled").touch()
    yield services
    await store.close()


async def sign_in(pages: Pages) -> None:
    """Be signed in as the administrator, who is there already in a store that was kept."""
    async with pages.services.store.reading() as connection:
        known = [one.operator for one in await accounts(connection)]
    there = next((one for one in known if one.name == NAME), None)
    if there is None:
        await pages.sign_in("administrator")
    else:
        pages.be(await open_session(pages.services, there))


async def all_paths(pages: Pages) -> list[str]:
    """Return every address asked, with those that depend on what is there."""
    first = (await list_stock(pages.services))[1].type.key
    alert = (await pages.get("/?urgency=plan")).all("a")
    shown = [one.attributes["href"] or "" for one in alert]
    paths = [*FIXED, next(path for path in shown if path.startswith("/alerts/"))]
    of_type = ("/order/type?pack_type=", "/fleet/packs?type=")
    paths += [path + quote(first) for path in of_type]
    return paths + [await _deep(pages, path) for path in DEEP_FROM]


async def _deep(pages: Pages, path: str) -> str:
    for _ in range(DEEP):
        links = (await pages.get(path)).all("a", rel="next")
        if not links:
            break
        path = links[0].attributes["href"] or ""
    return path


async def figures_of(pages: Pages, path: str) -> Figures:
    """Ask a page some times."""
    walls, processors, status, size = [], [], 0, 0
    with counted(pages.services) as queries:
        for _ in range(TIMES):
            wall, processor = time.perf_counter(), time.process_time()
            async with pages.client.get(path) as answer:
                status, size = answer.status, len(await answer.read())
            walls.append(1000 * (time.perf_counter() - wall))
            processors.append(1000 * (time.process_time() - processor))
    return Figures(
        path,
        status,
        statistics.median(walls),
        statistics.median(processors),
        size,
        round(queries.count / TIMES),
    )


async def measure(folder: Path, laptops: int) -> int:
    """Print what each page costs; returns how many cost too much."""
    async with filled(folder, laptops) as services, running_pages(services) as pages:
        await sign_in(pages)
        over = 0
        print(f"{'':60}{'wall':>10}{'processor':>13}{'size':>11}{'queries':>9}")
        for path in await all_paths(pages):
            one = await figures_of(pages, path)
            over += one.is_over
            print(
                f"{one.path[:58]:60}{one.wall_ms:7.0f} ms{one.processor_ms:10.0f} ms"
                f"{one.size / 1000:8.0f} kB{one.queries:9}"
                f"{'' if one.status == 200 else f'  {one.status}'}"
                f"{'  OVER' if one.is_over else ''}",
                flush=True,
            )
    return over


def main() -> int:
    """Measure in a folder."""
    laptops = int(sys.argv[1]) if len(sys.argv) > 1 else LAPTOPS
    if len(sys.argv) > 2:
        folder = Path(sys.argv[2])
        folder.mkdir(parents=True, exist_ok=True)
        return int(asyncio.run(measure(folder, laptops)) > 0)
    with tempfile.TemporaryDirectory() as name:
        return int(asyncio.run(measure(Path(name), laptops)) > 0)


if __name__ == "__main__":
    sys.exit(main())
