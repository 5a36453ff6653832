"""Keys of agents: enrolments tried twice, and renewal on request."""

import sqlalchemy as sa
from alembic import op

from fadewatch_collector.store.columns import Moment

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("agent_keys", sa.Column("attempt", sa.Text()))
    op.add_column("agent_keys", sa.Column("renewal_asked_at", Moment()))
    op.create_index("ix_agent_keys_attempt", "agent_keys", ["attempt"])
