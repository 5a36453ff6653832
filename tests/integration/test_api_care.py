"""Through the API: an alert is planned, the pack swapped, set aside, handed over."""

import asyncio
from collections.abc import AsyncIterator
from dataclasses import replace
from typing import Any

import pytest

from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.rules.signs import NOT_A_PROOF
from fadewatch_collector.usecases.assess import assess_packs
from fadewatch_collector.usecases.filing import file_waiting
from fadewatch_collector.usecases.inspections import answer_link, asked_by
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.swaps import judge_swaps
from fadewatch_common.encoding import to_plain
from fadewatch_common.report import Pack
from tests.fakes.clock import StandingClock
from tests.fleet import DAY
from tests.integration.api_service import (
    PROBLEM_TYPE,
    Answer,
    ApiService,
    running_api,
)
from tests.integration.postgres import DATABASES
from tests.reports import PACK, make_report

ON = DATABASES

WORN = replace(PACK, full_charge_capacity=31_900)
NEW = replace(
    PACK,
    serial="90001",
    full_charge_capacity=57_000,
    remaining_capacity=13_700,
    cycle_count=1,
    state="charging",
)


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services) as service:
        yield service


@pytest.fixture
async def pat(api: ApiService) -> str:
    return await api.api_token("technician", "pat", days=30)


@pytest.fixture
async def kim(api: ApiService) -> str:
    return await api.api_token("technician", "kim", days=30)


@pytest.fixture
async def key(api: ApiService) -> str:
    return await api.enrol()


async def days(
    api: ApiService, clock: StandingClock, key: str, pack: Pack, count: int
) -> None:
    """Report a pack once a day, and let the collector file and assess it."""
    for _ in range(count):
        clock.move(DAY)
        report = to_plain(make_report(clock(), (pack,)))
        answer = await api.ask("POST", "/reports", key, json={"reports": [report]})
        assert answer.json["results"][0]["status"] == "stored"
        packs = sorted((await file_waiting(api.services)).packs)
        await assess_packs(api.services, packs)
        await judge_swaps(api.services, packs)


async def get(api: ApiService, path: str, token: str) -> Any:
    answer = await api.ask("GET", path, token)
    assert answer.status == 200, answer.json
    return answer.json


async def post(api: ApiService, path: str, token: str, body: Any = None) -> Answer:
    return await api.ask(
        "POST", path, token, **({} if body is None else {"json": body})
    )


async def done(api: ApiService, path: str, token: str, body: Any = None) -> Any:
    answer = await post(api, path, token, body)
    assert answer.status in {200, 201}, answer.json
    return answer.json


def actions(lines: list[dict[str, Any]]) -> list[tuple[str, str]]:
    return [(line["who"], line["action"]) for line in reversed(lines)]


async def swapped(api: ApiService, clock: StandingClock, key: str, token: str) -> int:
    """Wear a pack, put another in its place, and return the swap's number."""
    await days(api, clock, key, WORN, 5)
    await days(api, clock, key, NEW, 2)
    ((swap),) = (await get(api, "/swaps?state=to%20confirm", token))["swaps"]
    number: int = swap["id"]
    return number


