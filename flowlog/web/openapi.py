"""The description of the interface, made from the routes themselves, so that it cannot drift.

A route under /api is made by `operation`, which wants to know what a program needs to know to
call it. The document is then collected from the routes that the app really has.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from flowlog import __version__

Schema = Mapping[str, Any]
JSON: Final = "application/json"
CSV: Final = "text/csv"

_KINDS: Final = {"int": {"type": "integer"}, "str": {"type": "string"}}


@dataclass(frozen=True, slots=True)
class Parameter:
    """Something in the query."""

    name: str
    schema: Schema
    text: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class Operation:
    """What a program needs to know of one address."""

    summary: str
    answers: Mapping[int, tuple[str, Schema | None]]
    """Status to media type and schema."""
    tag: str
    parameters: Sequence[Parameter] = ()
    path_schemas: Mapping[str, Schema] = field(default_factory=dict)
    body: Schema | None = None


def operation(
    path: str,
    endpoint: Callable[..., Any],
    summary: str,
    answer: Schema | None = None,
    *,
    tag: str,
    method: str = "GET",
    media: str = JSON,
    query: Sequence[Parameter] = (),
    path_schemas: Mapping[str, Schema] | None = None,
    body: Schema | None = None,
    status: int = 200,
    others: Sequence[int] = (),
) -> Route:
    """A route under /api with its description.

    Args:
        path: with `{name}` or `{name:int}` for what varies.
        answer: JSON Schema of the answer (may be `{"$ref": "#/components/schemas/Name"}`).
        media: media type of the answer.
        body: JSON Schema of what is posted.
        others: statuses that this address may answer with beside those that all may.
    """
    answers: dict[int, tuple[str, Schema | None]] = {status: (media, answer)}
    usual = {400, 401, 403, 404, 421, 503, *((413, 415) if body is not None else ()), *others}
    answers |= dict.fromkeys(sorted(usual), (JSON, ERROR_REF))
    route = Route(path, endpoint, methods=[method], name=f"{method} {path}")
    _OPERATIONS[route.name] = Operation(
        summary, answers, tag, tuple(query), dict(path_schemas or {}), body
    )
    return route


_OPERATIONS: Final[dict[str, Operation]] = {}
ERROR_REF: Final = {"$ref": "#/components/schemas/Error"}
ERROR: Final = {
    "type": "object",
    "required": ["error"],
    "properties": {"error": {"type": "string", "description": "One sentence."}},
}


def ref(name: str) -> Schema:
    return {"$ref": f"#/components/schemas/{name}"}


def document(routes: Sequence[BaseRoute], schemas: Mapping[str, Schema]) -> dict[str, Any]:
    """The OpenAPI document of these routes.

    Raises:
        LookupError: a route under /api was made without a description.
    """
    paths: dict[str, dict[str, Any]] = {}
    for route in routes:
        if not isinstance(route, Route) or not route.path.startswith("/api/"):
            continue
        described = _OPERATIONS.get(route.name)
        if described is None:
            raise LookupError(f"{route.path} is not described: make it with openapi.operation")
        path = re.sub(r"\{(\w+)(:\w+)?\}", r"{\1}", route.path)
        method = route.name.split()[0].lower()
        paths.setdefault(path, {})[method] = _described(route, described, method, path)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "flowlog",
            "version": __version__,
            "description": "What a rig does now and did before. SI units; each name says its unit. "
            "Read-only but for the operator's marks and corrections, which the daemon takes.",
        },
        "paths": paths,
        "components": {"schemas": {"Error": ERROR, **schemas}},
    }


def _described(route: Route, told: Operation, method: str, path: str) -> dict[str, Any]:
    parameters: list[dict[str, Any]] = []
    for name, kind in re.findall(r"\{(\w+)(?::(\w+))?\}", route.path):
        schema = told.path_schemas.get(name) or _KINDS.get(kind or "str", _KINDS["str"])
        parameters.append({"name": name, "in": "path", "required": True, "schema": schema})
    parameters += [
        {
            "name": one.name,
            "in": "query",
            "required": one.required,
            "description": one.text,
            "schema": one.schema,
        }
        for one in told.parameters
    ]
    made: dict[str, Any] = {
        "summary": told.summary,
        "operationId": re.sub(r"\W+", "_", f"{method}{path}").strip("_"),
        "tags": [told.tag],
        "responses": {str(code): _answer(code, *found) for code, found in told.answers.items()},
    }
    if parameters:
        made["parameters"] = parameters
    if told.body is not None:
        made["requestBody"] = {"required": True, "content": {JSON: {"schema": told.body}}}
    return made


def _answer(code: int, media: str, schema: Schema | None) -> dict[str, Any]:
    made: dict[str, Any] = {"description": "Done." if code < 400 else "Not done; says why."}
    if schema is not None or code < 400:
        made["content"] = {media: {"schema": schema or {"type": "string"}}}
    return made


def describe(request: Request) -> Response:
    return JSONResponse(request.app.state.openapi)


ROUTES: Final = [
    operation("/api/openapi.json", describe, "This document.", {"type": "object"}, tag="about")
]
