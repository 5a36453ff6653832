"""The service keeps to its own description, with every kind of caller."""

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from hypothesis import settings
from schemathesis.checks import CheckFunction
from schemathesis.specs.openapi.checks import (
    negative_data_rejection,
    positive_data_acceptance,
)

from fadewatch_collector.api.openapi import describe
from fadewatch_collector.api.routes import ROUTES
from fadewatch_collector.api.setup import PREFIX
from tests.integration.live_api import LiveApi, live_api

EXAMPLES = 5

MORE_THAN_A_SCHEMA = {
    "/alerts/{alert_id}/plan": "the day must not be past",
    "/holders/forget": "a name must have three characters that count",
    "/laptops/{laptop_id}/visits": "something was done, or nothing was found",
    "/notification-routes": "an address must be one",
    "/operators": "a password must be varied",
    "/order-list/packs": "a key must be that of a pack type",
    "/places": "the CSV must have its headings",
    "/policy": "a plan threshold must stay below the replace threshold",
    "/stock": "a key must be that of a pack type",
    "/stock/import": "the CSV must have its headings",
    "/visit-rounds": "the day must not be past, and something must be due",
    "/visits": "the day must not be past",
    "/visits/{visit_id}/done": "something was done, or nothing was found",
    "/visits/{visit_id}/move": "the day must not be past",
}
"""What bodies of these addresses must keep to beside their schemas."""

Case = schemathesis.Case[Any]


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveApi]:
    with live_api(tmp_path_factory.mktemp("live")) as api:
        yield api


schema = schemathesis.openapi.from_dict(describe(ROUTES, PREFIX))

# Without a secret nearly every request ends at the door: a few random ones will do.
at_the_door = schemathesis.openapi.from_dict(describe(ROUTES, PREFIX))
at_the_door.config.phases.coverage.enabled = False


@at_the_door.parametrize()
@settings(max_examples=2, deadline=None, derandomize=True)
def test_callers_without_a_secret_get_what_is_described(
    case: Case, live: LiveApi
) -> None:
    case.call_and_validate(base_url=live.address)


@pytest.mark.timeout(240)  # POST /reports has some 600 cases, which take seconds
@schema.parametrize()
@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
def test_callers_with_the_right_secret_get_what_is_described(
    case: Case, live: LiveApi
) -> None:
    excluded: list[CheckFunction] = []
    secret = live.api_token
    if case.operation.path == "/reports":
        secret = live.agent_key
        # A bad report is answered 200, rejected alone: that is what the route is for.
        excluded.append(negative_data_rejection)
    # Only the service can make a cursor that leads somewhere.
    if "cursor" in (case.query or {}) or case.operation.path in MORE_THAN_A_SCHEMA:
        excluded.append(positive_data_acceptance)
    case.call_and_validate(
        base_url=live.address,
        headers={"Authorization": f"Bearer {secret}"},
        excluded_checks=excluded,
    )


@schema.include(operation_id="enrolLaptop").parametrize()
@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
def test_laptops_with_a_good_token_get_what_is_described(
    case: Case, live: LiveApi
) -> None:
    if isinstance(case.body, dict) and isinstance(case.body.get("token"), str):
        case.body["token"] = live.enrolment_token
    # The token put in may be what mends a body that was made wrong on purpose.
    case.call_and_validate(
        base_url=live.address, excluded_checks=[negative_data_rejection]
    )
