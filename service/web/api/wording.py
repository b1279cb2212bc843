"""What is wrong with a request that does not have the form it must have, in plain words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from starlette.responses import Response

from service.web.refusals import problem

_WANTED = {
    "string": "a text",
    "int": "a whole number",
    "float": "a number",
    "finite_number": "a finite number",
    "bool": "true or false",
    "tuple": "a list",
    "list": "a list",
    "dict": "an object",
    "dataclass": "an object",
    "datetime": "a time with its zone, like 2026-11-25T09:23:04Z",
    "timezone": "a time with its zone, like 2026-11-25T09:23:04Z",
}
_SEND_ID = (
    "id is missing. Send a UUID that you make yourself, for instance a random one; "
    "the same id sent again is carried out once."
)


def malformed(errors: Iterable[Mapping[str, Any]]) -> Response:
    """The answer to a request with these errors of pydantic."""
    found = [_said(error) for error in errors]
    detail = " ".join(error["detail"] for error in found[:5])
    if len(found) > 5:
        detail += f" And {len(found) - 5} more."
    return problem(422, detail, errors=found, field=found[0]["field"])


def _said(error: Mapping[str, Any]) -> dict[str, str]:
    place = [part for part in error["loc"] if part not in ("body", "query", "path")]
    name = _path(place)
    return {"field": name, "detail": _sentence(error, place, name)}


def _sentence(error: Mapping[str, Any], place: Sequence[str | int], name: str) -> str:
    kind: str = error["type"]
    context: Mapping[str, Any] = error.get("ctx", {})
    if kind == "json_invalid":
        return f"The body is no JSON: {context.get('error', 'it ends too early')}. Send one object."
    if not place:
        return "The body is no JSON object. Send one object with the fields of this request."
    if kind == "missing":
        if place == ["id"]:
            return _SEND_ID
        if isinstance(place[-1], int):
            return f"{_path(place[:-1])} is too short: value {place[-1] + 1} is missing. Add it."
        return f"{name} is missing. Send it."
    if kind in ("unexpected_keyword_argument", "extra_forbidden"):
        return f"{name} is no field of this request. Leave it out, or look for a misspelling."
    shown = _shown(error.get("input"))
    if kind == "enum":
        return f"{name} cannot be {shown}. Send one of: {_options(context)}."
    if kind == "too_long":
        return f"{name} has too many values. Send {context.get('max_length')}."
    limit = _limit(kind, context)
    if limit:
        return f"{name} cannot be {shown}. Send a number {limit}."
    wanted = next((text for start, text in _WANTED.items() if kind.startswith(start)), "")
    if not wanted:
        return f"{name} cannot be {shown}. /openapi.json says what it takes."
    return f"{name} cannot be {shown}. Send {wanted}."


def _limit(kind: str, context: Mapping[str, Any]) -> str:
    for key, words in (
        ("ge", "of at least"),
        ("gt", "over"),
        ("le", "of at most"),
        ("lt", "under"),
    ):
        if key in context:
            return f"{words} {context[key]}"
    return ""


def _options(context: Mapping[str, Any]) -> str:
    return str(context.get("expected", "")).replace(" or ", ", ").replace("'", "")


def _path(place: Sequence[str | int]) -> str:
    path = ""
    for part in place:
        path += f"[{part}]" if isinstance(part, int) else f".{part}" if path else str(part)
    return path


def _shown(value: Any) -> str:
    text = repr(value)
    if isinstance(value, str):
        text = f"'{value}'"
    if isinstance(value, (dict, list)):
        text = "an object" if isinstance(value, dict) else "a list"
    return text if len(text) <= 80 else f"{text[:77]}..."
