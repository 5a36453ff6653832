"""The OpenAPI 3.1 description, written from the route table and its models."""

from collections.abc import Iterator, Mapping, Sequence
from http import HTTPStatus
from typing import Any

from pydantic import TypeAdapter
from pydantic.json_schema import JsonSchemaMode

from fadewatch_collector.api.callers import Caller
from fadewatch_collector.api.problems import PROBLEM_TYPE, Problem
from fadewatch_collector.api.route import Answered, Route, Sent
from fadewatch_collector.edge.request_ids import HEADER
from fadewatch_common import __version__

Schema = dict[str, Any]

_SECURITY: dict[Caller, tuple[str, str]] = {
    "agent": ("agentKey", "The key that a laptop was given when it enrolled."),
    "operator": ("apiToken", "An API token that an operator has made."),
}

_BODY_PROBLEMS = {
    HTTPStatus.REQUEST_TIMEOUT,
    HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
    HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
}
"""Statuses of problems that every route with a body has."""

_HEADERS = {
    HTTPStatus.UNAUTHORIZED: "WWW-Authenticate",
    HTTPStatus.TOO_MANY_REQUESTS: "Retry-After",
    HTTPStatus.SERVICE_UNAVAILABLE: "Retry-After",
}
"""Headers that problems of these statuses always carry."""


def describe(routes: Sequence[Route], prefix: str) -> Schema:
    """Return the description of the routes.

    Parameters
    ----------
    prefix
        Address of the API on its collector.
    """
    schemas = _Schemas(routes)
    paths: Schema = {}
    for route in routes:
        operation = _operation(route, schemas)
        paths.setdefault(route.path, {})[route.method.lower()] = operation
    return {
        "openapi": "3.1.1",
        "info": {
            "title": "Fadewatch collector",
            "version": __version__,
            "description": "Agents deliver reports; programs read alerts, laptops, "
            "packs and the fleet, and do what an operator of their token's role may: a "
            "viewer reads, a technician acts, an administrator sets policy, routes, "
            "tokens and accounts. What people change has a `version`: send the one "
            "that was read; when somebody was first, the answer is 409 and says who "
            f"and when. Every answer carries {HEADER}. Errors are problems (RFC 9457).",
        },
        "servers": [{"url": prefix}],
        "paths": paths,
        "components": {
            "schemas": schemas.components,
            "securitySchemes": {
                name: {"type": "http", "scheme": "bearer", "description": words}
                for name, words in _SECURITY.values()
            },
        },
    }


class _Schemas:
    """Schemas of every model in the table, each named once."""

    def __init__(self, routes: Sequence[Route]) -> None:
        self._by_model, shared = TypeAdapter.json_schemas(
            [(model, mode, TypeAdapter(model)) for model, mode in _models(routes)],
            ref_template="#/components/schemas/{model}",
        )
        self.components: Schema = _tidied(shared.get("$defs", {}))

    def sent(self, model: type) -> Schema:
        """Return the schema of a model as callers send it."""
        schema: Schema = _tidied(self._by_model[model, "validation"])
        return schema

    def answered(self, model: type) -> Schema:
        """Return the schema of a model as it is answered."""
        schema: Schema = _tidied(self._by_model[model, "serialization"])
        return schema


def _models(routes: Sequence[Route]) -> Iterator[tuple[type, JsonSchemaMode]]:
    yield Problem, "serialization"
    for route in routes:
        if route.body is not None and route.body.model is not None:
            yield route.body.model, "validation"
        if route.answer.model is not None:
            yield route.answer.model, "serialization"


