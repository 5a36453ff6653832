"""Write groups of reports to PostgreSQL: one statement, one way there and back.

The columns go as arrays, so the statement is the same for every group. It is a
transaction of its own.
"""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Self

from fadewatch_collector.store.kept_connection import KeptConnection
from fadewatch_collector.store.report_group import NewReport, Written
from fadewatch_collector.store.store import Store

# Written in the order of ids: of two collectors that write the same reports one waits
# for the other, and never each for each.
_WRITE = """
WITH valid AS (
    SELECT id, renewal_asked_at IS NOT NULL AS asked
    FROM agent_keys
    WHERE id = ANY ($1::bigint[]) AND revoked_at IS NULL
), sent AS (
    SELECT DISTINCT ON (report_id) *
    FROM unnest($2::text[], $3::bigint[], $4::bigint[], $5::timestamptz[], $6::text[])
        WITH ORDINALITY
        AS each (report_id, laptop_id, key_id, measured_at, body, place)
    WHERE key_id IS NULL OR key_id IN (SELECT id FROM valid)
    ORDER BY report_id, place
), fresh AS (
    INSERT INTO reports (report_id, laptop_id, measured_at, received_at, body)
    SELECT report_id, laptop_id, measured_at, $7, body FROM sent ORDER BY report_id
    ON CONFLICT (report_id) DO NOTHING
    RETURNING report_id
), queued AS (
    INSERT INTO filing_queue (report_id, laptop_id)
    SELECT report_id, laptop_id FROM sent JOIN fresh USING (report_id) ORDER BY place
)
SELECT
    ARRAY (SELECT report_id FROM fresh) AS new,
    ARRAY (SELECT id FROM valid ORDER BY id) AS keys,
    ARRAY (SELECT asked FROM valid ORDER BY id) AS asked
"""


class PostgresWriter:
    """Writes groups of reports to PostgreSQL over a connection that it keeps.

    A group that was written when the server went is written again: its reports are
    durable then, and called duplicates.
    """

    def __init__(self, store: Store) -> None:
        self._kept = KeptConnection(store)

    async def __aenter__(self) -> Self:
        """Get ready."""
        return self

    async def __aexit__(self, *_why: object) -> None:
        """Give the connection back."""
        await self._kept.close()

    async def write(
        self, group: Sequence[NewReport], keys: Collection[int], now: datetime
    ) -> Written:
        """Write what is new of a group and came with a valid key."""
        (row,) = await self._kept.fetch(
            _WRITE,
            list(keys),
            [report.report_id for report in group],
            [report.laptop_id for report in group],
            [report.key_id for report in group],
            [report.measured_at for report in group],
            [report.body for report in group],
            now,
        )
        return Written(
            set(row["new"]), dict(zip(row["keys"], row["asked"], strict=True))
        )
