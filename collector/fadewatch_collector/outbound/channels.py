"""Open mail and webhooks, with what they share."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import aiohttp

from fadewatch_collector.outbound.addresses import GuardedResolver
from fadewatch_collector.outbound.channel import Channels
from fadewatch_collector.outbound.mail import Mail, MailServer
from fadewatch_collector.outbound.tls import trust
from fadewatch_collector.outbound.webhooks import Webhooks


@asynccontextmanager
async def open_channels(
    server: MailServer | None, pages: str, private_ca: Path | None
) -> AsyncIterator[Channels]:
    """Give the channels; nothing is connected before the first message.

    Parameters
    ----------
    pages
        Address under which people reach the pages.
    private_ca
        File with the organisation's own certificate authority, trusted beside those
        of the system.

    Raises
    ------
    InvalidRequest
        The file holds no certificate.
    """
    context = trust(private_ca)
    connector = aiohttp.TCPConnector(
        ssl=context,
        resolver=GuardedResolver(),
        # A name is looked up, and judged, for each message anew.
        use_dns_cache=False,
        force_close=True,
    )
    async with aiohttp.ClientSession(
        connector=connector, cookie_jar=aiohttp.DummyCookieJar(), trust_env=False
    ) as session:
        yield {
            "mail": Mail(server, pages, context),
            "webhook": Webhooks(session, pages),
        }
