"""Mail and webhooks as the settings have them."""

from contextlib import AbstractAsyncContextManager

from fadewatch_collector.outbound.channel import Channels
from fadewatch_collector.outbound.channels import open_channels
from fadewatch_collector.outbound.mail import MailServer
from fadewatch_collector.settings import Settings

MAIL_PORTS = {"starttls": 587, "tls": 465, "none": 25}
"""Ports of message submission (RFC 6409, RFC 8314) and of plain SMTP (RFC 5321)."""


def channels_of(settings: Settings) -> AbstractAsyncContextManager[Channels]:
    """Return the channels, to be opened; nothing is connected yet."""
    server = None
    if settings.mail_host is not None and settings.mail_from is not None:
        password = settings.mail_password
        server = MailServer(
            host=settings.mail_host,
            port=settings.mail_port or MAIL_PORTS[settings.mail_security],
            security=settings.mail_security,
            user=settings.mail_user,
            password=None if password is None else password.get_secret_value(),
            sender=settings.mail_from,
        )
    return open_channels(server, settings.pages_url, settings.private_ca)
