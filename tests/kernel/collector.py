"""A real collector on this machine's loopback, in a process of its own."""

import asyncio
import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from http import HTTPStatus
from http.client import HTTPConnection
from pathlib import Path
from time import monotonic, sleep
from typing import Any, TypeVar

from fadewatch_collector.app import make_services
from fadewatch_collector.settings import Settings
from fadewatch_collector.usecases.accounts import add_operator, make_api_token

Found = TypeVar("Found")

_START_SECONDS = 30
# The collector answers first and files and assesses a report afterwards.
_FILING_SECONDS = 20
_PAUSE_SECONDS = 0.05
_COMMAND = (sys.executable, "-m", "fadewatch_collector")


@dataclass(frozen=True, slots=True)
class Collector:
    """A running collector.

    Attributes
    ----------
    port
        Where it listens on the loopback.
    settings
        What it runs with, for work on the same store.
    api_token
        With it, this class asks as an operator's program does.
    """

    port: int
    settings: Settings
    api_token: str

    def enrolment_token(self) -> str:
        """Return a new enrolment token, made by the collector's own command."""
        done = subprocess.run(
            [*_COMMAND, "token", "new", "--label", "guests", "--site", "Northgate"],
            env=_environment(self.settings),
            capture_output=True,
            text=True,
            check=True,
        )
        return done.stdout

    def get(self, path: str) -> bytes:
        """Return what the API answers to an operator's program."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=10)
        with closing(connection):
            authorization = {"Authorization": f"Bearer {self.api_token}"}
            connection.request("GET", f"/api/v1{path}", headers=authorization)
            response = connection.getresponse()
            body = response.read()
        assert response.status == HTTPStatus.OK, body
        return body

    def get_json(self, path: str) -> Any:
        """Return the JSON that the API answers to an operator's program."""
        return json.loads(self.get(path))


@contextmanager
def running_collector(folder: Path) -> Iterator[Collector]:
    """Serve from an empty store in a folder until the block ends."""
    settings = Settings(data_folder=folder / "data", port=0)
    log = folder / "log"
    with log.open("wb") as output:
        process = subprocess.Popen(
            [*_COMMAND, "serve"],
            env=_environment(settings),
            stdout=output,
            stderr=output,
        )
    try:
        port = eventually(lambda: _port(process, log), _START_SECONDS)
        yield Collector(port, settings, asyncio.run(_new_api_token(settings)))
    finally:
        process.terminate()
        process.wait(timeout=_START_SECONDS)


def _environment(settings: Settings) -> dict[str, str]:
    told = {
        "FADEWATCH_DATA_FOLDER": str(settings.data_folder),
        "FADEWATCH_PORT": str(settings.port),
    }
    return {**os.environ, **told}


def _port(process: subprocess.Popen[bytes], log: Path) -> int | None:
    text = log.read_text()
    assert process.poll() is None, text
    for line in text.splitlines():
        if line.startswith("Fadewatch listens on "):
            return int(line.rpartition(":")[2])
    return None


async def _new_api_token(settings: Settings) -> str:
    services = make_services(settings)
    try:
        await add_operator(services, "tester", "viewer", "a long enough passphrase")
        return await make_api_token(services, "tester", "kernel tests", 1)
    finally:
        await services.store.close()


def eventually(
    look: Callable[[], Found | None], seconds: float = _FILING_SECONDS
) -> Found:
    """Return what another process is about to bring forth."""
    deadline = monotonic() + seconds
    while True:
        found = look()
        if found is not None:
            return found
        assert monotonic() < deadline, f"nothing came within {seconds} s"
        sleep(_PAUSE_SECONDS)
