"""Photographs over the API: put under the SHA-256 of their bytes, shown only as made anew."""

from __future__ import annotations

import re
from hashlib import sha256 as hash_of
from tempfile import SpooledTemporaryFile
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from service.domain.refused import Invalid, Unknown
from service.use_cases.ports import PhotoFiles, PhotoReader
from service.web.api.answers import StoredPhoto
from service.web.api.describing import Described, Descriptions
from service.web.api.plain import answer
from service.web.api.reads import only_known_parameters
from service.web.context import Here
from service.web.pictures import FORMATS, MOST_BYTES, WIDEST, describe, shown
from service.web.refusals import TooLarge

Sha = Annotated[str, Path(description="SHA-256 of the bytes, 64 hex digits")]
IN_MEMORY = 2**20

PATH = "/api/photos/{sha256}"


def photo_routes() -> APIRouter:
    """Putting and showing."""
    router = APIRouter(tags=["photos"])
    router.add_api_route(
        PATH,
        put_photo,
        methods=["PUT"],
        status_code=201,
        name="put_photo",
        operation_id="put_photo",
        response_model=None,
        max_body_size=MOST_BYTES + 1,
    )
    router.add_api_route(
        PATH,
        get_photo,
        methods=["GET"],
        name="photo",
        operation_id="get_photo",
        response_model=None,
        dependencies=[Depends(only_known_parameters)],
    )
    return router


def photo_descriptions() -> Descriptions:
    """What OpenAPI tells of them."""
    return {
        ("PUT", PATH): Described(
            answer=StoredPhoto,
            answers=(201, 200),
            errors=(401, 403, 413, 415, 422, 503),
            takes_media=tuple(FORMATS.values()),
        ),
        ("GET", PATH): Described(errors=(401, 403, 404, 422, 503), gives_media=("image/jpeg",)),
    }


async def put_photo(request: Request, here: Here, sha256: Sha) -> Response:
    """Store a photograph; the same bytes twice are one. Then attach-photo names it."""
    _check_name(sha256)
    content = await read_body(request)
    stored, fresh = await run_in_threadpool(
        store_photo, here.shop.photos, here.services.desk, sha256, content
    )
    return answer(stored, 201 if fresh else 200)


async def read_body(
    request: Request, what: str = "The photograph", most: int = MOST_BYTES
) -> bytes:
    """The bytes that are sent as the body, a photograph's unless something else is named."""
    # Kept on disk meanwhile: many slow tablets at once must not fill the memory.
    with SpooledTemporaryFile(max_size=IN_MEMORY) as received:
        size = 0
        async for chunk in request.stream():
            size += len(chunk)
            if size > most:
                raise TooLarge(what, most)
            received.write(chunk)
        received.seek(0)
        content: bytes = await run_in_threadpool(received.read)
    return content


def store_photo(
    photos: PhotoFiles, desk: PhotoReader, sha256: str, content: bytes
) -> tuple[StoredPhoto, bool]:
    """Check and store; what attach-photo asks for, and whether it was new."""
    found = hash_of(content).hexdigest()
    if found != sha256:
        raise Invalid(
            "sha256", f"The bytes have the SHA-256 {found}, not {sha256}. Send the file again."
        )
    described = describe(desk, content)
    fresh = not photos.has(found)
    photos.put(content)
    return StoredPhoto(
        sha256=found,
        media_type=described.media_type,
        size_bytes=len(content),
        width=described.width,
        height=described.height,
    ), fresh


def get_photo(
    here: Here, sha256: Sha, width: Annotated[int, Query(ge=16, le=WIDEST)] = 1600
) -> Response:
    """A photograph for the eye: upright, at most so wide, without what the camera noted."""
    _check_name(sha256)
    if not here.shop.photos.has(sha256):
        raise Unknown("photo", sha256)
    picture = shown(here.services.desk, here.shop.photos.get(sha256), width)
    return Response(
        picture,
        media_type="image/jpeg",
        headers={
            # The bytes of a name never change, but only who is signed in may have them.
            "Cache-Control": "private, max-age=600",
            "Vary": "Cookie, Authorization",
            "Content-Security-Policy": "default-src 'none'; sandbox",
            "Content-Disposition": f'inline; filename="{sha256[:12]}.jpg"',
        },
    )


def _check_name(sha256: str) -> None:
    if not re.fullmatch(r"[0-9a-f]{64}", sha256):
        raise Invalid(
            "sha256", f"{sha256[:80]!r} is not a SHA-256. Send 64 hex digits in lower case."
        )
