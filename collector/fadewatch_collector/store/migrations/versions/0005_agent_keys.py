"""Keys of agents: enrolments tried twice, and renewal on request."""

import sqlalchemy as sa

from fadewatch_collector.store.columns import Moment
from fadewatch_collector.store.migrations.online import add_column, make_index

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    add_column("agent_keys", sa.Column("attempt", sa.Text()))
    add_column("agent_keys", sa.Column("renewal_asked_at", Moment()))
    make_index("ix_agent_keys_attempt", "agent_keys", ["attempt"])
