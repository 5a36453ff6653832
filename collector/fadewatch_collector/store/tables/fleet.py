"""Laptops, packs, where they sat, and what was read."""

from sqlalchemy import (
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Index,
    Integer,
    PrimaryKeyConstraint,
    Table,
    Text,
    text,
)

from fadewatch_collector.store.columns import Json, Moment, RowId
from fadewatch_collector.store.tables.base import metadata

laptops = Table(
    "laptops",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("hostname", Text),
    Column("maker", Text),
    Column("model", Text),
    Column("serial", Text),
    Column("board_uuid", Text),
    Column("chassis", Text),
    Column("site", Text),
    Column("asset_tag", Text),
    Column("holder", Text),
    Column("enrolled_at", Moment, nullable=False),
    Column("last_report_at", Moment),
    Column("last_measured_at", Moment),
    Column("agent_version", Text),
    Column("platform", Text),
    Column("mains_online", Boolean),
    Column("memory_total_mib", Integer),
    Column("memory_slots_used", Integer),
    Column("memory_slots_free", Integer),
    Column("storage_total_bytes", RowId),
    Column("memory", Json),
    Column("drives", Json),
    Column("remarks", Json),
    # Measured time of the report that the inventory columns came from: a late report
    # from a spool must not overwrite a newer inventory.
    Column("inventory_measured_at", Moment),
    Index(None, "serial"),
    Index(None, "board_uuid"),
    Index(None, "last_report_at"),
    Index(None, "site", "id"),
    Index(None, "maker", "model"),
)


packs = Table(
    "packs",
    metadata,
    Column("id", RowId, primary_key=True),
    # maker + model + serial + made_on in one text, or NULL where these are too weak
    # to tell two packs apart.
    Column("identity", Text, unique=True),
    Column("maker", Text),
    Column("model", Text),
    Column("serial", Text),
    Column("made_on", Date),
    Column("chemistry", Text),
    Column("unit", Text, nullable=False),
    Column("design_capacity", Integer),
    Column("design_voltage_mv", Integer),
    Column("first_seen_at", Moment, nullable=False),
    Column("last_seen_at", Moment, nullable=False),
    Column("full_charge_capacity", Integer),
    Column("remaining_capacity", Integer),
    Column("cycle_count", Integer),
    Column("state", Text),
    Column("voltage_mv", Integer),
    Column("temperature_c", Float),
    Column("charge_limit_percent", Integer),
    Index(None, "serial"),
    # What packs say of themselves, by which types are told.
    Index(
        "ix_packs_described",
        "maker",
        "model",
        "unit",
        "design_capacity",
        "design_voltage_mv",
        "chemistry",
    ),
)


slot_stays = Table(
    "slot_stays",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("laptop_id", ForeignKey("laptops.id"), nullable=False),
    Column("slot", Text, nullable=False),
    Column("pack_id", ForeignKey("packs.id"), nullable=False, index=True),
    Column("from_at", Moment, nullable=False),
    Column("last_seen_at", Moment, nullable=False),
    # NULL while the pack is still there.
    Column("until_at", Moment),
    Index(None, "laptop_id", "slot", "from_at"),
    # Where packs sit now.
    Index(
        "ix_slot_stays_now",
        "pack_id",
        "laptop_id",
        sqlite_where=text("until_at IS NULL"),
        postgresql_where=text("until_at IS NULL"),
    ),
    Index(
        "uq_slot_stays_open",
        "laptop_id",
        "slot",
        unique=True,
        sqlite_where=text("until_at IS NULL"),
        postgresql_where=text("until_at IS NULL"),
    ),
    comment="Which pack sat in which slot from when to when.",
)


reports = Table(
    "reports",
    metadata,
    Column("report_id", Text, primary_key=True),
    Column("laptop_id", ForeignKey("laptops.id"), nullable=False),
    Column("measured_at", Moment, nullable=False),
    Column("received_at", Moment, nullable=False),
    Column("body", Text, nullable=False),
    Index(None, "laptop_id", "measured_at"),
    # Retention goes by it. Rows lie in its order, so that a summary of pages will do.
    Index(
        None,
        "received_at",
        postgresql_using="brin",
        postgresql_with={"autosummarize": True},
    ),
    comment="Reports as received. A row here is what 'stored' promises.",
)


