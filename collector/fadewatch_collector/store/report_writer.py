"""Choose the writer of reports for a store."""

from fadewatch_collector.store.postgres_reports import PostgresWriter
from fadewatch_collector.store.report_group import ReportWriter
from fadewatch_collector.store.sqlite_reports import SqliteWriter, SqliteWriterApart
from fadewatch_collector.store.store import Store


def report_writer(store: Store, *, apart: bool = False) -> ReportWriter:
    """Make the writer for a store; nothing is connected or started yet.

    Parameters
    ----------
    apart
        Write to SQLite by a process of its own, for a service that takes in many;
        PostgreSQL is one already.
    """
    if not store.is_sqlite:
        return PostgresWriter(store)
    return SqliteWriterApart(store) if apart else SqliteWriter(store)
