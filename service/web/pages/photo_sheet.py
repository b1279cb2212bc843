"""The photo sheet to print: on either paper, plain or with a code of its own to register it by."""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.card_code import CARD_ALPHABET
from service.domain.records.shop import (
    PLAIN_PRINT,
    PRINT_CODE_LENGTH,
    PhotoTarget,
    check_print_code,
)
from service.domain.refused import Unknown
from service.use_cases.photo_reading import printed_sheet
from service.use_cases.shop import RegisterPhotoTarget
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.pages.bench_views import Action

if TYPE_CHECKING:
    from colour.photo.target import Target

router = APIRouter()
_PAGE, _FILE = "/photo-sheet", "/photo-sheet/{paper}/{print_code}.{form}"
page_rules({("GET", _PAGE): ANYBODY_HERE, ("GET", _FILE): ANYBODY_HERE})

PAPERS = {"a4": "A4", "letter": "Letter"}
MEDIA_TYPES = {
    "pdf": "application/pdf",
    "png": "image/png",
    "svg": "image/svg+xml",
    "json": "application/json",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetOffered:
    """One paper: the files of a plain print, and of one with a code of its own."""

    paper: str
    plain: tuple[Action, ...]
    coded: tuple[Action, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoSheetPage:
    """The sheet in every form; ``print_code`` is a fresh one that nobody registered."""

    frame: Frame
    sheets: tuple[SheetOffered, ...]
    print_code: str
    register_href: str
    photograph_href: str


@router.get(_PAGE, name="photo_sheet")
def photo_sheet(here: Here) -> Response:
    """The page."""
    code = _fresh_code(here)
    page = PhotoSheetPage(
        frame=here.frame("bench", bench=True),
        sheets=tuple(
            SheetOffered(
                paper=name,
                plain=_files(here, paper, PLAIN_PRINT),
                coded=_files(here, paper, code),
            )
            for paper, name in PAPERS.items()
        ),
        print_code=code,
        register_href=here.link("photo_target_new", print_code=code)
        if here.may(RegisterPhotoTarget)
        else "",
        photograph_href=here.link("photograph_start"),
    )
    return here.render("photo_sheet.html", page)


@router.get(_FILE, name="photo_sheet_file")
def photo_sheet_file(here: Here, paper: str, print_code: str, form: str) -> Response:
    """One file of it."""
    if paper not in PAPERS or form not in MEDIA_TYPES:
        raise Unknown("photo sheet", f"{paper[:20]}.{form[:20]}")
    if print_code != PLAIN_PRINT:
        check_print_code(print_code)
    target = printed_sheet(paper, print_code)
    name = f"photo-sheet-{paper}" + ("" if print_code == PLAIN_PRINT else f"-{print_code}")
    return Response(
        _content(here, target, form),
        media_type=MEDIA_TYPES[form],
        headers={
            "Content-Disposition": f'attachment; filename="{name}.{form}"',
            # An SVG opened by itself would be a page of this site.
            "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; sandbox",
        },
    )


def _content(here: PageContext, target: Target, form: str) -> bytes:
    if form == "json":
        return json.dumps(target.as_json(), indent=1, ensure_ascii=False).encode()
    sheets = here.services.sheets
    return {"pdf": sheets.pdf, "png": sheets.png, "svg": sheets.svg}[form](target)


def _files(here: PageContext, paper: str, code: str) -> tuple[Action, ...]:
    return tuple(
        Action(
            text=form.upper(),
            href=here.link("photo_sheet_file", paper=paper, print_code=code, form=form),
        )
        for form in ("pdf", "png", "svg")
    )


def _fresh_code(here: PageContext) -> str:
    taken = {sheet.print_code for sheet in here.store.shop().all(PhotoTarget)} | {PLAIN_PRINT}
    while True:
        code = "".join(secrets.choice(CARD_ALPHABET) for _ in range(PRINT_CODE_LENGTH))
        if code not in taken:
            return code
