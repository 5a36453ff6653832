"""The keys with which agents report."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import exists, insert, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import agent_keys, laptops, reports


@dataclass(frozen=True, slots=True)
class KeyRow:
    """A valid key, without its secret.

    Attributes
    ----------
    has_elders
        Whether the laptop has valid keys from before this one.
    """

    id: int
    laptop_id: int
    created_at: datetime
    renewal_asked_at: datetime | None
    has_elders: bool


async def keys_by_digest(
    connection: AsyncConnection, digests: Collection[bytes]
) -> dict[bytes, KeyRow]:
    """Return the valid keys with these digests."""
    elder = agent_keys.alias()
    has_elders = exists().where(
        elder.c.laptop_id == agent_keys.c.laptop_id,
        elder.c.id < agent_keys.c.id,
        elder.c.revoked_at.is_(None),
    )
    key = agent_keys.c
    query = select(
        key.digest,
        key.id,
        key.laptop_id,
        key.created_at,
        key.renewal_asked_at,
        has_elders,
    ).where(key.digest.in_(digests), key.revoked_at.is_(None))
    rows = await connection.execute(query)
    return {digest: KeyRow(*row) for digest, *row in rows}


async def laptop_of_attempt(
    connection: AsyncConnection, token_id: int, attempt: str
) -> int | None:
    """Return the laptop that this very attempt has made, if it never reported.

    One that has reported got its answer: an attempt that comes again then is in an
    image, and means another laptop.
    """
    key = agent_keys.c
    query = (
        select(key.laptop_id)
        .join_from(agent_keys, laptops, laptops.c.id == key.laptop_id)
        .where(
            key.attempt == attempt,
            key.token_id == token_id,
            # A report that is not filed yet is one too.
            laptops.c.last_report_at.is_(None),
            ~exists().where(reports.c.laptop_id == key.laptop_id),
        )
    )
    return await connection.scalar(query.limit(1))


async def add_key(
    connection: AsyncConnection,
    laptop_id: int,
    digest: bytes,
    token_id: int | None,
    now: datetime,
    attempt: str | None = None,
) -> None:
    """Give a laptop a new key; its older keys end."""
    await revoke_keys(connection, laptop_id, now)
    await connection.execute(
        insert(agent_keys).values(
            laptop_id=laptop_id,
            digest=digest,
            token_id=token_id,
            created_at=now,
            attempt=attempt,
        )
    )


async def add_second_key(
    connection: AsyncConnection, key: KeyRow, digest: bytes, now: datetime
) -> None:
    """Put a new key beside one; an earlier new one that was never used ends."""
    await connection.execute(
        update(agent_keys)
        .where(
            agent_keys.c.laptop_id == key.laptop_id,
            agent_keys.c.id > key.id,
            agent_keys.c.revoked_at.is_(None),
        )
        .values(revoked_at=now)
    )
    await connection.execute(
        insert(agent_keys).values(
            laptop_id=key.laptop_id, digest=digest, created_at=now
        )
    )


async def end_elders(connection: AsyncConnection, key: KeyRow, now: datetime) -> None:
    """End the laptop's keys from before one that is in use."""
    await connection.execute(
        update(agent_keys)
        .where(
            agent_keys.c.laptop_id == key.laptop_id,
            agent_keys.c.id < key.id,
            agent_keys.c.revoked_at.is_(None),
        )
        .values(revoked_at=now)
    )


async def revoke_keys(
    connection: AsyncConnection, laptop_id: int, now: datetime
) -> int:
    """End all of a laptop's keys and return how many there were."""
    result = await connection.execute(
        update(agent_keys)
        .where(agent_keys.c.laptop_id == laptop_id, agent_keys.c.revoked_at.is_(None))
        .values(revoked_at=now)
    )
    return result.rowcount


async def ask_renewal(
    connection: AsyncConnection, laptop_id: int, now: datetime
) -> int:
    """Note that a laptop shall renew its key; return how many keys it concerns."""
    result = await connection.execute(
        update(agent_keys)
        .where(agent_keys.c.laptop_id == laptop_id, agent_keys.c.revoked_at.is_(None))
        .values(renewal_asked_at=now)
    )
    return result.rowcount
