"""Queries about operators, their sessions and one-time sign-ins."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Row, Select, delete, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.errors import Conflict, NotFound
from fadewatch_collector.rules.operators import Operator, Role
from fadewatch_collector.store.tables import (
    operator_sessions,
    operators,
    single_sign_ins,
    store_values,
)

NO_PASSWORD = ""
"""Stands for a hash where somebody has no password here: nothing matches it."""


@dataclass(frozen=True, slots=True)
class Account:
    """An operator with what only account management needs to see."""

    operator: Operator
    password_hash: str = field(repr=False)
    created_at: datetime
    disabled_at: datetime | None


def operator_from(row: Row[Any]) -> Operator:
    """Return the operator in a row of :func:`able_operators`."""
    return Operator(id=row.id, name=row.name, role=row.role)


def account_from(row: Row[Any]) -> Account:
    """Return the account in a row of the operators' table."""
    return Account(
        operator=operator_from(row),
        password_hash=row.password_hash,
        created_at=row.created_at,
        disabled_at=row.disabled_at,
    )


async def add_operator(
    connection: AsyncConnection,
    name: str,
    role: Role,
    password_hash: str,
    now: datetime,
) -> Operator:
    """Add an operator whose name is not taken."""
    added = await connection.execute(
        insert(operators)
        .values(name=name, role=role, password_hash=password_hash, created_at=now)
        .returning(operators.c.id)
    )
    return Operator(id=added.scalar_one(), name=name, role=role)


async def account_named(connection: AsyncConnection, name: str) -> Account | None:
    """Return the account with a name."""
    row = (
        await connection.execute(select(operators).where(operators.c.name == name))
    ).one_or_none()
    return None if row is None else account_from(row)


async def known_account(connection: AsyncConnection, name: str) -> Account:
    """Return the account with a name.

    Raises
    ------
    NotFound
        There is none.
    """
    account = await account_named(connection, name)
    if account is None:
        raise NotFound("operator", name)
    return account


async def able_operator(connection: AsyncConnection, name: str) -> Operator:
    """Return the operator with a name, who is not disabled.

    Raises
    ------
    NotFound
        There is none.
    Conflict
        The operator is disabled.
    """
    account = await known_account(connection, name)
    if account.disabled_at is not None:
        raise Conflict(f"operator {name} is disabled")
    return account.operator


async def accounts(connection: AsyncConnection) -> list[Account]:
    """Return every account, by name."""
    rows = await connection.execute(select(operators).order_by(operators.c.name))
    return [account_from(row) for row in rows]


async def set_password_hash(
    connection: AsyncConnection, operator_id: int, password_hash: str
) -> None:
    """Keep another password hash."""
    await connection.execute(
        update(operators)
        .where(operators.c.id == operator_id)
        .values(password_hash=password_hash)
    )


async def set_disabled(
    connection: AsyncConnection, operator_id: int, at: datetime | None
) -> None:
    """Disable an operator, or take them back with None."""
    await connection.execute(
        update(operators).where(operators.c.id == operator_id).values(disabled_at=at)
    )


async def end_sign_ins(connection: AsyncConnection, operator_id: int) -> None:
    """End an operator's sessions and their unused one-time sign-ins."""
    for table in (operator_sessions, single_sign_ins):
        await connection.execute(
            delete(table).where(table.c.operator_id == operator_id)
        )


async def add_single_sign_in(
    connection: AsyncConnection,
    digest: bytes,
    operator_id: int,
    now: datetime,
    expires_at: datetime,
) -> None:
    """Keep a one-time sign-in, and forget the expired ones."""
    await connection.execute(
        delete(single_sign_ins).where(single_sign_ins.c.expires_at <= now)
    )
    await connection.execute(
        insert(single_sign_ins).values(
            digest=digest, operator_id=operator_id, expires_at=expires_at
        )
    )


async def use_single_sign_in(
    connection: AsyncConnection, digest: bytes, now: datetime
) -> Operator | None:
    """Spend a one-time sign-in; None when it is unknown, spent or expired."""
    spent = await connection.execute(
        update(single_sign_ins)
        .where(
            single_sign_ins.c.digest == digest,
            single_sign_ins.c.used_at.is_(None),
            single_sign_ins.c.expires_at > now,
        )
        .values(used_at=now)
        .returning(single_sign_ins.c.operator_id)
    )
    operator_id = spent.scalar_one_or_none()
    row = (
        await connection.execute(able_operators().where(operators.c.id == operator_id))
    ).one_or_none()
    return None if row is None else operator_from(row)


async def value_or_new(connection: AsyncConnection, name: str, new: str) -> str:
    """Return the store's value of a name, kept as ``new`` when there was none."""
    # Two collectors may start on one store: the first one's value stands for both.
    dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
    await connection.execute(
        dialect.insert(store_values)
        .values(name=name, value=new)
        .on_conflict_do_nothing(index_elements=[store_values.c.name])
    )
    kept = await connection.execute(
        select(store_values.c.value).where(store_values.c.name == name)
    )
    value: str = kept.scalar_one()
    return value


def able_operators() -> Select[Any]:
    """Select operators that are not disabled."""
    return select(operators.c.id, operators.c.name, operators.c.role).where(
        operators.c.disabled_at.is_(None)
    )
