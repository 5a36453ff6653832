"""What laptops are found by; a round of the clock fills it."""

import sqlalchemy as sa
from alembic import op

from fadewatch_collector.store.columns import RowId

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    bytewise = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
    op.create_table(
        "search_terms",
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("term", bytewise, nullable=False),
        sa.Column("backwards", bytewise, nullable=False),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_search_terms_laptop_id"
        ),
        sa.PrimaryKeyConstraint("laptop_id", "source", "term", name="pk_search_terms"),
        comment="Names and numbers of laptops, folded for comparing.",
        sqlite_with_rowid=False,
    )
    op.create_index(
        "ix_search_terms_term_laptop_id", "search_terms", ["term", "laptop_id"]
    )
    op.create_index(
        "ix_search_terms_backwards_laptop_id",
        "search_terms",
        ["backwards", "laptop_id"],
    )