async def test_a_worn_pack_is_planned_swapped_set_aside_and_handed_over(
    api: ApiService, clock: StandingClock, key: str, pat: str
) -> None:
    await days(api, clock, key, WORN, 5)
    (alert,) = (await get(api, "/alerts", pat))["alerts"]
    assert (alert["kind"], alert["state"]) == ("wear-replace", "open")

    day = (clock() + 3 * DAY).date().isoformat()
    path = f"/alerts/{alert['id']}"
    planned = await done(
        api, f"{path}/plan", pat, {"version": alert["version"], "on": day}
    )
    assert (planned["state"], planned["planned_on"]) == ("planned", day)

    await days(api, clock, key, NEW, 2)
    (swap,) = (await get(api, "/swaps", pat))["swaps"]
    assert (swap["state"], swap["wrong"]) == ("to confirm", [])
    old, new = swap["old_pack"]["id"], swap["new_pack"]["id"]

    confirmed = await done(api, f"/swaps/{swap['id']}/confirm", pat, {"swollen": True})
    assert (confirmed["state"], confirmed["decided_by"]) == ("confirmed", "pat")
    assert (await get(api, "/alerts", pat))["alerts"] == []

    (record,) = (await get(api, "/removed-packs", pat))["removed"]
    assert (record["pack_id"], record["state"]) == (old, "removed")
    assert record["cautions"] == list(STOP_USE_CAUTIONS)
    path_of_record = f"/removed-packs/{record['id']}"
    for way in ("post", "air freight"):
        body = {"version": record["version"], "way": way}
        refused = await post(api, f"{path_of_record}/hand-over", pat, body)
        assert refused.status == 400
        assert "must not be posted or flown" in refused.json["detail"]

    aside = await done(
        api,
        f"{path_of_record}/set-aside",
        pat,
        {"version": record["version"], "place": "Steel box", "note": "puffy corner"},
    )
    gone = await done(
        api,
        f"{path_of_record}/hand-over",
        pat,
        {"version": aside["version"], "way": "collection point"},
    )
    assert (gone["state"], gone["swollen"]) == ("handed over", True)
    assert (gone["note"], gone["changed_by"]) == ("puffy corner", "pat")

    ended = await get(api, path, pat)
    assert (ended["state"], ended["ended_by"]) == ("ended", "pat")
    assert actions(ended["trail"]) == [("pat", "planned"), ("pat", "ended")]
    life = [
        ("pat", "planned"),
        ("pat", "ended"),
        ("pat", "swap confirmed"),
        ("pat", "pack set aside"),
        ("pat", "pack handed over"),
    ]
    assert actions((await get(api, f"/packs/{old}", pat))["trail"]) == life
    assert actions((await get(api, f"/packs/{new}", pat))["trail"]) == [
        ("pat", "ended"),
        ("pat", "swap confirmed"),
    ]
    (laptop,) = (await get(api, "/laptops", pat))["laptops"]
    trail = actions((await get(api, f"/laptops/{laptop['id']}/trail", pat))["lines"])
    assert [line for line in trail if line[0] == "pat"] == [
        ("pat", "planned"),
        ("pat", "ended"),
        ("pat", "ended"),
        *life[2:],
    ]


async def test_of_two_who_act_at_once_one_is_told_who_was_first(
    api: ApiService, clock: StandingClock, key: str, pat: str, kim: str
) -> None:
    await days(api, clock, key, WORN, 5)
    (alert,) = (await get(api, "/alerts", pat))["alerts"]
    path = f"/alerts/{alert['id']}"

    answers = await asyncio.gather(
        post(api, f"{path}/acknowledge", pat, {"version": alert["version"]}),
        post(
            api, f"{path}/end", kim, {"version": alert["version"], "because": "retired"}
        ),
    )

    first, second = sorted(answers, key=lambda answer: answer.status)
    assert (first.status, second.status) == (200, 409)
    assert second.headers["Content-Type"].startswith(PROBLEM_TYPE)
    (who,) = {line["who"] for line in first.json["trail"]}
    assert second.json["changed_by"] == who
    assert second.json["changed_at"] == clock().isoformat().replace("+00:00", "Z")
    assert f"by {who} on {clock():%Y-%m-%d}" in second.json["detail"]


async def test_of_two_who_decide_a_swap_one_is_told_who_was_first(
    api: ApiService, clock: StandingClock, key: str, pat: str, kim: str
) -> None:
    path = f"/swaps/{await swapped(api, clock, key, pat)}"

    answers = await asyncio.gather(
        post(api, f"{path}/reject", kim),
        post(api, f"{path}/confirm", pat, {"swollen": None}),
    )

    first, second = sorted(answers, key=lambda answer: answer.status)
    assert (first.status, second.status) == (200, 409)
    assert second.json["changed_by"] == first.json["decided_by"]
    assert first.json["state"] in second.json["detail"]


