"""Whatever is sent to the API, it answers with what it promised or with a problem."""

import gzip
import json
import re
from collections.abc import AsyncIterator
from io import BytesIO
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fadewatch_collector.api.routes import ROUTES
from fadewatch_collector.usecases.services import Services
from fadewatch_common.encoding import to_plain
from tests.integration.api_service import PROBLEM_TYPE, ApiService, running_api
from tests.integration.live_api import NO_LIMITS
from tests.reports import AGENT, LAPTOP, PACK, make_report

SETTINGS = settings(
    max_examples=120,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)

PATHS = st.sampled_from([re.sub(r"{\w+}", "1", route.path) for route in ROUTES])
METHODS = st.sampled_from(["GET", "POST", "PUT"])
HEADER_TEXT = st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=12)
CODINGS = st.sampled_from(["gzip", "identity", "deflate", "br", ""]) | HEADER_TEXT
TYPES = st.sampled_from(["application/json", "text/csv"]) | HEADER_TEXT
JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4)
    ),
    max_leaves=10,
)


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services, NO_LIMITS) as service:
        yield service


@pytest.fixture
async def secrets(api: ApiService) -> list[str | None]:
    return [None, await api.enrol(), await api.api_token("administrator")]


def broken(value: Any, junk: Any) -> st.SearchStrategy[Any]:
    """Put junk in the place of one part of a value, however deep."""
    if isinstance(value, dict) and value:
        return st.sampled_from(sorted(value)).flatmap(
            lambda name: broken(value[name], junk).map(
                lambda part: value | {name: part}
            )
        )
    if isinstance(value, list) and value:
        return broken(value[0], junk).map(lambda part: [part, *value[1:]])
    return st.just(junk)


WHOLE = {
    "token": "fwt_invented",
    "laptop": to_plain(LAPTOP),
    "agent": to_plain(AGENT),
    "reports": [to_plain(make_report(packs=(PACK, PACK)))],
}
NEARLY_RIGHT = JSON_VALUES.flatmap(lambda junk: broken(WHOLE, junk))


async def check(api: ApiService, method: str, path: str, **sent: Any) -> None:
    answer = await api.ask(method, path, **sent)

    assert answer.status < 500
    if answer.status >= 300:
        assert answer.headers["Content-Type"].startswith(PROBLEM_TYPE)
        assert answer.json["status"] == answer.status


@given(data=st.data())
@SETTINGS
async def test_any_json_gets_an_answer_or_a_problem(
    api: ApiService, secrets: list[str | None], data: st.DataObject
) -> None:
    body = json.dumps(data.draw(JSON_VALUES | NEARLY_RIGHT)).encode()

    await check(
        api,
        data.draw(METHODS),
        data.draw(PATHS),
        secret=data.draw(st.sampled_from(secrets)),
        data=BytesIO(body),
        headers={"Content-Type": "application/json"},
    )


@given(data=st.data())
@SETTINGS
async def test_any_bytes_get_an_answer_or_a_problem(
    api: ApiService, secrets: list[str | None], data: st.DataObject
) -> None:
    body = data.draw(st.binary(max_size=200))
    if data.draw(st.booleans()):
        packed = gzip.compress(body)
        body = packed[: data.draw(st.integers(0, len(packed)))]

    await check(
        api,
        data.draw(METHODS),
        data.draw(PATHS),
        secret=data.draw(st.sampled_from(secrets)),
        data=BytesIO(body),
        headers={
            "Content-Type": data.draw(TYPES),
            "Content-Encoding": data.draw(CODINGS),
        },
    )


@given(
    path=st.text(max_size=20),
    names=st.dictionaries(st.text(max_size=5), st.text(max_size=10), max_size=3),
    authorization=HEADER_TEXT | HEADER_TEXT.map("Bearer {}".format),
)
@SETTINGS
async def test_any_address_gets_an_answer_or_a_problem(
    api: ApiService, path: str, names: dict[str, str], authorization: str
) -> None:
    await check(
        api,
        "GET",
        "/" + path.replace("?", "").replace("#", "").replace(".", ""),
        params=names,
        headers={"Authorization": authorization},
    )
