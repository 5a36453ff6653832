"""Count the statements that a store is asked."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from sqlalchemy import event

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