async def test_a_stale_record_of_a_removed_pack_is_not_overwritten(
    api: ApiService, clock: StandingClock, key: str, pat: str, kim: str
) -> None:
    swap = await swapped(api, clock, key, pat)
    await done(api, f"/swaps/{swap}/confirm", pat, {"swollen": False})
    (record,) = (await get(api, "/removed-packs?state=removed", pat))["removed"]
    path = f"/removed-packs/{record['id']}/set-aside"
    body = {"version": record["version"], "place": "Shelf 1"}
    await done(api, path, kim, body)

    stale = await post(api, path, pat, body | {"place": "Shelf 2"})

    assert (stale.status, stale.json["changed_by"]) == (409, "kim")
    assert (await get(api, f"/removed-packs/{record['id']}", pat))["place"] == "Shelf 1"


async def test_an_alert_is_acknowledged_handed_over_noted_and_ended(
    api: ApiService, clock: StandingClock, key: str, pat: str, kim: str
) -> None:
    await days(api, clock, key, WORN, 5)
    (alert,) = (await get(api, "/alerts", pat))["alerts"]
    path = f"/alerts/{alert['id']}"

    seen = await done(api, f"{path}/acknowledge", pat, {"version": alert["version"]})
    given = await done(
        api, f"{path}/hand-over", pat, {"version": seen["version"], "to": " KIM "}
    )
    noted = await done(api, f"{path}/note", kim, {"text": "holder is away\nuntil May"})
    ended = await done(
        api, f"{path}/end", kim, {"version": noted["version"], "because": "retired"}
    )

    assert (given["handed_to"], noted["version"]) == ("kim", given["version"])
    assert (ended["state"], ended["ended_because"]) == ("ended", "retired")
    assert [
        (line["who"], line["action"], line["detail"]) for line in ended["trail"]
    ] == [
        ("kim", "ended", {"because": "retired"}),
        ("kim", "note", {"text": "holder is away\nuntil May"}),
        ("pat", "handed over", {"to": "kim"}),
        ("pat", "acknowledged", None),
    ]
    again = await post(api, f"{path}/acknowledge", pat, {"version": ended["version"]})
    assert again.status == 409
    assert "has ended" in again.json["detail"]


BAD_BODIES: tuple[tuple[str, Any], ...] = (
    ("acknowledge", {}),
    ("acknowledge", {"version": 0}),
    ("acknowledge", {"version": "1"}),
    ("acknowledge", {"version": 1, "urgent": True}),
    ("acknowledge", [1]),
    ("plan", {"version": 1, "on": "2026-02-30"}),
    ("plan", {"version": 1, "on": "2020-01-01"}),
    ("note", {"text": " \n "}),
    ("note", {"text": "a\x00b"}),
    ("note", {"text": "x" * 2001}),
    ("end", {"version": 1, "because": ""}),
)


async def test_bodies_outside_the_contract_are_refused_with_a_sentence(
    api: ApiService, pat: str
) -> None:
    for path, body in BAD_BODIES:
        answer = await post(api, f"/alerts/1/{path}", pat, body)

        assert answer.status == 400, body
        assert answer.headers["Content-Type"].startswith(PROBLEM_TYPE)
        assert answer.json["detail"]


async def test_a_pack_is_shown_with_its_stays_values_and_alerts(
    api: ApiService, clock: StandingClock, key: str, pat: str
) -> None:
    await swapped(api, clock, key, pat)

    listed = (await get(api, "/packs", pat))["packs"]
    (fitted,) = (await get(api, "/packs?fitted=true&site=Harbour", pat))["packs"]
    (loose,) = (await get(api, "/packs?fitted=false", pat))["packs"]
    shown = await get(api, f"/packs/{loose['id']}", pat)

    assert [pack["id"] for pack in listed] == [loose["id"], fitted["id"]]
    assert (fitted["serial"], fitted["place"]["slot"]) == ("90001", "BAT0")
    assert loose["wear_percent"] == pytest.approx(44.0, abs=0.1)
    assert loose["band"] == "replace"
    assert loose["place"] is None
    assert (await get(api, "/packs?band=replace", pat))["packs"] == [loose]
    assert len(shown["daily"]) == 5
    assert shown["assessment"]["concern"] == "replace"
    assert [alert["kind"] for alert in shown["alerts"]] == ["wear-replace"]
    (place,) = shown["places"]
    assert place["until_at"] is not None
    assert (await api.ask("GET", "/packs/99", pat)).status == 404


