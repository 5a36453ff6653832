"""A real mail server on loopback that keeps what it accepted, to be read back."""

import asyncio
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import SMTP as POLICY

from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session


@dataclass(slots=True)
class Accepted:
    """One mail, and for whom it was."""

    to: list[str]
    mail: EmailMessage
    was_secret: bool

    @property
    def text(self) -> str:
        """Return the plain text."""
        part = self.mail.get_body(("plain",))
        assert part is not None
        content: str = part.get_content()
        return content.replace("\r\n", "\n")


@dataclass(slots=True)
class MailServerFake:
    """What the server is told, and what it accepted.

    Attributes
    ----------
    recipient_answer, data_answer
        What it says to a recipient and to a mail.
    on_mail
        Called with each mail after it was kept and before the answer.
    """

    port: int = 0
    recipient_answer: str = "250 fine"
    data_answer: str = "250 taken"
    on_mail: Callable[[Accepted], Awaitable[None]] | None = None
    accepted: list[Accepted] = field(default_factory=list)
    signed_in: list[tuple[bytes, bytes]] = field(default_factory=list)
    changed: asyncio.Condition = field(default_factory=asyncio.Condition)

    @property
    def mails(self) -> list[EmailMessage]:
        return [one.mail for one in self.accepted]

    @property
    def message_ids(self) -> list[str]:
        return [str(mail["Message-ID"]) for mail in self.mails]

    async def until(self, is_enough: Callable[[], bool]) -> None:
        """Wait until enough has come in."""
        async with self.changed:
            await self.changed.wait_for(is_enough)

    async def handle_RCPT(  # noqa: N802  named by the server's library
        self,
        _server: SMTP,
        _session: Session,
        envelope: Envelope,
        address: str,
        _options: list[str],
    ) -> str:
        if self.recipient_answer.startswith("2"):
            envelope.rcpt_tos.append(address)
        return self.recipient_answer

    async def handle_DATA(  # noqa: N802  named by the server's library
        self, _server: SMTP, session: Session, envelope: Envelope
    ) -> str:
        if self.data_answer.startswith("2"):
            content = envelope.content
            assert isinstance(content, bytes)
            mail = message_from_bytes(content, EmailMessage, policy=POLICY)
            accepted = Accepted(list(envelope.rcpt_tos), mail, session.ssl is not None)
            self.accepted.append(accepted)
            if self.on_mail is not None:
                await self.on_mail(accepted)
            async with self.changed:
                self.changed.notify_all()
        return self.data_answer

    def check(
        self,
        _server: SMTP,
        _session: Session,
        _envelope: Envelope,
        _mechanism: str,
        shown: object,
    ) -> AuthResult:
        """Sign in whoever knows the password of these tests."""
        assert isinstance(shown, LoginPassword)
        self.signed_in.append((shown.login, shown.password))
        is_right = shown.password == b"pine needles"
        # Not handled: the library then says the refusal itself.
        return AuthResult(success=is_right, handled=is_right)


@asynccontextmanager
async def mail_server(
    starttls: ssl.SSLContext | None = None,
    tls: ssl.SSLContext | None = None,
    *,
    asks_who: bool = False,
) -> AsyncIterator[MailServerFake]:
    """Run a server on a free port of 127.0.0.1 while in the block."""
    fake = MailServerFake()

    def session() -> SMTP:
        return SMTP(
            fake,
            hostname="mail.test",
            tls_context=starttls,
            require_starttls=starttls is not None,
            auth_required=asks_who,
            auth_require_tls=tls is None,
            authenticator=fake.check,
            timeout=20,
        )

    loop = asyncio.get_running_loop()
    server = await loop.create_server(session, "127.0.0.1", 0, ssl=tls)
    fake.port = server.sockets[0].getsockname()[1]
    try:
        yield fake
    finally:
        server.close()
        await server.wait_closed()
