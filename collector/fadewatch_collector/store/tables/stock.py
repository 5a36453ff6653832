"""What people enter of pack types."""

from sqlalchemy import Column, Date, Integer, Table, Text

from fadewatch_collector.store.columns import Moment, RowId
from fadewatch_collector.store.tables.base import metadata

pack_stock = Table(
    "pack_stock",
    metadata,
    # Maker, model, unit, design capacity and voltage in one text.
    Column("type_key", Text, primary_key=True),
    Column("on_hand", Integer),
    Column("on_order", Integer),
    Column("expected_on", Date),
    Column("lead_time_days", Integer),
    # In minor units of the currency, such as cents.
    Column("price_minor", RowId),
    Column("currency", Text),
    Column("note", Text),
    Column("changed_at", Moment, nullable=False),
    Column("changed_by", Text, nullable=False),
    # Counts up with each change by a person, so that two who act at once are told.
    Column("version", Integer, nullable=False),
    comment="Packs on hand and on order, lead time and price, by pack type.",
)
