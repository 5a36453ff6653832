"""The months that PostgreSQL keeps readings in: made ready, sorted out, dropped.

``readings_2026_03`` holds a month, ``readings_rest`` what has no month yet,
``readings_before`` what a store held before there were months. SQLite has one table.

Every step is a transaction of its own. It changes the whole table for a moment and
waits for that a short while only: behind a statement that waits for such a lock, all
others wait too.
"""

import re
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import column, func, select, table, text
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.retention import midnight, month_after, month_of
from fadewatch_collector.store.columns import Moment
from fadewatch_collector.store.tables import readings

REST = "readings_rest"
BEFORE = "readings_before"

LONGEST_WAIT_MS = 2_000
"""How long a step may wait for its lock, and keep others waiting [ms]. Own choice."""

_MONTH = re.compile(r"readings_(\d{4})_(\d{2})")
_END = re.compile(r" TO \('(\d{4}-\d{2}-\d{2}) ")
_COLUMNS = ", ".join(readings.c.keys())


@dataclass(frozen=True, slots=True)
class Months:
    """The parts of the table.

    Attributes
    ----------
    months
        First days of the months that are there.
    before_until
        End of ``readings_before``; None where there is none.
    """

    months: frozenset[date]
    before_until: date | None


async def read_months(connection: AsyncConnection) -> Months:
    """Return the parts that the table has."""
    # Bounds are told in the session's zone.
    await connection.execute(text("SET LOCAL timezone = 'UTC'"))
    parts = await connection.execute(
        text(
            "SELECT c.relname AS name, pg_get_expr(c.relpartbound, c.oid) AS bound"
            " FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid"
            " WHERE i.inhparent = to_regclass('readings')"
        )
    )
    months, before = set(), None
    for part in parts:
        if month := _MONTH.fullmatch(part.name):
            months.add(date(int(month[1]), int(month[2]), 1))
        elif part.name == BEFORE and (end := _END.search(part.bound)):
            before = date.fromisoformat(end[1])
    return Months(frozenset(months), before)


async def months_of_rest(connection: AsyncConnection, since: date) -> list[date]:
    """Return the months since a day's of which readings lie in no month."""
    rest = table(REST, column("measured_at", Moment))
    begin = func.date_trunc("month", func.timezone("UTC", rest.c.measured_at))
    query = (
        select(begin)
        .where(rest.c.measured_at >= midnight(month_of(since)))
        .distinct()
        .order_by(begin)
    )
    return [moment.date() for moment in await connection.scalars(query)]


async def make_month(connection: AsyncConnection, month: date) -> None:
    """Make a month, and bring what lay in no month yet into it.

    While it looks through what lies in no month, which is little, nothing else can
    read or write there; a month that nothing has come for yet takes a few milliseconds.
    """
    name = f"readings_{month:%Y_%m}"
    bounds = {"first": midnight(month), "end": midnight(month_after(month))}
    await _wait_shortly(connection)
    # The month refers to these tables, which locks them. Filing writes to them first
    # and to readings afterwards; in the same order nobody waits for each other.
    await connection.execute(
        text("LOCK TABLE laptops, packs IN SHARE ROW EXCLUSIVE MODE")
    )
    # Nothing may come in between what is moved and the month's being there.
    await connection.execute(text(f"LOCK TABLE {REST} IN ACCESS EXCLUSIVE MODE"))
    await connection.execute(
        text(
            f"CREATE TABLE {name} (LIKE readings INCLUDING DEFAULTS"
            " INCLUDING CONSTRAINTS INCLUDING INDEXES)"
        )
    )
    await connection.execute(
        text(
            f"WITH moved AS (DELETE FROM {REST} WHERE measured_at >= :first"  # noqa: S608  own names
            f" AND measured_at < :end RETURNING {_COLUMNS})"
            f" INSERT INTO {name} ({_COLUMNS}) SELECT {_COLUMNS} FROM moved"
        ),
        bounds,
    )
    await connection.execute(
        text(
            f"ALTER TABLE readings ATTACH PARTITION {name} FOR VALUES"
            f" FROM ('{_said(bounds['first'])}') TO ('{_said(bounds['end'])}')"
        )
    )


async def drop_part(connection: AsyncConnection, name: str) -> None:
    """Drop a part with all that is in it: no row is touched."""
    await _wait_shortly(connection)
    await connection.execute(text(f"DROP TABLE {name}"))


def mixed_parts(months: Months) -> list[str]:
    """Return the names of the parts that hold more than a month."""
    return [REST] if months.before_until is None else [REST, BEFORE]


def parts_until(months: Months, end: date) -> list[str]:
    """Return the names of the parts that lie wholly before a day, oldest first."""
    names = [
        f"readings_{month:%Y_%m}"
        for month in sorted(months.months)
        if month_after(month) <= end
    ]
    if months.before_until is not None and months.before_until <= end:
        return [BEFORE, *names]
    return names


async def _wait_shortly(connection: AsyncConnection) -> None:
    await connection.execute(text(f"SET LOCAL lock_timeout = '{LONGEST_WAIT_MS}ms'"))


def _said(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d} 00:00+00"
