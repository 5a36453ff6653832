"""What waits for a collector, whichever has time."""

from sqlalchemy import Column, ForeignKey, Integer, Table, Text

from fadewatch_collector.store.columns import Moment, RowId
from fadewatch_collector.store.tables.base import metadata

filing_queue = Table(
    "filing_queue",
    metadata,
    Column("id", RowId, primary_key=True),
    Column("report_id", ForeignKey("reports.report_id"), nullable=False),
    # Says in whose turn the report is filed; NULL was queued by an older collector.
    Column("laptop_id", RowId),
    sqlite_autoincrement=True,
    comment="Stored reports that wait to be filed into packs, readings and inventory.",
)


assessment_queue = Table(
    "assessment_queue",
    metadata,
    Column("pack_id", ForeignKey("packs.id"), primary_key=True, autoincrement=False),
    Column("asked_at", Moment, nullable=False),
    # Counts up with every new reading: what came while the pack was being assessed
    # makes it wait again.
    Column("asks", Integer, nullable=False, server_default="1"),
    # From when on a collector may take it: at once, after another collector's lease,
    # or when it is tried again.
    Column("due_at", Moment, nullable=False, index=True),
    # How often in a row it could not be assessed, and why the last time.
    Column("failures", Integer, nullable=False, server_default="0"),
    Column("problem", Text),
    comment="Packs that wait to be assessed, each once.",
)
