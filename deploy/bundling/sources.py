"""The files of the program, and how they are written alike each time."""

from collections.abc import Mapping
from pathlib import Path

from fadewatch_agent.bundle import MANIFEST, STARTER, manifest_of

_PACKAGES = ("agent/fadewatch_agent", "common/fadewatch_common")
_START = b'''"""Start the agent."""

import gc

# The process lives for a moment: looking for cycles would cost more than it frees.
gc.disable()

import sys

from fadewatch_agent.__main__ import main

sys.exit(main())
'''

Files = Mapping[str, bytes]
"""Content by name, with slashes."""


def program_files(repository: Path) -> Files:
    """Return what every bundle holds: the two packages, a start and the manifest."""
    files = {STARTER: _START}
    for package in _PACKAGES:
        folder = repository / package
        for file in sorted(folder.rglob("*")):
            if file.suffix == ".py" or file.name == "py.typed":
                name = file.relative_to(folder.parent).as_posix()
                files[name] = file.read_bytes()
    return files | {MANIFEST: manifest_of(files)}


def write_all(files: Files, folder: Path) -> None:
    """Write files below a folder."""
    for name, content in files.items():
        write(folder / name, content)


def write(path: Path, content: bytes, mode: int = 0o644) -> None:
    """Write one file with its mode, whatever the umask."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    path.chmod(mode)
