"""Alerts, and the messages that tell of them."""

from sqlalchemy import (
    Boolean,
    Column,
    Date,
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

alerts = Table(
    "alerts",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("urgency", Text, nullable=False),
    # 0 is the most urgent; ordered pages need a number.
    Column("urgency_rank", Integer, nullable=False),
    Column("state", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("laptop_id", ForeignKey("laptops.id"), index=True),
    Column("pack_id", ForeignKey("packs.id"), index=True),
    Column("site", Text),
    Column("opened_at", Moment, nullable=False),
    Column("changed_at", Moment, nullable=False),
    # Counts up with each change by a person, so that two who act at once are told.
    Column("version", Integer, nullable=False, server_default="1"),
    Column("reopened", Integer, nullable=False, server_default="0"),
    Column("ended_at", Moment),
    Column("ended_because", Text),
    # NULL when it ended by itself.
    Column("ended_by", Text),
    Column("planned_on", Date),
    Column("assigned_to", ForeignKey("operators.id"), index=True),
    Column("reasons", Json, nullable=False),
    Column("next_step", Text, nullable=False),
    Column("figures_opened", Json, nullable=False),
    Column("figures_now", Json, nullable=False),
    Index(
        "uq_alerts_open",
        "subject",
        "kind",
        unique=True,
        sqlite_where=text("state <> 'ended'"),
        postgresql_where=text("state <> 'ended'"),
    ),
    Index("ix_alerts_list", "state", "urgency_rank", "opened_at", "id"),
    # The list narrowed to a kind or a site, in its order, and the counts of a site.
    Index("ix_alerts_list_kind", "state", "kind", "urgency_rank", "opened_at", "id"),
    Index("ix_alerts_list_site", "state", "site", "urgency_rank", "opened_at", "id"),
    Index(None, "subject", "ended_at"),
    Index(None, "changed_at"),
)


finding_watches = Table(
    "finding_watches",
    metadata,
    Column("subject", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("present", Boolean, nullable=False),
    Column("since", Moment, nullable=False),
    PrimaryKeyConstraint("subject", "kind"),
    comment="Findings that came or went but have not stood long enough to count.",
)


notification_routes = Table(
    "notification_routes",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("label", Text, nullable=False),
    Column("channel", Text, nullable=False),
    # A mail address, or the address of a webhook.
    Column("target", Text, nullable=False),
    # Signs webhooks; the receiver has it too.
    Column("secret", Text),
    Column("urgencies", Json, nullable=False),
    # NULL is every site.
    Column("sites", Json),
    # Minutes of the day (UTC) between which nothing but stop-use is sent.
    Column("quiet_from", Integer),
    Column("quiet_until", Integer),
    Column("created_at", Moment, nullable=False),
    Column("created_by", Text, nullable=False),
    Column("ended_at", Moment),
)


outbox = Table(
    "outbox",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("route_id", ForeignKey("notification_routes.id"), nullable=False),
    # What it tells of, once for each route: a retry finds the same row.
    Column("message_id", Text, nullable=False, unique=True),
    Column("what", Text, nullable=False),
    Column("payload", Json, nullable=False),
    Column("created_at", Moment, nullable=False),
    Column("not_before", Moment, nullable=False),
    Column("attempts", Integer, nullable=False, server_default="0"),
    Column("sent_at", Moment),
    Column("given_up_at", Moment),
    Column("last_problem", Text),
    Index(
        "ix_outbox_waiting",
        "not_before",
        sqlite_where=text("sent_at IS NULL AND given_up_at IS NULL"),
        postgresql_where=text("sent_at IS NULL AND given_up_at IS NULL"),
    ),
    comment="Messages written in the transaction of what they tell of.",
)
