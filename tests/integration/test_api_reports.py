"""An agent delivers reports, in all the ways that can go wrong."""

import gzip
import json
from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import timedelta
from io import BytesIO
from typing import Any

import pytest
from sqlalchemy import select

from fadewatch_collector.api.setup import DEFAULT_LIMITS, Rate
from fadewatch_collector.errors import QueueFull
from fadewatch_collector.store.tables import reports
from fadewatch_collector.usecases.services import Services
from fadewatch_common.encoding import to_json, to_plain
from fadewatch_common.report import MAX_BODY_BYTES
from tests.fakes.clock import StandingClock
from tests.integration.api_service import PROBLEM_TYPE, Answer, ApiService, running_api
from tests.integration.postgres import DATABASES
from tests.reports import LAPTOP, PACK, make_report

ON = DATABASES

JSON = {"Content-Type": "application/json"}
CSP = "Content-Security-Policy"


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services) as service:
        yield service


@pytest.fixture
async def key(api: ApiService) -> str:
    return await api.enrol()


def batch(*parts: object) -> bytes:
    return json.dumps({"reports": [*parts]}).encode()


async def post(
    api: ApiService, key: str, body: bytes, headers: dict[str, str] | None = None
) -> Answer:
    return await api.ask(
        "POST", "/reports", key, data=BytesIO(body), headers=JSON | (headers or {})
    )


async def stored(api: ApiService) -> dict[str, tuple[int, str]]:
    async with api.services.store.reading() as connection:
        rows = await connection.execute(
            select(reports.c.report_id, reports.c.laptop_id, reports.c.body)
        )
        return {row.report_id: (row.laptop_id, row.body) for row in rows}


def is_problem(answer: Answer, status: int) -> bool:
    return (
        answer.status == status
        and answer.headers["Content-Type"].startswith(PROBLEM_TYPE)
        and answer.json["status"] == status
        and answer.json["request_id"] == answer.headers["X-Request-Id"]
    )


async def test_every_answer_to_a_delivery_has_the_headers_of_all_others(
    api: ApiService, key: str
) -> None:
    body = batch(to_plain(make_report()))
    other = await api.ask("GET", "/laptops", await api.api_token())
    answers = {
        200: await post(api, key, body),
        401: await post(api, "fwk_unknown", body),
        405: await api.ask("GET", "/reports", key),
        415: await post(api, key, body, {"Content-Type": "text/plain"}),
        417: await post(api, key, body, {"Expect": "a wonder"}),
    }
    bad_query = await api.ask("POST", "/reports?all=yes", key, data=body, headers=JSON)

    assert {status: answer.status for status, answer in answers.items()} == {
        status: status for status in answers
    }
    assert is_problem(bad_query, 400)
    for answer in (*answers.values(), bad_query):
        for name in ("Cache-Control", "X-Content-Type-Options", CSP):
            assert answer.headers[name] == other.headers[name]
        assert answer.headers["X-Request-Id"] != other.headers["X-Request-Id"]


async def test_a_report_is_stored_as_the_text_that_came(
    api: ApiService, key: str
) -> None:
    text = to_json(make_report()).replace('"packs"', '"news": [1e400],  "packs"')
    body = b'{"note": {}, "reports" : [ ' + text.encode() + b" ] }"

    answer = await post(api, key, body)

    assert answer.status == 200
    report_id = json.loads(text)["report_id"]
    assert answer.json == {"results": [{"report_id": report_id, "status": "stored"}]}
    assert await stored(api) == {report_id: (1, text)}


async def test_the_same_report_again_is_a_duplicate(api: ApiService, key: str) -> None:
    body = batch(to_plain(make_report()))

    first = await post(api, key, body)
    second = await post(api, key, body)

    assert first.json["results"][0]["status"] == "stored"
    assert second.json["results"][0]["status"] == "duplicate"
    assert len(await stored(api)) == 1


async def test_a_gzip_body_is_unpacked(api: ApiService, key: str) -> None:
    packed = gzip.compress(batch(to_plain(make_report())))

    answer = await post(api, key, packed, {"Content-Encoding": "gzip"})

    assert answer.json["results"][0]["status"] == "stored"


