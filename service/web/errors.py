"""Errors as answers: to a program as a problem, to a person as a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast
from urllib.parse import quote

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import Scope

from service.domain.refused import Refused
from service.use_cases.sign_in import NotSignedIn
from service.web.api.wording import malformed
from service.web.context import Frame, PageContext
from service.web.refusals import headers_of, problem, problem_of, status_of

_FOR_PROGRAMS = ("/api/", "/healthz", "/openapi.json")

_WORDS = {
    400: "The request could not be read. Send it again.",
    404: "There is nothing at this address. Check it, or start from the front page.",
    405: "This address does not take that method. /openapi.json says which it takes.",
    413: "The request is too large. Send less at a time.",
}
_HEADINGS = {
    401: "Nobody is signed in",
    403: "This is not for you to do",
    404: "There is nothing here",
    429: "Wait a moment",
    500: "Something broke here",
    503: "Not just now",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorPage:
    """A page that says what went wrong and what to do."""

    frame: Frame
    heading: str
    text: str


def handle_errors(app: FastAPI) -> None:
    """Give an application its answers to what its routes raise."""
    app.add_exception_handler(Refused, _on_refused)
    app.add_exception_handler(RequestValidationError, _on_malformed)
    app.add_exception_handler(HTTPException, _on_http)


def answer_refusal(scope: Scope, refusal: Refused) -> Response:
    """The answer to a refused request."""
    if _is_for_program(scope):
        return problem_of(refusal)
    if isinstance(refusal, NotSignedIn):
        return _to_sign_in(scope)
    answer = _page(scope, status_of(refusal), str(refusal))
    answer.headers.update(headers_of(refusal))
    return answer


def answer_failure(scope: Scope, reference: str) -> Response:
    """The answer when the program itself failed; it shows a reference and no more."""
    text = (
        f"This is a fault in the program, noted as {reference}. "
        "What was acknowledged before is safe. Try again; if it stays so, report the reference."
    )
    if _is_for_program(scope):
        return problem(500, text, reference=reference)
    try:
        return _page(scope, 500, text)
    except Exception:
        # The page itself may be what failed.
        return Response(text, 500, media_type="text/plain")


async def _on_refused(request: Request, error: Exception) -> Response:
    return answer_refusal(request.scope, cast(Refused, error))


async def _on_malformed(request: Request, error: Exception) -> Response:
    answer = malformed(cast(RequestValidationError, error).errors())
    if _is_for_program(request.scope):
        return answer
    return _page(request.scope, 422, "The address or form has a part that cannot be read. Go back.")


async def _on_http(request: Request, error: Exception) -> Response:
    found = cast(HTTPException, error)
    words = _WORDS.get(found.status_code, str(found.detail))
    if _is_for_program(request.scope):
        return problem(found.status_code, words, headers=found.headers)
    answer = _page(request.scope, found.status_code, words)
    answer.headers.update(found.headers or {})
    return answer


def _is_for_program(scope: Scope) -> bool:
    path: str = scope["path"]
    return path.startswith(_FOR_PROGRAMS)


def _to_sign_in(scope: Scope) -> Response:
    back = scope["path"] if scope["method"] in ("GET", "HEAD") else "/"
    query = scope["query_string"].decode("latin-1")
    target = f"{back}?{query}" if query and back != "/" else back
    where = "/sign-in" if target == "/" else f"/sign-in?next={quote(target, safe='')}"
    return RedirectResponse(where, 303)


def _page(scope: Scope, status: int, text: str) -> Response:
    here = PageContext(Request(scope))
    heading = _HEADINGS.get(status, "That did not work")
    page = ErrorPage(frame=here.frame(), heading=heading, text=text)
    return here.render("error.html", page, status)
