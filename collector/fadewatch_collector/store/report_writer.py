"""Choose the writer of reports for a store."""

from fadewatch_collector.store.postgres_reports import PostgresWriter
from fadewatch_collector.store.report_group import ReportWriter
from fadewatch_collector.store.sqlite_reports import SqliteWriter
from fadewatch_collector.store.store import Store


def report_writer(store: Store) -> ReportWriter:
    """Make the writer for a store that works within this process, as far as it can."""
    return SqliteWriter(store) if store.is_sqlite else PostgresWriter(store)