def bad_reports() -> list[Any]:
    """Return reports that are wrong in one way each, with what is said of them."""
    good: dict[str, Any] = to_plain(make_report())  # type: ignore[assignment]  # a dict
    return [
        pytest.param(None, "Input should be an object", id="null"),
        pytest.param("text", "Input should be an object", id="text"),
        pytest.param(good | {"schema": 2}, "schema: ", id="another schema"),
        pytest.param(good | {"report_id": "x" * 36}, "report_id: ", id="no UUID"),
        pytest.param(
            good | {"packs": [to_plain(PACK), {"slot": "BAT1", "unit": "mWh"}] * 5},
            "packs: ",
            id="too many packs",
        ),
        pytest.param(
            good | {"packs": [to_plain(replace(PACK, cycle_count=0))]},
            "packs[0].cycle_count: ",
            id="cycle count 0",
        ),
        pytest.param(
            good | {"measured_at": "2026-03-01T08:00:00"}, "measured_at: ", id="no zone"
        ),
        pytest.param(
            good | {"measured_at": "1601-01-01T00:00:00Z"},
            "measured_at: is outside the years",
            id="1601",
        ),
        pytest.param(good | {"mains_online": "yes"}, "mains_online: ", id="no boolean"),
        pytest.param(good | {"remarks": ["\ud800"]}, "Invalid JSON", id="surrogate"),
        pytest.param(good | {"news": float("nan")}, "NaN is no JSON number", id="NaN"),
    ]


@pytest.mark.parametrize(("bad", "said"), bad_reports())
async def test_a_bad_report_is_rejected_with_its_reason_and_blocks_no_other(
    api: ApiService, key: str, bad: object, said: str
) -> None:
    before, after = make_report(), make_report()

    answer = await post(api, key, batch(to_plain(before), bad, to_plain(after)))

    assert answer.status == 200
    first, middle, last = answer.json["results"]
    assert (first["status"], last["status"]) == ("stored", "stored")
    assert middle["status"] == "rejected"
    assert said in middle["problem"]
    assert set(await stored(api)) == {before.report_id, after.report_id}


async def test_a_rejected_report_is_named_by_its_id_where_that_can_be_told(
    api: ApiService, key: str
) -> None:
    named = {"report_id": "my-report"}
    nameless = [{"report_id": 7}, {"report_id": "x" * 500}, {"report_id": "\ud800"}, {}]

    answer = await post(api, key, batch(named, *nameless))

    given = [result["report_id"] for result in answer.json["results"]]
    assert given == ["my-report", None, None, None, None]


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"\xff\xfe",
        b"null",
        b"[]",
        b"{}",
        b'{"reports": {}}',
        b'{"reports": []} {}',
        b'{"reports": [1,]}',
        b'{"reports": [] "more": 1}',
        b'{"reports": [], "reports": []}',
        b'{1: 2, "reports": []}',
        b'{"reports" []}',
        b'{"reports": [{]}',
        b'\xef\xbb\xbf{"reports": []}',
        b'{"reports": [' + b"[" * 200_000,
        b'{"deep": ' + b'{"a":' * 200_000,
    ],
    ids=lambda body: body[:28].decode("latin-1"),
)
async def test_a_body_that_is_no_batch_is_refused(
    api: ApiService, key: str, body: bytes
) -> None:
    assert is_problem(await post(api, key, body), 400)


async def test_an_empty_batch_is_answered_with_no_results(
    api: ApiService, key: str
) -> None:
    answer = await post(api, key, b' {"reports":[ ]}\n')

    assert (answer.status, answer.json) == (200, {"results": []})


async def test_500_reports_are_taken_and_501_are_not(api: ApiService, key: str) -> None:
    assert (await post(api, key, batch(*[0] * 500))).status == 200
    assert is_problem(await post(api, key, batch(*[0] * 501)), 413)


async def test_a_body_of_exactly_4_mib_is_taken_and_a_byte_more_is_not(
    api: ApiService, key: str
) -> None:
    whole = b'{"reports":[]}'.ljust(MAX_BODY_BYTES)
    packed = {"Content-Encoding": "gzip"}

    assert (await post(api, key, whole)).status == 200
    assert (await post(api, key, gzip.compress(whole, mtime=0), packed)).status == 200
    assert is_problem(await post(api, key, whole + b" "), 413)
    assert is_problem(
        await post(api, key, gzip.compress(whole + b" ", mtime=0), packed), 413
    )


async def test_a_body_without_a_length_is_measured_as_it_comes(
    api: ApiService, key: str
) -> None:
    async def endless() -> AsyncIterator[bytes]:
        for _ in range(80):
            yield b" " * 65_536

    answer = await api.ask("POST", "/reports", key, data=endless(), headers=JSON)

    assert is_problem(answer, 413)


