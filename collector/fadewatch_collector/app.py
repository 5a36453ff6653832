"""Put the parts together: the one place that knows all of them."""

import asyncio
import gc
import platform
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from ssl import SSLContext

from aiohttp import web

from fadewatch_collector.api.metrics import make_metrics
from fadewatch_collector.api.setup import HANDLER_ARGS, add_api, add_health
from fadewatch_collector.edge.certificates import Certificate
from fadewatch_collector.edge.drain import Drain
from fadewatch_collector.edge.meters import METERS, Meters
from fadewatch_collector.edge.setup import add_edge
from fadewatch_collector.jobs.background import Background, BackgroundHere
from fadewatch_collector.jobs.background_process import BackgroundProcess
from fadewatch_collector.settings import Settings
from fadewatch_collector.store.pool import pool_standing
from fadewatch_collector.store.report_group import ReportWriter
from fadewatch_collector.store.report_writer import report_writer
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.sqlite_reports import SqliteWriterApart
from fadewatch_collector.store.store import Store
from fadewatch_collector.usecases.intake import Intake
from fadewatch_collector.usecases.order_lists import OrderLists
from fadewatch_collector.usecases.services import Services, open_services
from fadewatch_collector.web.access import AccessLine
from fadewatch_collector.web.setup import add_pages
from fadewatch_common import __version__

IDLE_S = 75.0
"""How long a connection may be silent, or take over its first head [s].

aiohttp's own limit is an hour, in which a few thousand half-open connections use up
what the system gives. Longer than proxies keep theirs (60 s is common; own choice).
"""

SHUTDOWN_S = 10.0
"""How long requests in hand may take to end when the collector stops [s]."""

YOUNG_OBJECTS = 50_000
"""New objects after which garbage is looked for; a few hundred, as Python has it, are
made by a handful of reports, which takes a twentieth of the time for them. Own choice.
"""

WAITING_CONNECTIONS = 1024
"""Connections that may wait to be taken up [count]: at nine in the morning a thousand
laptops wake in one second. Own choice; the system's own limit may be lower."""


def make_app(
    services: Services,
    drain: Drain | None = None,
    meters: Meters | None = None,
    background: Background | None = None,
    writer: ReportWriter | None = None,
) -> web.Application:
    """Make the application: intake runs inside it, and starts what works behind it.

    Parameters
    ----------
    drain
        Tells the application that the service ends soon.
    meters
        What is counted; what nobody asks for otherwise.
    background
        Has the work behind intake done; on this event loop otherwise.
    writer
        Writes the reports; one on this process's threads otherwise.
    """
    meters = meters or new_meters()
    background = background or BackgroundHere(services)
    intake = Intake(
        services,
        background.wake,
        lambda commit: meters.committed(commit.reports, commit.new, commit.seconds),
        writer,
    )
    app = web.Application(handler_args=HANDLER_ARGS)
    app[METERS] = meters
    _watch(services, intake, meters)
    add_edge(app, services.settings, drain)
    add_health(app, services, drain)
    orders = OrderLists(services)
    add_api(app, services, intake, orders=orders)
    add_pages(app, services, orders)

    async def workers(_app: web.Application) -> AsyncIterator[None]:
        async with asyncio.TaskGroup() as group:
            group.create_task(intake.run(), name="intake")
            group.create_task(background.run(), name="background")
            try:
                yield
            finally:
                intake.close()
                background.close()

    app.cleanup_ctx.append(workers)
    return app


def new_meters() -> Meters:
    """Make what an application counts with."""
    return Meters(__version__, platform.python_version())


def _watch(services: Services, intake: Intake, meters: Meters) -> None:
    """Let what is counted see the intake's queue and the database's connections."""
    store, settings = services.store, services.settings
    store.on_wait = meters.waited
    meters.gauge(
        "intake_waiting_reports",
        "Reports that wait for their commit.",
        lambda: intake.depth,
    )
    meters.gauge(
        "intake_limit_reports",
        "Reports that may wait for their commit.",
        lambda: settings.intake_queue,
    )
    meters.gauge(
        "database_connections_in_use",
        "Connections in use.",
        lambda: pool_standing(store).in_use,
    )
    meters.gauge(
        "database_connections_idle",
        "Connections open and not in use.",
        lambda: pool_standing(store).idle,
    )
    meters.gauge(
        "database_connections_kept",
        "Connections kept open when not in use, at most.",
        lambda: pool_standing(store).kept,
    )


