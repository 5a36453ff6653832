"""Laptops that were forgotten: what stays is their packs'."""

import sqlalchemy as sa
from alembic import op

from fadewatch_collector.store.columns import Moment, RowId

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "forgotten_laptops",
        sa.Column("laptop_id", RowId, autoincrement=False, nullable=False),
        sa.Column("forgotten_at", Moment(), nullable=False),
        sa.Column("forgotten_by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("laptop_id", name="pk_forgotten_laptops"),
        comment="Numbers of laptops that were forgotten, so that none gets one again.",
    )
    for name in ("inspections", "removed_packs"):
        with op.batch_alter_table(name) as table:
            table.alter_column("laptop_id", existing_type=RowId, nullable=True)
