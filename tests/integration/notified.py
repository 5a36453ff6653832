"""A collector's notifications between a real store and real receivers."""

from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import select

from fadewatch_collector.outbound.channel import Channels
from fadewatch_collector.outbound.channels import open_channels
from fadewatch_collector.outbound.mail import MailServer
from fadewatch_collector.rules.alert_terms import ALERT_KINDS, AlertKind, Urgency
from fadewatch_collector.rules.alerting import Finding
from fadewatch_collector.rules.notify import Channel, Quiet
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.enrolment import add_laptop
from fadewatch_collector.store.tables import outbox
from fadewatch_collector.usecases.alerts import apply_findings
from fadewatch_collector.usecases.notification_routes import MadeRoute, make_route
from fadewatch_collector.usecases.sending import Sender
from fadewatch_collector.usecases.services import Services
from tests.certificates import Certificates
from tests.fakes.clock import StandingClock
from tests.fakes.mail_server import MailServerFake, mail_server
from tests.fakes.webhook_receiver import ReceiverFake, webhook_receiver
from tests.reports import LAPTOP

PAGES = "https://packs.example.org"
DESK = "desk@example.org"


def finding(
    kind: AlertKind = "wear-replace",
    urgency: Urgency = "act",
    reason: str = "Wear is 43.5 % on 2026-03-02; the replace threshold is 40 %.",
    **figures: Any,
) -> Finding:
    """Make something that a person should see."""
    return Finding(
        kind=kind,
        urgency=urgency,
        reasons=(reason,),
        next_step="Replace the pack.",
        figures=figures,
    )


@dataclass(slots=True)
class Desk:
    """The parts, and what tests do with them."""

    services: Services
    clock: StandingClock
    mail: MailServerFake
    hook: ReceiverFake
    sender: Sender
    channels: Channels

    def another_sender(self) -> Sender:
        """Return the sender of another collector."""
        return Sender(self.services, self.channels, lambda: 0.5)

    async def route(
        self,
        channel: Channel = "mail",
        *,
        target: str | None = None,
        urgencies: Sequence[Urgency] = (),
        sites: Sequence[str] = (),
        quiet: Quiet | None = None,
    ) -> MadeRoute:
        """Make a route, to the desk or to the receiver."""
        return await make_route(
            self.services,
            label="the desk",
            channel=channel,
            target=target or (DESK if channel == "mail" else self.hook.url),
            urgencies=urgencies,
            sites=sites,
            quiet=quiet,
            who="a test",
        )

    async def laptop(self, site: str = "North", **changes: Any) -> Subject:
        """Add a laptop that alerts can be about."""
        laptop = replace(LAPTOP, **changes)
        async with self.services.store.writing() as connection:
            number = await add_laptop(connection, laptop, site, self.clock())
        return Subject(number, None, site)

    async def find(self, found: Mapping[Subject, Sequence[Finding]]) -> None:
        """Make the alerts agree with what was found."""
        async with self.services.store.writing() as connection:
            await apply_findings(connection, found, ALERT_KINDS, self.clock())

    async def rows(self) -> list[dict[str, Any]]:
        """Return the outbox."""
        query = select(outbox).order_by(outbox.c.id)
        async with self.services.store.reading() as connection:
            return [dict(row._mapping) for row in await connection.execute(query)]


@asynccontextmanager
async def open_desk(
    services: Services, clock: StandingClock, certificates: Certificates
) -> AsyncIterator[Desk]:
    """Run a mail server with STARTTLS and a receiver, and a sender between."""
    async with (
        mail_server(certificates.server_context()) as mail,
        webhook_receiver(certificates.server_context()) as hook,
        open_channels(
            MailServer(
                host="127.0.0.1",
                port=mail.port,
                security="starttls",
                user=None,
                password=None,
                sender="packs@example.net",
            ),
            PAGES,
            certificates.authority,
        ) as channels,
    ):
        sender = Sender(services, channels, lambda: 0.5)
        yield Desk(services, clock, mail, hook, sender, channels)
