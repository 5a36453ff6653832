"""What every page of a large fleet costs.

    python -m tests.benchmarks.pages [sqlite|postgres] [--packs 100000] [--folder FOLDER]

A fleet of `fleet_store` with the life of `fleet_life`, asked over a real port by a
signed-in administrator. For each page: the median time at the server [ms], wall clock and
processor time with the client's work, which runs in this same process, its size, and its
queries. A FOLDER keeps the filled store for the next run. Exits with 1 when a page of the
alert list takes the server longer than it may, or any page takes more processor time or
bytes than it may, or is no page. A million laptops take about 15 minutes on an idle
machine, most of it to fill the store.
"""

import asyncio
import os
import statistics
import sys
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from urllib.parse import quote

from aiohttp import web
from aiohttp.typedefs import Handler, Middleware

from fadewatch_collector.store.accounts import accounts
from fadewatch_collector.usecases.accounts import open_session
from fadewatch_collector.usecases.charging import tell_habits
from fadewatch_collector.usecases.finding import keep_search_terms
from fadewatch_collector.usecases.fleet_figures import sum_up_fleet
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.stock import list_stock
from tests.benchmarks.big_store import Wanted, arguments, big_store
from tests.benchmarks.fleet_life import enter_stock
from tests.integration.counting import counted
from tests.integration.pages_service import NAME, Pages, running_pages

LAPTOPS = 100_000
TIMES = 20
MOST_MS = 150.0
MOST_ALERTS_MS = 50.0
"""Longest that a page of the alert list may take the server [ms]."""
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
    server_ms: float
    wall_ms: float
    processor_ms: float
    size: int
    queries: int

    @property
    def is_over(self) -> bool:
        """Say whether it costs more than it may."""
        is_alerts = self.path.split("?")[0] == "/"
        if is_alerts and self.server_ms > MOST_ALERTS_MS:
            return True
        return (
            self.processor_ms > MOST_MS or self.size > MOST_BYTES or self.status != 200
        )


@asynccontextmanager
async def filled(wanted: Wanted) -> AsyncIterator[Services]:
    """Give services on the filled store, with what the clock's rounds would have kept."""
    async with big_store(wanted) as services:
        mark = services.settings.data_folder / "rounds-done"
        if not mark.exists():
            await enter_stock(services)
            for work in (keep_search_terms, tell_habits, sum_up_fleet):
                started = time.process_time()
                await work(services)
                took = time.process_time() - started
                print(f"{work.__name__}: {took:.1f} s of processor", flush=True)
            mark.touch()
        yield services


class Stopwatch:
    """Times the server's answers."""

    def __init__(self) -> None:
        self.ms: list[float] = []

    def middleware(self) -> Middleware:
        """Return what stands before every handler and stops the time."""

        @web.middleware
        async def timed(request: web.Request, handler: Handler) -> web.StreamResponse:
            started = time.perf_counter()
            try:
                return await handler(request)
            finally:
                self.ms.append(1000 * (time.perf_counter() - started))

        return timed


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


async def figures_of(pages: Pages, watch: Stopwatch, path: str) -> Figures:
    """Ask a page some times."""
    watch.ms.clear()
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
        statistics.median(watch.ms),
        statistics.median(walls),
        statistics.median(processors),
        size,
        round(queries.count / TIMES),
    )


async def measure(wanted: Wanted) -> int:
    """Print what each page costs; returns how many cost too much."""
    watch, over = Stopwatch(), 0
    async with (
        filled(wanted) as services,
        running_pages(services, before=[watch.middleware()]) as pages,
    ):
        await sign_in(pages)
        print(
            f"{wanted.packs:,} packs on {wanted.engine}, load {os.getloadavg()[0]:.1f}"
        )
        print(
            f"{'':52}{'server':>10}{'wall':>10}{'processor':>13}{'size':>11}{'queries':>9}"
        )
        for path in await all_paths(pages):
            one = await figures_of(pages, watch, path)
            over += one.is_over
            print(
                f"{one.path[:50]:52}{one.server_ms:7.0f} ms{one.wall_ms:7.0f} ms"
                f"{one.processor_ms:10.0f} ms{one.size / 1000:8.0f} kB{one.queries:9}"
                f"{'' if one.status == 200 else f'  {one.status}'}"
                f"{'  OVER' if one.is_over else ''}",
                flush=True,
            )
    print(
        f"alert list within {MOST_ALERTS_MS:.0f} ms at the server, all pages within "
        f"{MOST_MS:.0f} ms of processor time: "
        f"{f'not reached by {over} pages' if over else 'reached'}"
    )
    return over


def main() -> int:
    """Measure and print."""
    asked = arguments(__doc__, LAPTOPS).parse_args()
    wanted = Wanted(engine=asked.engine, packs=asked.packs, folder=asked.folder)
    return int(asyncio.run(measure(wanted)) > 0)


if __name__ == "__main__":
    sys.exit(main())
