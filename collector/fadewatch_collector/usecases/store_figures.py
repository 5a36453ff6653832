"""How much waits in the store, and which alerts stand: kept for some seconds."""

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Generic, TypeVar

from fadewatch_collector.store import figures as rows
from fadewatch_collector.store.about import values_named
from fadewatch_collector.store.figures import AlertCount, Outbox
from fadewatch_collector.store.queues import QueueDepths, queue_depths
from fadewatch_collector.usecases.rounds import ROUNDS, round_value
from fadewatch_collector.usecases.services import Services

QUEUES_KEPT = timedelta(seconds=5)
"""How long the depths of queues are kept: they are short, or somebody wants to know."""

FLEET_KEPT = timedelta(seconds=60)
"""How long counts are kept that look at every open alert. Own choice."""

Found = TypeVar("Found")


@dataclass(frozen=True, slots=True)
class WaitingWork:
    """What waits in the store."""

    queues: QueueDepths
    outbox: Outbox


@dataclass(frozen=True, slots=True)
class FleetCounts:
    """What takes longer to count.

    Attributes
    ----------
    rounds
        When each round of the clock was last done; without those that never were.
    """

    alerts: tuple[AlertCount, ...]
    given_up_messages: int
    size_bytes: int
    rounds: Mapping[str, datetime]


class StoreFigures:
    """Figures of the store, asked for at most once in their time."""

    def __init__(self, services: Services) -> None:
        self._services = services
        self._work = _Kept(self._count_work, QUEUES_KEPT, services.clock)
        self._fleet = _Kept(self._count_fleet, FLEET_KEPT, services.clock)

    async def work(self) -> WaitingWork:
        """Return what waits."""
        return await self._work.get()

    async def fleet(self) -> FleetCounts:
        """Return what takes longer to count."""
        return await self._fleet.get()

    async def _count_work(self) -> WaitingWork:
        async with self._services.store.reading() as connection:
            return WaitingWork(
                await queue_depths(connection), await rows.waiting_messages(connection)
            )

    async def _count_fleet(self) -> FleetCounts:
        async with self._services.store.reading() as connection:
            done = await values_named(connection, "round:")
            return FleetCounts(
                alerts=await rows.open_alerts(connection),
                given_up_messages=await rows.given_up_messages(connection),
                size_bytes=await rows.size_bytes(connection),
                rounds={
                    work.name: datetime.fromisoformat(done[round_value(work)])
                    for work in ROUNDS
                    if round_value(work) in done
                },
            )


class _Kept(Generic[Found]):
    """One value, worked out again when it is too old; who comes meanwhile waits."""

    def __init__(
        self,
        work: Callable[[], Awaitable[Found]],
        kept: timedelta,
        clock: Callable[[], datetime],
    ) -> None:
        self._work = work
        self._kept = kept
        self._clock = clock
        self._found: tuple[datetime, Found] | None = None
        self._alone = asyncio.Lock()

    async def get(self) -> Found:
        async with self._alone:
            now = self._clock()
            # A clock that was set back must not keep a value for ever.
            if self._found is None or abs(now - self._found[0]) >= self._kept:
                self._found = (now, await self._work())
            return self._found[1]
