"""Locks on files: the system lets go of them when their holder dies."""

import fcntl
from typing import IO


def is_taken(lock: IO[str]) -> bool:
    """Take a lock if it is free, and say whether it is ours now."""
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
