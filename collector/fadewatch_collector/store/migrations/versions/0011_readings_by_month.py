"""Readings by month on PostgreSQL; they no longer hold on to their raw reports.

PostgreSQL keeps the rows where they are: the table of before becomes the partition of
all time up to a month that has not begun. Its new key is built concurrently and its
bound is checked under SHARE UPDATE EXCLUSIVE, while reads and writes go on; only the
exchange of names takes ACCESS EXCLUSIVE, and it touches no row. SQLite copies the
table, within the upgrade's one transaction.
"""

from datetime import date, datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

from fadewatch_collector.store.columns import Moment, RowId
from fadewatch_collector.store.migrations.online import (
    drop_invalid_index,
    is_postgresql,
    make_index,
)

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

MONTHS_AHEAD = 3
"""Months that are made beyond the one that runs [count]. Own choice."""

BOUND = "readings_before_"
"""Beginning of the name of the check that the old rows lie before a month."""

COPIED = (
    "pack_id, laptop_id, slot, report_id, measured_at, unit, design_capacity, "
    "full_charge_capacity, remaining_capacity, cycle_count, voltage_mv, "
    "temperature_c, state, charge_limit_percent, error_margin_percent, mains_online"
)


def upgrade() -> None:
    # By the time of receipt, which is how long raw reports are kept.
    make_index(
        "ix_reports_received_at",
        "reports",
        ["received_at"],
        postgresql_using="brin",
        postgresql_with={"autosummarize": True},
    )
    if not is_postgresql():
        _copy()
        return
    kind = op.get_bind().scalar(
        sa.text("SELECT relkind FROM pg_class WHERE oid = to_regclass('readings')")
    )
    # An earlier try may have come as far as the exchange.
    if kind not in ("p", b"p"):
        end = _bound()
        with op.get_context().autocommit_block():
            _make_ready(end)
        _exchange(end)


def _copy() -> None:
    _make_table("readings_new")
    op.execute(
        f"INSERT INTO readings_new ({COPIED}) SELECT {COPIED} FROM readings "  # noqa: S608  own names
        "ORDER BY report_id, slot"
    )
    op.drop_table("readings")
    op.rename_table("readings_new", "readings")
    op.create_index(
        "ix_readings_pack_id_measured_at", "readings", ["pack_id", "measured_at"]
    )


def _bound() -> date:
    """Return the first day of the month up to which the old table reaches.

    A month from now at least, so that nothing written meanwhile lies past it.
    """
    bind = op.get_bind()
    name = bind.scalar(
        sa.text(
            "SELECT conname FROM pg_constraint WHERE contype = 'c'"
            " AND conrelid = to_regclass('readings') AND starts_with(conname, :begin)"
        ),
        {"begin": BOUND},
    )
    if name is not None:
        return date.fromisoformat(name.removeprefix(BOUND).replace("_", "-"))
    query = (
        "SELECT greatest(now() + interval '31 days', max(measured_at)) FROM readings"
    )
    last: datetime = bind.scalar(sa.text(query))
    return _month_after(last.date())


def _make_ready(end: date) -> None:
    drop_invalid_index("uq_readings_ready")
    op.execute(
        "CREATE UNIQUE INDEX CONCURRENTLY IF NOT EXISTS uq_readings_ready"
        " ON readings (report_id, slot, measured_at)"
    )
    name = f"{BOUND}{end:%Y_%m_%d}"
    op.execute(f"ALTER TABLE readings DROP CONSTRAINT IF EXISTS {name}")
    op.execute(
        f"ALTER TABLE readings ADD CONSTRAINT {name}"
        f" CHECK (measured_at < '{end} 00:00+00') NOT VALID"
    )
    op.execute(f"ALTER TABLE readings VALIDATE CONSTRAINT {name}")


def _exchange(end: date) -> None:
    """Put a partitioned table in the place of the old one, which becomes its part."""
    for command in (
        # Rather fail and be started again than keep everybody waiting in line.
        "SET LOCAL lock_timeout = '30s'",
        "LOCK TABLE readings IN ACCESS EXCLUSIVE MODE",
        "ALTER TABLE readings DROP CONSTRAINT fk_readings_report_id",
        "ALTER TABLE readings DROP CONSTRAINT uq_readings_report_id_slot",
        "ALTER TABLE readings DROP CONSTRAINT pk_readings, DROP COLUMN id",
        "ALTER TABLE readings ADD PRIMARY KEY USING INDEX uq_readings_ready",
        "ALTER INDEX uq_readings_ready RENAME TO pk_readings_before",
        "ALTER INDEX ix_readings_pack_id_measured_at RENAME TO ix_readings_before",
        "ALTER TABLE readings RENAME TO readings_before",
    ):
        op.execute(command)
    _make_table("readings", postgresql_partition_by="RANGE (measured_at)")
    op.create_index(
        "ix_readings_pack_id_measured_at", "readings", ["pack_id", "measured_at"]
    )
    op.execute("CREATE TABLE readings_rest PARTITION OF readings DEFAULT")
    begin = end
    if op.get_bind().scalar(sa.text("SELECT 1 FROM readings_before LIMIT 1")):
        op.execute(
            "ALTER TABLE readings ATTACH PARTITION readings_before"
            f" FOR VALUES FROM (MINVALUE) TO ('{end} 00:00+00')"
        )
    else:
        op.execute("DROP TABLE readings_before")
        begin = op.get_bind().scalar(sa.text("SELECT now()")).date().replace(day=1)
    for _ in range(1 + MONTHS_AHEAD):
        after = _month_after(begin)
        op.execute(
            f"CREATE TABLE readings_{begin:%Y_%m} PARTITION OF readings"
            f" FOR VALUES FROM ('{begin} 00:00+00') TO ('{after} 00:00+00')"
        )
        begin = after


def _month_after(day: date) -> date:
    return date(day.year + day.month // 12, day.month % 12 + 1, 1)


def _make_table(name: str, **options: Any) -> None:
    op.create_table(
        name,
        sa.Column("pack_id", RowId, nullable=False),
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("slot", sa.Text(), nullable=False),
        sa.Column("report_id", sa.Text(), nullable=False),
        sa.Column("measured_at", Moment(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("design_capacity", sa.Integer(), nullable=True),
        sa.Column("full_charge_capacity", sa.Integer(), nullable=True),
        sa.Column("remaining_capacity", sa.Integer(), nullable=True),
        sa.Column("cycle_count", sa.Integer(), nullable=True),
        sa.Column("voltage_mv", sa.Integer(), nullable=True),
        sa.Column("temperature_c", sa.Float(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("charge_limit_percent", sa.Integer(), nullable=True),
        sa.Column("error_margin_percent", sa.Integer(), nullable=True),
        sa.Column("mains_online", sa.Boolean(), nullable=True),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_readings_laptop_id"
        ),
        sa.ForeignKeyConstraint(["pack_id"], ["packs.id"], name="fk_readings_pack_id"),
        sa.PrimaryKeyConstraint("report_id", "slot", "measured_at", name="pk_readings"),
        comment="What each report says of each pack; it may outlive the raw report.",
        sqlite_with_rowid=False,
        **options,
    )
