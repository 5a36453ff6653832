"""Put the parts together: the one place that knows all of them."""

import asyncio
import secrets
from collections.abc import AsyncIterator, Callable

from aiohttp import web

from fadewatch_collector.api.setup import HANDLER_ARGS, PREFIX, add_health, make_api
from fadewatch_collector.edge.setup import add_edge
from fadewatch_collector.jobs.clock import keep_clock
from fadewatch_collector.settings import Settings
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.usecases.assess import Assessor
from fadewatch_collector.usecases.channels import channels_of
from fadewatch_collector.usecases.filing import Filed, Filing
from fadewatch_collector.usecases.intake import Intake
from fadewatch_collector.usecases.order_lists import OrderLists
from fadewatch_collector.usecases.sending import Sender
from fadewatch_collector.usecases.services import Services, open_services
from fadewatch_collector.web.access import AccessLine
from fadewatch_collector.web.setup import add_pages

SHUTDOWN_S = 10.0
"""How long requests in hand may take to end when the collector stops [s]."""


def make_app(services: Services) -> web.Application:
    """Make the application: intake, filing, assessing and clock run inside it."""
    assessor = Assessor(services)

    def on_filed(filed: Filed) -> None:
        assessor.add(filed.packs, filed.laptops)

    filing = Filing(services, on_filed)
    intake = Intake(services, filing.wake)
    app = web.Application(handler_args=HANDLER_ARGS)
    add_edge(app, services.settings)
    add_health(app, services)
    orders = OrderLists(services)
    app.add_subapp(PREFIX, make_api(services, intake, orders=orders))
    add_pages(app, services, orders)

    async def workers(_app: web.Application) -> AsyncIterator[None]:
        async with (
            channels_of(services.settings) as channels,
            asyncio.TaskGroup() as group,
        ):
            sender = Sender(services, channels, secrets.SystemRandom().random)
            group.create_task(sender.run(), name="sender")
            group.create_task(intake.run(), name="intake")
            group.create_task(filing.run(), name="filing")
            group.create_task(assessor.run(), name="assessor")
            try:
                yield
            finally:
                for worker in (intake, filing, assessor, sender):
                    worker.close()

    async def clock(_app: web.Application) -> AsyncIterator[None]:
        keeper = asyncio.create_task(keep_clock(services), name="clock")
        yield
        keeper.cancel()
        await asyncio.gather(keeper, return_exceptions=True)

    app.cleanup_ctx.append(workers)
    app.cleanup_ctx.append(clock)
    return app


async def serve(
    settings: Settings, stop: asyncio.Event, on_listening: Callable[[str], None]
) -> None:
    """Bring the store up to date and serve until told to stop.

    Parameters
    ----------
    stop
        Set it to end the service; requests in hand are answered first.
    on_listening
        Called once with the address listened on.
    """
    services = open_services(settings)
    try:
        await upgrade(services.store)
        runner = web.AppRunner(
            make_app(services),
            access_log_class=AccessLine,
            shutdown_timeout=SHUTDOWN_S,
        )
        await runner.setup()
        try:
            await web.TCPSite(runner, settings.host, settings.port).start()
            on_listening(_address(runner))
            await stop.wait()
        finally:
            await runner.cleanup()
    finally:
        await services.store.close()


def _address(runner: web.AppRunner) -> str:
    host, port = runner.addresses[0][:2]
    return f"http://{f'[{host}]' if ':' in host else host}:{port}"
