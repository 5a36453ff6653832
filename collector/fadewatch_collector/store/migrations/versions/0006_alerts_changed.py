"""An index that tells when the alert list changed last."""

from fadewatch_collector.store.migrations.online import make_index

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    make_index("ix_alerts_changed_at", "alerts", ["changed_at"])
