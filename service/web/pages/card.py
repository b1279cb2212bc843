"""A card: what it is, where it is, whether its batch blends, and everything read off it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.card_code import read_card_code
from service.domain.lines import CardLine
from service.domain.lookups import (
    master_in_force,
    readings_of_card,
    verdict_on_batch,
    whereabouts,
)
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Photo
from service.domain.records.job import Finish, Job
from service.domain.records.measuring import Master, Verdict
from service.domain.records.spraying import Batch
from service.domain.refused import Invalid
from service.use_cases.cards import AttachPhoto, LogCard
from service.use_cases.closing import ApproveMaster
from service.use_cases.importing import ImportReadings
from service.use_cases.job import OpenJob
from service.use_cases.measuring import LogEyeCheck, LogReading
from service.use_cases.photographs import LogPhotograph
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.forms import Form
from service.web.pages.bench_swatches import SwatchShown
from service.web.pages.bench_views import (
    Action,
    VerdictShown,
    allowed,
    person_name,
    verdict_shown,
)
from service.web.pages.card_drift import CardDrift, card_drifts
from service.web.pages.card_made import Made, made
from service.web.pages.card_readings import (
    BesideMaster,
    EyeShown,
    OwnSpectra,
    ReadingShown,
    beside_master,
    eyes_shown,
    own_spectra,
    readings_shown,
)
from service.web.pages.card_where import Where, where
from service.web.pages.compare import address
from service.web.pages.figures import Figures, figures_on_record
from service.web.pages.figures_sides import files_of
from service.web.pages.job_map import JointShown, shown_joints
from service.web.pages.nearest import nearest_to
from service.web.pages.rack_swatches import swatch_of_line

router = APIRouter()
page_rules({("GET", "/c/{code}"): ANYBODY_HERE, ("GET", "/C/{code}"): ANYBODY_HERE})

MOST_WIDE, MOST_HIGH = 640, 440
SAVED = {
    "pull": "It is signed out to you.",
    "return": "It is back in the rack.",
    "missing": "It is marked missing.",
    "eye": "What you saw is on record, beside the measured verdict.",
    "photo": "The photograph is kept.",
    "photograph": "What the photograph shows is on record, and the cards in it were judged.",
    "again": "It was read again, and what follows says how it kept. The verdict on its batch goes "
    "on resting on its first reading.",
    "master": "It is the master now, and every batch of the finish was judged against it.",
}
"""What is said after a form was taken, by the word in the address."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoShown:
    """A photograph of the card, as it is served: made anew, at most so wide."""

    photo: Photo
    by: str
    src: str
    large: str
    width: int
    height: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CardPage:
    """The whole of a card."""

    frame: Frame
    form: Form
    saved: str
    line: CardLine
    card: Card
    job: Job
    job_href: str
    finish: Finish
    batch: Batch
    batch_href: str
    painter: str
    where: Where
    master: Master | None
    master_code: str
    is_master: bool
    verdict: VerdictShown | None
    other_card: str
    beside: tuple[BesideMaster, ...]
    figures: Figures | None
    spectra: OwnSpectra | None
    asked: bool
    swatch: SwatchShown | None
    joints: tuple[JointShown, ...]
    made: Made
    readings: tuple[ReadingShown, ...]
    drifts: tuple[CardDrift, ...]
    eyes: tuple[EyeShown, ...]
    photos: tuple[PhotoShown, ...]
    actions: tuple[Action, ...]
    swap_href: str
    correct_href: str
    replaces: str
    replaced_by: str
    approved_at: datetime | None


@router.get("/c/{code}", name="card")
def card(here: Here, code: str, saved: str = "", angle: str = "") -> Response:
    """The card under a code, however the code is typed; ``angle`` is the one drawn."""
    line = _found(here, code)
    if line is None:
        return _elsewhere(here, code)
    if code != line.code:
        return here.see_other("card", code=line.code, saved=saved)
    page = card_page(here, line, here.frame("rack"), saved, angle=angle)
    return here.render("card.html", page)


@router.get("/C/{code}", name="card_from_label")
def card_from_label(here: Here, code: str) -> Response:
    """The address as labels carry it, in capitals."""
    return here.see_other("card", code=code)


def _found(here: PageContext, code: str) -> CardLine | None:
    try:
        return here.queries.card_by_code(read_card_code(code))
    except Invalid:
        return None


def _elsewhere(here: PageContext, code: str) -> Response:
    """For a code of no card: a fresh label is logged at the bench, a slip is looked into here."""
    try:
        return here.see_other("bench", code=read_card_code(code))
    except Invalid:
        return here.see_other("rack", text=code)


