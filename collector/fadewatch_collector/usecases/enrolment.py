"""Give a laptop its identity: tokens, keys, and whether it is known already."""

import hashlib
import logging
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from fadewatch_collector.errors import NotFound, TokenRefused
from fadewatch_collector.rules.event_findings import enrolment_clash_finding
from fadewatch_collector.store import agent_keys, audit
from fadewatch_collector.store import enrolment as rows
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.enrolment import TokenRow
from fadewatch_collector.store.search import refresh_terms
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.alerts import raise_event
from fadewatch_collector.usecases.services import Services
from fadewatch_common.placeholders import is_placeholder, is_placeholder_uuid
from fadewatch_common.report import Agent, Laptop

log = logging.getLogger(__name__)

SECRET_BYTES = 32
"""Random bytes in a key or token; OWASP ASVS 5.0 11.5.1 asks for at least 16."""

TOKEN_PREFIX = "fwt_"  # noqa: S105  what a token begins with, no secret
KEY_PREFIX = "fwk_"


@dataclass(frozen=True, slots=True)
class Enrolled:
    """A laptop's id and the key that only it knows."""

    laptop_id: int
    key: str


def digest_of(secret: str) -> bytes:
    """Hash a random secret for the store: SHA-256, since it cannot be guessed."""
    return hashlib.sha256(secret.encode()).digest()


async def make_token(
    services: Services,
    *,
    label: str,
    site: str | None,
    lifetime: timedelta,
    use_limit: int,
    who: str,
) -> str:
    """Make an enrolment token and return it; it is shown this one time only."""
    secret = TOKEN_PREFIX + secrets.token_urlsafe(SECRET_BYTES)
    now = services.clock()
    row = TokenRow(0, label, site, now, who, now + lifetime, use_limit, 0, None)
    async with services.store.writing() as connection:
        token_id = await rows.add_token(connection, row, digest_of(secret))
        await audit.note(
            connection, now, who, "token made", f"token:{token_id}", {"label": label}
        )
    return secret


async def list_tokens(services: Services) -> list[TokenRow]:
    """Return all enrolment tokens, newest first, without their secrets."""
    async with services.store.reading() as connection:
        return await rows.list_tokens(connection)


async def revoke_token(services: Services, token_id: int, who: str) -> None:
    """End a token; laptops enrolled with it keep their keys.

    Raises
    ------
    NotFound
        No token has this id.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        if not await rows.revoke_token(connection, token_id, now):
            raise NotFound("token", token_id)
        await audit.note(connection, now, who, "token revoked", f"token:{token_id}")


async def enrol(
    services: Services,
    token: str,
    laptop: Laptop,
    agent: Agent,
    attempt: str | None = None,
) -> Enrolled:
    """Enrol a laptop: a new one, or a known one that was set up again.

    Its history goes on only when maker, model, serial and board UUID agree with
    exactly one known laptop and none of them is a placeholder.

    Parameters
    ----------
    attempt
        What the agent calls this attempt. A second request of the same attempt, made
        when the first answer was lost, means the same laptop and spends no more.

    Raises
    ------
    TokenRefused
        The token is unknown, spent, expired or revoked.
    """
    key = KEY_PREFIX + secrets.token_urlsafe(SECRET_BYTES)
    now = services.clock()
    async with services.store.writing() as connection:
        found = await rows.token_by_digest(connection, digest_of(token))
        if found is None:
            raise TokenRefused("unknown")
        if found.revoked_at is not None:
            raise TokenRefused("revoked")
        if found.expires_at <= now:
            raise TokenRefused("expired")
        known: list[int] = []
        tried = attempt and await agent_keys.laptop_of_attempt(
            connection, found.id, attempt
        )
        if tried:
            known = [tried]
        elif not await rows.spend_token(connection, found.id):
            raise TokenRefused("used up")
        elif has_firm_identity(laptop):
            known = list(await rows.laptops_with_hardware(connection, laptop))
        again = len(known) == 1
        laptop_id = (
            known[0]
            if again
            else await rows.add_laptop(connection, laptop, found.site, now)
        )
        await refresh_terms(connection, [laptop_id])
        if not again:
            await _tell_clash(connection, laptop_id, laptop, found.site, now)
        await agent_keys.add_key(
            connection, laptop_id, digest_of(key), found.id, now, attempt
        )
        await audit.note(
            connection,
            now,
            f"token {found.label}",
            "laptop enrolled again" if again else "laptop enrolled",
            f"laptop:{laptop_id}",
            {"agent": agent.version, "platform": agent.platform},
        )
    log.info("laptop %s enrolled%s", laptop_id, " again" if again else "")
    return Enrolled(laptop_id, key)


async def _tell_clash(
    connection: WriteConnection,
    laptop_id: int,
    laptop: Laptop,
    site: str | None,
    now: datetime,
) -> None:
    """Alert on a new laptop that shares a serial or board id with a known one."""
    serial = None if is_placeholder(laptop.serial) else laptop.serial
    board = None if is_placeholder_uuid(laptop.board_uuid) else laptop.board_uuid
    alike = await rows.laptops_like(connection, serial, board)
    others = [number for number in alike if number != laptop_id]
    if others:
        subject = Subject(laptop_id, None, site)
        await raise_event(connection, subject, enrolment_clash_finding(others), now)


def has_firm_identity(laptop: Laptop) -> bool:
    """Say whether the laptop can be told from every other by what it reports."""
    texts = (laptop.maker, laptop.model, laptop.serial)
    return not any(map(is_placeholder, texts)) and not is_placeholder_uuid(
        laptop.board_uuid
    )
