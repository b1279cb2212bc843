"""Photo sheets and charts in the shop's book: a print with measured patches, or a target file."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.records.shop import Instrument
from service.domain.refused import Invalid, Refused
from service.use_cases.photo_reading import printed_sheet
from service.use_cases.photo_targets import measured_sheet, measured_target
from service.use_cases.shop import RegisterPhotoTarget
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext
from service.web.forms import Form
from service.web.pages.bench_forms import Filled, Option
from service.web.pages.card_photo import FORM_AROUND_BYTES, FormWithFile
from service.web.pages.office import entrance_of, office_frame

router = APIRouter()
_NEW = "/shop/photo-targets/new"
page_rules({("GET", _NEW): RegisterPhotoTarget, ("POST", _NEW): RegisterPhotoTarget})

MOST_BYTES = 2 * 2**20
CHART = "chart"
KINDS = (
    Option("a4", "The sheet, on A4"),
    Option("letter", "The sheet, on Letter"),
    Option(CHART, "A chart", "by its target file"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoTargetNewPage:
    """What was printed or bought, and how its patches were measured."""

    frame: Frame
    form: Filled
    kinds: tuple[Option, ...]
    instruments: tuple[Option, ...]
    sheet_href: str
    file_href: str


@router.get(_NEW, name="photo_target_new")
def photo_target_new(here: Here, print_code: str = "") -> Response:
    """The form."""
    return here.render(
        "shop_book_photo_target.html", _page(here, office_frame(here), Form(), print_code)
    )


@router.post(_NEW, name="photo_target_new", max_body_size=2 * MOST_BYTES + FORM_AROUND_BYTES)
def photo_target_new_now(here: Here, form: FormWithFile) -> Response:
    """Register it."""
    try:
        here.perform(_command(here, form))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "shop_book_photo_target.html",
            lambda frame: _page(here, frame, form),
            entrance_of(here),
        )
    return here.see_other("shop_book", saved="photo_target")


def _command(here: PageContext, form: Form) -> RegisterPhotoTarget:
    kind = form.needed("kind")
    code = form.value("print_code").upper()
    readings = form.uploaded("readings", MOST_BYTES)
    instrument = here.store.shop().find(Instrument, form.value("instrument_id"))
    stated = instrument.standard_uncertainty if instrument else None
    if kind == CHART:
        target = _target_file(form)
        if readings:
            from colour.photo.target import Target

            samples = here.services.read_readings(readings).samples
            target = measured_target(Target.from_json(target), samples, stated)
    else:
        if not code:
            raise Invalid(
                "print_code",
                "The print code is missing. It stands at the foot of a sheet that was printed "
                "with one; a sheet without needs no registering.",
            )
        sheet = printed_sheet(kind, code)
        target = sheet.as_json()
        if readings:
            samples = here.services.read_readings(readings).samples
            target = measured_sheet(sheet, samples, stated)
    return form.command(
        RegisterPhotoTarget,
        target=target,
        print_code=None if kind == CHART else code,
    )


def _target_file(form: Form) -> dict[str, Any]:
    from colour.photo.target import BadTarget, Target

    content = form.uploaded("target", MOST_BYTES)
    if not content:
        raise Invalid("target", "No target file was chosen. Pick the JSON file of the chart.")
    try:
        data = json.loads(content)
        return Target.from_json(data).as_json()
    except (ValueError, RecursionError) as error:
        if isinstance(error, BadTarget):
            raise Invalid("target", str(error)) from error
        raise Invalid(
            "target", "The target file is no JSON. Start from the JSON file of the sheet."
        ) from error


def _page(here: PageContext, frame: Frame, form: Form, print_code: str = "") -> PhotoTargetNewPage:
    return PhotoTargetNewPage(
        frame=frame,
        form=Filled(form=form, start={"kind": "a4", "print_code": print_code}),
        kinds=KINDS,
        instruments=(
            Option("", "Not recorded"),
            *(Option(one.root, one.name) for one in here.store.shop().all(Instrument)),
        ),
        sheet_href=here.link("photo_sheet"),
        file_href=here.link("photo_sheet_file", paper="a4", print_code="0000", form="json"),
    )
