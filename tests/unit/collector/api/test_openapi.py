"""The description is valid, whole, and true to the models."""

from typing import Any

import jsonschema
import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

from fadewatch_collector.api.openapi import describe
from fadewatch_collector.api.route import Route
from fadewatch_collector.api.routes import ROUTES

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

    assert len(examples()) >= 2 * len(sent) > 0


@pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.name)
def test_every_route_says_who_may_call_and_what_can_go_wrong(route: Route) -> None:
    described = operation(route)

    assert (described["security"] == []) == (route.caller == "anyone")
    assert ("401" in described["responses"]) == (route.caller != "anyone")
    assert {"400", "500", "503"} <= set(described["responses"])


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
