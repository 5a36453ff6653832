"""Delete what is held about a laptop, cut off what is a pack's, blank names."""

import json
from collections import Counter
from collections.abc import Mapping
from datetime import datetime
from typing import Any, Literal

from sqlalchemy import (
    ColumnElement,
    Table,
    Text,
    and_,
    cast,
    delete,
    insert,
    literal,
    not_,
    or_,
    select,
    text,
    update,
)
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.search_terms import folded
from fadewatch_collector.store.held import (
    count_where,
    is_of,
    is_told_of,
    own_tables,
)
from fadewatch_collector.store.tables import (
    alerts,
    audit,
    finding_watches,
    forgotten_laptops,
    inspections,
    laptops,
    metadata,
    outbox,
    place_changes,
    place_imports,
    removed_packs,
    reports,
)
from fadewatch_collector.store.turns import Turn, take_turn

Fate = Literal["delete", "cut off"]

FATES: Mapping[str, Fate] = {
    "agent_keys": "delete",
    "alerts": "cut off",
    "filing_queue": "delete",
    "inspection_links": "delete",
    "inspections": "cut off",
    "inventory_changes": "delete",
    "place_changes": "delete",
    "readings": "delete",
    "removed_packs": "cut off",
    "reports": "delete",
    "search_terms": "delete",
    "slot_stays": "delete",
    "swaps": "delete",
    "unreadable_reports": "delete",
    "visits": "delete",
}
"""What becomes of a table's rows of a forgotten laptop. Where a row tells of a pack
too, which is no person's, it stays without the laptop."""

CUT_OFF: Mapping[str, Mapping[str, Any]] = {
    "alerts": {"laptop_id": None, "site": None},
    "inspections": {"laptop_id": None, "note": None},
    "removed_packs": {"laptop_id": None, "note": None},
}

_IS_OF_A_PACK: Mapping[str, ColumnElement[bool]] = {
    "alerts": alerts.c.subject.startswith("pack:"),
    "inspections": inspections.c.pack_id.is_not(None),
    "removed_packs": removed_packs.c.pack_id.is_not(None),
}

IDENTITY = ("hostname", "serial", "board_uuid", "asset_tag")
"""What a laptop is known by."""


async def hold_laptop(connection: AsyncConnection, laptop_id: int) -> Any | None:
    """Keep everyone from writing about a laptop until the transaction ends.

    Nothing that points to it can be written meanwhile, and after its row is gone,
    nothing can at all.
    """
    for turn in (Turn.FILING, Turn.ALERTS):
        await take_turn(connection, turn)
    query = select(laptops).where(laptops.c.id == laptop_id).with_for_update()
    return (await connection.execute(query)).mappings().one_or_none()


def will_go(table: Table, laptop_id: int) -> ColumnElement[bool] | None:
    """Return which rows of a table go with a laptop; None: none of it."""
    if table is laptops:
        return laptops.c.id == laptop_id
    if table.name in FATES:
        return is_of(table, laptop_id)
    return is_told_of(laptop_id).get(table)


def will_be_deleted(table: Table, laptop_id: int) -> ColumnElement[bool] | None:
    """Return which rows of a table are deleted with a laptop; None: none of it."""
    here = will_go(table, laptop_id)
    if here is None or FATES.get(table.name) != "cut off":
        return here
    return and_(here, not_(_IS_OF_A_PACK[table.name]))


async def open_stop_use(connection: AsyncConnection, laptop_id: int) -> int | None:
    """Return an open alert that tells to stop using the laptop or a pack in it."""
    query = select(alerts.c.id).where(
        alerts.c.laptop_id == laptop_id,
        alerts.c.state != "ended",
        alerts.c.urgency == "stop-use",
    )
    found: int | None = await connection.scalar(query.limit(1))
    return found


async def rows_of(connection: AsyncConnection, laptop_id: int) -> Counter[str]:
    """Count the rows that point to a laptop or tell of it, by table."""
    counted: Counter[str] = Counter()
    for table in metadata.sorted_tables:
        here = will_go(table, laptop_id)
        if here is not None and table is not place_imports:
            counted[table.name] = await count_where(connection, table, here)
    return +counted


async def delete_laptop(
    connection: AsyncConnection, laptop_id: int, who: str, now: datetime
) -> tuple[Counter[str], Counter[str]]:
    """Delete a laptop; returns how many rows were deleted and cut off, by table."""
    deleted: Counter[str] = Counter()
    cut_off: Counter[str] = Counter()
    if connection.dialect.name == "sqlite":
        # What is deleted is written over in the file, not only left out of it.
        await connection.execute(text("PRAGMA secure_delete=ON"))
    deleted["outbox"] = await _take_out_of_messages(connection, laptop_id)
    deleted["audit"] += await _empty_trail(connection, laptop_id)
    watches = finding_watches.c.subject == f"laptop:{laptop_id}"
    deleted["finding_watches"] = await _delete(connection, finding_watches, watches)
    await _end_alerts(connection, laptop_id, who, now)
    for table in reversed(own_tables()):
        here = is_of(table, laptop_id)
        if FATES[table.name] == "cut off":
            stays = and_(here, _IS_OF_A_PACK[table.name])
            values = CUT_OFF[table.name]
            result = await connection.execute(
                update(table).where(stays).values(**values)
            )
            cut_off[table.name] = result.rowcount
        deleted[table.name] += await _delete(connection, table, here)
    deleted["laptops"] = await _delete(connection, laptops, laptops.c.id == laptop_id)
    await connection.execute(
        insert(forgotten_laptops).values(
            laptop_id=laptop_id, forgotten_at=now, forgotten_by=who
        )
    )
    return +deleted, +cut_off


