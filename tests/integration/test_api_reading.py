"""What an operator's program reads: alerts, laptops, one laptop, the fleet CSV."""

from collections.abc import AsyncIterator
from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import insert

from fadewatch_collector.api.keys import EXPORT_PLACES
from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    daily_capacity,
    inventory_changes,
    laptops,
    packs,
    slot_stays,
)
from fadewatch_collector.usecases.api_tokens import list_api_tokens, revoke_api_token
from fadewatch_collector.usecases.exports import stream_fleet_csv
from fadewatch_collector.usecases.services import Services
from tests.fakes.clock import StandingClock
from tests.integration.api_service import PROBLEM_TYPE, ApiService, running_api
from tests.integration.postgres import DATABASES

ON = DATABASES

START = StandingClock().now


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services) as service:
        yield service


@pytest.fixture
async def token(api: ApiService) -> str:
    return await api.api_token()


async def put(services: Services, table: Any, *rows: dict[str, Any]) -> None:
    async with services.store.writing() as connection:
        for row in rows:
            await connection.execute(insert(table).values(**row))


def laptop(number: int, **known: Any) -> dict[str, Any]:
    return {"id": number, "enrolled_at": START, **known}


def alert(number: int, **changes: Any) -> dict[str, Any]:
    return {
        "id": number,
        "kind": "silent",
        "urgency": "note",
        "urgency_rank": 3,
        "state": "open",
        "subject": f"laptop:{number}",
        "opened_at": START,
        "changed_at": START,
        "reasons": ["No report for 14 days."],
        "next_step": "Find out where it is.",
        "figures_opened": {"days": 14},
        "figures_now": {"days": 15},
    } | changes


async def one_known_laptop(services: Services) -> None:
    await put(
        services,
        laptops,
        laptop(
            1,
            hostname="tern-014",
            site="Harbour",
            drives=[{"name": "nvme0n1", "size_bytes": 10**12}],
            remarks=["memory: not readable"],
        ),
    )
    await put(
        services,
        packs,
        {
            "id": 7,
            "maker": "Callow Cells",
            "unit": "mWh",
            "made_on": date(2024, 3, 15),
            "design_capacity": 57000,
            "full_charge_capacity": 38760,
            "first_seen_at": START,
            "last_seen_at": START,
        },
    )
    await put(
        services,
        slot_stays,
        {
            "laptop_id": 1,
            "slot": "BAT0",
            "pack_id": 7,
            "from_at": START,
            "last_seen_at": START,
        },
    )
    await put(
        services,
        assessments,
        {
            "pack_id": 7,
            "as_of": START.date(),
            "readings": 90,
            "wear": 0.32,
            "band": "plan",
            "fade_per_month": 0.0081,
            "replace_earliest": date(2026, 9, 1),
            "replace_on": date(2026, 12, 1),
            "replace_latest": date(2027, 5, 1),
            "gauge": "good",
            "concern": "plan",
            "reasons": ["Wear is 32.0 %."],
        },
    )


async def test_laptops_are_listed_with_their_packs_and_wear_in_percent(
    api: ApiService, token: str
) -> None:
    await one_known_laptop(api.services)

    answer = await api.ask("GET", "/laptops", token)

    assert answer.status == 200
    assert answer.json == {
        "laptops": [
            {
                "id": 1,
                "hostname": "tern-014",
                "asset_tag": None,
                "site": "Harbour",
                "holder": None,
                "maker": None,
                "model": None,
                "serial": None,
                "last_report_at": None,
                "agent_version": None,
                "packs": [
                    {
                        "pack_id": 7,
                        "slot": "BAT0",
                        "wear_percent": 32.0,
                        "band": "plan",
                        "concern": "plan",
                    }
                ],
            }
        ],
        "next": None,
    }


async def test_a_laptop_is_shown_with_all_that_is_known_of_it(
    api: ApiService, token: str
) -> None:
    await one_known_laptop(api.services)
    await put(
        api.services,
        daily_capacity,
        {
            "pack_id": 7,
            "day": START.date(),
            "unit": "mWh",
            "design_capacity": 57000,
            "full_charge_capacity": 38760,
            "readings": 4,
        },
    )
    await put(
        api.services,
        inventory_changes,
        {
            "laptop_id": 1,
            "measured_at": START,
            "item": "memory",
            "before": None,
            "after": 8192,
        },
    )
    await put(api.services, alerts, alert(3, laptop_id=1, pack_id=7))

    answer = await api.ask("GET", "/laptops/1", token)

    shown = answer.json
    assert (shown["hostname"], shown["remarks"]) == (
        "tern-014",
        ["memory: not readable"],
    )
    assert shown["drives"] == [{"name": "nvme0n1", "size_bytes": 10**12}]
    (pack,) = shown["packs"]
    assert pack["made_on"] == "2024-03-15"
    assert pack["assessment"]["wear_percent"] == 32.0
    assert pack["assessment"]["fade_percent_per_month"] == 0.81
    assert pack["assessment"]["crossings"] == {
        "plan": None,
        "replace": {
            "on": "2026-12-01",
            "earliest": "2026-09-01",
            "latest": "2027-05-01",
        },
    }
    assert [value["day"] for value in pack["daily"]] == ["2026-03-02"]
    assert shown["changes"][0]["after"] == 8192
    assert shown["alerts"][0]["pack"]["maker"] == "Callow Cells"
    assert shown["alerts"][0]["opened_at"] == "2026-03-02T09:00:00Z"


