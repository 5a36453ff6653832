"""How PostgreSQL reads a long table of alerts to count up to a bound."""

from typing import Any

import pytest
from sqlalchemy import event, insert, text

from fadewatch_collector.store import counts
from fadewatch_collector.store.tables import alerts
from fadewatch_collector.usecases.services import Services
from tests.fleet import new_laptop
from tests.integration.postgres import DATABASES

ALERTS = 20_000
MOST = 50
COUNTED = "alerts.urgency_rank"


@pytest.mark.parametrize("database", [DATABASES[1]], indirect=True)
@pytest.mark.parametrize("site", [None, "Quay"])
async def test_a_bounded_count_never_reads_the_whole_table(
    services: Services, site: str | None
) -> None:
    laptop_id = await new_laptop(services)
    now = services.clock()
    asked: list[tuple[str, Any]] = []

    def note(
        _c: object, _cursor: object, query: str, values: object, *_: object
    ) -> None:
        asked.append((query, values))

    async with services.store.writing() as connection:
        await connection.execute(
            insert(alerts),
            [
                {
                    "kind": "silent",
                    "subject": f"laptop:{n}",
                    "laptop_id": laptop_id,
                    "site": "Quay",
                    # Some of each state and each urgency, and none that is both planned
                    # and most urgent: the planner thinks that there are hundreds.
                    "state": "planned" if n % 2 else "open",
                    "urgency": "note" if n % 2 else "stop-use",
                    "urgency_rank": 3 if n % 2 else 0,
                    "opened_at": now,
                    "changed_at": now,
                    "version": 1,
                    "reopened": 0,
                    "reasons": [],
                    "next_step": "",
                    "figures_opened": {},
                    "figures_now": {},
                }
                for n in range(ALERTS)
            ],
        )
        await connection.execute(text("ANALYZE alerts"))
    async with services.store.reading() as connection:
        engine = services.store.engine.sync_engine
        event.listen(engine, "before_cursor_execute", note)
        found = await counts.alerts_up_to(connection, site, MOST)
        event.remove(engine, "before_cursor_execute", note)
        ((query, values),) = asked
        plan = await connection.exec_driver_sql(f"EXPLAIN {query}", values)
        told = "\n".join(row[0] for row in plan)

    assert found == {"stop-use": MOST + 1, "act": 0, "plan": 0, "note": MOST + 1}
    assert "ix_alerts_list" in told
    assert "Seq Scan on alerts" not in told
