"""Stock, lead time and price of pack types."""

import sqlalchemy as sa
from alembic import op

from fadewatch_collector.store.columns import Moment, RowId

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "pack_stock",
        sa.Column("type_key", sa.Text(), nullable=False),
        sa.Column("on_hand", sa.Integer(), nullable=True),
        sa.Column("on_order", sa.Integer(), nullable=True),
        sa.Column("expected_on", sa.Date(), nullable=True),
        sa.Column("lead_time_days", sa.Integer(), nullable=True),
        sa.Column("price_minor", RowId, nullable=True),
        sa.Column("currency", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("changed_at", Moment(), nullable=False),
        sa.Column("changed_by", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("type_key", name="pk_pack_stock"),
        comment="Packs on hand and on order, lead time and price, by pack type.",
    )