unreadable_reports = Table(
    "unreadable_reports",
    metadata,
    Column("report_id", ForeignKey("reports.report_id"), primary_key=True),
    Column("problem", Text, nullable=False),
    Column("at", Moment, nullable=False),
    comment="Stored reports that could not be filed, with the reason; kept for a look.",
)


readings = Table(
    "readings",
    metadata,
    Column("pack_id", ForeignKey("packs.id"), nullable=False),
    Column("laptop_id", ForeignKey("laptops.id"), nullable=False),
    Column("slot", Text, nullable=False),
    # No reference: raw reports may be deleted before their readings.
    Column("report_id", Text, nullable=False),
    Column("measured_at", Moment, nullable=False),
    Column("unit", Text, nullable=False),
    Column("design_capacity", Integer),
    Column("full_charge_capacity", Integer),
    Column("remaining_capacity", Integer),
    Column("cycle_count", Integer),
    Column("voltage_mv", Integer),
    Column("temperature_c", Float),
    Column("state", Text, nullable=False),
    Column("charge_limit_percent", Integer),
    Column("error_margin_percent", Integer),
    Column("mains_online", Boolean),
    # A report has one moment, so the moment makes no second reading of a slot
    # possible; PostgreSQL wants it in the key, because the months are told by it.
    PrimaryKeyConstraint("report_id", "slot", "measured_at"),
    Index(None, "pack_id", "measured_at"),
    sqlite_with_rowid=False,
    postgresql_partition_by="RANGE (measured_at)",
    comment="What each report says of each pack; it may outlive the raw report.",
)


daily_capacity = Table(
    "daily_capacity",
    metadata,
    Column("pack_id", ForeignKey("packs.id"), nullable=False),
    Column("day", Date, nullable=False),
    Column("unit", Text, nullable=False),
    Column("design_capacity", Float, nullable=False),
    Column("full_charge_capacity", Float, nullable=False),
    Column("cycle_count", Integer),
    Column("temperature_c", Float),
    Column("readings", Integer, nullable=False),
    # A pack whose unit changes starts a new series: the two never mix.
    PrimaryKeyConstraint("pack_id", "unit", "day"),
    sqlite_with_rowid=False,
    comment="Medians of a pack's plausible readings of one day (UTC).",
)


inventory_changes = Table(
    "inventory_changes",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("laptop_id", ForeignKey("laptops.id"), nullable=False),
    Column("measured_at", Moment, nullable=False),
    Column("item", Text, nullable=False),
    Column("before", Json),
    Column("after", Json),
    Index(None, "laptop_id", "measured_at"),
)


assessments = Table(
    "assessments",
    metadata,
    Column("pack_id", ForeignKey("packs.id"), primary_key=True),
    Column("as_of", Date, nullable=False),
    Column("readings", Integer, nullable=False),
    Column("wear", Float),
    Column("band", Text, nullable=False),
    Column("fade_per_month", Float),
    # Whose history the fade comes from: the pack's own, or what it borrowed.
    Column("fade_source", Text),
    # What its own history shows, nothing borrowed: types are compared by it.
    Column("own_fade_per_month", Float),
    # The thresholds that the crossings are of: a policy may change.
    Column("plan_wear", Float),
    Column("replace_wear", Float),
    Column("plan_earliest", Date),
    Column("plan_on", Date),
    Column("plan_latest", Date),
    Column("replace_earliest", Date),
    Column("replace_on", Date),
    Column("replace_latest", Date),
    Column("gauge", Text),
    Column("concern", Text, nullable=False),
    Column("reasons", Json, nullable=False),
    Column("details", Json),
    # Which packs are due is told from this index alone.
    Index("ix_assessments_due", "band", "concern", "plan_on", "pack_id"),
    # The few packs to look at today are found among many.
    Index(
        "ix_assessments_urgent",
        "concern",
        sqlite_where=text("concern IN ('inspect', 'stop-use')"),
        postgresql_where=text("concern IN ('inspect', 'stop-use')"),
    ),
    comment="The newest assessment of each pack; wear and fade are fractions.",
)
