"""The work behind intake in a process of its own, so that it takes no time from intake.

Both ends of the pipe between the two: the service writes a byte to wake the other, and
closes the pipe to end it. The system closes it when the service dies. Nothing else is
shared but the store, where all that waits stands in queues.
"""

import asyncio
import logging
import os
import signal
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import Callable
from contextlib import suppress
from time import monotonic

from pydantic import SecretStr

from fadewatch_collector.jobs.background import Background, BackgroundHere
from fadewatch_collector.settings import Settings
from fadewatch_collector.store.lock import alone_in_background
from fadewatch_collector.usecases.services import Services

log = logging.getLogger(__name__)

COMMAND = "background"
"""The command that runs the other end; people have no use for it."""

FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 60.0
"""Pauses before a process that died is started again double up to this [s]. Own choice."""

STEADY_S = 60.0
"""A process that lived this long counts as well: the pauses begin anew [s]."""

END_S = 15.0
"""How long the process may take for what it has in hand [s]: messages on their way take
up to eight."""


class BackgroundProcess:
    """Keeps the process running.

    Attributes
    ----------
    pid
        Its number; None while it does not run.
    """

    def __init__(
        self, settings: Settings, on_restart: Callable[[], None] = lambda: None
    ) -> None:
        self._settings = settings
        self._on_restart = on_restart
        self._process: Process | None = None
        self._closed = asyncio.Event()

    @property
    def pid(self) -> int | None:
        """Number of the process; None while it does not run."""
        return None if self._process is None else self._process.pid

    def wake(self) -> None:
        """Say that reports were stored."""
        pipe = None if self._process is None else self._process.stdin
        # A byte that still waits wakes as well as two.
        if (
            pipe
            and not pipe.is_closing()
            and not pipe.transport.get_write_buffer_size()
        ):
            pipe.write(b"\n")

    def close(self) -> None:
        """End ``run``, and the process after what it has in hand."""
        self._closed.set()

    async def run(self) -> None:
        """Keep it running until closed."""
        pause_s = FIRST_PAUSE_S
        while not self._closed.is_set():
            began = monotonic()
            why = await self._run_once()
            if self._closed.is_set():
                return
            if monotonic() - began > STEADY_S:
                pause_s = FIRST_PAUSE_S
            log.error(
                "the background process %s; starting it again in %.0f s", why, pause_s
            )
            with suppress(TimeoutError):
                async with asyncio.timeout(pause_s):
                    await self._closed.wait()
            self._on_restart()
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S)

    async def _run_once(self) -> str:
        """Start it and wait for its end or ours; returns how it ended."""
        try:
            # Without the present folder among those that modules are taken from.
            process = await asyncio.create_subprocess_exec(
                *(sys.executable, "-P", "-m", "fadewatch_collector", COMMAND),
                stdin=PIPE,
                env=environment_of(self._settings),
            )
        except OSError as problem:
            return f"cannot be started ({problem})"
        self._process = process
        ended = asyncio.create_task(process.wait())
        closed = asyncio.create_task(self._closed.wait())
        try:
            await asyncio.wait({ended, closed}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            closed.cancel()
            self._process = None
            if process.stdin is not None:
                process.stdin.close()
        try:
            async with asyncio.timeout(END_S):
                code = await ended
        except TimeoutError:
            log.warning("the background process does not end; it is killed")
            process.kill()
            code = await process.wait()
        return f"ended by signal {-code}" if code < 0 else f"ended with code {code}"


def environment_of(settings: Settings) -> dict[str, str]:
    """Return this process's environment with just these settings."""
    prefix = "FADEWATCH_"
    kept = {k: v for k, v in os.environ.items() if not k.upper().startswith(prefix)}
    for name in type(settings).model_fields:
        value = getattr(settings, name)
        if isinstance(value, SecretStr):
            value = value.get_secret_value()
        elif isinstance(value, tuple):
            value = ",".join(map(str, value))
        if value is not None:
            kept[prefix + name.upper()] = str(value)
    return kept


async def work_in_background(services: Services) -> None:
    """Be the other end: work until the pipe is closed or SIGTERM comes."""
    work = BackgroundHere(services)
    loop = asyncio.get_running_loop()
    loop.add_signal_handler(signal.SIGTERM, work.close)
    transport, _ = await loop.connect_read_pipe(lambda: _Line(work), sys.stdin)
    try:
        async with alone_in_background(services.store):
            await work.run()
    finally:
        transport.close()


class _Line(asyncio.Protocol):
    """What comes through the pipe."""

    def __init__(self, work: Background) -> None:
        self._work = work

    def data_received(self, data: bytes) -> None:
        """Wake, however many bytes there are."""
        del data
        self._work.wake()

    def connection_lost(self, exc: Exception | None) -> None:
        """End: the service closes the pipe, or has died."""
        del exc
        self._work.close()
