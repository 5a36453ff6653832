"""What the agent remembers between runs, beside its queue and its key."""

import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fadewatch_agent.lasting import (
    give_to_owner,
    replace,
    sync_folder,
    try_lock,
)

STATE_FILE = "state.json"
"""What is known of the last runs."""

_FOLDER_MODE = 0o700
_FILE_MODE = 0o600


def ensure_folder(folder: Path) -> None:
    """Make the state folder, for its owner alone."""
    folder.mkdir(mode=_FOLDER_MODE, parents=True, exist_ok=True)


def belongs_to_the_service(folder: Path) -> bool:
    """Say whether root is about to write where the service's own account keeps house.

    What root writes there the service could not read or replace afterwards.
    """
    is_root = False
    if sys.platform == "linux":
        is_root = os.geteuid() == 0
    return is_root and folder.stat().st_uid != 0


def read_record(file: Path) -> dict[str, Any]:
    """Return a file's JSON object; empty when it is missing or damaged."""
    try:
        record = json.loads(file.read_bytes())
    except (FileNotFoundError, ValueError, RecursionError):
        return {}
    return record if isinstance(record, dict) else {}


def write_record(file: Path, record: dict[str, Any]) -> None:
    """Replace a file by a JSON object, whole or not at all, readable by its owner."""
    new = file.with_name(file.name + ".new")
    new.unlink(missing_ok=True)
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
    with open(os.open(new, flags, _FILE_MODE), "wb") as stream:  # noqa: PTH123
        give_to_owner(stream.fileno(), file.parent)
        stream.write(json.dumps(record).encode())
        stream.flush()
        os.fsync(stream.fileno())
    replace(new, file)
    sync_folder(file.parent)


@contextmanager
def only_one(folder: Path) -> Iterator[bool]:
    """Hold the folder's lock while in the block; give False if another run has it."""
    # Python opens what no child process inherits.
    descriptor = os.open(folder / "lock", os.O_RDWR | os.O_CREAT, _FILE_MODE)
    try:
        give_to_owner(descriptor, folder)
        yield try_lock(descriptor)
    finally:
        os.close(descriptor)
