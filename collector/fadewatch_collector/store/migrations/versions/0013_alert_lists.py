"""Indexes for the alert list of a very large fleet, narrowed to a kind or a site."""

from fadewatch_collector.store.migrations.online import make_index

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

PLACE = ["urgency_rank", "opened_at", "id"]


def upgrade() -> None:
    make_index("ix_alerts_list_kind", "alerts", ["state", "kind", *PLACE])
    make_index("ix_alerts_list_site", "alerts", ["state", "site", *PLACE])
