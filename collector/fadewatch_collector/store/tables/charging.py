"""How packs are charged: daily counts, and the habits told from them."""

from sqlalchemy import (
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Index,
    Integer,
    PrimaryKeyConstraint,
    Table,
    Text,
)

from fadewatch_collector.store.columns import Json
from fadewatch_collector.store.tables.base import metadata

daily_charging = Table(
    "daily_charging",
    metadata,
    Column("pack_id", ForeignKey("packs.id"), nullable=False),
    Column("day", Date, nullable=False),
    Column("readings", Integer, nullable=False),
    # Readings of which charge and mains are known; the counts below are of these.
    Column("judged", Integer, nullable=False),
    Column("on_mains", Integer, nullable=False),
    Column("near_full", Integer, nullable=False),
    Column("held", Integer, nullable=False),
    Column("temperature_c", Float),
    Column("near_full_temperature_c", Float),
    Column("lowest_charge", Float),
    Column("charge_limit_percent", Integer),
    PrimaryKeyConstraint("pack_id", "day"),
    sqlite_with_rowid=False,
    comment="A pack's readings of one day (UTC), counted by how it was charged.",
)


charging_habits = Table(
    "charging_habits",
    metadata,
    Column("pack_id", ForeignKey("packs.id"), primary_key=True, autoincrement=False),
    Column("as_of", Date, nullable=False),
    Column("habit", Text, nullable=False),
    Column("charge_limit_percent", Integer),
    Column("charge_limit", Text, nullable=False),
    Column("advice", Text, nullable=False),
    Column("is_advised", Boolean, nullable=False),
    # The share near full on mains in ten-thousandths, by which lists are ordered.
    Column("rank", Integer, nullable=False),
    Column("details", Json, nullable=False),
    Index(None, "is_advised", "rank", "pack_id"),
    Index(None, "rank", "pack_id"),
    comment="How each pack has been charged of late, told anew every night.",
)
