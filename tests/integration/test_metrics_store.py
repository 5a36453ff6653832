"""What the metrics tell of the store, and that they are worked out now and then only."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

from aiohttp.test_utils import TestClient, TestServer
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import insert

from fadewatch_collector.api.metrics import make_metrics
from fadewatch_collector.app import new_meters
from fadewatch_collector.store import tables
from fadewatch_collector.store.store import open_store
from fadewatch_collector.store.values import set_value
from fadewatch_collector.usecases.rounds import ROUNDS, round_value
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.store_figures import FLEET_KEPT
from tests.fakes.clock import StandingClock
from tests.fleet import new_laptop
from tests.integration.counting import counted
from tests.integration.postgres import DATABASES

ON = DATABASES

Client = TestClient[Any, Any]


def client_of(services: Services) -> Client:
    return TestClient(TestServer(make_metrics(services, new_meters())))


async def samples(client: Client) -> dict[str, float]:
    """Return the samples by name, and values of labels after a slash."""
    async with client.get("/metrics") as answer:
        assert answer.status == 200
        text = await answer.text()
    return {
        "/".join([sample.name, *sample.labels.values()]): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


async def add_alert(services: Services, number: int, urgency: str, state: str) -> None:
    now = services.clock()
    async with services.store.writing() as connection:
        await connection.execute(
            insert(tables.alerts).values(
                kind="silent", urgency=urgency, urgency_rank=3, state=state,
                subject=f"laptop:{number}", laptop_id=1, opened_at=now, changed_at=now,
                reasons=[], next_step="look", figures_opened={}, figures_now={},
            )
        )  # fmt: skip


async def add_message(services: Services, number: int, **state: Any) -> None:
    now = services.clock()
    async with services.store.writing() as connection:
        if number == 1:
            await connection.execute(
                insert(tables.notification_routes).values(
                    id=1, channel="mail", target="desk@example.org", label="desk",
                    urgencies=[], sites=[], created_at=now, created_by="test",
                )
            )  # fmt: skip
        values = {"route_id": 1, "what": "act", "payload": {}, "not_before": now}
        named = {"message_id": str(number), "created_at": now}
        await connection.execute(insert(tables.outbox).values(values | named | state))


async def test_alerts_messages_and_rounds_are_counted(
    services: Services, clock: StandingClock
) -> None:
    await new_laptop(services)
    for number, (urgency, state) in enumerate(
        [("note", "open"), ("note", "planned"), ("act", "open"), ("act", "ended")]
    ):
        await add_alert(services, number, urgency, state)
    others: list[dict[str, Any]] = [{}, {}, {"sent_at": clock()}, {"what": "item"}]
    for number, other in enumerate(others, 1):
        await add_message(services, number, **other)
    done_at = clock() - timedelta(hours=3)
    async with services.store.writing() as connection:
        await set_value(connection, round_value(ROUNDS[0]), done_at.isoformat())
    clock.move(timedelta(seconds=90))

    async with client_of(services) as client:
        found = await samples(client)

    assert found["fadewatch_alerts/silent/note"] == 2
    assert found["fadewatch_alerts/silent/act"] == 1
    assert found["fadewatch_outbox_waiting_messages"] == 2
    assert found["fadewatch_outbox_oldest_age_seconds"] == 90
    done = f"fadewatch_round_last_done_timestamp_seconds/{ROUNDS[0].name}"
    assert found[done] == done_at.timestamp()
    assert found["fadewatch_store_size_bytes"] > 0
    assert found["fadewatch_filing_waiting_reports"] == 0


async def test_counts_of_the_fleet_are_kept_for_a_while(
    services: Services, clock: StandingClock
) -> None:
    await new_laptop(services)
    async with client_of(services) as client:
        await samples(client)
        await add_alert(services, 1, "note", "open")
        with counted(services) as queries:
            kept = await samples(client)
        clock.move(FLEET_KEPT)
        later = await samples(client)

    assert "fadewatch_alerts/silent/note" not in kept
    assert queries.count == 0
    assert later["fadewatch_alerts/silent/note"] == 1


async def test_without_its_database_the_collector_still_tells_of_itself(
    services: Services,
) -> None:
    store = open_store("postgresql://nobody@127.0.0.1:1/nothing")
    async with client_of(replace(services, store=store)) as client:
        found = await samples(client)

    assert found["fadewatch_database_answers"] == 0
    assert "fadewatch_filing_waiting_reports" not in found
    assert "process_start_time_seconds" in found
    await store.close()
