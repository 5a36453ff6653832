"""One service per data folder: the process's own lock on a file in it."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fadewatch_collector.errors import StoreIsBusy


@contextmanager
def held_folder(folder: Path) -> Iterator[None]:
    """Hold the data folder for one service; the system lets go when it dies.

    Raises
    ------
    StoreIsBusy
        Another service holds it.
    """
    with (folder / "serve.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as problem:
            raise StoreIsBusy(folder) from problem
        yield
