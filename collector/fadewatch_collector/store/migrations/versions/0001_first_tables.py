"""The first tables."""

import sqlalchemy as sa
from alembic import op

from fadewatch_collector.store.columns import Json, Moment, RowId

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "audit",
        sa.Column("id", RowId, nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("detail", Json, nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_audit"),
    )
    op.create_index("ix_audit_subject_id", "audit", ["subject", "id"], unique=False)
    op.create_table(
        "enrolment_tokens",
        sa.Column("id", RowId, nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("site", sa.Text(), nullable=True),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("expires_at", Moment(), nullable=False),
        sa.Column("use_limit", sa.Integer(), nullable=False),
        sa.Column("uses", sa.Integer(), server_default="0", nullable=False),
        sa.Column("revoked_at", Moment(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_enrolment_tokens"),
        sa.UniqueConstraint("digest", name="uq_enrolment_tokens_digest"),
    )
    op.create_table(
        "finding_watches",
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("present", sa.Boolean(), nullable=False),
        sa.Column("since", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("subject", "kind", name="pk_finding_watches"),
        comment="Findings that came or went but have not stood long enough to count.",
    )
    op.create_table(
        "laptops",
        sa.Column("id", RowId, nullable=False),
        sa.Column("hostname", sa.Text(), nullable=True),
        sa.Column("maker", sa.Text(), nullable=True),
        sa.Column("model", sa.Text(), nullable=True),
        sa.Column("serial", sa.Text(), nullable=True),
        sa.Column("board_uuid", sa.Text(), nullable=True),
        sa.Column("chassis", sa.Text(), nullable=True),
        sa.Column("site", sa.Text(), nullable=True),
        sa.Column("asset_tag", sa.Text(), nullable=True),
        sa.Column("holder", sa.Text(), nullable=True),
        sa.Column("enrolled_at", Moment(), nullable=False),
        sa.Column("last_report_at", Moment(), nullable=True),
        sa.Column("last_measured_at", Moment(), nullable=True),
        sa.Column("agent_version", sa.Text(), nullable=True),
        sa.Column("platform", sa.Text(), nullable=True),
        sa.Column("mains_online", sa.Boolean(), nullable=True),
        sa.Column("memory_total_mib", sa.Integer(), nullable=True),
        sa.Column("memory_slots_used", sa.Integer(), nullable=True),
        sa.Column("memory_slots_free", sa.Integer(), nullable=True),
        sa.Column("storage_total_bytes", RowId, nullable=True),
        sa.Column("memory", Json, nullable=True),
        sa.Column("drives", Json, nullable=True),
        sa.Column("remarks", Json, nullable=True),
        sa.Column("inventory_measured_at", Moment(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_laptops"),
    )
    op.create_index("ix_laptops_board_uuid", "laptops", ["board_uuid"], unique=False)
    op.create_index(
        "ix_laptops_last_report_at", "laptops", ["last_report_at"], unique=False
    )
    op.create_index("ix_laptops_serial", "laptops", ["serial"], unique=False)
    op.create_index("ix_laptops_site_id", "laptops", ["site", "id"], unique=False)
    op.create_table(
        "notification_routes",
        sa.Column("id", RowId, nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("target", sa.Text(), nullable=False),
        sa.Column("secret", sa.Text(), nullable=True),
        sa.Column("urgencies", Json, nullable=False),
        sa.Column("sites", Json, nullable=True),
        sa.Column("quiet_from", sa.Integer(), nullable=True),
        sa.Column("quiet_until", sa.Integer(), nullable=True),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("ended_at", Moment(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_notification_routes"),
    )
    op.create_table(
        "operators",
        sa.Column("id", RowId, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("disabled_at", Moment(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_operators"),
        sa.UniqueConstraint("name", name="uq_operators_name"),
    )
    op.create_table(
        "packs",
        sa.Column("id", RowId, nullable=False),
        sa.Column("identity", sa.Text(), nullable=True),
        sa.Column("maker", sa.Text(), nullable=True),
        sa.Column("model", sa.Text(), nullable=True),
        sa.Column("serial", sa.Text(), nullable=True),
        sa.Column("made_on", sa.Date(), nullable=True),
        sa.Column("chemistry", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("design_capacity", sa.Integer(), nullable=True),
        sa.Column("design_voltage_mv", sa.Integer(), nullable=True),
        sa.Column("first_seen_at", Moment(), nullable=False),
        sa.Column("last_seen_at", Moment(), nullable=False),
        sa.Column("full_charge_capacity", sa.Integer(), nullable=True),
        sa.Column("remaining_capacity", sa.Integer(), nullable=True),
        sa.Column("cycle_count", sa.Integer(), nullable=True),
        sa.Column("state", sa.Text(), nullable=True),
        sa.Column("voltage_mv", sa.Integer(), nullable=True),
        sa.Column("temperature_c", sa.Float(), nullable=True),
        sa.Column("charge_limit_percent", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_packs"),
        sa.UniqueConstraint("identity", name="uq_packs_identity"),
    )
    op.create_index("ix_packs_serial", "packs", ["serial"], unique=False)
    op.create_table(
        "place_imports",
        sa.Column("id", RowId, nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("changed", sa.Integer(), nullable=False),
        sa.Column("undone_at", Moment(), nullable=True),
        sa.Column("undone_by", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_place_imports"),
    )
    op.create_table(
        "policies",
        sa.Column("scope", sa.Text(), nullable=False),
        sa.Column("changes", Json, nullable=False),
        sa.Column("changed_at", Moment(), nullable=False),
        sa.Column("changed_by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("scope", name="pk_policies"),
        comment="What differs from the default policy, by fleet, site and laptop model.",
    )
    op.create_table(
        "store_values",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_store_values"),
        comment="The store's own few settings, among them the secret that signs cookies.",
    )
    op.create_table(
        "agent_keys",
        sa.Column("id", RowId, nullable=False),
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("token_id", RowId, nullable=True),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("revoked_at", Moment(), nullable=True),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_agent_keys_laptop_id"
        ),
        sa.ForeignKeyConstraint(
            ["token_id"], ["enrolment_tokens.id"], name="fk_agent_keys_token_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_agent_keys"),
        sa.UniqueConstraint("digest", name="uq_agent_keys_digest"),
    )
    op.create_index(
        "ix_agent_keys_laptop_id", "agent_keys", ["laptop_id"], unique=False
    )
    op.create_table(
        "alerts",
        sa.Column("id", RowId, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("urgency", sa.Text(), nullable=False),
        sa.Column("urgency_rank", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("laptop_id", RowId, nullable=True),
        sa.Column("pack_id", RowId, nullable=True),
        sa.Column("site", sa.Text(), nullable=True),
        sa.Column("opened_at", Moment(), nullable=False),
        sa.Column("changed_at", Moment(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("reopened", sa.Integer(), server_default="0", nullable=False),
        sa.Column("ended_at", Moment(), nullable=True),
        sa.Column("ended_because", sa.Text(), nullable=True),
        sa.Column("ended_by", sa.Text(), nullable=True),
        sa.Column("planned_on", sa.Date(), nullable=True),
        sa.Column("assigned_to", RowId, nullable=True),
        sa.Column("reasons", Json, nullable=False),
        sa.Column("next_step", sa.Text(), nullable=False),
        sa.Column("figures_opened", Json, nullable=False),
        sa.Column("figures_now", Json, nullable=False),
        sa.ForeignKeyConstraint(
            ["assigned_to"], ["operators.id"], name="fk_alerts_assigned_to"
        ),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_alerts_laptop_id"
        ),
        sa.ForeignKeyConstraint(["pack_id"], ["packs.id"], name="fk_alerts_pack_id"),
        sa.PrimaryKeyConstraint("id", name="pk_alerts"),
    )
    op.create_index("ix_alerts_assigned_to", "alerts", ["assigned_to"], unique=False)
    op.create_index("ix_alerts_laptop_id", "alerts", ["laptop_id"], unique=False)
    op.create_index(
        "ix_alerts_list",
        "alerts",
        ["state", "urgency_rank", "opened_at", "id"],
        unique=False,
    )
    op.create_index("ix_alerts_pack_id", "alerts", ["pack_id"], unique=False)
    op.create_index(
        "ix_alerts_subject_ended_at", "alerts", ["subject", "ended_at"], unique=False
    )
    op.create_index(
        "uq_alerts_open",
        "alerts",
        ["subject", "kind"],
        unique=True,
        sqlite_where=sa.text("state <> 'ended'"),
        postgresql_where=sa.text("state <> 'ended'"),
    )
    op.create_table(
        "api_tokens",
        sa.Column("id", RowId, nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("operator_id", RowId, nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("expires_at", Moment(), nullable=False),
        sa.Column("revoked_at", Moment(), nullable=True),
        sa.ForeignKeyConstraint(
            ["operator_id"], ["operators.id"], name="fk_api_tokens_operator_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_api_tokens"),
        sa.UniqueConstraint("digest", name="uq_api_tokens_digest"),
    )
    op.create_index(
        "ix_api_tokens_operator_id", "api_tokens", ["operator_id"], unique=False
    )
    op.create_table(
        "assessments",
        sa.Column("pack_id", RowId, nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("readings", sa.Integer(), nullable=False),
        sa.Column("wear", sa.Float(), nullable=True),
        sa.Column("band", sa.Text(), nullable=False),
        sa.Column("fade_per_month", sa.Float(), nullable=True),
        sa.Column("fade_source", sa.Text(), nullable=True),
        sa.Column("plan_earliest", sa.Date(), nullable=True),
        sa.Column("plan_on", sa.Date(), nullable=True),
        sa.Column("plan_latest", sa.Date(), nullable=True),
        sa.Column("replace_earliest", sa.Date(), nullable=True),
        sa.Column("replace_on", sa.Date(), nullable=True),
        sa.Column("replace_latest", sa.Date(), nullable=True),
        sa.Column("gauge", sa.Text(), nullable=True),
        sa.Column("concern", sa.Text(), nullable=False),
        sa.Column("reasons", Json, nullable=False),
        sa.Column("details", Json, nullable=True),
        sa.ForeignKeyConstraint(
            ["pack_id"], ["packs.id"], name="fk_assessments_pack_id"
        ),
        sa.PrimaryKeyConstraint("pack_id", name="pk_assessments"),
        comment="The newest assessment of each pack; wear and fade are fractions.",
    )
    op.create_index("ix_assessments_band", "assessments", ["band"], unique=False)
    op.create_table(
        "daily_capacity",
        sa.Column("pack_id", RowId, nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("design_capacity", sa.Float(), nullable=False),
        sa.Column("full_charge_capacity", sa.Float(), nullable=False),
        sa.Column("cycle_count", sa.Integer(), nullable=True),
        sa.Column("temperature_c", sa.Float(), nullable=True),
        sa.Column("readings", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["pack_id"], ["packs.id"], name="fk_daily_capacity_pack_id"
        ),
        sa.PrimaryKeyConstraint("pack_id", "unit", "day", name="pk_daily_capacity"),
        comment="Medians of a pack's plausible readings of one day (UTC).",
        sqlite_with_rowid=False,
    )
    op.create_table(
        "inspection_links",
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("expires_at", Moment(), nullable=False),
        sa.Column("answered_at", Moment(), nullable=True),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_inspection_links_laptop_id"
        ),
        sa.PrimaryKeyConstraint("digest", name="pk_inspection_links"),
    )
    op.create_table(
        "inspections",
        sa.Column("id", RowId, nullable=False),
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("pack_id", RowId, nullable=True),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("signs", Json, nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_inspections_laptop_id"
        ),
        sa.ForeignKeyConstraint(
            ["pack_id"], ["packs.id"], name="fk_inspections_pack_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_inspections"),
    )
    op.create_index(
        "ix_inspections_laptop_id", "inspections", ["laptop_id"], unique=False
    )
    op.create_index("ix_inspections_pack_id", "inspections", ["pack_id"], unique=False)
    op.create_table(
        "inventory_changes",
        sa.Column("id", RowId, nullable=False),
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("measured_at", Moment(), nullable=False),
        sa.Column("item", sa.Text(), nullable=False),
        sa.Column("before", Json, nullable=True),
        sa.Column("after", Json, nullable=True),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_inventory_changes_laptop_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_inventory_changes"),
    )
    op.create_index(
        "ix_inventory_changes_laptop_id_measured_at",
        "inventory_changes",
        ["laptop_id", "measured_at"],
        unique=False,
    )
    op.create_table(
        "operator_sessions",
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("operator_id", RowId, nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("expires_at", Moment(), nullable=False),
        sa.ForeignKeyConstraint(
            ["operator_id"], ["operators.id"], name="fk_operator_sessions_operator_id"
        ),
        sa.PrimaryKeyConstraint("digest", name="pk_operator_sessions"),
    )
    op.create_index(
        "ix_operator_sessions_expires_at",
        "operator_sessions",
        ["expires_at"],
        unique=False,
    )
    op.create_index(
        "ix_operator_sessions_operator_id",
        "operator_sessions",
        ["operator_id"],
        unique=False,
    )
    op.create_table(
        "outbox",
        sa.Column("id", RowId, nullable=False),
        sa.Column("route_id", RowId, nullable=False),
        sa.Column("message_id", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("payload", Json, nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("not_before", Moment(), nullable=False),
        sa.Column("attempts", sa.Integer(), server_default="0", nullable=False),
        sa.Column("sent_at", Moment(), nullable=True),
        sa.Column("given_up_at", Moment(), nullable=True),
        sa.Column("last_problem", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["route_id"], ["notification_routes.id"], name="fk_outbox_route_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_outbox"),
        sa.UniqueConstraint("message_id", name="uq_outbox_message_id"),
        comment="Messages written in the transaction of what they tell of.",
    )
    op.create_index(
        "ix_outbox_waiting",
        "outbox",
        ["not_before"],
        unique=False,
        sqlite_where=sa.text("sent_at IS NULL AND given_up_at IS NULL"),
        postgresql_where=sa.text("sent_at IS NULL AND given_up_at IS NULL"),
    )
    op.create_table(
        "place_changes",
        sa.Column("import_id", RowId, nullable=False),
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("before", Json, nullable=False),
        sa.Column("after", Json, nullable=False),
        sa.ForeignKeyConstraint(
            ["import_id"], ["place_imports.id"], name="fk_place_changes_import_id"
        ),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_place_changes_laptop_id"
        ),
        sa.PrimaryKeyConstraint("import_id", "laptop_id", name="pk_place_changes"),
        comment="What an import of places changed, so that it can be undone.",
    )
    op.create_table(
        "removed_packs",
        sa.Column("id", RowId, nullable=False),
        sa.Column("pack_id", RowId, nullable=False),
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("slot", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("swollen", sa.Boolean(), nullable=True),
        sa.Column("place", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("removed_at", Moment(), nullable=False),
        sa.Column("removed_by", sa.Text(), nullable=False),
        sa.Column("changed_at", Moment(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_removed_packs_laptop_id"
        ),
        sa.ForeignKeyConstraint(
            ["pack_id"], ["packs.id"], name="fk_removed_packs_pack_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_removed_packs"),
        sa.UniqueConstraint("pack_id", name="uq_removed_packs_pack_id"),
    )
    op.create_index(
        "ix_removed_packs_state_id", "removed_packs", ["state", "id"], unique=False
    )
    op.create_table(
        "reports",
        sa.Column("report_id", sa.Text(), nullable=False),
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("measured_at", Moment(), nullable=False),
        sa.Column("received_at", Moment(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_reports_laptop_id"
        ),
        sa.PrimaryKeyConstraint("report_id", name="pk_reports"),
        comment="Reports as received. A row here is what 'stored' promises.",
    )
    op.create_index(
        "ix_reports_laptop_id_measured_at",
        "reports",
        ["laptop_id", "measured_at"],
        unique=False,
    )
    op.create_table(
        "single_sign_ins",
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("operator_id", RowId, nullable=False),
        sa.Column("expires_at", Moment(), nullable=False),
        sa.Column("used_at", Moment(), nullable=True),
        sa.ForeignKeyConstraint(
            ["operator_id"], ["operators.id"], name="fk_single_sign_ins_operator_id"
        ),
        sa.PrimaryKeyConstraint("digest", name="pk_single_sign_ins"),
        comment="Links that sign an operator in once.",
    )
    op.create_table(
        "slot_stays",
        sa.Column("id", RowId, nullable=False),
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("slot", sa.Text(), nullable=False),
        sa.Column("pack_id", RowId, nullable=False),
        sa.Column("from_at", Moment(), nullable=False),
        sa.Column("last_seen_at", Moment(), nullable=False),
        sa.Column("until_at", Moment(), nullable=True),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_slot_stays_laptop_id"
        ),
        sa.ForeignKeyConstraint(
            ["pack_id"], ["packs.id"], name="fk_slot_stays_pack_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_slot_stays"),
        comment="Which pack sat in which slot from when to when.",
    )
    op.create_index(
        "ix_slot_stays_laptop_id_slot_from_at",
        "slot_stays",
        ["laptop_id", "slot", "from_at"],
        unique=False,
    )
    op.create_index("ix_slot_stays_pack_id", "slot_stays", ["pack_id"], unique=False)
    op.create_index(
        "uq_slot_stays_open",
        "slot_stays",
        ["laptop_id", "slot"],
        unique=True,
        sqlite_where=sa.text("until_at IS NULL"),
        postgresql_where=sa.text("until_at IS NULL"),
    )
    op.create_table(
        "swaps",
        sa.Column("id", RowId, nullable=False),
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("slot", sa.Text(), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("old_pack_id", RowId, nullable=False),
        sa.Column("new_pack_id", RowId, nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("wrong", Json, nullable=False),
        sa.Column("remarks", Json, nullable=False),
        sa.Column("decided_at", Moment(), nullable=True),
        sa.Column("decided_by", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_swaps_laptop_id"
        ),
        sa.ForeignKeyConstraint(
            ["new_pack_id"], ["packs.id"], name="fk_swaps_new_pack_id"
        ),
        sa.ForeignKeyConstraint(
            ["old_pack_id"], ["packs.id"], name="fk_swaps_old_pack_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_swaps"),
        sa.UniqueConstraint(
            "laptop_id",
            "slot",
            "new_pack_id",
            "at",
            name="uq_swaps_laptop_id_slot_new_pack_id_at",
        ),
    )
    op.create_index("ix_swaps_laptop_id", "swaps", ["laptop_id"], unique=False)
    op.create_index("ix_swaps_new_pack_id", "swaps", ["new_pack_id"], unique=False)
    op.create_index("ix_swaps_old_pack_id", "swaps", ["old_pack_id"], unique=False)
    op.create_table(
        "filing_queue",
        sa.Column("id", RowId, nullable=False),
        sa.Column("report_id", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["report_id"], ["reports.report_id"], name="fk_filing_queue_report_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_filing_queue"),
        comment="Stored reports that wait to be filed into packs, readings and inventory.",
        sqlite_autoincrement=True,
    )
    op.create_table(
        "readings",
        sa.Column("id", RowId, nullable=False),
        sa.Column("pack_id", RowId, nullable=False),
        sa.Column("laptop_id", RowId, nullable=False),
        sa.Column("slot", sa.Text(), nullable=False),
        sa.Column("report_id", sa.Text(), nullable=False),
        sa.Column("measured_at", Moment(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("design_capacity", sa.Integer(), nullable=True),
        sa.Column("full_charge_capacity", sa.Integer(), nullable=True),
        sa.Column("remaining_capacity", sa.Integer(), nullable=True),
        sa.Column("cycle_count", sa.Integer(), nullable=True),
        sa.Column("voltage_mv", sa.Integer(), nullable=True),
        sa.Column("temperature_c", sa.Float(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("charge_limit_percent", sa.Integer(), nullable=True),
        sa.Column("error_margin_percent", sa.Integer(), nullable=True),
        sa.Column("mains_online", sa.Boolean(), nullable=True),
        sa.ForeignKeyConstraint(
            ["laptop_id"], ["laptops.id"], name="fk_readings_laptop_id"
        ),
        sa.ForeignKeyConstraint(["pack_id"], ["packs.id"], name="fk_readings_pack_id"),
        sa.ForeignKeyConstraint(
            ["report_id"], ["reports.report_id"], name="fk_readings_report_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_readings"),
        sa.UniqueConstraint("report_id", "slot", name="uq_readings_report_id_slot"),
    )
    op.create_index(
        "ix_readings_pack_id_measured_at",
        "readings",
        ["pack_id", "measured_at"],
        unique=False,
    )
    op.create_table(
        "unreadable_reports",
        sa.Column("report_id", sa.Text(), nullable=False),
        sa.Column("problem", sa.Text(), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.ForeignKeyConstraint(
            ["report_id"], ["reports.report_id"], name="fk_unreadable_reports_report_id"
        ),
        sa.PrimaryKeyConstraint("report_id", name="pk_unreadable_reports"),
        comment="Stored reports that could not be filed, with the reason; kept for a look.",
    )
