"""The description is valid, whole, and true to the models."""

from typing import Any

import jsonschema
import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

from fadewatch_collector.api.openapi import describe
from fadewatch_collector.api.route import Route
from fadewatch_collector.api.routes import ROUTES
from fadewatch_collector.rules.policy_scopes import LIMITS
from fadewatch_collector.rules.signs import SIGNS
from fadewatch_collector.usecases.removed import WAYS

DESCRIPTION = describe(ROUTES, "/api/v1")


def resolved(schema: dict[str, Any]) -> dict[str, Any]:
    """Return a schema that stands on its own."""
    return schema | {"components": DESCRIPTION["components"]}


def operation(route: Route) -> dict[str, Any]:
    found: dict[str, Any] = DESCRIPTION["paths"][route.path][route.method.lower()]
    return found


def examples() -> list[Any]:
    found = []
    for route in ROUTES:
        described = operation(route)
        bodies = {"sent": described.get("requestBody", {}), **described["responses"]}
        found += [
            pytest.param(
                content["schema"], content["example"], id=f"{route.name} {name}"
            )
            for name, body in bodies.items()
            for content in body.get("content", {}).values()
            if "example" in content
        ]
    return found


def test_it_is_valid_openapi_3_1() -> None:
    assert list(OpenAPIV31SpecValidator(DESCRIPTION).iter_errors()) == []
    assert DESCRIPTION["openapi"].startswith("3.1.")


@pytest.mark.parametrize(("schema", "example"), examples())
def test_its_examples_keep_to_its_schemas(schema: dict[str, Any], example: Any) -> None:
    jsonschema.Draft202012Validator(resolved(schema)).validate(example)


def test_it_has_an_example_of_every_body_that_is_sent() -> None:
    sent = [route for route in ROUTES if route.body is not None]

    assert sent
    for route in sent:
        (content,) = operation(route)["requestBody"]["content"].values()
        assert "example" in content


@pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.name)
def test_every_route_says_who_may_call_and_what_can_go_wrong(route: Route) -> None:
    described = operation(route)

    assert (described["security"] == []) == (route.caller == "anyone")
    assert ("401" in described["responses"]) == (route.caller != "anyone")
    assert {"400", "500", "503"} <= set(described["responses"])


@pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.name)
def test_every_route_of_operators_names_the_role_it_needs(route: Route) -> None:
    described = operation(route)

    if route.caller == "operator":
        assert described["security"] == [{"apiToken": [route.role]}]
        assert f"Needs the role {route.role}." in described["description"]
    assert ("403" in described["responses"]) == (
        route.role != "viewer" or route.name == "enrolLaptop"
    )


HIDDEN = ("tokens", "operators", "notif", "removed", "imports", "}/export")
"""What viewers do not see on the pages either."""


def test_what_changes_something_needs_more_than_a_viewer() -> None:
    open_to_viewers = {
        route.name
        for route in ROUTES
        if route.caller == "operator" and route.role == "viewer"
    }

    assert open_to_viewers == {
        route.name
        for route in ROUTES
        if route.caller == "operator"
        and route.method == "GET"
        and not any(word in route.path for word in HIDDEN)
    }


def test_the_names_of_signs_and_ways_are_all_described() -> None:
    schemas = DESCRIPTION["components"]["schemas"]
    seen = schemas["SeenSigns"]["properties"]["signs"]["items"]["enum"]
    ways = schemas["PackHandOver"]["properties"]["way"]["enum"]

    assert tuple(seen) == tuple(SIGNS)
    assert tuple(ways) == WAYS


def test_the_bounds_of_a_policy_are_those_of_its_rules() -> None:
    fields = DESCRIPTION["components"]["schemas"]["PolicyChanges"]["properties"]
    bounds = {}
    for name, schema in fields.items():
        number = schema["anyOf"][0]
        part = 100 if name.endswith("wear_percent") else 1
        bounds[name.removesuffix("_percent") if part == 100 else name] = (
            number["minimum"] / part,
            number["maximum"] / part,
        )

    assert bounds == LIMITS


def test_an_answer_without_a_body_has_no_content() -> None:
    for route in ROUTES:
        answered = operation(route)["responses"][str(route.answer.status.value)]
        assert ("content" in answered) == (route.answer.status != 204)


def test_bounds_of_a_report_stand_in_it() -> None:
    pack = DESCRIPTION["components"]["schemas"]["Pack"]["properties"]
    cycle_count, _ = pack["cycle_count"]["anyOf"]

    assert cycle_count == {"type": "integer", "minimum": 1, "maximum": 2**31 - 1}
    assert pack["state"]["enum"] == [
        "charging",
        "discharging",
        "full",
        "held",
        "unknown",
    ]


def test_no_docstring_section_or_generated_title_is_left_in_it() -> None:
    text = str(DESCRIPTION)

    assert "----" not in text
    assert "'title': 'Cycle Count'" not in text
