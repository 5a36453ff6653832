"""Run the collector, and write down each second how it stands.

    python -m tests.benchmarks.watched_collector FILE

Each line of the file is a JSON object: moment, most reports that waited for their
commit since the last line, longest time that the event loop was late [s].
"""

import asyncio
import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from fadewatch_collector import app
from fadewatch_collector.cli import serve as service
from fadewatch_collector.cli.context import read_settings
from fadewatch_collector.usecases.intake import Intake

LOOK_S = 0.02
_most_waiting = [0]


class WatchedIntake(Intake):
    """Intake that remembers the most that waited."""

    async def receive(self, key: Any, reports: Sequence[Any]) -> Any:
        """Store reports, and look at the queue."""
        _most_waiting[0] = max(_most_waiting[0], self.depth + len(reports))
        return await super().receive(key, reports)


async def watch(file: Path) -> None:
    """Write a line each second."""
    late = 0.0
    with file.open("w", encoding="utf-8", buffering=1) as out:
        begun = time.monotonic()
        while True:
            before = time.monotonic()
            await asyncio.sleep(LOOK_S)
            now = time.monotonic()
            late = max(late, now - before - LOOK_S)
            if now - begun >= 1:
                line = {"at": time.time(), "waiting": _most_waiting[0], "late_s": late}
                out.write(json.dumps(line) + "\n")
                begun, late, _most_waiting[0] = now, 0.0, 0


def main() -> None:
    """Serve, watched."""
    original = app.serve

    async def serve(*given: Any) -> None:
        watching = asyncio.create_task(watch(Path(sys.argv[1])))
        try:
            await original(*given)
        finally:
            watching.cancel()

    # Where the service is put together.
    vars(app)["Intake"] = WatchedIntake
    vars(service)["serve"] = serve
    service.run_service(read_settings())


if __name__ == "__main__":
    main()
