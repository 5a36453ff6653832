"""The key with which one laptop reports: whose it is, its renewal and its end."""

import logging
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from fadewatch_collector.errors import NotFound, NotSignedIn
from fadewatch_collector.store import agent_keys as rows
from fadewatch_collector.store import audit
from fadewatch_collector.store.agent_keys import KeyRow
from fadewatch_collector.usecases.enrolment import KEY_PREFIX, SECRET_BYTES, digest_of
from fadewatch_collector.usecases.services import Services

log = logging.getLogger(__name__)

KEY_AGE = timedelta(days=180)
"""Age at which an agent is asked to renew its key. Own choice."""


class KeyEnded(NotSignedIn):
    """The key is unknown or revoked."""

    def __init__(self) -> None:
        super().__init__("the key is unknown or revoked; enrol this laptop again")


@dataclass(frozen=True, slots=True)
class KeyOwner:
    """Whose key it is, and whether it should be renewed."""

    laptop_id: int
    renew: bool


async def owner_of_key(services: Services, key: str) -> KeyOwner:
    """Return the laptop that a key belongs to; using a new key ends the older ones.

    Raises
    ------
    NotSignedIn
        The key is unknown or revoked.
    """
    now = services.clock()
    row = await _valid(services, key)
    if row.has_elders:
        async with services.store.writing() as connection:
            await rows.end_elders(connection, row, now)
    return KeyOwner(row.laptop_id, _wants_renewal(row, now))


async def laptop_of_key(services: Services, key: str) -> int:
    """Return the laptop that a key belongs to.

    Raises
    ------
    NotSignedIn
        The key is unknown or revoked.
    """
    return (await _valid(services, key)).laptop_id


async def renew_key(services: Services, key: str) -> str:
    """Give the laptop a second key and return it.

    The old one stays valid until the new one is used: whatever is lost on the way, one
    of both works.

    Raises
    ------
    NotSignedIn
        The key is unknown or revoked.
    """
    row = await _valid(services, key)
    fresh, now = KEY_PREFIX + secrets.token_urlsafe(SECRET_BYTES), services.clock()
    async with services.store.writing() as connection:
        await rows.add_second_key(connection, row, digest_of(fresh), now)
        await audit.note(
            connection, now, "agent", "key renewed", f"laptop:{row.laptop_id}"
        )
    log.info("laptop %s renewed its key", row.laptop_id)
    return fresh


async def ask_renewal(services: Services, laptop_id: int, who: str) -> None:
    """Let a laptop renew its key with its next report.

    Raises
    ------
    NotFound
        There is no such laptop, or it has no key.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        if not await rows.ask_renewal(connection, laptop_id, now):
            raise NotFound("laptop with a key", laptop_id)
        await audit.note(
            connection, now, who, "key renewal asked for", f"laptop:{laptop_id}"
        )


async def revoke_key(services: Services, laptop_id: int, who: str) -> None:
    """End a laptop's key: what it sends is refused until it enrols with a new token.

    Raises
    ------
    NotFound
        There is no such laptop, or it has no key.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        if not await rows.revoke_keys(connection, laptop_id, now):
            raise NotFound("laptop with a key", laptop_id)
        await audit.note(connection, now, who, "key revoked", f"laptop:{laptop_id}")


async def _valid(services: Services, key: str) -> KeyRow:
    digest = digest_of(key)
    async with services.store.reading() as connection:
        found = await rows.keys_by_digest(connection, [digest])
    if digest not in found:
        raise KeyEnded
    return found[digest]


def _wants_renewal(row: KeyRow, now: datetime) -> bool:
    return row.renewal_asked_at is not None or now - row.created_at >= KEY_AGE
