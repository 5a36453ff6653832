"""The order list and stock by API: the same figures as the page, and stock's versions."""

from collections.abc import AsyncIterator
from typing import Any

import pytest

from fadewatch_collector.usecases.order_csv import stream_order_csv
from fadewatch_collector.usecases.order_lists import OrderLists
from fadewatch_collector.usecases.services import Services
from tests.integration.api_service import ApiService, running_api
from tests.integration.postgres import DATABASES
from tests.order_fleet import BROOK_KEY, FIVE, HEATH_KEY, fit

ON = DATABASES


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services) as service:
        yield service


def stock_path(key: str) -> str:
    return f"/stock?pack_type={key.replace('|', '%7C')}"


async def test_the_order_list_has_the_figures_worked_out_by_hand(
    api: ApiService,
) -> None:
    await fit(api.services, *FIVE)
    token = await api.api_token("technician")
    entered = {"version": 0, "on_hand": 1, "lead_time_days": 20, "price_minor": 6000}
    kept = await api.ask("PUT", stock_path(BROOK_KEY), token, json=entered)
    assert (kept.status, kept.json["version"]) == (200, 1)

    found = (await api.ask("GET", "/order-list", token)).json

    brook = found["lines"][0]
    assert brook["type"]["pack_type"] == BROOK_KEY
    assert [one["needed"]["central"] for one in brook["horizons"]] == [1, 2, 2, 3, 3]
    assert [one["to_buy"]["central"] for one in brook["horizons"]] == [0, 1, 1, 2, 2]
    assert [one["cost"]["high"] for one in brook["horizons"]][-1] == 12_000
    assert (brook["missing_on"], brook["order_by"]) == ("2026-04-01", "2026-03-12")
    assert found["year_cost"] == {"low": 12_000, "central": 12_000, "high": 12_000}
    assert found["unpriced"]["central"] == 1
    assert [site["site"] for site in found["sites"]] == ["North", "South", None]


async def test_the_packs_of_a_type_come_in_parts(api: ApiService) -> None:
    await fit(api.services, *FIVE)
    token = await api.api_token("viewer")
    path = f"/order-list/packs?limit=2&pack_type={BROOK_KEY.replace('|', '%7C')}"
    first = (await api.ask("GET", path, token)).json
    rest = (await api.ask("GET", f"{path}&cursor={first['next']}", token)).json
    assert [one["pack_id"] for one in first["packs"] + rest["packs"]] == [1, 2, 3]
    assert (first["packs"][0]["state"], rest["next"]) == ("due now", None)
    assert first["packs"][1]["on"] == "2026-04-01"


async def test_an_old_version_of_the_stock_is_refused(api: ApiService) -> None:
    await fit(api.services, *FIVE)
    token = await api.api_token("technician")
    for version, status in ((0, 200), (0, 409), (1, 200)):
        answer = await api.ask(
            "PUT", stock_path(BROOK_KEY), token, json={"version": version, "on_hand": 1}
        )
        assert answer.status == status
    listed = (await api.ask("GET", "/stock", token)).json["stock"]
    assert [(one["type"]["pack_type"], one["version"]) for one in listed] == [
        (BROOK_KEY, 2),
        (HEATH_KEY, 0),
    ]


@pytest.mark.parametrize(
    ("body", "key", "status"),
    [
        ({"version": 0, "on_hand": -1}, BROOK_KEY, 400),
        ({"version": 0, "expected_on": "2026-04-01"}, BROOK_KEY, 400),
        ({"version": 0, "price": 5}, BROOK_KEY, 400),
        ({"version": 0, "on_hand": 1}, "a|b|mWh|1|2", 404),
        ({"version": 0, "on_hand": 1}, "nonsense", 400),
    ],
)
async def test_stock_that_cannot_be_kept_is_refused(
    api: ApiService, body: dict[str, Any], key: str, status: int
) -> None:
    await fit(api.services, *FIVE)
    token = await api.api_token("technician")
    answer = await api.ask("PUT", stock_path(key), token, json=body)
    assert answer.status == status


async def test_a_file_of_stock_is_tried_and_imported(api: ApiService) -> None:
    await fit(api.services, *FIVE)
    token = await api.api_token("technician")
    file = f"pack_type,on_hand,note\r\n{BROOK_KEY},3,\r\n".encode()
    sent = {"data": file, "headers": {"Content-Type": "text/csv"}}
    tried = await api.ask("POST", "/stock/import?dry_run=true", token, **sent)
    assert (tried.json["imported"], len(tried.json["changes"])) == (False, 1)
    done = await api.ask("POST", "/stock/import", token, **sent)
    assert done.json["changes"][0]["after"]["on_hand"] == 3
    wrong = await api.ask(
        "POST",
        "/stock/import",
        token,
        data=file.replace(b",3,", b",x,"),
        headers=sent["headers"],
    )
    assert wrong.status == 400
    assert "line 2" in wrong.json["detail"]


async def test_the_files_are_the_same_as_those_of_the_pages(api: ApiService) -> None:
    await fit(api.services, *FIVE)
    token = await api.api_token("viewer")
    answer = await api.ask("GET", "/exports/order.csv", token)
    written = b"".join(
        [piece async for piece in stream_order_csv(OrderLists(api.services))]
    )
    assert answer.body == written
    for name in ("budget", "order-packs", "stock"):
        other = await api.ask("GET", f"/exports/{name}.csv", token)
        assert other.status == 200
        assert other.headers["Content-Type"].startswith("text/csv")
