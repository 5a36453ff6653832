"""An index that tells when the alert list changed last."""

from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_index("ix_alerts_changed_at", "alerts", ["changed_at"])
