"""A photograph of a card, sent with a form; the bytes are kept as they came."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass
from hashlib import sha256
from typing import Annotated

from fastapi import APIRouter, Depends
from starlette.requests import Request
from starlette.responses import Response

from service.domain.lines import CardLine
from service.domain.refused import Invalid, Refused
from service.use_cases.cards import AttachPhoto
from service.web.access import page_rules
from service.web.api.photos import store_photo
from service.web.context import Frame, Here, PageContext
from service.web.forms import Form, read_form
from service.web.pages.bench_forms import Filled
from service.web.pictures import MOST_BYTES, NotAPhoto

router = APIRouter()
page_rules(
    {
        ("GET", "/c/{code}/photos/new"): AttachPhoto,
        ("POST", "/c/{code}/photos/new"): AttachPhoto,
    }
)

FORM_AROUND_BYTES = 2**16
"""What a form adds to the file it carries: the other fields and the lines between the parts."""


async def form_with_file(request: Request) -> AsyncIterator[Form]:
    """The form that was sent; the file it was kept in meanwhile goes when the answer is made."""
    try:
        yield await read_form(request)
    finally:
        await request.close()


FormWithFile = Annotated[Form, Depends(form_with_file)]


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoNewPage:
    """The form of a photograph."""

    frame: Frame
    form: Filled
    line: CardLine
    most_mib: int


@router.get("/c/{code}/photos/new", name="photo_new")
def photo_new(here: Here, code: str) -> Response:
    """The form."""
    page = _page(here.card(code), here.frame("rack"), Form())
    return here.render("card_photo.html", page)


@router.post("/c/{code}/photos/new", name="photo_new", max_body_size=MOST_BYTES + FORM_AROUND_BYTES)
def photo_new_now(here: Here, form: FormWithFile, code: str) -> Response:
    """Keep the bytes, then put on record whose photograph they are."""
    line = here.card(code)
    try:
        _keep(here, form, line)
    except Refused as refusal:
        return here.refused(
            form, refusal, "card_photo.html", lambda frame: _page(line, frame, form), "rack"
        )
    return here.see_other("card", code=line.code, saved="photo")


def _keep(here: PageContext, form: Form, line: CardLine) -> None:
    content = form.uploaded("photo", MOST_BYTES)
    if not content:
        raise Invalid("photo", "No photograph was chosen. Take one, or pick a file.")
    try:
        stored, _ = store_photo(
            here.shop.photos, here.services.desk, sha256(content).hexdigest(), content
        )
    except NotAPhoto as error:
        raise Invalid("photo", str(error)) from error
    here.perform(
        form.command(
            AttachPhoto,
            job_id=line.job_id,
            card_id=line.id,
            **stored,
        )
    )


def _page(line: CardLine, frame: Frame, form: Form) -> PhotoNewPage:
    return PhotoNewPage(
        frame=frame, form=Filled(form=form), line=line, most_mib=MOST_BYTES // 2**20
    )
