"""A real collector on this machine, and what an operator's program sees of it."""

import json
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from http import HTTPStatus
from http.client import HTTPConnection
from pathlib import Path
from time import monotonic, sleep
from typing import Any, TypeVar

from tests.processes import CollectorProcess, new_collector

Found = TypeVar("Found")

# The collector answers first, and files and assesses a report afterwards.
_FILING_SECONDS = 20
_PAUSE_SECONDS = 0.05


@dataclass(frozen=True, slots=True)
class ObservedCollector:
    """A running collector, asked as an operator's program asks it."""

    process: CollectorProcess
    api_token: str

    def get(self, path: str) -> bytes:
        """Return what the API answers."""
        connection = HTTPConnection("127.0.0.1", self.process.port, timeout=10)
        with closing(connection):
            authorization = {"Authorization": f"Bearer {self.api_token}"}
            connection.request("GET", f"/api/v1{path}", headers=authorization)
            response = connection.getresponse()
            body = response.read()
        assert response.status == HTTPStatus.OK, body
        return body

    def get_json(self, path: str) -> Any:
        """Return the JSON that the API answers."""
        return json.loads(self.get(path))


@contextmanager
def observed_collector(folder: Path) -> Iterator[ObservedCollector]:
    """Serve from an empty store in a folder until the block ends."""
    process = new_collector(folder)
    password = folder / "password"
    password.write_text("nobody signs in with this\n")
    with process.running():
        account = ("--role", "viewer", "--password-file", str(password))
        process.command("user", "add", "observer", *account)
        label = ("--label", "kernel tests")
        token = process.command("user", "api-token", "new", "observer", *label)
        yield ObservedCollector(process, token)


def eventually(look: Callable[[], Found], *, until: Callable[[Found], bool]) -> Found:
    """Return what is seen once the collector has filed and assessed enough."""
    deadline = monotonic() + _FILING_SECONDS
    while not until(found := look()):
        assert monotonic() < deadline, f"after {_FILING_SECONDS} s only {found}"
        sleep(_PAUSE_SECONDS)
    return found
