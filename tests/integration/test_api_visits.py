"""Visits through the API."""

from collections.abc import AsyncIterator
from datetime import timedelta

import pytest

from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.usecases.services import Services
from tests.fixtures.shown_fleet import SITES, STOP_USE_LAPTOP, fill
from tests.integration.api_service import ApiService, running_api
from tests.integration.postgres import DATABASES

ON = DATABASES

WORN, OTHER = 10, 9
SITE = SITES[WORN % 3]


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    await fill(services.store, services.clock(), laptops=24)
    async with running_api(services) as service:
        yield service


def day(api: ApiService, days: int = 1) -> str:
    return (api.services.clock().date() + timedelta(days=days)).isoformat()


async def test_due_laptops_come_with_what_to_do_and_bring(api: ApiService) -> None:
    token = await api.api_token("viewer")

    first = await api.ask("GET", "/visits/due?limit=1&within_days=90", token)
    rest = await api.ask(
        "GET", f"/visits/due?within_days=90&cursor={first.json['next']}", token
    )

    (stopped,) = first.json["laptops"]
    assert stopped["id"] == STOP_USE_LAPTOP
    assert stopped["stop_use"]
    assert stopped["cautions"] == list(STOP_USE_CAUTIONS)
    (worn,) = (one for one in rest.json["laptops"] if one["id"] == WORN)
    assert worn["bring"][0].startswith("Pack for slot BAT0")
    assert worn["steps"][0]["work"] == "pack"
    assert STOP_USE_LAPTOP not in [one["id"] for one in rest.json["laptops"]]


async def test_visits_are_planned_moved_done_and_listed(api: ApiService) -> None:
    token = await api.api_token("technician")
    plan = {"laptop_ids": [WORN, OTHER], "on": day(api), "assigned_to": "technician"}

    made = await api.ask("POST", "/visits", token, json=plan)
    number, other = made.json["visit_ids"]
    moved = await api.ask(
        "POST", f"/visits/{number}/move", token, json={"version": 1, "on": day(api, 9)}
    )
    done = await api.ask(
        "POST",
        f"/visits/{number}/done",
        token,
        json={"version": 2, "work": ["hinges", "pack"], "found": "dust"},
    )
    off = await api.ask(
        "POST",
        f"/visits/{other}/call-off",
        token,
        json={"version": 1, "because": "retired"},
    )
    listed = await api.ask("GET", "/visits?limit=1", token)
    rest = await api.ask("GET", f"/visits?cursor={listed.json['next']}", token)

    assert made.status == 201
    assert made.json["planned_alerts"] >= 1
    assert (moved.json["planned_on"], moved.json["version"]) == (day(api, 9), 2)
    assert (done.json["state"], done.json["work"]) == ("done", ["pack", "hinges"])
    assert off.json["state"] == "called off"
    shown = [one["id"] for one in (*listed.json["visits"], *rest.json["visits"])]
    assert (
        sorted(shown, reverse=True) == shown == [max(number, other), min(number, other)]
    )
    trail = await api.ask("GET", f"/laptops/{WORN}/trail", token)
    assert [line["action"] for line in trail.json["lines"]][:1] == ["visit done"]


async def test_a_round_and_a_visit_nobody_planned(api: ApiService) -> None:
    token = await api.api_token("technician")

    kept = await api.ask(
        "POST", f"/laptops/{WORN}/visits", token, json={"work": ["cleaned"]}
    )
    made = await api.ask(
        "POST",
        "/visit-rounds",
        token,
        json={"site": SITE, "on": day(api), "within_days": 90},
    )

    assert (kept.status, kept.json["state"]) == (201, "done")
    assert made.status == 201
    planned = await api.ask("GET", "/visits?state=planned", token)
    assert {one["site"] for one in planned.json["visits"]} == {SITE}


async def test_what_clashes_is_answered_409_and_says_with_what(
    api: ApiService,
) -> None:
    token = await api.api_token("technician")
    plan = {"laptop_ids": [WORN], "on": day(api)}
    made = await api.ask("POST", "/visits", token, json=plan)
    (number,) = made.json["visit_ids"]

    twice = await api.ask("POST", "/visits", token, json=plan)
    stale = await api.ask(
        "POST", f"/visits/{number}/done", token, json={"version": 7, "work": ["pack"]}
    )
    lost = await api.ask("GET", "/visits/999", token)

    assert (twice.status, stale.status, lost.status) == (409, 409, 404)
    assert f"planned for {day(api)} already" in twice.json["detail"]


async def test_the_export_looks_as_far_ahead_as_it_is_told(api: ApiService) -> None:
    token = await api.api_token("viewer")

    near = await api.ask("GET", "/exports/visits.csv?within_days=0", token)
    far = await api.ask("GET", "/exports/visits.csv?within_days=3650", token)

    assert near.status == 200
    assert near.body.count(b"\r\n") < far.body.count(b"\r\n")
    assert b'"Pack for slot BAT0' in near.body
