"""How packs are charged: daily counts, filled from the readings, and habits."""

from datetime import date
from itertools import groupby
from typing import Any

import sqlalchemy as sa
from alembic import op

from fadewatch_collector.rules.charging_day import charging_day
from fadewatch_collector.store.columns import Json, Moment, RowId
from fadewatch_collector.store.migrations.online import each_committed

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

PACKS = 50
"""Packs whose readings are counted at a time [count]. Own choice."""

_DAILY = sa.table(
    "daily_charging",
    sa.column("pack_id", RowId),
    sa.column("day", sa.Date()),
    sa.column("readings", sa.Integer()),
    sa.column("judged", sa.Integer()),
    sa.column("on_mains", sa.Integer()),
    sa.column("near_full", sa.Integer()),
    sa.column("held", sa.Integer()),
    sa.column("temperature_c", sa.Float()),
    sa.column("near_full_temperature_c", sa.Float()),
    sa.column("lowest_charge", sa.Float()),
    sa.column("charge_limit_percent", sa.Integer()),
)
_READINGS = sa.table(
    "readings",
    sa.column("pack_id", RowId),
    sa.column("measured_at", Moment()),
    sa.column("full_charge_capacity", sa.Integer()),
    sa.column("remaining_capacity", sa.Integer()),
    sa.column("state", sa.Text()),
    sa.column("mains_online", sa.Boolean()),
    sa.column("charge_limit_percent", sa.Integer()),
    sa.column("temperature_c", sa.Float()),
)
_PACKS = sa.table("packs", sa.column("id", RowId))


def upgrade() -> None:
    op.create_table(
        "daily_charging",
        sa.Column("pack_id", RowId, nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("readings", sa.Integer(), nullable=False),
        sa.Column("judged", sa.Integer(), nullable=False),
        sa.Column("on_mains", sa.Integer(), nullable=False),
        sa.Column("near_full", sa.Integer(), nullable=False),
        sa.Column("held", sa.Integer(), nullable=False),
        sa.Column("temperature_c", sa.Float(), nullable=True),
        sa.Column("near_full_temperature_c", sa.Float(), nullable=True),
        sa.Column("lowest_charge", sa.Float(), nullable=True),
        sa.Column("charge_limit_percent", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["pack_id"], ["packs.id"], name="fk_daily_charging_pack_id"
        ),
        sa.PrimaryKeyConstraint("pack_id", "day", name="pk_daily_charging"),
        comment="A pack's readings of one day (UTC), counted by how it was charged.",
        sqlite_with_rowid=False,
        if_not_exists=True,
    )
    op.create_table(
        "charging_habits",
        sa.Column("pack_id", RowId, autoincrement=False, nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("habit", sa.Text(), nullable=False),
        sa.Column("charge_limit_percent", sa.Integer(), nullable=True),
        sa.Column("charge_limit", sa.Text(), nullable=False),
        sa.Column("advice", sa.Text(), nullable=False),
        sa.Column("is_advised", sa.Boolean(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("details", Json, nullable=False),
        sa.ForeignKeyConstraint(
            ["pack_id"], ["packs.id"], name="fk_charging_habits_pack_id"
        ),
        sa.PrimaryKeyConstraint("pack_id", name="pk_charging_habits"),
        comment="How each pack has been charged of late, told anew every night.",
        if_not_exists=True,
    )
    op.create_index(
        "ix_charging_habits_is_advised_rank_pack_id",
        "charging_habits",
        ["is_advised", "rank", "pack_id"],
        unique=False,
        if_not_exists=True,
    )
    with each_committed():
        _fill(op.get_bind())


def _fill(bind: sa.Connection) -> None:
    """Count the readings that are there, some packs at a time.

    Days are written in the order of the packs' numbers, so after an interruption only
    the last pack may be there in part: it is where to go on.
    """
    last = bind.scalar(sa.select(sa.func.max(_DAILY.c.pack_id))) or 0
    bind.execute(sa.delete(_DAILY).where(_DAILY.c.pack_id == last))
    after = last - 1
    while packs := _next_packs(bind, after):
        read = sa.select(_READINGS).where(_READINGS.c.pack_id.in_(packs))
        ordered = read.order_by(_READINGS.c.pack_id, _READINGS.c.measured_at)
        days = groupby(bind.execute(ordered), _pack_and_day)
        counted = [_counted(*key, list(rows)) for key, rows in days]
        if counted:
            bind.execute(sa.insert(_DAILY), counted)
        after = packs[-1]


def _next_packs(bind: sa.Connection, after: int) -> list[int]:
    query = sa.select(_PACKS.c.id).where(_PACKS.c.id > after)
    return list(bind.scalars(query.order_by(_PACKS.c.id).limit(PACKS)))


def _pack_and_day(row: Any) -> tuple[int, date]:
    return row.pack_id, row.measured_at.date()


def _counted(pack_id: int, day: date, rows: list[Any]) -> dict[str, Any]:
    found = charging_day(day, rows)
    names = [column.name for column in _DAILY.c if column.name != "pack_id"]
    return {"pack_id": pack_id} | {name: getattr(found, name) for name in names}
