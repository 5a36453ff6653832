"""The register of removed packs."""

from collections.abc import AsyncGenerator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from sqlalchemy import ScalarSelect, Select, Text, cast, literal, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import audit, laptops, packs, removed_packs

RemovedState = Literal["removed", "set aside", "handed over"]

_CHANGES = ("swap confirmed", "pack set aside", "pack handed over")
"""Actions of the audit trail that write a record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RemovedPack:
    """One removed pack, with what it is and where it came from.

    Attributes
    ----------
    changed_by
        Who wrote the record last, by the audit trail.
    """

    id: int
    pack_id: int
    laptop_id: int | None
    hostname: str | None
    asset_tag: str | None
    laptop_serial: str | None
    site: str | None
    slot: str
    maker: str | None
    model: str | None
    serial: str | None
    chemistry: str | None
    unit: str
    design_capacity: int | None
    full_charge_capacity: int | None
    state: RemovedState
    swollen: bool | None
    place: str | None
    note: str | None
    removed_at: datetime
    removed_by: str
    changed_at: datetime
    changed_by: str | None
    version: int


async def add_removed(
    connection: AsyncConnection,
    *,
    pack_id: int,
    laptop_id: int,
    slot: str,
    swollen: bool | None,
    removed_at: datetime,
    who: str,
    now: datetime,
) -> None:
    """Open a removal record; a pack that was removed before gets a new one."""
    values = {
        "laptop_id": laptop_id,
        "slot": slot,
        "state": "removed",
        "swollen": swollen,
        "place": None,
        "note": None,
        "removed_at": removed_at,
        "removed_by": who,
        "changed_at": now,
    }
    make_insert = (
        sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    )
    await connection.execute(
        make_insert(removed_packs)
        .values(pack_id=pack_id, **values)
        .on_conflict_do_update(
            index_elements=[removed_packs.c.pack_id],
            set_=values | {"version": removed_packs.c.version + 1},
        )
    )


def _select() -> Select[Any]:
    names = RemovedPack.__slots__
    sources = {
        **{c.name: c for c in packs.c if c.name in names},
        **{n: laptops.c[n] for n in ("hostname", "asset_tag", "site")},
        "laptop_serial": laptops.c.serial,
        "changed_by": _changed_by(),
        **{c.name: c for c in removed_packs.c if c.name in names},
    }
    return (
        select(*(sources[name].label(name) for name in names))
        .select_from(removed_packs)
        .join(packs, packs.c.id == removed_packs.c.pack_id)
        .outerjoin(laptops, laptops.c.id == removed_packs.c.laptop_id)
    )


def _changed_by() -> ScalarSelect[str]:
    subject = literal("pack:") + cast(removed_packs.c.pack_id, Text)
    return (
        select(audit.c.who)
        .where(audit.c.subject == subject, audit.c.action.in_(_CHANGES))
        .order_by(audit.c.id.desc())
        .limit(1)
        .correlate(removed_packs)
        .scalar_subquery()
    )


async def stream_removed(
    connection: AsyncConnection, chunk: int
) -> AsyncGenerator[Sequence[RemovedPack]]:
    """Yield every removed pack, newest record first, up to ``chunk`` at a time."""
    query = _select().order_by(removed_packs.c.id.desc())
    async with connection.stream(query.execution_options(yield_per=chunk)) as result:
        async for rows in result.partitions():
            yield [_record(row) for row in rows]


async def removed_packs_after(
    connection: AsyncConnection,
    *,
    state: RemovedState | None,
    before: int | None,
    limit: int,
) -> list[RemovedPack]:
    """Return removed packs, newest record first, from a record number on."""
    query = _select().order_by(removed_packs.c.id.desc()).limit(limit)
    if state is not None:
        query = query.where(removed_packs.c.state == state)
    if before is not None:
        query = query.where(removed_packs.c.id < before)
    return [_record(row) for row in await connection.execute(query)]


async def removed_by_id(
    connection: AsyncConnection, record_id: int
) -> RemovedPack | None:
    """Return one record."""
    query = _select().where(removed_packs.c.id == record_id)
    row = (await connection.execute(query)).first()
    return _record(row) if row else None


async def change_removed(
    connection: AsyncConnection,
    record_id: int,
    version: int,
    now: datetime,
    values: dict[str, Any],
) -> bool:
    """Change a record if it is still at this version."""
    result = await connection.execute(
        update(removed_packs)
        .where(removed_packs.c.id == record_id, removed_packs.c.version == version)
        .values(version=version + 1, changed_at=now, **values)
    )
    return result.rowcount == 1


def _record(row: Any) -> RemovedPack:
    return RemovedPack(**row._mapping)  # noqa: SLF001  documented name of a Row's dict
