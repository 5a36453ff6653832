"""Tell open pages that something changed in the alert list.

One look at the store serves every page that is open in this process, and none is
made while nobody listens. Another collector's changes are seen the same way.
"""

import asyncio
import logging
from collections.abc import AsyncGenerator, Iterator
from contextlib import contextmanager
from datetime import datetime

from fadewatch_collector.errors import StoreTrouble, TooManyAttempts
from fadewatch_collector.store.alerts import last_changed_at
from fadewatch_collector.usecases.services import Services

log = logging.getLogger(__name__)

LOOK_S = 2.0
"""How often the store is looked at while somebody listens [s]. Own choice."""

MOST_LISTENERS = 500
"""Pages that may listen at the same time in one process [count]. Own choice."""

RETRY_S = 60.0


class AlertNews:
    """Knows when the alert list changed last, and wakes whoever waits for it."""

    def __init__(self, services: Services) -> None:
        self._services = services
        self._listeners = 0
        self._someone = asyncio.Event()
        self._changed = asyncio.Condition()
        self._closing = False
        self._last: datetime | None = None
        self._count = 0

    async def run(self) -> None:
        """Look for changes while somebody listens, until cancelled."""
        while True:
            await self._someone.wait()
            try:
                await self._look()
            except StoreTrouble:
                log.warning("the alert list could not be looked at; trying again")
            await asyncio.sleep(LOOK_S)

    async def close(self) -> None:
        """Let everybody go who listens."""
        self._closing = True
        async with self._changed:
            self._changed.notify_all()

    async def _look(self) -> None:
        async with self._services.store.reading() as connection:
            last = await last_changed_at(connection)
        if last != self._last:
            self._last = last
            self._count += 1
            async with self._changed:
                self._changed.notify_all()

    @contextmanager
    def place(self) -> Iterator[None]:
        """Take a place among those who listen, for as long as the block runs.

        Raises
        ------
        TooManyAttempts
            Too many pages listen already.
        """
        if self._listeners >= MOST_LISTENERS:
            raise TooManyAttempts("pages that listen at the same time", RETRY_S)
        self._listeners += 1
        self._someone.set()
        try:
            yield
        finally:
            self._listeners -= 1
            if not self._listeners:
                self._someone.clear()

    async def listen(self, pause_s: float) -> AsyncGenerator[bool]:
        """Yield True at each change, and False when nothing changed for a while.

        It ends when the service does.

        Parameters
        ----------
        pause_s
            Longest silence [s].
        """
        # What the store held when the page was made is no news to it.
        await self._look()
        seen = self._count
        while not self._closing:
            if self._count != seen:
                seen = self._count
                yield True
                continue
            try:
                async with asyncio.timeout(pause_s), self._changed:
                    await self._changed.wait()
            except TimeoutError:
                yield False
