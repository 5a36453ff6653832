"""The work behind intake: filing, assessing, sending, and the clock's rounds."""

import asyncio
import secrets
from typing import Protocol

from fadewatch_collector.jobs.clock import keep_clock
from fadewatch_collector.usecases.assessing import Assessor
from fadewatch_collector.usecases.channels import channels_of
from fadewatch_collector.usecases.filing import Filing
from fadewatch_collector.usecases.sending import Sender
from fadewatch_collector.usecases.services import Services


class Background(Protocol):
    """Whatever has that work done."""

    def wake(self) -> None:
        """Say that reports were stored."""

    def close(self) -> None:
        """End ``run`` after what is in hand; the rest waits in the store."""

    async def run(self) -> None:
        """Have the work done until closed."""


class BackgroundHere:
    """Does the work on this process's event loop."""

    def __init__(self, services: Services) -> None:
        self._services = services
        self._assessor = Assessor(services, gives_way=lambda: self._filing.is_behind)
        self._filing = Filing(services, self._assessor.wake)
        self._closed = asyncio.Event()

    def wake(self) -> None:
        """Say that reports were stored."""
        self._filing.wake()

    def close(self) -> None:
        """End ``run`` after what is in hand; the rest waits in the store."""
        self._closed.set()

    async def run(self) -> None:
        """Work until closed."""
        services = self._services
        async with (
            channels_of(services.settings) as channels,
            asyncio.TaskGroup() as group,
        ):
            sender = Sender(services, channels, secrets.SystemRandom().random)
            group.create_task(sender.run(), name="sender")
            group.create_task(self._filing.run(), name="filing")
            group.create_task(self._assessor.run(), name="assessor")
            clock = group.create_task(keep_clock(services), name="clock")
            await self._closed.wait()
            clock.cancel()
            for worker in (self._filing, self._assessor, sender):
                worker.close()
