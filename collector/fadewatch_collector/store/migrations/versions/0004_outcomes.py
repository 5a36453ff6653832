"""Forecasts kept, thresholds passed, figures of the fleet."""

import sqlalchemy as sa
from alembic import op

from fadewatch_collector.store.columns import Json, Moment, RowId

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    for name in ("own_fade_per_month", "plan_wear", "replace_wear"):
        op.add_column("assessments", sa.Column(name, sa.Float(), nullable=True))
    op.create_table(
        "threshold_passings",
        sa.Column("pack_id", RowId, nullable=False),
        sa.Column("threshold", sa.Float(), nullable=False),
        sa.Column("passed_on", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(
            ["pack_id"], ["packs.id"], name="fk_threshold_passings_pack_id"
        ),
        sa.PrimaryKeyConstraint("pack_id", "threshold", name="pk_threshold_passings"),
        sqlite_with_rowid=False,
        comment="The day since which a pack's wear has been past a threshold.",
    )
    op.create_table(
        "kept_forecasts",
        sa.Column("pack_id", RowId, nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("wear", sa.Float(), nullable=False),
        sa.Column("plan_wear", sa.Float(), nullable=False),
        sa.Column("plan_earliest", sa.Date(), nullable=True),
        sa.Column("plan_on", sa.Date(), nullable=True),
        sa.Column("plan_latest", sa.Date(), nullable=True),
        sa.Column("replace_wear", sa.Float(), nullable=False),
        sa.Column("replace_earliest", sa.Date(), nullable=True),
        sa.Column("replace_on", sa.Date(), nullable=True),
        sa.Column("replace_latest", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(
            ["pack_id"], ["packs.id"], name="fk_kept_forecasts_pack_id"
        ),
        sa.PrimaryKeyConstraint("pack_id", "as_of", name="pk_kept_forecasts"),
        sqlite_with_rowid=False,
        comment="Forecasts as they stood, one a pack and month, to be held against what came.",
    )
    op.create_table(
        "fleet_figures",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("body", Json, nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_fleet_figures"),
        comment="What is worked out over the whole fleet, by name; made anew by the clock.",
    )
