"""Checks a JSON value against a schema of OpenAPI 3.1, so far as this project's schemas go."""

import re
from typing import Any

TYPES: dict[str, tuple[type, ...]] = {
    "string": (str,),
    "integer": (int,),
    "number": (int, float),
    "boolean": (bool,),
    "object": (dict,),
    "array": (list,),
    "null": (type(None),),
}
# RFC 3339, 5.6: date-time.
DATE_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")


class Shapes:
    """The schemas of one OpenAPI document."""

    def __init__(self, document: dict[str, Any]) -> None:
        self.document = document

    def of_answer(self, method: str, path: str, status: int) -> Any:
        """The schema of an answer in JSON."""
        answer = self.document["paths"][path][method]["responses"][str(status)]
        return answer["content"]["application/json"]["schema"]

    def of_body(self, method: str, path: str) -> Any:
        """The schema of a body in JSON."""
        body = self.document["paths"][path][method]["requestBody"]
        return body["content"]["application/json"]["schema"]

    def resolved(self, schema: Any) -> Any:
        """A schema with its reference followed."""
        while "$ref" in schema:
            name = schema["$ref"].rpartition("/")[2]
            schema = self.document["components"]["schemas"][name]
        return schema

    def check(self, value: Any, schema: Any, place: str) -> None:
        """Fail naming the first place where the value has another shape."""
        schema = self.resolved(schema)
        if "anyOf" in schema:
            self._check_any(value, schema["anyOf"], place)
            return
        kind = schema.get("type")
        if kind is not None:
            right = isinstance(value, TYPES[kind])
            if kind in ("integer", "number"):
                right = right and not isinstance(value, bool)
            assert right, f"{place} should be {kind}, got {value!r}"
        if "enum" in schema:
            assert value in schema["enum"], f"{place}: {value!r} is none of {schema['enum']}"
        if schema.get("format") == "date-time":
            assert DATE_TIME.fullmatch(value), f"{place} is no time: {value!r}"
        if kind == "object":
            self._check_object(value, schema, place)
        if kind == "array":
            firsts = schema.get("prefixItems", [])
            for number, item in enumerate(value):
                inner = firsts[number] if number < len(firsts) else schema.get("items", {})
                self.check(item, inner or {}, f"{place}[{number}]")

    def _check_any(self, value: Any, options: list[Any], place: str) -> None:
        wrong = []
        for option in options:
            try:
                self.check(value, option, place)
                return
            except AssertionError as error:
                wrong.append(str(error))
        raise AssertionError("; ".join(wrong))

    def _check_object(self, value: dict[str, Any], schema: Any, place: str) -> None:
        known = schema.get("properties", {})
        for name in schema.get("required", ()):
            assert name in value, f"{place}.{name} is missing"
        for name, inner in value.items():
            more = schema.get("additionalProperties", not known)
            assert name in known or more is not False, f"{place}.{name} is not described"
            described = known.get(name, more if isinstance(more, dict) else {})
            self.check(inner, described, f"{place}.{name}")