async def test_lists_go_on_where_they_stopped(
    api: ApiService, clock: StandingClock, key: str, pat: str
) -> None:
    await swapped(api, clock, key, pat)

    first = await get(api, "/packs?limit=1", pat)
    rest = await get(api, f"/packs?limit=1&cursor={first['next']}", pat)
    astray = await api.ask("GET", f"/swaps?cursor={first['next']}", pat)

    assert [first["packs"][0]["id"], rest["packs"][0]["id"]] == [1, 2]
    assert rest["next"] is None
    assert astray.status == 400


async def test_a_sign_raises_stop_use_and_none_is_no_proof(
    api: ApiService, clock: StandingClock, key: str, pat: str
) -> None:
    await days(api, clock, key, PACK, 2)

    none = await done(api, "/laptops/1/inspections", pat, {"signs": []})
    sign = await done(
        api, "/laptops/1/inspections", pat, {"signs": ["gap"], "note": "left side"}
    )

    assert (none["sign_reported"], none["remark"]) == (False, NOT_A_PROOF)
    assert (sign["sign_reported"], sign["cautions"]) == (True, list(STOP_USE_CAUTIONS))
    (alert,) = (await get(api, "/alerts?urgency=stop-use", pat))["alerts"]
    assert alert["kind"] == "swelling-reported"
    assert alert["cautions"] == list(STOP_USE_CAUTIONS)
    kept = (await get(api, "/inspections?laptop=1", pat))["inspections"]
    assert [(one["signs"], one["note"], one["who"]) for one in kept] == [
        (["gap"], "left side", "pat"),
        ([], None, "pat"),
    ]
    pack = await get(api, f"/packs/{alert['pack']['id']}", pat)
    assert actions(pack["trail"]) == [("pat", "inspected")] * 2
    unknown = await post(api, "/laptops/1/inspections", pat, {"signs": ["wobble"]})
    assert unknown.status == 400
    assert (await post(api, "/laptops/9/inspections", pat, {"signs": []})).status == 404


async def test_the_holder_is_asked_by_a_link_that_works_once(
    api: ApiService, clock: StandingClock, key: str, pat: str
) -> None:
    await days(api, clock, key, PACK, 1)

    link = await done(api, "/laptops/1/holder-links", pat)

    assert link["path"].startswith("/inspect/")
    token = link["path"].removeprefix("/inspect/")
    assert (await asked_by(api.services, token)).laptop_id == 1
    await answer_link(api.services, token, signs=[])
    (kept,) = (await get(api, "/inspections", pat))["inspections"]
    assert kept["who"] == "the laptop's holder"
    # The link is no key of the API.
    assert (await api.ask("GET", "/alerts", token)).status == 401


async def test_the_register_is_exported_as_safe_csv(
    api: ApiService, clock: StandingClock, key: str, pat: str
) -> None:
    swap = await swapped(api, clock, key, pat)
    await done(api, f"/swaps/{swap}/confirm", pat, {"swollen": None})
    (record,) = (await get(api, "/removed-packs", pat))["removed"]
    await done(
        api,
        f"/removed-packs/{record['id']}/set-aside",
        pat,
        {"version": record["version"], "place": "=1+1", "note": 'says "puffy"'},
    )

    answer = await api.ask("GET", "/exports/removed.csv", pat)

    assert answer.status == 200
    assert 'filename="removed-2026-03-09.csv"' in answer.headers["Content-Disposition"]
    header, line, rest = answer.body.decode().split("\r\n")
    assert header == (
        "state,swollen,removed_at,removed_by,changed_at,changed_by,place,note,site,"
        "asset_tag,hostname,laptop_serial,slot,pack_maker,pack_model,pack_serial,"
        "chemistry,capacity_unit,design_capacity,full_charge_capacity"
    )
    assert line == (
        '"set aside",,2026-03-08T09:00:00Z,"pat",2026-03-09T09:00:00Z,"pat","\'=1+1",'
        '"says ""puffy""","Harbour",,"tern-014","BM-00314","BAT0","Callow Cells",'
        '"CC-57","00417",,"mWh",57000,31900'
    )
    assert rest == ""