async def test_a_gzip_bomb_is_refused(api: ApiService, key: str) -> None:
    bomb = gzip.compress(bytes(16 * MAX_BODY_BYTES))
    assert len(bomb) < MAX_BODY_BYTES / 50

    assert is_problem(await post(api, key, bomb, {"Content-Encoding": "gzip"}), 413)


@pytest.mark.parametrize(
    ("coding", "body", "status"),
    [
        ("gzip", gzip.compress(b'{"reports":[]}', mtime=0)[:-4], 400),
        ("gzip", gzip.compress(b'{"reports":[]}', mtime=0) + b"more", 400),
        ("gzip", gzip.compress(b"", mtime=0) * 3, 400),
        ("gzip", b'{"reports":[]}', 400),
        ("gzip", b"", 400),
        ("x-gzip", gzip.compress(b'{"reports":[]}', mtime=0), 200),
        ("Identity", b'{"reports":[]}', 200),
        ("br", b"anything", 415),
        ("deflate", b"anything", 415),
        ("gzip, gzip", b"anything", 415),
    ],
)
async def test_only_one_whole_gzip_body_is_unpacked(
    api: ApiService, key: str, coding: str, body: bytes, status: int
) -> None:
    answer = await post(api, key, body, {"Content-Encoding": coding})

    assert answer.status == status
    assert status == 200 or is_problem(answer, status)
    assert (status == 415) == ("Accept-Encoding" in answer.headers)


async def test_another_content_type_is_refused(api: ApiService, key: str) -> None:
    form = {"Content-Type": "application/x-www-form-urlencoded"}

    assert is_problem(await post(api, key, b"reports=1", form), 415)


async def test_a_report_goes_to_the_laptop_whose_key_sent_it(api: ApiService) -> None:
    keys = [await api.enrol(replace(LAPTOP, serial=f"BM-{n}")) for n in range(2)]
    sent = [make_report() for _ in keys]

    for key, report in zip(keys, sent, strict=True):
        await post(api, key, batch(to_plain(report)))

    kept = await stored(api)
    assert [kept[report.report_id][0] for report in sent] == [1, 2]


@pytest.mark.parametrize(
    "path", ["/alerts", "/laptops", "/laptops/1", "/exports/fleet.csv"]
)
async def test_an_agents_key_reads_nothing(
    api: ApiService, key: str, path: str
) -> None:
    answer = await api.ask("GET", path, key)

    assert is_problem(answer, 401)
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")


async def test_an_operators_token_delivers_no_reports(api: ApiService) -> None:
    token = await api.api_token()

    assert is_problem(await post(api, token, batch(to_plain(make_report()))), 401)
    assert await stored(api) == {}


@pytest.mark.parametrize(
    "header",
    [
        "",
        "Bearer",
        "Bearer ",
        "Basic Zm9vOmJhcg==",
        "Bearer fwk_no\u00e9",
        "Bearer a b",
    ],
)
async def test_without_a_good_key_the_body_is_not_even_read(
    api: ApiService, header: str
) -> None:
    answer = await api.ask(
        "POST", "/reports", data=b"x", headers=JSON | {"Authorization": header}
    )

    assert is_problem(answer, 401)


async def test_a_laptop_that_delivers_too_often_is_told_when_to_come_back(
    services: Services, clock: StandingClock
) -> None:
    limits = replace(DEFAULT_LIMITS, reports=Rate(burst=2, per_second=0.1))
    async with running_api(services, limits) as api:
        key = await api.enrol()
        other = await api.enrol(replace(LAPTOP, serial="BM-2"))
        answers = [await post(api, key, b'{"reports":[]}') for _ in range(3)]

        assert [answer.status for answer in answers] == [200, 200, 429]
        assert is_problem(answers[2], 429)
        assert answers[2].headers["Retry-After"] == "10"
        assert (await post(api, other, b'{"reports":[]}')).status == 200
        clock.move(timedelta(seconds=10))
        assert (await post(api, key, b'{"reports":[]}')).status == 200


async def test_a_full_queue_asks_to_come_back(services: Services) -> None:
    async with running_api(services, intake=_FullIntake()) as api:
        key = await api.enrol()
        answer = await post(api, key, batch(to_plain(make_report())))

    assert is_problem(answer, 503)
    assert answer.headers["Retry-After"] == "7"


class _FullIntake:
    """An intake with no room left."""

    async def receive(self, key: object, reports: object) -> Any:
        raise QueueFull(6.2)
