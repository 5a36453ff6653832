"""Queries about API tokens: what a program needs to act for an operator."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import insert, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.store.accounts import able_operators, operator_from
from fadewatch_collector.store.tables import api_tokens, operators


@dataclass(frozen=True, slots=True)
class ApiToken:
    """An API token without its secret."""

    id: int
    label: str
    operator_name: str
    created_at: datetime
    expires_at: datetime
    revoked_at: datetime | None


async def add_api_token(
    connection: AsyncConnection,
    digest: bytes,
    *,
    operator_id: int,
    label: str,
    now: datetime,
    expires_at: datetime,
) -> int:
    """Keep an API token and return its number."""
    added = await connection.execute(
        insert(api_tokens)
        .values(
            digest=digest,
            operator_id=operator_id,
            label=label,
            created_at=now,
            expires_at=expires_at,
        )
        .returning(api_tokens.c.id)
    )
    number: int = added.scalar_one()
    return number


async def api_token_operator(
    connection: AsyncConnection, digest: bytes, now: datetime
) -> Operator | None:
    """Return whose API token it is, while it is good."""
    query = able_operators().join(
        api_tokens, api_tokens.c.operator_id == operators.c.id
    )
    row = (
        await connection.execute(
            query.where(
                api_tokens.c.digest == digest,
                api_tokens.c.expires_at > now,
                api_tokens.c.revoked_at.is_(None),
            )
        )
    ).one_or_none()
    return None if row is None else operator_from(row)


async def all_api_tokens(connection: AsyncConnection) -> list[ApiToken]:
    """Return every API token, newest first."""
    columns = [column for column in api_tokens.c if column.name != "digest"]
    rows = await connection.execute(
        select(*columns, operators.c.name.label("operator_name"))
        .join(operators, operators.c.id == api_tokens.c.operator_id)
        .order_by(api_tokens.c.id.desc())
    )
    return [
        ApiToken(
            id=row.id,
            label=row.label,
            operator_name=row.operator_name,
            created_at=row.created_at,
            expires_at=row.expires_at,
            revoked_at=row.revoked_at,
        )
        for row in rows
    ]


async def revoke_api_token(
    connection: AsyncConnection, token_id: int, now: datetime
) -> str | None:
    """Revoke one API token and return its label; None when there is no such token."""
    revoked = await connection.execute(
        update(api_tokens)
        .where(api_tokens.c.id == token_id, api_tokens.c.revoked_at.is_(None))
        .values(revoked_at=now)
        .returning(api_tokens.c.label)
    )
    label: str | None = revoked.scalar_one_or_none()
    return label


async def revoke_api_tokens_of(
    connection: AsyncConnection, operator_id: int, now: datetime
) -> None:
    """Revoke every API token of one operator."""
    await connection.execute(
        update(api_tokens)
        .where(
            api_tokens.c.operator_id == operator_id, api_tokens.c.revoked_at.is_(None)
        )
        .values(revoked_at=now)
    )
