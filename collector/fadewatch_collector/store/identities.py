"""Queries about who operators are at the organisation's identity provider."""

from datetime import datetime

from sqlalchemy import insert, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.accounts import Account, account_from
from fadewatch_collector.store.tables import operator_identities, operators


async def account_at(
    connection: AsyncConnection, issuer: str, subject: str
) -> Account | None:
    """Return the account of who an issuer calls by a subject."""
    row = (
        await connection.execute(
            select(operators)
            .join(
                operator_identities, operator_identities.c.operator_id == operators.c.id
            )
            .where(
                operator_identities.c.issuer == issuer,
                operator_identities.c.subject == subject,
            )
        )
    ).one_or_none()
    return None if row is None else account_from(row)


async def add_identity(
    connection: AsyncConnection,
    operator_id: int,
    issuer: str,
    subject: str,
    now: datetime,
) -> None:
    """Keep who an operator is at an issuer; nobody else is that yet."""
    await connection.execute(
        insert(operator_identities).values(
            operator_id=operator_id, issuer=issuer, subject=subject, created_at=now
        )
    )
