"""What was forecast, what came, and what is worked out over the whole fleet."""

from sqlalchemy import (
    Column,
    Date,
    Float,
    ForeignKey,
    PrimaryKeyConstraint,
    Table,
    Text,
)

from fadewatch_collector.store.columns import Json, Moment
from fadewatch_collector.store.tables.base import metadata

threshold_passings = Table(
    "threshold_passings",
    metadata,
    Column("pack_id", ForeignKey("packs.id"), nullable=False),
    Column("threshold", Float, nullable=False),
    Column("passed_on", Date, nullable=False),
    PrimaryKeyConstraint("pack_id", "threshold"),
    sqlite_with_rowid=False,
    comment="The day since which a pack's wear has been past a threshold.",
)


kept_forecasts = Table(
    "kept_forecasts",
    metadata,
    Column("pack_id", ForeignKey("packs.id"), nullable=False),
    Column("as_of", Date, nullable=False),
    Column("wear", Float, nullable=False),
    Column("plan_wear", Float, nullable=False),
    # NULL: not within ten years.
    Column("plan_earliest", Date),
    Column("plan_on", Date),
    Column("plan_latest", Date),
    Column("replace_wear", Float, nullable=False),
    Column("replace_earliest", Date),
    Column("replace_on", Date),
    Column("replace_latest", Date),
    PrimaryKeyConstraint("pack_id", "as_of"),
    sqlite_with_rowid=False,
    comment="Forecasts as they stood, one a pack and month, to be held against what came.",
)


fleet_figures = Table(
    "fleet_figures",
    metadata,
    Column("name", Text, primary_key=True),
    Column("made_at", Moment, nullable=False),
    Column("body", Json, nullable=False),
    comment="What is worked out over the whole fleet, by name; made anew by the clock.",
)