def _operation(route: Route, schemas: _Schemas) -> Schema:
    operation: Schema = {
        "operationId": route.name,
        "summary": route.summary,
        "responses": _responses(route, schemas),
        "security": [],
    }
    if words := _description(route):
        operation["description"] = words
    if route.caller in _SECURITY:
        # OpenAPI 3.1: for a scheme without scopes the list names the roles needed.
        roles = [route.role] if route.caller == "operator" else []
        operation["security"] = [{_SECURITY[route.caller][0]: roles}]
    if parameters := [*_path_parameters(route), *_query_parameters(route)]:
        operation["parameters"] = parameters
    if route.body is not None:
        operation["requestBody"] = {
            "required": True,
            "content": {route.body.media_type: _sent(route.body, schemas)},
        }
    return operation


def _description(route: Route) -> str:
    needs = f"Needs the role {route.role}." if route.caller == "operator" else ""
    return f"{route.description} {needs}".strip()


def _sent(body: Sent, schemas: _Schemas) -> Schema:
    schema = {"type": "string"} if body.model is None else schemas.sent(body.model)
    return {"schema": schema, "example": body.example}


def _path_parameters(route: Route) -> Iterator[Schema]:
    for name, schema in (route.path_parameters or {}).items():
        yield {"name": name, "in": "path", "required": True, "schema": dict(schema)}


def _query_parameters(route: Route) -> Iterator[Schema]:
    properties = TypeAdapter(route.query).json_schema().get("properties", {})
    for name, schema in properties.items():
        yield {"name": name, "in": "query", "schema": _without_null(_tidied(schema))}


def _without_null(schema: Schema) -> Schema:
    """Leave null out: a query cannot hold it, the parameter is left out instead."""
    kinds = [kind for kind in schema.get("anyOf", ()) if kind != {"type": "null"}]
    return kinds[0] if len(kinds) == 1 else schema


def _responses(route: Route, schemas: _Schemas) -> Schema:
    statuses = {HTTPStatus.BAD_REQUEST, *route.problems}
    if route.caller != "anyone":
        statuses.add(HTTPStatus.UNAUTHORIZED)
    if route.caller == "operator":
        statuses.add(HTTPStatus.TOO_MANY_REQUESTS)
    if route.role != "viewer":
        statuses.add(HTTPStatus.FORBIDDEN)
    if route.body is not None:
        statuses |= _BODY_PROBLEMS
    if route.path_parameters:
        statuses.add(HTTPStatus.NOT_FOUND)
    statuses |= {HTTPStatus.INTERNAL_SERVER_ERROR, HTTPStatus.SERVICE_UNAVAILABLE}
    responses = {str(route.answer.status.value): _answer(route.answer, schemas)}
    for status in sorted(statuses):
        responses[str(status.value)] = _problem(status, schemas)
    return responses


def _answer(answer: Answered, schemas: _Schemas) -> Schema:
    if answer.media_type is None:
        return {"description": answer.description, "headers": _headers(HEADER)}
    content: Schema = {"schema": {"type": "string"}}
    if answer.model is not None:
        content = {"schema": schemas.answered(answer.model)}
    if answer.example is not None:
        content["example"] = answer.example
    return {
        "description": answer.description,
        "headers": _headers(HEADER),
        "content": {answer.media_type: content},
    }


def _problem(status: HTTPStatus, schemas: _Schemas) -> Schema:
    names = [HEADER, *([_HEADERS[status]] if status in _HEADERS else [])]
    return {
        "description": status.phrase,
        "headers": _headers(*names),
        "content": {PROBLEM_TYPE: {"schema": schemas.answered(Problem)}},
    }


def _headers(*names: str) -> Schema:
    return {name: {"required": True, "schema": {"type": "string"}} for name in names}


def _tidied(schema: Any) -> Any:
    """Drop generated titles, and of a docstring keep what comes before its sections."""
    if isinstance(schema, Mapping):
        return {
            key: _first_part(value) if key == "description" else _tidied(value)
            for key, value in schema.items()
            # A property may be called title; a generated title is a text.
            if not (key == "title" and isinstance(value, str))
        }
    return [_tidied(item) for item in schema] if isinstance(schema, list) else schema


def _first_part(text: Any) -> Any:
    return text.split("\n\n")[0] if isinstance(text, str) else _tidied(text)
