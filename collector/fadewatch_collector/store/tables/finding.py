"""What laptops are found by."""

from sqlalchemy import Column, ForeignKey, Index, PrimaryKeyConstraint, Table, Text

from fadewatch_collector.store.tables.base import metadata

BytewiseText = Text().with_variant(Text(collation="C"), "postgresql")
"""Text in the order of its bytes, so that a beginning is a range of an index."""

search_terms = Table(
    "search_terms",
    metadata,
    Column("laptop_id", ForeignKey("laptops.id"), nullable=False),
    Column("source", Text, nullable=False),
    Column("term", BytewiseText, nullable=False),
    # The term from its end: the last digits on a label are a beginning here.
    Column("backwards", BytewiseText, nullable=False),
    PrimaryKeyConstraint("laptop_id", "source", "term"),
    Index(None, "term", "laptop_id"),
    Index(None, "backwards", "laptop_id"),
    sqlite_with_rowid=False,
    comment="Names and numbers of laptops, folded for comparing.",
)
