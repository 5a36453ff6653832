"""Indexes for long lists: what is due, what packs say, and how they are charged."""

import sqlalchemy as sa

from fadewatch_collector.store.migrations.online import drop_index, make_index

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    drop_index("ix_assessments_band", "assessments")
    make_index(
        "ix_assessments_due", "assessments", ["band", "concern", "plan_on", "pack_id"]
    )
    make_index(
        "ix_slot_stays_now",
        "slot_stays",
        ["pack_id", "laptop_id"],
        sqlite_where=sa.text("until_at IS NULL"),
        postgresql_where=sa.text("until_at IS NULL"),
    )
    make_index(
        "ix_charging_habits_rank_pack_id", "charging_habits", ["rank", "pack_id"]
    )
    make_index("ix_laptops_maker_model", "laptops", ["maker", "model"])
    make_index(
        "ix_packs_described",
        "packs",
        [
            "maker",
            "model",
            "unit",
            "design_capacity",
            "design_voltage_mv",
            "chemistry",
        ],
    )