async def _delete(connection: AsyncConnection, table: Any, where: Any) -> int:
    return (await connection.execute(delete(table).where(where))).rowcount


async def _end_alerts(
    connection: AsyncConnection, laptop_id: int, who: str, now: datetime
) -> None:
    """End what is open about packs: nobody could go there any more."""
    await connection.execute(
        update(alerts)
        .where(alerts.c.laptop_id == laptop_id, alerts.c.state != "ended")
        .values(
            state="ended",
            ended_at=now,
            ended_by=who,
            ended_because="the laptop was forgotten",
            changed_at=now,
            version=alerts.c.version + 1,
        )
    )


async def _empty_trail(connection: AsyncConnection, laptop_id: int) -> int:
    """Delete the trail of a laptop's alerts; of its own keep who did what, and when."""
    told = is_told_of(laptop_id)[audit]
    gone = select(literal("alert:") + cast(alerts.c.id, Text)).where(
        alerts.c.laptop_id == laptop_id, alerts.c.subject.startswith("laptop:")
    )
    await connection.execute(update(audit).where(told).values(detail=None))
    return await _delete(connection, audit, audit.c.subject.in_(gone))


async def _take_out_of_messages(connection: AsyncConnection, laptop_id: int) -> int:
    """Take a laptop out of kept messages; one without any other alert is deleted."""
    query = select(alerts.c.id).where(alerts.c.laptop_id == laptop_id)
    its_alerts = set((await connection.execute(query)).scalars())
    gone = 0
    rows = await connection.execute(select(outbox.c.id, outbox.c.payload))
    for number, payload in rows.all():
        listed = payload.get("alerts", [])
        others = [one for one in listed if one.get("laptop_id") != laptop_id]
        if payload.get("alert_id") in its_alerts or (listed and not others):
            gone += await _delete(connection, outbox, outbox.c.id == number)
        elif len(others) < len(listed):
            gone += 1
            await connection.execute(
                update(outbox)
                .where(outbox.c.id == number)
                .values(payload=payload | {"alerts": others})
            )
    return gone


async def was_known_by(connection: AsyncConnection, laptop_id: int) -> set[str]:
    """Return every name and number that a laptop was ever known by here."""
    columns = [laptops.c[name] for name in IDENTITY]
    present = (
        await connection.execute(select(*columns).where(laptops.c.id == laptop_id))
    ).one()
    known = set(present)
    query = select(place_changes.c.before, place_changes.c.after)
    for change in await connection.execute(
        query.where(place_changes.c.laptop_id == laptop_id)
    ):
        known |= {value.get("asset_tag") for value in change}
    bodies = select(reports.c.body).where(reports.c.laptop_id == laptop_id)
    async with connection.stream(bodies.execution_options(yield_per=500)) as result:
        async for (body,) in result:
            known |= _reported(body)
    return {value for value in known if value}


def _reported(body: str) -> set[str | None]:
    try:
        told = json.loads(body).get("laptop") or {}
    except (ValueError, AttributeError):
        return set()
    return {told.get(name) for name in IDENTITY}


async def others_known_by(
    connection: AsyncConnection, laptop_id: int, word: str
) -> int | None:
    """Return another laptop that has a name or number now."""
    found: int | None = await connection.scalar(
        select(laptops.c.id)
        .where(
            laptops.c.id != laptop_id,
            or_(*(laptops.c[name] == word for name in IDENTITY)),
        )
        .limit(1)
    )
    return found


async def laptops_with_serial(connection: AsyncConnection, serial: str) -> list[int]:
    """Return the laptops with a serial."""
    query = select(laptops.c.id).where(laptops.c.serial == serial)
    return list((await connection.execute(query.order_by(laptops.c.id))).scalars())


async def laptops_of_holder(connection: AsyncConnection, name: str) -> list[int]:
    """Return the laptops that somebody has, by the name as it is compared."""
    wanted = folded(name)
    query = select(laptops.c.id, laptops.c.holder).where(laptops.c.holder.is_not(None))
    return [
        number
        for number, holder in await connection.execute(query)
        if folded(holder) == wanted
    ]


async def clear_holder(connection: AsyncConnection, numbers: list[int]) -> None:
    """Let laptops have no holder."""
    if connection.dialect.name == "sqlite":
        await connection.execute(text("PRAGMA secure_delete=ON"))
    await connection.execute(
        update(laptops).where(laptops.c.id.in_(numbers)).values(holder=None)
    )
