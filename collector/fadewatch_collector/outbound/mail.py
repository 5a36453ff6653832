"""Mail: composed so that no pack can forge a header, sent over a checked connection."""

import ssl
from dataclasses import dataclass
from datetime import datetime
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from typing import Literal

import aiosmtplib

from fadewatch_collector.outbound.channel import Destination
from fadewatch_collector.outbound.problems import Refused, TryLater
from fadewatch_collector.outbound.wording import subject_of, text_of
from fadewatch_collector.rules.messages import Message

Security = Literal["starttls", "tls", "none"]

TIMEOUT_S = 30.0
"""How long the mail server may take for each step [s]. Own choice."""

_FIRST_PERMANENT = 500
"""Replies from here on are permanent: RFC 5321 section 4.2.1."""


@dataclass(frozen=True, slots=True)
class MailServer:
    """How mail leaves.

    Attributes
    ----------
    security
        ``none`` is for a server on the loopback address only.
    sender
        Address that mail comes from; its domain is that of the message ids too.
    """

    host: str
    port: int
    security: Security
    user: str | None
    password: str | None
    sender: str


class Mail:
    """Sends messages as mail."""

    def __init__(
        self, server: MailServer | None, pages: str, context: ssl.SSLContext
    ) -> None:
        self._server = server
        self._pages = pages
        self._context = context

    async def send(
        self, message: Message, destination: Destination, now: datetime
    ) -> None:
        """Send a message; returns once the server has accepted it."""
        del now
        server = self._server
        if server is None:
            raise TryLater("no mail server is set (FADEWATCH_MAIL_HOST)")
        try:
            mail = compose(message, destination.target, server.sender, self._pages)
        except (ValueError, MessageError) as problem:
            raise Refused("the mail cannot be written", str(problem)) from problem
        try:
            await self._hand_over(server, mail)
        except aiosmtplib.SMTPRecipientsRefused as problem:
            raise _answered(problem.recipients[0]) from None
        except (
            aiosmtplib.SMTPAuthenticationError,
            aiosmtplib.SMTPSenderRefused,
            aiosmtplib.SMTPHeloError,
            aiosmtplib.SMTPConnectResponseError,
        ) as problem:
            # Wrong settings, not a wrong message: nothing is lost while they are
            # put right.
            reason = f"the mail server refused us ({problem.code})"
            raise TryLater(reason, problem.message) from None
        except aiosmtplib.SMTPResponseException as problem:
            raise _answered(problem) from None
        except (aiosmtplib.SMTPException, OSError, ValueError) as problem:
            reason = f"the mail server cannot be used ({type(problem).__name__})"
            raise TryLater(reason, str(problem)) from None

    async def _hand_over(self, server: MailServer, mail: EmailMessage) -> None:
        await aiosmtplib.send(
            mail,
            hostname=server.host,
            port=server.port,
            use_tls=server.security == "tls",
            # True, not None: a server that no longer offers STARTTLS gets nothing.
            start_tls=server.security == "starttls",
            username=server.user,
            password=server.password,
            tls_context=self._context if server.security != "none" else None,
            timeout=TIMEOUT_S,
        )


def compose(message: Message, to: str, sender: str, pages: str) -> EmailMessage:
    """Write the mail: plain text, and the same headers whenever it is written again."""
    mail = EmailMessage(policy=SMTP)
    origin = Address(addr_spec=sender)
    mail["From"] = Address("Fadewatch", addr_spec=sender)
    mail["To"] = Address(addr_spec=to)
    mail["Subject"] = subject_of(message)
    mail["Date"] = message.written_at
    mail["Message-ID"] = f"<{message.name}@{origin.domain}>"
    # RFC 3834: no absence notes and other automatic answers, please.
    mail["Auto-Submitted"] = "auto-generated"
    if message.what == "stop-use":
        mail["Importance"] = "high"
    mail.set_content(text_of(message, pages))
    return mail


def _answered(problem: aiosmtplib.SMTPResponseException) -> TryLater | Refused:
    reason = f"the mail server answered {problem.code}"
    if problem.code >= _FIRST_PERMANENT:
        return Refused(reason, problem.message)
    return TryLater(reason, problem.message)
