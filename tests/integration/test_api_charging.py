"""How packs are charged, over the API."""

from collections.abc import AsyncIterator

import pytest

from fadewatch_collector.usecases.charging_csv import CHARGING_CSV_COLUMNS
from fadewatch_collector.usecases.services import Services
from tests.fixtures.shown_charging import fill_charging
from tests.fixtures.shown_fleet import fill
from tests.integration.api_service import ApiService, running_api
from tests.integration.postgres import DATABASES

ON = DATABASES


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    await fill(services.store, services.clock(), laptops=24)
    await fill_charging(services)
    async with running_api(services) as service:
        yield service


async def test_the_list_goes_on_by_its_cursor(api: ApiService) -> None:
    token = await api.api_token()

    whole = await api.ask("GET", "/charging-habits", token)
    first = await api.ask("GET", "/charging-habits?limit=4", token)
    rest = await api.ask(
        "GET", f"/charging-habits?limit=4&cursor={first.json['next']}", token
    )

    assert whole.status == 200
    assert first.json["packs"] + rest.json["packs"] == whole.json["packs"]
    assert rest.json["next"] is None
    assert whole.json["as_of"] == api.services.clock().date().isoformat()
    shares = [
        pack["charging"]["spans"][0]["near_full_share"]["percent"]
        for pack in whole.json["packs"]
    ]
    assert shares == sorted(shares, reverse=True)
    assert {pack["charging"]["advice"] for pack in whole.json["packs"]} == {
        "consider",
        "check",
    }


async def test_the_list_is_narrowed(api: ApiService) -> None:
    token = await api.api_token()

    known = await api.ask("GET", "/charging-habits?charge_limit=reported", token)
    every = await api.ask("GET", "/charging-habits?advised=false", token)
    wrong = await api.ask("GET", "/charging-habits?charge_limit=maybe", token)

    limits = [pack["charging"]["charge_limit_percent"] for pack in known.json["packs"]]
    assert set(limits) == {80, 100}
    assert len(every.json["packs"]) > len(known.json["packs"])
    assert {p["charging"]["habit"] for p in every.json["packs"]} == {
        "near full",
        "seldom full",
        "too few",
    }
    assert wrong.status == 400


async def test_one_pack_is_told_with_its_days(api: ApiService) -> None:
    token = await api.api_token()

    answer = await api.ask("GET", "/packs/6/charging", token)
    unknown = await api.ask("GET", "/packs/999/charging", token)

    charging = answer.json["charging"]
    assert (charging["habit"], charging["charge_limit"]) == ("near full", "unused")
    recent = charging["spans"][0]
    assert (recent["last_days"], recent["readings"], recent["near_full"]) == (
        30,
        90,
        81,
    )
    # scipy.stats.binomtest(27, 30).proportion_ci(0.8, "wilson"): 0.80781 to 0.95067.
    assert recent["near_full_share"] == {
        "percent": 90.0,
        "low_percent": 80.8,
        "high_percent": 95.1,
    }
    assert any("Keil" in source for source in charging["sources"])
    assert "never changes a setting" in charging["trade_off"]
    days = answer.json["daily"]
    assert len(days) == 40
    assert days[0]["day"] < days[-1]["day"]
    assert days[-1]["lowest_charge_percent"] == 31.0
    assert unknown.status == 404


async def test_a_pack_without_advice_has_no_sources(api: ApiService) -> None:
    token = await api.api_token()

    answer = await api.ask("GET", "/packs/9/charging", token)

    charging = answer.json["charging"]
    assert (charging["charge_limit"], charging["advice"]) == ("set", "none")
    assert (charging["trade_off"], charging["sources"]) == (None, [])


async def test_the_csv_is_whole(api: ApiService) -> None:
    token = await api.api_token()

    answer = await api.ask("GET", "/exports/charging.csv", token)

    lines = answer.body.decode().split("\r\n")
    assert lines[0].split(",") == list(CHARGING_CSV_COLUMNS)
    assert len(lines) > 20