def _background(settings: Settings, meters: Meters) -> BackgroundProcess:
    """Prepare the process behind intake, and let what is counted see it."""
    restarted = meters.counter(
        "background_restarts", "Starts of the background process after it had died."
    )
    background = BackgroundProcess(settings, restarted)
    meters.gauge(
        "background_running",
        "1 while the process runs that files, assesses, sends and keeps the clock.",
        lambda: background.pid is not None,
    )
    meters.process("fadewatch_background", lambda: background.pid)
    return background


def _writer(store: Store, meters: Meters) -> ReportWriter:
    """Prepare who writes reports, and let what is counted see its process."""
    if not store.is_sqlite:
        return report_writer(store)
    restarted = meters.counter(
        "writer_restarts",
        "Starts of the process that writes reports to SQLite after it had died.",
    )
    writer = SqliteWriterApart(store, restarted)
    meters.process("fadewatch_writer", lambda: writer.pid)
    return writer


@dataclass(frozen=True, slots=True)
class Signals:
    """What a running service can be told.

    Attributes
    ----------
    stop
        To end; requests in hand are answered first.
    hurry
        Not to wait for load balancers while it ends.
    renew
        To take the TLS certificate anew.
    """

    stop: asyncio.Event = field(default_factory=asyncio.Event)
    hurry: asyncio.Event = field(default_factory=asyncio.Event)
    renew: asyncio.Event = field(default_factory=asyncio.Event)


async def serve(
    settings: Settings, signals: Signals, on_listening: Callable[[str], None]
) -> None:
    """Bring the store up to date and serve until told to stop.

    Parameters
    ----------
    on_listening
        Called once with the address listened on.
    """
    certificate = _certificate(settings)
    services = open_services(settings)
    drain = Drain()
    try:
        await upgrade(services.store)
        meters = new_meters()
        if certificate is not None:
            _watch_certificate(certificate, meters)
        runner = web.AppRunner(
            make_app(
                services,
                drain,
                meters,
                _background(settings, meters),
                _writer(services.store, meters),
            ),
            access_log_class=AccessLine,
            shutdown_timeout=SHUTDOWN_S,
            keepalive_timeout=IDLE_S,
        )
        await runner.setup()
        try:
            async with (
                _renewed(certificate, signals.renew) as context,
                _metrics(services, meters, context),
            ):
                await _listen(runner, settings, context)
                _set_memory_apart()
                on_listening(_address(runner, is_secure=context is not None))
                await signals.stop.wait()
                await drain.begin(settings.drain_seconds, signals.hurry)
        finally:
            await runner.cleanup()
    finally:
        await services.store.close()


def _set_memory_apart() -> None:
    """Let what was loaded to start with be: it stays, and is most of what there is.

    Looking through it for garbage would stop every answer for a tenth of a second, again
    and again. What is new is looked through less often than by default.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(YOUNG_OBJECTS)


def _certificate(settings: Settings) -> Certificate | None:
    if settings.tls_certificate is None or settings.tls_key is None:
        return None
    return Certificate(settings.tls_certificate, settings.tls_key)


def _watch_certificate(certificate: Certificate, meters: Meters) -> None:
    meters.gauge(
        "tls_certificate_expires_timestamp_seconds",
        "Until when the TLS certificate in use is good.",
        certificate.expires_s,
    )


@asynccontextmanager
async def _renewed(
    certificate: Certificate | None, asked: asyncio.Event
) -> AsyncIterator[SSLContext | None]:
    """Keep the certificate as new as its files while the block runs."""
    if certificate is None:
        yield None
        return
    watch = asyncio.create_task(certificate.watch(asked), name="certificate")
    try:
        yield certificate.context
    finally:
        watch.cancel()
        await asyncio.gather(watch, return_exceptions=True)


@asynccontextmanager
async def _metrics(
    services: Services, meters: Meters, context: SSLContext | None
) -> AsyncIterator[None]:
    """Serve the metrics on their own address while the block runs."""
    listen = services.settings.metrics_listen
    used = context if services.settings.metrics_by_tls else None
    if listen is None:
        yield
        return
    runner = web.AppRunner(make_metrics(services, meters), access_log=None)
    await runner.setup()
    try:
        await web.TCPSite(runner, *listen, ssl_context=used).start()
        yield
    finally:
        await runner.cleanup()


async def _listen(
    runner: web.AppRunner, settings: Settings, context: SSLContext | None
) -> None:
    site = web.TCPSite(
        runner,
        settings.host,
        settings.port,
        ssl_context=context,
        backlog=WAITING_CONNECTIONS,
    )
    await site.start()


def _address(runner: web.AppRunner, *, is_secure: bool) -> str:
    host, port = runner.addresses[0][:2]
    scheme = "https" if is_secure else "http"
    return f"{scheme}://{f'[{host}]' if ':' in host else host}:{port}"
