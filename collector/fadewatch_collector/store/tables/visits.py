"""Visits: when somebody goes to a laptop, and what was done there."""

from sqlalchemy import Column, Date, ForeignKey, Index, Integer, Table, Text, text

from fadewatch_collector.store.columns import Json, Moment, RowId
from fadewatch_collector.store.tables.base import metadata

visits = Table(
    "visits",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("laptop_id", ForeignKey("laptops.id"), nullable=False, index=True),
    Column("state", Text, nullable=False),
    # NULL when it was marked done without having been planned.
    Column("planned_on", Date),
    Column("assigned_to", ForeignKey("operators.id"), index=True),
    Column("note", Text),
    # What it was for, in words, as it was when it was written.
    Column("matters", Json, nullable=False),
    # Words of the work that was done.
    Column("work", Json),
    Column("found", Text),
    Column("done_at", Moment),
    Column("created_at", Moment, nullable=False),
    Column("created_by", Text, nullable=False),
    Column("changed_at", Moment, nullable=False),
    Column("changed_by", Text, nullable=False),
    Column("version", Integer, nullable=False, server_default="1"),
    Index(None, "state", "id"),
    Index(
        "uq_visits_planned",
        "laptop_id",
        unique=True,
        sqlite_where=text("state = 'planned'"),
        postgresql_where=text("state = 'planned'"),
    ),
    comment="Visits planned, done and called off; what is due is worked out, not kept.",
)
