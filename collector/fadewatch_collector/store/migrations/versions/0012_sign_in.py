"""Sessions that end when they are idle; who operators are at a provider."""

import sqlalchemy as sa
from alembic import op

from fadewatch_collector.store.columns import Moment, RowId

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("operator_sessions", sa.Column("used_at", Moment()))
    op.add_column("operator_sessions", sa.Column("opened_by", sa.Text()))
    op.create_table(
        "operator_identities",
        sa.Column("id", RowId, nullable=False),
        sa.Column("operator_id", RowId, nullable=False),
        sa.Column("issuer", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.ForeignKeyConstraint(
            ["operator_id"],
            ["operators.id"],
            name="fk_operator_identities_operator_id",
        ),
        sa.PrimaryKeyConstraint("id", name="pk_operator_identities"),
        sa.UniqueConstraint(
            "issuer", "subject", name="uq_operator_identities_issuer_subject"
        ),
        comment="Who an operator is at the organisation's identity provider.",
    )
    op.create_index(
        "ix_operator_identities_operator_id", "operator_identities", ["operator_id"]
    )
