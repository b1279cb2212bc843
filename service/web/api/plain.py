"""Records and answers as plain JSON values."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime
from enum import Enum
from typing import Any

from pydantic_core import to_json
from starlette.responses import Response

from service.domain.findings import Finding
from service.domain.moment import as_text
from service.domain.records.measuring import Frame, Verdict
from service.domain.records.shop import ApiToken, Credential, PhotoTarget

HIDDEN = {Credential: {"password_hash"}, ApiToken: {"token_hash"}}
"""Fields that never leave the service."""


def plain(value: Any) -> Any:
    """A value as JSON has it: times as ISO 8601 in UTC, words as text, tuples as lists.

    A number that is not finite becomes null.
    """
    if value is None or type(value) in (str, int, bool):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, datetime):
        return as_text(value)
    if isinstance(value, Finding):
        return _finding(value)
    if is_dataclass(value) and not isinstance(value, type):
        return _record(value)
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return {str(key): plain(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(inner) for inner in value]
    raise TypeError(f"{value!r} has no form in JSON")


def answer(value: Any, status: int = 200) -> Response:
    """A JSON response."""
    return Response(to_json(plain(value)), status, media_type="application/json")


def _record(value: Any) -> dict[str, Any]:
    found = {name: plain(getattr(value, name)) for name in _names(type(value))}
    if isinstance(value, (Verdict, Frame)):
        found["evidence"] = json.loads(value.evidence)
    if isinstance(value, PhotoTarget):
        found["target"] = json.loads(value.target)
    return found


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        **_record(finding),
        "weight": finding.weight.name.lower(),
        "stands_against_release": finding.stands_against_release,
    }


_NAMES: dict[type[Any], tuple[str, ...]] = {}


def _names(kind: type[Any]) -> tuple[str, ...]:
    names = _NAMES.get(kind)
    if names is None:
        hidden = HIDDEN.get(kind, set())
        names = tuple(field.name for field in fields(kind) if field.name not in hidden)
        _NAMES[kind] = names
    return names