@pytest.mark.parametrize(
    "path", ["/laptops/2", "/laptops/0", "/laptops/x", "/laptops/" + "9" * 19]
)
async def test_a_laptop_that_is_not_there_is_not_found(
    api: ApiService, token: str, path: str
) -> None:
    answer = await api.ask("GET", path, token)

    assert (answer.status, answer.json["title"]) == (404, "Not Found")


async def test_pages_of_alerts_follow_each_other_without_gap_or_repeat(
    api: ApiService, token: str
) -> None:
    rows = [
        alert(n, opened_at=START - timedelta(hours=n), urgency="plan", urgency_rank=2)
        if n % 2
        else alert(n)
        for n in range(1, 8)
    ]
    await put(api.services, alerts, *rows)

    seen: list[int] = []
    cursor: dict[str, str] = {}
    while True:
        answer = await api.ask("GET", "/alerts", token, params={"limit": "2", **cursor})
        seen += [found["id"] for found in answer.json["alerts"]]
        if answer.json["next"] is None:
            break
        cursor = {"cursor": answer.json["next"]}

    assert seen == [7, 5, 3, 1, 2, 4, 6]
    assert answer.json["counts"] == {"stop-use": 0, "act": 0, "plan": 4, "note": 3}


async def test_alerts_can_be_asked_for_by_kind_urgency_site_and_state(
    api: ApiService, token: str
) -> None:
    await put(
        api.services,
        alerts,
        alert(1, site="Harbour"),
        alert(2, kind="inspect", urgency="act", urgency_rank=1),
        alert(3, state="ended", ended_at=START, ended_because="It reported again."),
        alert(4, state="planned", planned_on=START.date()),
    )

    async def numbers(**wanted: str) -> list[int]:
        answer = await api.ask("GET", "/alerts", token, params=wanted)
        return [found["id"] for found in answer.json["alerts"]]

    assert await numbers() == [2, 1, 4]
    assert await numbers(kind="inspect") == [2]
    assert await numbers(urgency="note") == [1, 4]
    assert await numbers(site="Harbour") == [1]
    assert await numbers(state="ended") == [3]
    assert await numbers(state="planned", kind="inspect") == []


@pytest.mark.parametrize(
    "query",
    [
        "colour=red",
        "limit=0",
        "limit=201",
        "limit=many",
        "kind=nonsense",
        "state=closed",
        "site=",
        "site=a%00b",
        "site=" + "x" * 201,
        "cursor=nonsense",
        "cursor=%FF%FE",
        "limit=1&limit=2",
        "%ED%A0%80=1",
    ],
)
async def test_a_query_outside_the_contract_is_refused(
    api: ApiService, token: str, query: str
) -> None:
    answer = await api.ask("GET", f"/alerts?{query}", token)

    assert answer.status == 400
    assert answer.headers["Content-Type"].startswith(PROBLEM_TYPE)


async def test_a_query_is_refused_where_none_is_taken(
    api: ApiService, token: str
) -> None:
    assert (await api.ask("GET", "/laptops/1?x=1", token)).status == 400
    assert (await api.ask("GET", "/exports/fleet.csv?x=1", token)).status == 400
    assert (await api.ask("GET", "/openapi.json?x=1")).status == 400


async def test_the_csv_is_the_export_itself(api: ApiService, token: str) -> None:
    await one_known_laptop(api.services)
    await put(api.services, laptops, *(laptop(n) for n in range(2, 1203)))
    pieces = [piece async for piece in stream_fleet_csv(api.services)]

    answer = await api.ask("GET", "/exports/fleet.csv", token)

    assert answer.status == 200
    assert answer.body == b"".join(pieces)
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8; header=present"
    assert answer.headers["Content-Disposition"] == (
        'attachment; filename="fleet-2026-03-02.csv"'
    )


async def test_more_exports_at_once_than_there_is_room_for_come_back_later(
    api: ApiService, token: str
) -> None:
    places = api.app[EXPORT_PLACES]
    while not places.locked():
        await places.acquire()

    answer = await api.ask("GET", "/exports/fleet.csv", token)

    assert (answer.status, answer.headers["Retry-After"]) == (429, "10")
    places.release()
    assert (await api.ask("GET", "/exports/fleet.csv", token)).status == 200


async def test_a_revoked_token_opens_nothing_any_more(
    api: ApiService, token: str
) -> None:
    assert (await api.ask("GET", "/laptops", token)).status == 200

    (known,) = await list_api_tokens(api.services)
    await revoke_api_token(api.services, known.id)

    assert (await api.ask("GET", "/laptops", token)).status == 401


async def test_a_token_ends_when_its_time_is_up(
    api: ApiService, token: str, clock: StandingClock
) -> None:
    clock.move(timedelta(days=2))

    assert (await api.ask("GET", "/laptops", token)).status == 401
