"""Steps of migrations that leave a PostgreSQL store at work, and can be repeated.

PostgreSQL builds an index concurrently only outside a transaction. What a migration
did before such a step is committed by it, so the whole migration must be able to run
again: say ``if_not_exists=True`` when it creates a table or index inside one.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import sqlalchemy as sa
from alembic import op


def is_postgresql() -> bool:
    """Say whether the store that is migrated is PostgreSQL."""
    return op.get_context().dialect.name == "postgresql"


def make_index(name: str, table: str, columns: Sequence[str], **options: Any) -> None:
    """Make an index without keeping anyone from writing to the table.

    On PostgreSQL concurrently: it takes SHARE UPDATE EXCLUSIVE, which lets reads and
    writes go on. One that an interruption left half built is dropped and made again.
    """
    if not is_postgresql():
        op.create_index(name, table, columns, if_not_exists=True, **options)
        return
    with op.get_context().autocommit_block():
        drop_invalid_index(name)
        op.create_index(
            name,
            table,
            columns,
            if_not_exists=True,
            postgresql_concurrently=True,
            **options,
        )


def drop_index(name: str, table: str) -> None:
    """Drop an index, if it is there, without keeping anyone from the table."""
    if not is_postgresql():
        op.drop_index(name, table_name=table, if_exists=True)
        return
    with op.get_context().autocommit_block():
        op.drop_index(
            name, table_name=table, if_exists=True, postgresql_concurrently=True
        )


def add_column(table: str, column: sa.Column[Any]) -> None:
    """Add a column that may be there already; without a default it rewrites nothing."""
    # SQLite has no such words, and never needs them: it undoes all or nothing.
    op.add_column(table, column, if_not_exists=is_postgresql() or None)


def drop_invalid_index(name: str) -> None:
    """Drop an index that was interrupted while it was built concurrently."""
    half_built = sa.text(
        "SELECT 1 FROM pg_index WHERE indexrelid = to_regclass(:name)"
        " AND NOT indisvalid"
    )
    if op.get_bind().scalar(half_built, {"name": name}):
        op.execute(f'DROP INDEX CONCURRENTLY "{name}"')


@contextmanager
def each_committed() -> Iterator[None]:
    """Commit each statement of the block for itself, where PostgreSQL allows it.

    SQLite does the whole upgrade in one transaction, which this leaves as it is.
    """
    if not is_postgresql():
        yield
        return
    with op.get_context().autocommit_block():
        yield
