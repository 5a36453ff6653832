"""Column types that mean the same on SQLite and PostgreSQL."""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import JSON, BigInteger, DateTime, Dialect, Integer, TypeDecorator
from sqlalchemy.dialects.postgresql import JSONB

RowId = BigInteger().with_variant(Integer, "sqlite")
"""A row's own number: SQLite counts up only in a column declared INTEGER."""

Json = JSON().with_variant(JSONB, "postgresql")
"""A small structure that pages read whole and no query looks into."""


class NaiveMomentError(ValueError):
    """A moment without its offset from UTC reached the store."""

    def __init__(self, moment: datetime) -> None:
        super().__init__(f"{moment!r} has no offset from UTC")


class Moment(TypeDecorator[datetime]):
    """An aware moment, kept in UTC; SQLite keeps no zone, so it is put back here."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(
        self, value: datetime | None, dialect: Dialect
    ) -> datetime | None:
        """Turn an aware moment into what the driver takes."""
        if value is None:
            return None
        if value.utcoffset() is None:
            raise NaiveMomentError(value)
        utc = value.astimezone(UTC)
        return utc.replace(tzinfo=None) if dialect.name == "sqlite" else utc

    def process_result_value(
        self, value: Any | None, dialect: Dialect
    ) -> datetime | None:
        """Give back an aware moment in UTC."""
        del dialect
        if value is None:
            return None
        moment: datetime = value
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment
