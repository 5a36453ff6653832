"""The servers of the ingest benchmark, each as a process of its own.

    python -m tests.benchmarks.ingest_servers bare PORT
    python -m tests.benchmarks.ingest_servers validated PORT
    python -m tests.benchmarks.ingest_servers collector [--no-filing] [--single]

The collector is the one that 'serve' runs, with the settings of its environment;
without filing nothing works beside intake, single makes each report a commit.
"""

import argparse
import asyncio
import hashlib
import signal
from collections.abc import Sequence
from dataclasses import dataclass

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector import app
from fadewatch_collector.cli.main import main as collector
from fadewatch_collector.usecases import intake
from fadewatch_common.report import Report
from tests.benchmarks.ingest_reports import LAPTOPS, PATH, key_of


@dataclass(frozen=True, slots=True)
class Delivery:
    """A request's body."""

    reports: Sequence[Report]


async def bare(request: web.Request) -> web.Response:
    """Take a body and answer what a collector answers."""
    await request.read()
    return web.json_response({"results": [{"report_id": None, "status": "stored"}]})


def make_validated() -> object:
    """Make the handler that checks key and body, and stores nothing."""
    adapter = TypeAdapter(Delivery)
    keys = {
        hashlib.sha256(key_of(n).encode()).digest(): n for n in range(1, LAPTOPS + 1)
    }

    async def validated(request: web.Request) -> web.Response:
        key = request.headers.get("Authorization", "").removeprefix("Bearer ")
        if hashlib.sha256(key.encode()).digest() not in keys:
            raise web.HTTPUnauthorized
        delivery = adapter.validate_json(await request.read(), strict=True)
        results = [
            {"report_id": report.report_id, "status": "stored"}
            for report in delivery.reports
        ]
        return web.json_response({"results": results})

    return validated


class NoBackground:
    """Stands where the process behind intake stands, and has nothing done."""

    pid = None

    def __init__(self, *_what: object) -> None:
        self._closed = asyncio.Event()

    def wake(self) -> None:
        """Do nothing."""

    def close(self) -> None:
        """End."""
        self._closed.set()

    async def run(self) -> None:
        """Wait for the end."""
        await self._closed.wait()


async def serve_plain(handler: object, port: int) -> None:
    """Serve one handler until told to stop, with aiohttp as it comes."""
    plain = web.Application()
    plain.router.add_post(PATH, handler)  # type: ignore[arg-type]  # a handler
    runner = web.AppRunner(plain, access_log=None)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", port).start()
    stop = asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, stop.set)
    await stop.wait()
    await runner.cleanup()


def main() -> None:
    """Run the server asked for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("what", choices=("bare", "validated", "collector"))
    parser.add_argument("port", type=int, nargs="?", default=0)
    parser.add_argument("--no-filing", action="store_true")
    parser.add_argument("--single", action="store_true")
    asked = parser.parse_args()
    if asked.what == "bare":
        asyncio.run(serve_plain(bare, asked.port))
    elif asked.what == "validated":
        asyncio.run(serve_plain(make_validated(), asked.port))
    else:
        if asked.no_filing:
            # A stand-in, not the class.
            setattr(app, "BackgroundProcess", NoBackground)  # noqa: B010
        if asked.single:
            intake.LARGEST_COMMIT = 1
        collector(["serve"])


if __name__ == "__main__":
    main()
