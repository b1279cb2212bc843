"""The web application: routes, their checks and their errors, put together for given services."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from typing import Any

from fastapi import APIRouter, Depends, FastAPI
from fastapi.routing import APIRoute
from starlette.middleware import Middleware
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from service.web.access import access_table, check_access
from service.web.api.audit_csv import csv_descriptions, csv_routes
from service.web.api.describing import describe
from service.web.api.due import due_descriptions, due_routes
from service.web.api.photo_readings import photo_reading_descriptions, photo_reading_routes
from service.web.api.photos import photo_descriptions, photo_routes
from service.web.api.readings_files import readings_file_descriptions, readings_file_routes
from service.web.api.reads import read_descriptions, read_routes
from service.web.api.writes import write_descriptions, write_routes
from service.web.errors import answer_failure, answer_refusal, handle_errors
from service.web.pages import page_routers
from service.web.security import Guard, KnownVisitors
from service.web.services import Services
from service.web.templating import STATIC, Links, make_environment

Lifespan = Callable[[FastAPI], AbstractAsyncContextManager[None]]

MOST_BODY_BYTES = 2 * 2**20

ABOUT = """The record of a paint shop's test cards: what was sprayed, whether it blends, where the
card hangs.

Send a token as `Authorization: Bearer TOKEN`. Every change carries an `id`, a UUID you make; the
same id sent again is carried out once and gives the first receipt. Errors are problem documents
(RFC 9457) whose `detail` says what is wrong and what to do. With `Prefer: return=minimal`
(RFC 7240) the answer to a change holds its receipt alone.
"""


def web_app(services: Services, lifespan: Lifespan | None = None) -> FastAPI:
    """The whole application for these services; ``lifespan`` surrounds its running."""
    app = FastAPI(
        title="Keepcard",
        version=services.version,
        description=ABOUT,
        # Their pages would fetch scripts from outside the shop.
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        dependencies=[Depends(check_access)],
        max_body_size=MOST_BODY_BYTES,
        middleware=[Middleware(Guard, refused=answer_refusal, failed=answer_failure)],
        generate_unique_id_function=lambda route: route.name,
        lifespan=lifespan,
    )
    links = Links()
    app.state.services = services
    app.state.known_visitors = KnownVisitors({})
    app.state.links = links
    app.state.templates = make_environment(links)
    app.router.routes[:0] = write_routes()
    for router in (
        read_routes(),
        csv_routes(),
        due_routes(),
        photo_routes(),
        photo_reading_routes(),
        readings_file_routes(),
    ):
        app.include_router(router)
        links.add(routes_of(router))
    for router in page_routers():
        app.include_router(router, include_in_schema=False)
        links.add(routes_of(router))
    app.state.access_table = access_table()
    app.mount("/static", StaticContent(directory=STATIC), name="static")
    handle_errors(app)
    describe(
        app,
        {
            **write_descriptions(),
            **read_descriptions(),
            **csv_descriptions(),
            **due_descriptions(),
            **photo_descriptions(),
            **photo_reading_descriptions(),
            **readings_file_descriptions(),
        },
    )
    return app


def routes_of(router: APIRouter) -> list[APIRoute]:
    """The routes of a router that are its own."""
    return [route for route in router.routes if isinstance(route, APIRoute)]


class StaticContent(StaticFiles):
    """Style sheets and pictures; a link with the digest of its content may be kept for ever."""

    async def get_response(self, path: str, scope: Scope) -> Any:
        response = await super().get_response(path, scope)
        named = scope["query_string"].startswith(b"v=")
        response.headers["Cache-Control"] = (
            "public, max-age=31536000, immutable" if named else "no-cache"
        )
        return response
