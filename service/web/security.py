"""Who a request comes from, and what every request and answer has to carry.

The rules are those of OWASP ASVS 5.0: sessions are kept on the server and named by an opaque
cookie, requests that change something are refused when another site sent them, and every
answer carries a strict content-security policy.
"""

from __future__ import annotations

import logging
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from hashlib import sha256
from typing import Any, TypeVar

import anyio.to_thread
from anyio import CapacityLimiter
from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection, Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.domain.refused import Refused
from service.use_cases.sign_in import (
    LONGEST,
    NotSignedIn,
    Visitor,
    visitor_by_session,
    visitor_by_token,
)
from service.web.refusals import CrossSite
from service.web.services import services_of

T = TypeVar("T")

logger = logging.getLogger("keepcard")

COOKIE = "keepcard"
SECURE_COOKIE = "__Host-keepcard"
"""Over HTTPS; browsers take a cookie of this prefix only when it is Secure, for the whole host
and set by the host itself (RFC 6265bis, 4.1.3.2)."""

CONTENT_POLICY = (
    "default-src 'self'; object-src 'none'; base-uri 'none'; frame-ancestors 'none'; "
    "form-action 'self'"
)
HEADERS: tuple[tuple[bytes, bytes], ...] = (
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(self), geolocation=(), microphone=()"),
    (b"cache-control", b"no-store"),
)
STRICT_TRANSPORT = (b"strict-transport-security", b"max-age=31536000")

SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
KNOWN_FOR_SECONDS = 1.0
"""How long a token is taken as known without asking the record again. Whatever this process
writes counts at once; only what another machine writes can take so long to be seen."""


_password_threads = CapacityLimiter(2)


def cookie_name(connection: HTTPConnection) -> str:
    """Name of the session cookie, by the scheme the request came by."""
    return SECURE_COOKIE if connection.url.scheme == "https" else COOKIE


def set_session(request: Request, response: Response, token: str) -> None:
    """Give the browser its session."""
    name = cookie_name(request)
    response.set_cookie(
        name,
        token,
        max_age=int(LONGEST.total_seconds()),
        path="/",
        secure=name == SECURE_COOKIE,
        httponly=True,
        samesite="lax",
    )


def clear_session(request: Request, response: Response) -> None:
    """Take the session back from the browser."""
    name = cookie_name(request)
    response.delete_cookie(
        name, path="/", secure=name == SECURE_COOKIE, httponly=True, samesite="lax"
    )


def session_token(connection: HTTPConnection) -> str:
    """The session token a browser sent, empty when it sent none."""
    return connection.cookies.get(cookie_name(connection), "")


@dataclass(slots=True)
class KnownVisitors:
    """Visitors seen within the last second, so that a program's next request asks nothing."""

    _seen: dict[bytes, tuple[float, Visitor]]
    changes: int = 0
    """How often everybody was forgotten."""

    def find(self, key: bytes) -> Visitor | None:
        """The visitor of a token's digest, if it was looked up just now."""
        found = self._seen.get(key)
        if found is None or time.monotonic() > found[0]:
            return None
        return found[1]

    def keep(self, key: bytes, visitor: Visitor, changes: int) -> None:
        """Remember a visitor for a moment, unless something changed while they were looked up."""
        if changes != self.changes:
            return
        if len(self._seen) >= 1024:
            self._seen.clear()
        self._seen[key] = (time.monotonic() + KNOWN_FOR_SECONDS, visitor)

    def forget(self) -> None:
        """Ask the record again: somebody signed out, or the shop's book changed."""
        self.changes += 1
        self._seen.clear()


def known_visitors(connection: HTTPConnection) -> KnownVisitors:
    """Those of the application a request came to."""
    found: KnownVisitors = connection.app.state.known_visitors
    return found


async def visitor_of(request: Request) -> Visitor:
    """Who a request comes from: by its bearer token if it has one, else by its session.

    Raises
    ------
    NotSignedIn
        When neither is there or still holds.
    """
    authorization = request.headers.get("authorization")
    if authorization is not None:
        scheme, _, token = authorization.partition(" ")
        token = token.strip()
        if scheme.lower() != "bearer" or not token:
            raise NotSignedIn("The header Authorization is not understood. Send: Bearer TOKEN.")
    else:
        token = session_token(request)
        if not token:
            raise NotSignedIn
    key = sha256((authorization or token).encode("utf-8", "surrogateescape")).digest()
    known = known_visitors(request)
    visitor = known.find(key)
    if visitor is None:
        changes = known.changes
        visitor = await run_in_threadpool(_looked_up, request, token, authorization is None)
        known.keep(key, visitor, changes)
    return visitor


def _looked_up(request: Request, token: str, is_session: bool) -> Visitor:
    shop = services_of(request).the_shop()
    file = shop.store.shop()
    if is_session:
        visitor = visitor_by_session(file, shop.sessions, token)
        if visitor is None:
            raise NotSignedIn("You are no longer signed in. Sign in again.")
        return visitor
    visitor = visitor_by_token(file, shop.keys, token)
    if visitor is None:
        raise NotSignedIn(
            "The token is unknown, withdrawn or past its end. Ask a manager for a new one."
        )
    return visitor


async def in_password_thread(work: Callable[..., T], *arguments: Any) -> T:
    """Run what hashes passwords in one of two threads of its own.

    A hash takes a tenth of a second; those that serve pages must not wait for it.
    """
    return await anyio.to_thread.run_sync(partial(work, *arguments), limiter=_password_threads)


def client_address(connection: HTTPConnection) -> str:
    """Where a request comes from, as far as the server can tell."""
    return connection.client.host if connection.client else "unknown"


def is_cross_site(scope: Scope) -> bool:
    """Whether another site made a browser send this request (W3C Fetch Metadata).

    ``Sec-Fetch-Site`` decides; a browser too old for it is judged by ``Origin``. A request with
    neither is refused when it carries a session, for any browser of today sends one of them. A
    bearer token exempts: no browser adds one by itself.
    """
    if scope["method"] in SAFE_METHODS:
        return False
    headers: dict[bytes, bytes] = dict(scope["headers"])
    if b"authorization" in headers:
        return False
    site = headers.get(b"sec-fetch-site")
    if site is not None:
        return site not in (b"same-origin", b"none")
    origin = headers.get(b"origin")
    if origin is not None:
        return origin.partition(b"://")[2] != headers.get(b"host")
    cookies = headers.get(b"cookie", b"")
    return COOKIE.encode() in cookies


class Guard:
    """Wraps the application: refuses cross-site requests, adds the headers, hides what broke."""

    def __init__(
        self,
        app: ASGIApp,
        refused: Callable[[Scope, Refused], Response],
        failed: Callable[[Scope, str], Response],
    ) -> None:
        self._app = app
        self._refused = refused
        self._failed = failed

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        started = False

        async def send_guarded(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                message = {**message, "headers": _with_headers(scope, message["headers"])}
            await send(message)

        if is_cross_site(scope):
            await self._refused(scope, CrossSite())(scope, receive, send_guarded)
            return
        try:
            await self._app(scope, receive, send_guarded)
        except Exception:
            reference = secrets.token_hex(4)
            logger.exception("%s %s failed (%s)", scope["method"], scope["path"], reference)
            if started:
                raise
            await self._failed(scope, reference)(scope, receive, send_guarded)


def _with_headers(scope: Scope, headers: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    given = {name for name, _ in headers}
    more = [header for header in HEADERS if header[0] not in given]
    if scope["scheme"] == "https":
        more.append(STRICT_TRANSPORT)
    return [*headers, *more]
