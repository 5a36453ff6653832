"""What people decide and do: policy, swaps, inspections, places."""

from sqlalchemy import (
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    PrimaryKeyConstraint,
    Table,
    Text,
    UniqueConstraint,
)

from fadewatch_collector.store.columns import Json, Moment, RowId
from fadewatch_collector.store.tables.base import metadata

policies = Table(
    "policies",
    metadata,
    # "fleet", "site:NAME" or "model:MAKER|MODEL".
    Column("scope", Text, primary_key=True),
    Column("changes", Json, nullable=False),
    Column("changed_at", Moment, nullable=False),
    Column("changed_by", Text, nullable=False),
    comment="What differs from the default policy, by fleet, site and laptop model.",
)


swaps = Table(
    "swaps",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("laptop_id", ForeignKey("laptops.id"), nullable=False, index=True),
    Column("slot", Text, nullable=False),
    Column("at", Moment, nullable=False),
    Column("old_pack_id", ForeignKey("packs.id"), nullable=False, index=True),
    Column("new_pack_id", ForeignKey("packs.id"), nullable=False, index=True),
    Column("state", Text, nullable=False),
    # Sentences: what speaks against the new pack, and what is to know about it.
    Column("wrong", Json, nullable=False),
    Column("remarks", Json, nullable=False),
    Column("decided_at", Moment),
    Column("decided_by", Text),
    UniqueConstraint("laptop_id", "slot", "new_pack_id", "at"),
)


removed_packs = Table(
    "removed_packs",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("pack_id", ForeignKey("packs.id"), nullable=False, unique=True),
    # NULL: the laptop was forgotten, the pack was not.
    Column("laptop_id", ForeignKey("laptops.id")),
    Column("slot", Text, nullable=False),
    Column("state", Text, nullable=False),
    Column("swollen", Boolean),
    Column("place", Text),
    Column("note", Text),
    Column("removed_at", Moment, nullable=False),
    Column("removed_by", Text, nullable=False),
    Column("changed_at", Moment, nullable=False),
    Column("version", Integer, nullable=False, server_default="1"),
    Index(None, "state", "id"),
)


inspections = Table(
    "inspections",
    metadata,
    Column("id", RowId, primary_key=True),
    # NULL: the laptop was forgotten, the pack was not.
    Column("laptop_id", ForeignKey("laptops.id"), index=True),
    Column("pack_id", ForeignKey("packs.id"), index=True),
    Column("at", Moment, nullable=False),
    # An operator's name, or how the holder answered.
    Column("who", Text, nullable=False),
    Column("signs", Json, nullable=False),
    Column("note", Text),
)


inspection_links = Table(
    "inspection_links",
    metadata,
    Column("digest", LargeBinary, primary_key=True),
    Column("laptop_id", ForeignKey("laptops.id"), nullable=False),
    Column("created_at", Moment, nullable=False),
    Column("created_by", Text, nullable=False),
    Column("expires_at", Moment, nullable=False),
    Column("answered_at", Moment),
)


place_imports = Table(
    "place_imports",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("at", Moment, nullable=False),
    Column("who", Text, nullable=False),
    Column("changed", Integer, nullable=False),
    Column("undone_at", Moment),
    Column("undone_by", Text),
)


place_changes = Table(
    "place_changes",
    metadata,
    Column("import_id", ForeignKey("place_imports.id"), nullable=False),
    Column("laptop_id", ForeignKey("laptops.id"), nullable=False),
    Column("before", Json, nullable=False),
    Column("after", Json, nullable=False),
    PrimaryKeyConstraint("import_id", "laptop_id"),
    comment="What an import of places changed, so that it can be undone.",
)


forgotten_laptops = Table(
    "forgotten_laptops",
    metadata,
    Column("laptop_id", RowId, primary_key=True, autoincrement=False),
    Column("forgotten_at", Moment, nullable=False),
    Column("forgotten_by", Text, nullable=False),
    comment="Numbers of laptops that were forgotten, so that none gets one again.",
)
