"""Visits, and an index of the packs to look at today."""

import sqlalchemy as sa
from alembic import op

from fadewatch_collector.store.columns import Json, Moment, RowId
from fadewatch_collector.store.migrations.online import make_index

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "visits",
        sa.Column("id", RowId, nullable=False),
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("planned_on", sa.Date(), nullable=True),
        sa.Column("assigned_to", RowId, nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("matters", Json, nullable=False),
        sa.Column("work", Json, nullable=True),
        sa.Column("found", sa.Text(), nullable=True),
        sa.Column("done_at", Moment(), nullable=True),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("changed_at", Moment(), nullable=False),
        sa.Column("changed_by", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.ForeignKeyConstraint(
            ["assigned_to"], ["operators.id"], name="fk_visits_assigned_to"
        ),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_visits_laptop_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_visits"),
        comment="Visits planned, done and called off; what is due is worked out, "
        "not kept.",
        if_not_exists=True,
    )
    op.create_index(
        "ix_visits_assigned_to",
        "visits",
        ["assigned_to"],
        unique=False,
        if_not_exists=True,
    )
    op.create_index(
        "ix_visits_laptop_id", "visits", ["laptop_id"], unique=False, if_not_exists=True
    )
    op.create_index(
        "ix_visits_state_id",
        "visits",
        ["state", "id"],
        unique=False,
        if_not_exists=True,
    )
    op.create_index(
        "uq_visits_planned",
        "visits",
        ["laptop_id"],
        unique=True,
        if_not_exists=True,
        sqlite_where=sa.text("state = 'planned'"),
        postgresql_where=sa.text("state = 'planned'"),
    )
    make_index(
        "ix_assessments_urgent",
        "assessments",
        ["concern"],
        sqlite_where=sa.text("concern IN ('inspect', 'stop-use')"),
        postgresql_where=sa.text("concern IN ('inspect', 'stop-use')"),
    )
