"""Who may reach the collector, and who did what."""

from sqlalchemy import (
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    Table,
    Text,
    UniqueConstraint,
)

from fadewatch_collector.store.columns import Json, Moment, RowId
from fadewatch_collector.store.tables.base import metadata

store_values = Table(
    "store_values",
    metadata,
    Column("name", Text, primary_key=True),
    Column("value", Text, nullable=False),
    comment="The store's own few settings, among them the secret that signs cookies.",
)


enrolment_tokens = Table(
    "enrolment_tokens",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("label", Text, nullable=False),
    Column("site", Text),
    Column("digest", LargeBinary, nullable=False, unique=True),
    Column("created_at", Moment, nullable=False),
    Column("created_by", Text, nullable=False),
    Column("expires_at", Moment, nullable=False),
    Column("use_limit", Integer, nullable=False),
    Column("uses", Integer, nullable=False, server_default="0"),
    Column("revoked_at", Moment),
)


agent_keys = Table(
    "agent_keys",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("laptop_id", ForeignKey("laptops.id"), nullable=False, index=True),
    Column("token_id", ForeignKey("enrolment_tokens.id")),
    Column("digest", LargeBinary, nullable=False, unique=True),
    Column("created_at", Moment, nullable=False),
    Column("revoked_at", Moment),
    # Chosen by the agent before it asks: a second try after a lost answer is known.
    Column("attempt", Text, index=True),
    Column("renewal_asked_at", Moment),
)


operators = Table(
    "operators",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
    Column("role", Text, nullable=False),
    # Empty: no password, they sign in through the organisation's provider.
    Column("password_hash", Text, nullable=False),
    Column("created_at", Moment, nullable=False),
    Column("disabled_at", Moment),
)


operator_sessions = Table(
    "operator_sessions",
    metadata,
    Column("digest", LargeBinary, primary_key=True),
    Column("operator_id", ForeignKey("operators.id"), nullable=False, index=True),
    Column("created_at", Moment, nullable=False),
    Column("expires_at", Moment, nullable=False, index=True),
    # Written at most once a minute.
    Column("used_at", Moment),
    Column("opened_by", Text),
)


operator_identities = Table(
    "operator_identities",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("operator_id", ForeignKey("operators.id"), nullable=False, index=True),
    Column("issuer", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("created_at", Moment, nullable=False),
    UniqueConstraint("issuer", "subject"),
    comment="Who an operator is at the organisation's identity provider.",
)


single_sign_ins = Table(
    "single_sign_ins",
    metadata,
    Column("digest", LargeBinary, primary_key=True),
    Column("operator_id", ForeignKey("operators.id"), nullable=False),
    Column("expires_at", Moment, nullable=False),
    Column("used_at", Moment),
    comment="Links that sign an operator in once.",
)


api_tokens = Table(
    "api_tokens",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("label", Text, nullable=False),
    Column("operator_id", ForeignKey("operators.id"), nullable=False, index=True),
    Column("digest", LargeBinary, nullable=False, unique=True),
    Column("created_at", Moment, nullable=False),
    Column("expires_at", Moment, nullable=False),
    Column("revoked_at", Moment),
)


audit = Table(
    "audit",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("at", Moment, nullable=False),
    Column("who", Text, nullable=False),
    Column("action", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("detail", Json),
    Index(None, "subject", "id"),
)
