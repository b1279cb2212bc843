"""Reading a photograph without storing anything: what lies in each window of its sheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import TypeAdapter, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from service.domain.refused import Invalid
from service.use_cases.photo_reading import (
    cards_offered,
    corners_from,
    judge_windows,
    read_as_json,
    read_photograph,
)
from service.web.api.answers import PhotoReading
from service.web.api.bodies import adapter_of
from service.web.api.describing import Described, Descriptions
from service.web.api.photos import read_body
from service.web.api.plain import answer
from service.web.api.wording import malformed
from service.web.api.writes import is_json
from service.web.context import Here, PageContext
from service.web.pictures import FORMATS, MOST_BYTES

PATH = "/api/photo-readings"
MOST_JSON = 2 * 2**20

Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoQuestion:
    """A stored photograph, by its SHA-256, and what lies in its frame.

    Without a target the sheet is known by its codes: registered prints by their own values.
    `target` is any target file; `photo_target_id` a registered one. `corners` are the target's
    top left, top right, bottom right and bottom left in the upright photograph, in pixels.
    """

    photo_sha256: str
    target: dict[str, Any] | None = None
    photo_target_id: str | None = None
    corners: tuple[Point, ...] | None = None
    limit: float = field(default=0.8)
    risk: float = field(default=0.05)


def photo_reading_routes() -> APIRouter:
    """The one of them."""
    router = APIRouter(tags=["photos"])
    router.add_api_route(
        PATH,
        read_photo,
        methods=["POST"],
        name="read_photo",
        operation_id="read_photo",
        response_model=None,
        max_body_size=MOST_BYTES + 1,
    )
    return router


def photo_reading_descriptions() -> Descriptions:
    """What OpenAPI tells of them."""
    return {
        ("POST", PATH): Described(
            answer=PhotoReading,
            body=PhotoQuestion,
            errors=(401, 403, 404, 413, 415, 422, 503),
            takes_media=tuple(FORMATS.values()),
        )
    }


_questions: list[TypeAdapter[Any]] = []


async def read_photo(
    request: Request,
    here: Here,
    photo_target_id: Annotated[str | None, Query(description="A registered sheet")] = None,
    corners: Annotated[str | None, Query(description="x,y x,y x,y x,y in pixels")] = None,
    limit: Annotated[float, Query(gt=0, le=20)] = 0.8,
    risk: Annotated[float, Query(gt=0, lt=0.5)] = 0.05,
) -> Response:
    """Read a photograph and store nothing.

    Send the photograph's own bytes, with the rest as query parameters, or JSON that names one
    that is stored already. A photograph that cannot be trusted is answered with 422 and every
    reason under `refused`.
    """
    if not is_json(request.headers.get("content-type", "")):
        content = await read_body(request)
        asked = PhotoQuestion(
            photo_sha256="",
            photo_target_id=photo_target_id,
            corners=corners_from(corners) if corners else None,
            limit=limit,
            risk=risk,
        )
        return answer(await run_in_threadpool(_read, here, content, asked))
    if not _questions:
        _questions.append(adapter_of(PhotoQuestion))
    try:
        asked = _questions[0].validate_json(await read_body(request, "The question", MOST_JSON))
    except ValidationError as error:
        return malformed(error.errors(include_url=False))
    return answer(await run_in_threadpool(_read_stored, here, asked))


def _read_stored(here: PageContext, asked: PhotoQuestion) -> Mapping[str, Any]:
    if not here.shop.photos.has(asked.photo_sha256):
        raise Invalid(
            "photo_sha256",
            f"No photograph is stored as {asked.photo_sha256[:80]!r}. Send the file first.",
        )
    return _read(here, here.shop.photos.get(asked.photo_sha256), asked)


def _read(here: PageContext, content: bytes, asked: PhotoQuestion) -> Mapping[str, Any]:
    from colour.photo.target import BadTarget, Target

    if not 0 < asked.limit <= 20:
        raise Invalid("limit", f"The limit cannot be {asked.limit:g}. Give one above 0, up to 20.")
    if not 0 < asked.risk < 0.5:
        raise Invalid("risk", f"The risk cannot be {asked.risk:g}. Give one between 0 and 0.5.")
    try:
        target = None if asked.target is None else Target.from_json(asked.target)
    except BadTarget as error:
        raise Invalid("target", str(error)) from error
    read = read_photograph(
        here.store.shop(),
        here.services.desk,
        content,
        photo_target_id=asked.photo_target_id,
        target=target,
        corners=asked.corners,
    )
    return {
        **read_as_json(read, judge_windows(read, limit=asked.limit, risk=asked.risk)),
        "offered": cards_offered(here.place_of_code, read),
    }
