"""What was sent, what was answered, and whether the store holds exactly that."""

import asyncio
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import text
from sqlalchemy.ext.asyncio import create_async_engine

_COUNTS = {
    "reports": "SELECT report_id, measured_at FROM reports",
    "readings": "SELECT count(*) FROM readings",
    "waiting": "SELECT count(*) FROM filing_queue",
}


@dataclass(frozen=True, slots=True)
class Kept:
    """What a store holds.

    Attributes
    ----------
    reports
        Ids of all reports, one for each row.
    moments
        When they were measured, by the claim that stands in the store.
    readings
        Readings filed.
    waiting
        Reports that wait to be filed.
    """

    reports: list[str]
    readings: int
    waiting: int
    moments: list[datetime] = field(default_factory=list)


def kept_by(store: Path | str) -> Kept:
    """Look into a SQLite file, or a PostgreSQL database by its address."""
    rows = _of_sqlite(store) if isinstance(store, Path) else _of_postgres(store)
    ids, ((readings,),), ((waiting,),) = rows
    names = [str(row[0]) for row in ids]
    return Kept(names, int(readings), int(waiting), [_moment(row[1]) for row in ids])


def _moment(kept: str | datetime) -> datetime:
    moment = datetime.fromisoformat(kept) if isinstance(kept, str) else kept
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def _of_sqlite(file: Path) -> list[Sequence[Any]]:
    with closing(sqlite3.connect(file)) as store:
        return [store.execute(query).fetchall() for query in _COUNTS.values()]


def _of_postgres(address: str) -> list[Sequence[Any]]:
    async def look() -> list[Sequence[Any]]:
        engine = create_async_engine(
            address.replace("postgresql", "postgresql+asyncpg", 1)
        )
        async with engine.connect() as connection:
            found = [
                (await connection.execute(text(query))).fetchall()
                for query in _COUNTS.values()
            ]
        await engine.dispose()
        return found

    return asyncio.run(look())


@dataclass(slots=True)
class Ledger:
    """Ids of reports by what became of them, as seen from outside the collector.

    Attributes
    ----------
    sent
        Put into a request.
    stored, duplicate
        Answered so.
    refused
        Answered otherwise, with what was said.
    """

    sent: set[str] = field(default_factory=set)
    stored: set[str] = field(default_factory=set)
    duplicate: set[str] = field(default_factory=set)
    refused: dict[str, str] = field(default_factory=dict)

    def note(self, results: Sequence[dict[str, str]]) -> None:
        """Take down the answer to a request."""
        for one in results:
            name, status = one["report_id"], one["status"]
            if status == "stored":
                self.stored.add(name)
            elif status == "duplicate":
                self.duplicate.add(name)
            else:
                self.refused[name] = one.get("problem", status)

    @property
    def answered(self) -> set[str]:
        """Ids of which the collector has said that it has them."""
        return self.stored | self.duplicate

    def problems(self, kept: Kept) -> list[str]:
        """Say what is wrong between the answers and the store; nothing is right."""
        there = set(kept.reports)
        found = {
            "answered and not in the store": self.answered - there,
            "in the store twice": {
                name for name in there if kept.reports.count(name) > 1
            }
            if len(there) != len(kept.reports)
            else set(),
            "in the store and never sent": there - self.sent,
            "refused": set(self.refused),
        }
        return [
            f"{len(names)} {what}, such as {min(names)}"
            for what, names in found.items()
            if names
        ]
