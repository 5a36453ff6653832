"""Static files under names that carry their content's hash."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

PREFIX = "/static/"

FOREVER = "public, max-age=31536000, immutable"
"""A changed file has another name, so a browser never needs to ask again."""

_HASH_LENGTH = 12
_CONTENT_TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}


@dataclass(frozen=True, slots=True)
class StaticFile:
    """One file as it is served."""

    path: str
    content_type: str
    body: bytes


class StaticFiles:
    """Every static file of the pages, read once."""

    def __init__(self, contents: Mapping[str, bytes]) -> None:
        self._by_name = {name: _file(name, body) for name, body in contents.items()}
        self._by_path = {file.path: file for file in self._by_name.values()}

    def path_of(self, name: str) -> str:
        """Return the address of a file."""
        return self._by_name[name].path

    def at(self, path: str) -> StaticFile | None:
        """Return the file at an address."""
        return self._by_path.get(path)


@cache
def packaged_files() -> StaticFiles:
    """Read the static files of this package."""
    folder = files("fadewatch_collector.web").joinpath("static")
    return StaticFiles({file.name: file.read_bytes() for file in folder.iterdir()})


def _file(name: str, body: bytes) -> StaticFile:
    stem, dot, ending = name.rpartition(".")
    digest = hashlib.sha256(body).hexdigest()[:_HASH_LENGTH]
    return StaticFile(
        path=f"{PREFIX}{stem}.{digest}{dot}{ending}",
        content_type=_CONTENT_TYPES[dot + ending],
        body=body,
    )
