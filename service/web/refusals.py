"""Which refusal gets which HTTP status, and how errors look to programs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic_core import to_json
from starlette.responses import Response

from service.domain.refused import Invalid, Refused
from service.use_cases.photo_reading import PhotographRefused
from service.use_cases.sign_in import TooManyTries

# By name, for storage and its siblings cannot be imported here. A class that is not named is
# answered as the nearest of its bases that is.
STATUS: Mapping[str, int] = {
    "Invalid": 422,
    "FormRefused": 422,
    "Unknown": 404,
    "NoAuthority": 404,
    "NotAllowed": 403,
    "AlreadyThere": 409,
    "OutOfOrder": 409,
    "KeyReused": 422,
    "ReadingsRefused": 422,
    "CannotReplay": 422,
    "NotABackup": 422,
    "NotSignedIn": 401,
    "WrongSignIn": 401,
    "TooManyTries": 429,
    "CrossSite": 403,
    "NotInTable": 403,
    "TooLarge": 413,
    "NotJson": 415,
    "NotAPhoto": 415,
    "PhotographRefused": 422,
    "DeskBusy": 503,
    "FilesBusy": 503,
    "NoShopYet": 503,
    "NoShop": 503,
    "NotStored": 503,
    "ReadOnly": 503,
    "Damaged": 503,
    "CannotOpen": 503,
    "FolderInUse": 503,
    "PhotoChanged": 500,
}

# RFC 9110's names; http.HTTPStatus of Python 3.11 still has the older ones.
TITLES: Mapping[int, str] = {
    400: "Bad Request",
    401: "Unauthorized",
    403: "Forbidden",
    404: "Not Found",
    405: "Method Not Allowed",
    409: "Conflict",
    413: "Content Too Large",
    415: "Unsupported Media Type",
    422: "Unprocessable Content",
    429: "Too Many Requests",
    500: "Internal Server Error",
    503: "Service Unavailable",
}

PROBLEM_JSON = "application/problem+json"


class CrossSite(Refused):
    """A page of another site sent this request with the person's cookie."""

    def __init__(self) -> None:
        super().__init__(
            "This request was sent from another site, so it was not carried out. "
            "Open the page here and send it again; a program sends a token instead."
        )


class TooLarge(Refused):
    """A body over its limit."""

    def __init__(self, what: str, limit_bytes: int) -> None:
        super().__init__(f"{what} is larger than {limit_bytes // 2**20} MiB. Send a smaller one.")


class NotJson(Refused):
    """A body that does not say it is JSON."""

    def __init__(self) -> None:
        super().__init__(
            "The body must be JSON. Send it with the header Content-Type: application/json."
        )


def status_of(refusal: Refused) -> int:
    """The HTTP status of a refusal: its own, or that of the nearest base that has one."""
    for kind in type(refusal).__mro__:
        status = STATUS.get(kind.__name__)
        if status is not None:
            return status
    return 400


def headers_of(refusal: Refused) -> dict[str, str]:
    """Headers that go with a refusal."""
    if isinstance(refusal, TooManyTries):
        return {"Retry-After": str(refusal.wait_seconds)}
    if status_of(refusal) == 401:
        # RFC 9110, 15.5.2: a 401 names a scheme.
        return {"WWW-Authenticate": "Bearer"}
    return {}


def problem(
    status: int,
    detail: str,
    *,
    errors: Sequence[Mapping[str, Any]] = (),
    headers: Mapping[str, str] | None = None,
    **more: Any,
) -> Response:
    """An error as RFC 9457 has it; ``errors`` names each field that is wrong."""
    content: dict[str, Any] = {
        "type": "about:blank",
        "title": TITLES.get(status, "Error"),
        "status": status,
        "detail": detail,
        **more,
    }
    if errors:
        content["errors"] = list(errors)
    return Response(to_json(content), status, headers, PROBLEM_JSON)


def problem_of(refusal: Refused) -> Response:
    """A refusal as a problem; its text is shown as it stands."""
    more: dict[str, Any] = {"field": refusal.field} if isinstance(refusal, Invalid) else {}
    if isinstance(refusal, PhotographRefused):
        more["refused"] = refusal.as_json()
    return problem(status_of(refusal), str(refusal), headers=headers_of(refusal), **more)
