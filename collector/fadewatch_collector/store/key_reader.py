"""Look agents' keys up for the requests that bring reports.

A collector of a large fleet meets more keys than it remembers, so most requests may need
this; like the write of reports it goes to the driver itself, and is one statement for
all keys that are asked for at the time.
"""

import json
import sqlite3
from collections.abc import Collection
from datetime import UTC, datetime
from typing import Any, Protocol

from fadewatch_collector.store.agent_keys import KeyRow
from fadewatch_collector.store.kept_connection import KeptConnection
from fadewatch_collector.store.sqlite_thread import SqliteThread
from fadewatch_collector.store.store import Store

# One row back, as with reports: each further one would have to wait for the interpreter.
_ON_SQLITE = """
    SELECT json_group_array(json_array(
        hex(digest), id, laptop_id, created_at, renewal_asked_at, EXISTS (
            SELECT 1 FROM agent_keys AS elder
            WHERE elder.laptop_id = agent_keys.laptop_id
                AND elder.id < agent_keys.id AND elder.revoked_at IS NULL)))
    FROM agent_keys WHERE revoked_at IS NULL AND digest IN"""
_ON_POSTGRES = """
    SELECT digest, id, laptop_id, created_at, renewal_asked_at, EXISTS (
        SELECT 1 FROM agent_keys AS elder
        WHERE elder.laptop_id = agent_keys.laptop_id
            AND elder.id < agent_keys.id AND elder.revoked_at IS NULL)
    FROM agent_keys WHERE revoked_at IS NULL AND digest = ANY ($1::bytea[])"""


class KeyReader(Protocol):
    """Finds keys by their digests."""

    async def find(self, digests: Collection[bytes]) -> dict[bytes, KeyRow]:
        """Return the valid keys with these digests.

        Raises
        ------
        StoreTrouble
            The database cannot work now.
        """
        ...

    async def close(self) -> None:
        """Let go of the connection."""
        ...


def key_reader(store: Store) -> KeyReader:
    """Make the reader for a store; nothing is connected yet."""
    return SqliteKeyReader(store) if store.is_sqlite else PostgresKeyReader(store)


class SqliteKeyReader:
    """Finds keys in a SQLite file, on a thread and a connection of its own."""

    def __init__(self, store: Store) -> None:
        self._thread = SqliteThread(store, "keys")

    async def close(self) -> None:
        """Let go of the file."""
        await self._thread.close()

    async def find(self, digests: Collection[bytes]) -> dict[bytes, KeyRow]:
        """Return the valid keys with these digests."""
        return await self._thread.run(lambda connection: _found(connection, digests))


def _found(
    connection: sqlite3.Connection, digests: Collection[bytes]
) -> dict[bytes, KeyRow]:
    places = ",".join("?" * len(digests))
    (told,) = connection.execute(f"{_ON_SQLITE} ({places})", list(digests))
    return {
        bytes.fromhex(digest): KeyRow(
            number, laptop_id, _moment(made), _moment(asked), bool(has_elders)
        )
        for digest, number, laptop_id, made, asked, has_elders in json.loads(told[0])
    }


class PostgresKeyReader:
    """Finds keys in PostgreSQL over a connection that it keeps."""

    def __init__(self, store: Store) -> None:
        self._kept = KeptConnection(store)

    async def close(self) -> None:
        """Give the connection back."""
        await self._kept.close()

    async def find(self, digests: Collection[bytes]) -> dict[bytes, KeyRow]:
        """Return the valid keys with these digests."""
        rows = await self._kept.fetch(_ON_POSTGRES, list(digests))
        return {digest: KeyRow(*row) for digest, *row in rows}


def _moment(text: str | None) -> Any:
    return None if text is None else datetime.fromisoformat(text).replace(tzinfo=UTC)
