"""Whose key it is, for the many requests that bring reports.

Memory says whose a key is and never that it is still valid: the write of the reports
checks that, in the transaction that stores them. So a key that is revoked, by whichever
collector, stores nothing from that moment on, and a request of a laptop known here asks
the store no question of its own.
"""

import asyncio
import logging
from dataclasses import dataclass
from datetime import datetime

from fadewatch_collector.store import agent_keys as rows
from fadewatch_collector.store.agent_keys import KeyRow
from fadewatch_collector.store.key_reader import KeyReader, key_reader
from fadewatch_collector.usecases.agent_keys import KEY_AGE, KeyEnded
from fadewatch_collector.usecases.enrolment import digest_of
from fadewatch_collector.usecases.services import Services

log = logging.getLogger(__name__)

KEYS_KEPT = 100_000
"""Keys in memory, some 30 MB; past it those first seen are forgotten. Own choice."""


@dataclass(frozen=True, slots=True)
class KnownKey:
    """A key, whose it is, and from when on it should be renewed."""

    id: int
    laptop_id: int
    renew_from: datetime


class KnownKeys:
    """Remembers whose keys are, and looks up together those that it does not know."""

    def __init__(
        self,
        services: Services,
        most: int = KEYS_KEPT,
        reader: KeyReader | None = None,
    ) -> None:
        self._services = services
        self._reader = reader or key_reader(services.store)
        self._most = most
        self._known: dict[bytes, KnownKey] = {}
        self._asked: dict[bytes, asyncio.Future[KnownKey]] = {}
        self._asking: asyncio.Task[None] | None = None

    def known(self, key: str) -> KnownKey | None:
        """Return whose key it is if that is in memory; see ``find``."""
        return self._known.get(digest_of(key))

    async def find(self, key: str) -> KnownKey:
        """Return whose key it is; the first use of a new key ends the older ones.

        Raises
        ------
        KeyEnded
            The key is unknown or revoked. That it is not raised does not say that the
            key is valid.
        """
        digest = digest_of(key)
        known = self._known.get(digest)
        if known is not None:
            return known
        answer = self._asked.get(digest)
        if answer is None:
            answer = asyncio.get_running_loop().create_future()
            self._asked[digest] = answer
        if self._asking is None:
            # As with commits: those that come while one query runs share the next.
            self._asking = asyncio.create_task(self._ask())
        return await asyncio.shield(answer)

    async def close(self) -> None:
        """Let go of the connection to the store, once what was asked is answered."""
        if self._asking is not None:
            await self._asking
        await self._reader.close()

    def forget(self, key: str) -> None:
        """Look the key up when it comes again: it was found to have ended."""
        self._known.pop(digest_of(key), None)

    async def _ask(self) -> None:
        while self._asked:
            asked, self._asked = self._asked, {}
            try:
                found = await self._look_up(list(asked))
            except Exception as problem:
                log.exception("keys could not be looked up")
                for answer in asked.values():
                    _refuse(answer, problem)
                continue
            for digest, answer in asked.items():
                if digest not in found:
                    _refuse(answer, KeyEnded())
                elif not answer.done():
                    answer.set_result(self._keep(digest, found[digest]))
        self._asking = None

    async def _look_up(self, digests: list[bytes]) -> dict[bytes, KeyRow]:
        found = await self._reader.find(digests)
        replacing = [row for row in found.values() if row.has_elders]
        if replacing:
            now = self._services.clock()
            async with self._services.store.writing() as connection:
                for row in replacing:
                    await rows.end_elders(connection, row, now)
        return found

    def _keep(self, digest: bytes, row: KeyRow) -> KnownKey:
        while len(self._known) >= self._most:
            del self._known[next(iter(self._known))]
        known = KnownKey(row.id, row.laptop_id, row.created_at + KEY_AGE)
        self._known[digest] = known
        return known


def _refuse(answer: asyncio.Future[KnownKey], problem: Exception) -> None:
    if not answer.done():
        answer.set_exception(problem)
        # The client may have gone: an exception nobody awaits is no news.
        answer.exception()
