"""Hashing and checking passwords, beside the event loop and a few at a time."""

import asyncio
import secrets
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import TypeVar

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from fadewatch_collector.errors import TooManyAttempts

AT_ONCE = 2
"""Passwords worked on at the same time [count]; each takes 64 MiB. Own choice."""

WAITING = 32
"""Passwords that may wait for their turn [count]; about two seconds. Own choice."""

RETRY_AFTER_S = 5.0
"""Pause asked for when too many wait [s]. Own choice."""

_T = TypeVar("_T")

# argon2id, 64 MiB, 3 passes, 4 lanes: the second recommended option of RFC 9106.
_hasher = PasswordHasher()


class PasswordQueue:
    """A few threads for a slow computation, and a bounded queue before them."""

    def __init__(self, at_once: int = AT_ONCE, waiting: int = WAITING) -> None:
        self._threads = ThreadPoolExecutor(at_once, thread_name_prefix="password")
        self._most = at_once + waiting
        self._count = 0

    async def run(self, work: Callable[[], _T]) -> _T:
        """Run one piece of work when its turn comes.

        Raises
        ------
        TooManyAttempts
            Too many wait already.
        """
        if self._count >= self._most:
            raise TooManyAttempts("sign-ins at the same time", RETRY_AFTER_S)
        self._count += 1
        try:
            return await asyncio.get_running_loop().run_in_executor(self._threads, work)
        finally:
            self._count -= 1


_queue = PasswordQueue()


async def hash_password(password: str) -> str:
    """Return the argon2id hash of a password, with its parameters."""
    return await _queue.run(lambda: _hasher.hash(password))


async def check_password(password_hash: str | None, password: str) -> bool:
    """Say whether a password is right; takes as long when there is no hash.

    Parameters
    ----------
    password_hash
        None when no such account exists, empty when it has no password: another hash
        is then checked in vain, so that the time taken does not tell which names exist.
    """
    return await _queue.run(lambda: _check(password_hash, password))


def is_outdated(password_hash: str) -> bool:
    """Say whether a hash was made with weaker parameters than today's."""
    return _hasher.check_needs_rehash(password_hash)


def _check(password_hash: str | None, password: str) -> bool:
    nobodys = _nobodys_hash()
    try:
        _hasher.verify(password_hash or nobodys, password)
    except (VerificationError, InvalidHashError):
        return False
    # Neither is right for who has none: no account, or one without a password.
    return bool(password_hash)


@cache
def _nobodys_hash() -> str:
    return _hasher.hash(secrets.token_urlsafe())
