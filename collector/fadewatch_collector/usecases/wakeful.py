"""The rests of a worker that works off a queue."""

import asyncio


class Wakeful:
    """Lets a worker rest until there is work, and gather some before it goes on."""

    def __init__(self) -> None:
        self._woken = asyncio.Event()
        self._closed = asyncio.Event()

    @property
    def is_closed(self) -> bool:
        """Say whether the worker should end."""
        return self._closed.is_set()

    def wake(self) -> None:
        """Say that there is work."""
        self._woken.set()

    def close(self) -> None:
        """Say that the worker should end after what it has in hand."""
        self._closed.set()
        self._woken.set()

    async def rest(self, most_s: float) -> None:
        """Wait until there is work since the last rest, at most so long [s]."""
        await _heard(self._woken, most_s)
        self._woken.clear()

    async def gather(self, seconds: float) -> None:
        """Let work gather for a while [s]."""
        await _heard(self._closed, seconds)


async def _heard(event: asyncio.Event, most_s: float) -> None:
    try:
        async with asyncio.timeout(most_s):
            await event.wait()
    except TimeoutError:
        return
