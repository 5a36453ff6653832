"""Count the statements that a store is asked."""

from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass

from sqlalchemy import event

from fadewatch_collector.store.postgres_reports import PostgresWriter
from fadewatch_collector.store.report_group import ReportWriter
from fadewatch_collector.store.sqlite_reports import SqliteWriter
from fadewatch_collector.usecases.services import Services


@dataclass(slots=True)
class Queries:
    """Statements so far [count]."""

    count: int = 0


@contextmanager
def counted(services: Services) -> Iterator[Queries]:
    """Count the statements of a block."""
    queries = Queries()

    def count(*_what: object) -> None:
        queries.count += 1

    engine = services.store.engine.sync_engine
    event.listen(engine, "before_cursor_execute", count)
    yield queries
    event.remove(engine, "before_cursor_execute", count)


@asynccontextmanager
async def counted_writer(writer: ReportWriter) -> AsyncIterator[Queries]:
    """Count the statements of a writer, which asks its driver; it has written before."""
    queries = Queries()
    last: object = None

    def count(statement: object) -> None:
        nonlocal last
        # What a trigger does is told as the statement once more that set it off.
        queries.count += statement != last
        last = statement

    if isinstance(writer, SqliteWriter):
        await _trace(writer, count)
        yield queries
        await _trace(writer, None)
        return
    assert isinstance(writer, PostgresWriter)
    connection = writer._kept._connection
    assert connection is not None
    driver = (await connection.get_raw_connection()).driver_connection
    assert driver is not None
    driver.add_query_logger(count)
    yield queries
    driver.remove_query_logger(count)


async def _trace(
    writer: SqliteWriter, callback: Callable[[object], None] | None
) -> None:
    # A connection of SQLite answers to its own thread alone.
    await writer._thread.run(lambda connection: connection.set_trace_callback(callback))
