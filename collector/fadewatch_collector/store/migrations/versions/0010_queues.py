"""Queues that several collectors work off: whose report waits, which packs wait."""

import sqlalchemy as sa
from alembic import op

from fadewatch_collector.store.columns import Moment, RowId

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("filing_queue", sa.Column("laptop_id", RowId))
    op.execute(
        "UPDATE filing_queue SET laptop_id = (SELECT laptop_id FROM reports "
        "WHERE reports.report_id = filing_queue.report_id)"
    )
    op.create_table(
        "assessment_queue",
        sa.Column("pack_id", RowId, autoincrement=False, nullable=False),
        sa.Column("asked_at", Moment(), nullable=False),
        sa.Column("asks", sa.Integer(), server_default="1", nullable=False),
        sa.Column("due_at", Moment(), nullable=False),
        sa.Column("failures", sa.Integer(), server_default="0", nullable=False),
        sa.Column("problem", sa.Text()),
        sa.ForeignKeyConstraint(
            ["pack_id"], ["packs.id"], name="fk_assessment_queue_pack_id"
        ),
        sa.PrimaryKeyConstraint("pack_id", name="pk_assessment_queue"),
        comment="Packs that wait to be assessed, each once.",
    )
    op.create_index("ix_assessment_queue_due_at", "assessment_queue", ["due_at"])
