"""Send what waits in the outbox, each route for itself."""

import asyncio
import logging
from collections.abc import Callable
from datetime import datetime

from fadewatch_collector.errors import StoreTrouble
from fadewatch_collector.outbound.channel import Channels, Destination
from fadewatch_collector.outbound.problems import Refused, TryLater
from fadewatch_collector.rules.messages import Message, ToldAlert
from fadewatch_collector.rules.notify import (
    Route,
    is_overtaken,
    leave_alone_until,
    next_try,
)
from fadewatch_collector.store import outbox
from fadewatch_collector.store.notification_routes import live_route
from fadewatch_collector.store.outbox import Waiting
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.told_alerts import alert_now
from fadewatch_collector.usecases.services import Services

log = logging.getLogger(__name__)

LOOK_AGAIN_S = 5.0
"""How often the outbox is looked at: waits end, and other processes write too [s]."""

CLOSE_S = 8.0
"""How long messages on their way may take when the collector stops [s]. Own choice."""

OVERTAKEN = "the alert ended, or a newer message tells of it"


class Sender:
    """Sends messages in the background; a slow receiver holds up none but itself."""

    def __init__(
        self, services: Services, channels: Channels, draw: Callable[[], float]
    ) -> None:
        self._services = services
        self._channels = channels
        self._draw = draw
        self._busy: dict[int, asyncio.Task[None]] = {}
        self._left_alone: dict[int, datetime] = {}
        # Accepted by the other side, but the store could not be told yet.
        self._accepted: set[int] = set()
        self._closed = asyncio.Event()

    def close(self) -> None:
        """End ``run``; what is on its way may take `CLOSE_S`, the rest waits."""
        self._closed.set()

    async def run(self) -> None:
        """Send until closed."""
        async with asyncio.TaskGroup() as group:
            while not self._closed.is_set():
                await self._start_due(group)
                try:
                    async with asyncio.timeout(LOOK_AGAIN_S):
                        await self._closed.wait()
                except TimeoutError:
                    continue
            if self._busy:
                await asyncio.wait(self._busy.values(), timeout=CLOSE_S)
            for task in self._busy.values():
                task.cancel()

    async def send_due(self) -> None:
        """Send what is due now, to the end."""
        async with asyncio.TaskGroup() as group:
            await self._start_due(group)

    async def _start_due(self, group: asyncio.TaskGroup) -> None:
        now = self._services.clock()
        try:
            async with self._services.store.reading() as connection:
                due = await outbox.due_routes(connection, now)
        except StoreTrouble as problem:
            _tell_of_store(problem)
            return
        for route_id in due:
            alone_until = self._left_alone.get(route_id)
            if route_id in self._busy or (alone_until and now < alone_until):
                continue
            task = group.create_task(self._work(route_id), name=f"route {route_id}")
            self._busy[route_id] = task

    async def _work(self, route_id: int) -> None:
        """Send what is due for one route, until nothing is or it fails."""
        try:
            while not self._closed.is_set() and await self._next(route_id):
                pass
        except StoreTrouble as problem:
            _tell_of_store(problem)
        finally:
            del self._busy[route_id]

    async def _next(self, route_id: int) -> bool:
        """Deal with a route's next message; returns whether to go on."""
        services = self._services
        now = services.clock()
        waiting = await outbox.claim(services.store, route_id, now)
        if waiting is None:
            return False
        if waiting.id in self._accepted:
            await self._keep_sent(waiting)
            return True
        async with services.store.reading() as connection:
            route = await live_route(connection, route_id)
            overtaken = await _has_been_overtaken(connection, waiting)
        if route is None or overtaken:
            why = "the route was ended" if route is None else OVERTAKEN
            await self._give_up(waiting, why, waiting.attempts)
            return True
        held_until = route.not_before(waiting.what, now)
        if held_until > now:
            async with services.store.writing() as connection:
                await outbox.put_off(connection, waiting.id, held_until)
            return True
        return await self._send(route, waiting)

    async def _send(self, route: Route, waiting: Waiting) -> bool:
        channel = self._channels[route.channel]
        destination = Destination(route.target, route.secret)
        message = _message(route, waiting)
        try:
            await channel.send(message, destination, self._services.clock())
        except Refused as problem:
            _tell(waiting, f"was refused: {problem.reason}")
            await self._give_up(waiting, str(problem), waiting.attempts + 1)
            return True
        except TryLater as problem:
            await self._try_later(waiting, problem)
            return False
        self._accepted.add(waiting.id)
        await self._keep_sent(waiting)
        return True

    async def _keep_sent(self, waiting: Waiting) -> None:
        async with self._services.store.writing() as connection:
            await outbox.mark_sent(connection, waiting.id, self._services.clock())
        self._accepted.discard(waiting.id)
        log.info("message %d of route %d was sent", waiting.id, waiting.route_id)

    async def _try_later(self, waiting: Waiting, problem: TryLater) -> None:
        now, tries = self._services.clock(), waiting.attempts + 1
        next_at = next_try(
            written_at=waiting.written_at,
            tries=tries,
            now=now,
            draw=self._draw(),
            retry_after=problem.retry_after,
        )
        if next_at is None:
            _tell(waiting, f"is given up after {tries} tries: {problem.reason}")
            await self._give_up(waiting, str(problem), tries)
            return
        self._left_alone[waiting.route_id] = leave_alone_until(
            now, next_at, problem.retry_after
        )
        _tell(waiting, f"is tried again later: {problem.reason}")
        async with self._services.store.writing() as connection:
            await outbox.put_off(connection, waiting.id, next_at, str(problem))

    async def _give_up(self, waiting: Waiting, why: str, tries: int) -> None:
        now = self._services.clock()
        async with self._services.store.writing() as connection:
            await outbox.give_up(connection, waiting.id, now, why, tries)


def _tell_of_store(problem: StoreTrouble) -> None:
    # Without the trace: it shows what was to be written, and addresses stand in that.
    log.warning("the outbox cannot be used; trying again: %s", problem)


def _tell(waiting: Waiting, what: str) -> None:
    log.warning("message %d of route %d %s", waiting.id, waiting.route_id, what)


def _message(route: Route, waiting: Waiting) -> Message:
    payload = waiting.payload
    return Message(
        name=waiting.name,
        what=waiting.what,
        route=route.label,
        written_at=waiting.written_at,
        alerts=[ToldAlert(**plain) for plain in payload["alerts"]],
        more=payload["more"],
    )


async def _has_been_overtaken(connection: WriteConnection, waiting: Waiting) -> bool:
    if waiting.what == "digest":
        return False
    (plain,) = waiting.payload["alerts"]
    standing = await alert_now(connection, plain["id"])
    return is_overtaken(waiting.what, plain["urgency"], plain["reopened"], standing)
