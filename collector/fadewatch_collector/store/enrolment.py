"""Enrolment tokens, agent keys and the laptops they belong to."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, insert, or_, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import (
    enrolment_tokens,
    forgotten_laptops,
    laptops,
)
from fadewatch_common.report import Laptop

LAPTOPS_NAMED = 5
"""Laptops named in a clash at most. Own choice."""


@dataclass(frozen=True, slots=True)
class TokenRow:
    """An enrolment token without its secret."""

    id: int
    label: str
    site: str | None
    created_at: datetime
    created_by: str
    expires_at: datetime
    use_limit: int
    uses: int
    revoked_at: datetime | None


_TOKEN_COLUMNS = tuple(enrolment_tokens.c[name] for name in TokenRow.__slots__)


async def add_token(connection: AsyncConnection, row: TokenRow, digest: bytes) -> int:
    """Insert a token (its id is chosen here) and return its id."""
    values = {name: getattr(row, name) for name in TokenRow.__slots__ if name != "id"}
    result = await connection.execute(
        insert(enrolment_tokens)
        .values(digest=digest, **values)
        .returning(enrolment_tokens.c.id)
    )
    return int(result.scalar_one())


async def list_tokens(connection: AsyncConnection) -> list[TokenRow]:
    """Return all tokens, newest first."""
    query = select(*_TOKEN_COLUMNS).order_by(enrolment_tokens.c.id.desc())
    return [TokenRow(*row) for row in await connection.execute(query)]


async def token_by_digest(
    connection: AsyncConnection, digest: bytes
) -> TokenRow | None:
    """Find the token with this digest."""
    query = select(*_TOKEN_COLUMNS).where(enrolment_tokens.c.digest == digest)
    row = (await connection.execute(query)).first()
    return TokenRow(*row) if row else None


async def spend_token(connection: AsyncConnection, token_id: int) -> bool:
    """Count one use; False when the limit was reached meanwhile."""
    token = enrolment_tokens.c
    result = await connection.execute(
        update(enrolment_tokens)
        .where(token.id == token_id, token.uses < token.use_limit)
        .values(uses=token.uses + 1)
    )
    return result.rowcount == 1


async def revoke_token(
    connection: AsyncConnection, token_id: int, now: datetime
) -> bool:
    """Revoke a token; False when there is none with this id."""
    token = enrolment_tokens.c
    result = await connection.execute(
        update(enrolment_tokens)
        .where(token.id == token_id)
        # Revoked once: when it was first revoked is what counts.
        .values(revoked_at=func.coalesce(token.revoked_at, now))
    )
    return result.rowcount == 1


async def add_laptop(
    connection: AsyncConnection, laptop: Laptop, site: str | None, now: datetime
) -> int:
    """Insert a laptop and return its id."""
    values = {name: getattr(laptop, name) for name in Laptop.__slots__}
    if connection.dialect.name == "sqlite":
        # SQLite would give the number of a forgotten laptop again, which links and
        # printed sheets still carry.
        forgotten = select(func.max(forgotten_laptops.c.laptop_id)).scalar_subquery()
        highest = select(func.max(laptops.c.id)).scalar_subquery()
        values["id"] = 1 + func.max(
            func.coalesce(forgotten, 0), func.coalesce(highest, 0)
        )
    result = await connection.execute(
        insert(laptops)
        .values(site=site, enrolled_at=now, **values)
        .returning(laptops.c.id)
    )
    return int(result.scalar_one())


async def laptops_with_hardware(
    connection: AsyncConnection, laptop: Laptop
) -> Sequence[int]:
    """Return the laptops whose maker, model, serial and board UUID all agree."""
    column = laptops.c
    query = (
        select(column.id)
        .where(
            column.serial == laptop.serial,
            column.maker == laptop.maker,
            column.model == laptop.model,
            column.board_uuid == laptop.board_uuid,
        )
        .order_by(column.id.desc())
    )
    return (await connection.execute(query)).scalars().all()


async def laptops_like(
    connection: AsyncConnection, serial: str | None, board_uuid: str | None
) -> list[int]:
    """Return the newest few laptops that share a serial or a board UUID."""
    column = laptops.c
    query = (
        select(column.id)
        .where(or_(column.serial == serial, column.board_uuid == board_uuid))
        .order_by(column.id.desc())
        .limit(LAPTOPS_NAMED)
    )
    return sorted((await connection.execute(query)).scalars())