def card_page(
    here: PageContext,
    line: CardLine,
    frame: Frame,
    saved: str = "",
    form: Form | None = None,
    of: str = "",
    angle: str = "",
) -> CardPage:
    """Everything the page shows, read off the job's file.

    ``saved`` is the word of what was just taken, ``of`` names the form that came back, ``angle``
    is the one to be drawn.
    """
    file = here.store.job(line.job_id)
    card = file.get(Card, line.id)
    shop = here.store.shop()
    batch = file.get(Batch, card.batch_id)
    verdict = verdict_on_batch(file, batch.root)
    master = master_in_force(file, card.finish_id)
    is_master = master is not None and master.card_id == card.root
    own = verdict is not None and verdict.card_id == card.root

    def at_angle(angle: str) -> str:
        return here.link("card", code=card.code, angle=angle)

    figures = figures_on_record(here, file, verdict, angle, at_angle)
    compared = own and figures is not None and figures.spectra is not None
    return CardPage(
        frame=frame,
        form=form or Form(),
        saved=SAVED.get(saved, ""),
        line=line,
        card=card,
        job=file.get(Job, file.chain),
        job_href=here.link("job", job_id=file.chain),
        finish=file.get(Finish, card.finish_id),
        batch=batch,
        batch_href=here.link("batch", job_id=file.chain, batch_id=batch.root),
        painter=person_name(shop, card.author_id),
        where=where(here, file, card, form, of),
        master=master,
        master_code=_code(file, master.card_id) if master else _stored_master(here, file, verdict),
        is_master=is_master,
        verdict=verdict_shown(here, verdict) if verdict and not is_master else None,
        other_card=_code(file, verdict.card_id or "") if verdict and not own else "",
        beside=beside_master(here, file, verdict),
        figures=figures,
        spectra=None if compared else own_spectra(file, card, angle, at_angle),
        asked=angle != "",
        swatch=swatch_of_line(line),
        joints=tuple(j for j in shown_joints(here, file)[0] if card.root in (j.card_a, j.card_b)),
        made=made(here, file, card),
        readings=readings_shown(here, file, card),
        drifts=card_drifts(card, readings_of_card(file, card.root)),
        eyes=eyes_shown(here, file, card),
        photos=_photos(here, file, shop, card),
        actions=_actions(here, file, card),
        swap_href=here.link("photograph_new", job_id=file.chain, card=card.code, swap="yes")
        if saved == "photograph"
        else "",
        correct_href=here.link("correct", job_id=file.chain, table="cards", record_id=card.root),
        replaces=_code(file, card.replaces or ""),
        replaced_by=next((c.code for c in file.by(Card, "replaces", card.root)), ""),
        approved_at=master.observed_at if master and is_master else None,
    )


def _stored_master(here: PageContext, file: RecordFile, verdict: Verdict | None) -> str:
    """The code of the master of the job a repair goes back to, where the batch was held to it."""
    of = verdict.other_card_id or "" if verdict is not None else ""
    return next((code for one in files_of(here, file) if (code := _code(one, of))), "")


def _code(file: RecordFile, card_id: str) -> str:
    card = file.find(Card, card_id)
    return card.code if card is not None else ""


def _photos(
    here: PageContext, file: RecordFile, shop: RecordFile, card: Card
) -> tuple[PhotoShown, ...]:
    photos = sorted(file.by(Photo, "card_id", card.root), key=lambda p: p.observed_at, reverse=True)
    return tuple(_photo(here, shop, photo) for photo in photos)


def _photo(here: PageContext, shop: RecordFile, photo: Photo) -> PhotoShown:
    scale = min(1, MOST_WIDE / photo.width, MOST_HIGH / photo.height)
    width = round(photo.width * scale)
    return PhotoShown(
        photo=photo,
        by=person_name(shop, photo.author_id),
        # Twice as wide as it is laid out, for screens that are twice as fine.
        src=here.link("photo", sha256=photo.sha256, width=max(16, min(photo.width, 2 * width))),
        large=here.link("photo", sha256=photo.sha256),
        width=width,
        height=round(photo.height * scale),
    )


def _actions(here: PageContext, file: RecordFile, card: Card) -> tuple[Action, ...]:
    """What is done next with a card, the likeliest first."""
    code = card.code
    readings = readings_of_card(file, card.root)
    read = bool(readings)
    missing = whereabouts(file, card).place == "missing"
    replace = here.link("card_new", job_id=file.chain, batch_id=card.batch_id)
    actions = [
        (missing and here.may(LogCard), "Spray another in its place", replace),
        (read and here.may(OpenJob), "Start a repair from it", here.link("repair_new", code=code)),
        (here.may(LogReading), "Read it", here.link("reading_new", code=code)),
        (
            here.may(ImportReadings),
            "Take readings from a file",
            here.link("readings_file_new", card=code),
        ),
        (
            here.may(LogPhotograph),
            "Photograph it beside the master",
            here.link("photograph_new", job_id=file.chain, card=code),
        ),
        (here.may(LogEyeCheck), "Log an eye check", here.link("eye_check_new", code=code)),
        (here.may(AttachPhoto), "Add a photograph", here.link("photo_new", code=code)),
        (
            read and here.may(ApproveMaster),
            "Approve it as the master",
            here.link("master_new", code=code),
        ),
        (True, "Lay others beside it", address(here, [code])),
        (read, "Find cards near it", nearest_to(here, readings[-1]) if read else ""),
    ]
    return allowed([(holds, Action(text=text, href=href)) for holds, text, href in actions])
