"""The whole service in this process, as the command runs it."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fadewatch_collector.app import Signals, serve
from fadewatch_collector.settings import Settings


@asynccontextmanager
async def serving(settings: Settings) -> AsyncIterator[str]:
    """Run it until the block ends; gives the address of its pages."""
    signals, listening = Signals(), asyncio.get_running_loop().create_future()
    service = asyncio.create_task(serve(settings, signals, listening.set_result))
    done, _ = await asyncio.wait(
        {service, listening}, return_when=asyncio.FIRST_COMPLETED
    )
    try:
        if service in done:
            service.result()
        yield listening.result()
    finally:
        signals.stop.set()
        await service
