"""OpenAPI: the bodies and answers of every route, worked out when somebody first asks for it.

FastAPI would work out the whole of it at every start, which takes longer than the rest of
starting does; so its routes are declared without their models, and these are filled in here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import FastAPI
from pydantic import TypeAdapter

from service.domain.findings import Weight
from service.use_cases.sign_in import TOKEN_PREFIX
from service.web.api.answers import Problem
from service.web.api.bodies import adapter_of
from service.web.refusals import PROBLEM_JSON
from service.web.security import COOKIE

SCHEMAS = "#/components/schemas/{model}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Described:
    """What a route takes and answers; ``errors`` are the statuses it may refuse with.

    ``takes_media`` and ``gives_media`` name bodies, beside a ``body`` in JSON where there is one,
    and answers that are not JSON, by their media types.
    """

    answer: Any = None
    body: type[Any] | None = None
    answers: tuple[int, ...] = (200,)
    errors: tuple[int, ...] = (401, 403, 422, 503)
    takes_media: tuple[str, ...] = ()
    gives_media: tuple[str, ...] = ()
    public: bool = False


Descriptions = Mapping[tuple[str, str], Described]
"""By method and path."""

_MEANING = {
    200: "Done",
    201: "On disk",
    401: "Nobody is signed in",
    403: "Not in this role",
    404: "Nothing of that kind here",
    409: "Something stands in the way",
    413: "Too large",
    415: "Not of a kind that is taken",
    422: "Something in it cannot be taken",
    429: "Too many tries",
    503: "Not stored",
}


def describe(app: FastAPI, described: Descriptions) -> None:
    """Let an application's OpenAPI tell what its routes take and answer."""
    made = app.openapi

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            schema = made()
            _fill(schema, described)
            app.openapi_schema = schema
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]


def _fill(schema: dict[str, Any], described: Descriptions) -> None:
    refs, definitions = _schemas(described)
    components = schema.setdefault("components", {})
    components["schemas"] = _of_parameters(schema) | _as_sent(definitions)
    components["securitySchemes"] = {
        "token": {
            "type": "http",
            "scheme": "bearer",
            "description": f"A token of give-token; it begins with {TOKEN_PREFIX}",
        },
        "session": {"type": "apiKey", "in": "cookie", "name": COOKIE},
    }
    schema["security"] = [{"token": []}, {"session": []}]
    for (method, path), one in described.items():
        operation = schema["paths"][path][method.lower()]
        _fill_operation(operation, one, refs)


def _of_parameters(schema: dict[str, Any]) -> dict[str, Any]:
    """The schemas FastAPI made that a parameter refers to: closed sets of words."""
    made = schema["components"].get("schemas", {})
    named = {
        str(parameter["schema"].get("$ref", "")).removeprefix(SCHEMAS.format(model=""))
        for path in schema["paths"].values()
        for operation in path.values()
        for parameter in operation.get("parameters", ())
    }
    return {name: made[name] for name in sorted(named & set(made))}


def _fill_operation(operation: dict[str, Any], one: Described, refs: Mapping[Any, Any]) -> None:
    if one.public:
        operation["security"] = []
    taken: dict[str, Any] = {}
    if one.body is not None:
        taken["application/json"] = {"schema": refs[one.body]}
    taken |= dict.fromkeys(one.takes_media, {"schema": {"type": "string", "format": "binary"}})
    if taken:
        operation["requestBody"] = {"required": True, "content": taken}
    answers: dict[str, Any] = {}
    for status in one.answers:
        if one.gives_media:
            content: dict[str, Any] = {kind: {} for kind in one.gives_media}
        else:
            content = {"application/json": {"schema": refs[_key(one.answer)]}}
        answers[str(status)] = {"description": _MEANING[status], "content": content}
    for status in one.errors:
        problem = {PROBLEM_JSON: {"schema": refs[_key(Problem)]}}
        answers[str(status)] = {"description": _MEANING[status], "content": problem}
    operation["responses"] = answers


def _schemas(described: Descriptions) -> tuple[dict[Any, Any], dict[str, Any]]:
    bodies = {one.body for one in described.values() if one.body is not None}
    answers = {_key(one.answer): one.answer for one in described.values() if one.answer is not None}
    answers[_key(Problem)] = Problem
    inputs: list[tuple[Any, Any, TypeAdapter[Any]]] = [
        *((body, "validation", adapter_of(body)) for body in bodies),
        *((key, "serialization", TypeAdapter(answer)) for key, answer in answers.items()),
    ]
    made, definitions = TypeAdapter.json_schemas(inputs, ref_template=SCHEMAS)
    return {key: schema for (key, _), schema in made.items()}, definitions.get("$defs", {})


def _key(answer: Any) -> str:
    return repr(answer)


def _as_sent(schemas: dict[str, Any]) -> dict[str, Any]:
    """The schemas where ``plain`` sends a record in another form than its fields have."""
    properties = schemas["Verdict"]["properties"]
    properties["evidence"] = {
        "type": "object",
        "title": "Evidence",
        "description": "The whole working: what stood against it, and every angle's figures",
    }
    properties = schemas["PhotoTarget"]["properties"]
    properties["target"] = {
        "type": "object",
        "title": "Target",
        "description": "The target file: patches, windows and markers",
    }
    properties = schemas["Finding"]["properties"]
    properties["weight"] = {"type": "string", "enum": [weight.name.lower() for weight in Weight]}
    properties["stands_against_release"] = {"type": "boolean"}
    return {name: schema for name, schema in schemas.items() if name != Weight.__name__}
