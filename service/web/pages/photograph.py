"""A photograph of cards on the sheet: taken, read without storing a number, confirmed, logged.

The bytes are kept under their SHA-256 before anything is read, so going on never loses them; the
address of a photograph says all else: the sheet, its corners, and whence one came.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256 as hash_of
from typing import TYPE_CHECKING

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.shop import PhotoTarget
from service.domain.refused import Invalid, Refused, Unknown
from service.use_cases.photo_reading import (
    PhotographRefused,
    corners_from,
    read_photograph,
)
from service.use_cases.photographs import (
    LogPhotograph,
    Lying,
    NewPhotograph,
    as_read,
)
from service.use_cases.queries import JobSummary
from service.web.access import page_rules
from service.web.api.photos import store_photo
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form, FormError, FormRefused
from service.web.pages.bench_forms import Filled, Option
from service.web.pages.card_photo import FORM_AROUND_BYTES, FormWithFile
from service.web.pages.photograph_views import NO_CARD, PhotographPage, photograph_page
from service.web.pictures import MOST_BYTES, NotAPhoto

if TYPE_CHECKING:
    from colour.photo.outcome import PhotoRead, Point

router = APIRouter()
_START, _NEW = "/photographs/new", "/jobs/{job_id}/photographs/new"
_ONE = "/jobs/{job_id}/photographs/{sha256}"
page_rules(
    {
        ("GET", _START): LogPhotograph,
        ("GET", _NEW): LogPhotograph,
        ("POST", _NEW): LogPhotograph,
        ("GET", _ONE): LogPhotograph,
        ("POST", _ONE): LogPhotograph,
    }
)

MOST_JOBS = 30
BY_CODES = "codes"
"""The choice of no sheet; a browser takes an empty one of a field that must be filled for none."""
PAPERS = {"a4": "The plain sheet, A4", "letter": "The plain sheet, Letter"}


@dataclass(frozen=True, slots=True, kw_only=True)
class JobOffered:
    """A job whose cards may be photographed."""

    summary: JobSummary
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotographStartPage:
    """Which job the cards are of."""

    frame: Frame
    jobs: tuple[JobOffered, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotographNewPage:
    """The form that takes a photograph; ``swap`` when the cards are to change places first."""

    frame: Frame
    form: Filled
    job_title: str
    job_href: str
    action: str
    sheets: tuple[Option, ...]
    swap: bool
    most_mib: int
    sheet_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the address of a photograph says beside its name."""

    job_id: str
    sha256: str
    sheet: str = ""
    corners: str = ""
    card: str = ""
    swap: str = ""

    def address(self, here: PageContext) -> str:
        return here.link(
            "photograph",
            job_id=self.job_id,
            sha256=self.sha256,
            sheet="" if self.sheet == BY_CODES else self.sheet,
            corners=self.corners,
            card=self.card,
            swap=self.swap,
        )

    @property
    def paper(self) -> str | None:
        return self.sheet if self.sheet in PAPERS else None

    @property
    def photo_target_id(self) -> str | None:
        return self.sheet if self.sheet not in ("", BY_CODES, *PAPERS) else None

    @property
    def points(self) -> tuple[Point, ...] | None:
        return corners_from(self.corners) if self.corners else None


@router.get(_START, name="photograph_start")
def photograph_start(here: Here) -> Response:
    """The jobs in hand; straight on where there is one."""
    jobs = here.queries.jobs(open_only=True, limit=MOST_JOBS).lines
    if len(jobs) == 1:
        return here.see_other("photograph_new", job_id=jobs[0].line.id)
    offered = tuple(
        JobOffered(summary=one, href=here.link("photograph_new", job_id=one.line.id))
        for one in jobs
    )
    page = PhotographStartPage(frame=here.frame("bench", bench=True), jobs=offered)
    return here.render("photograph_start.html", page)


@router.get(_NEW, name="photograph_new")
def photograph_new(here: Here, job_id: str, card: str = "", swap: str = "") -> Response:
    """The form."""
    file = here.store.job(job_id)
    page = _new_page(here, file, here.frame("bench", bench=True), Form(), card, swap)
    return here.render("photograph_new.html", page)


@router.post(_NEW, name="photograph_new", max_body_size=MOST_BYTES + FORM_AROUND_BYTES)
def photograph_new_now(
    here: Here, form: FormWithFile, job_id: str, card: str = "", swap: str = ""
) -> Response:
    """Keep the bytes, then show what they say."""
    file = here.store.job(job_id)
    try:
        sha = _keep(here, form)
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "photograph_new.html",
            lambda frame: _new_page(here, file, frame, form, card, swap),
            "bench",
            bench=True,
        )
    asked = Asked(job_id=job_id, sha256=sha, sheet=form.value("sheet"), card=card, swap=swap)
    return RedirectResponse(asked.address(here), 303)


@router.get(_ONE, name="photograph")
def photograph(
    here: Here,
    job_id: str,
    sha256: str,
    sheet: str = "",
    corners: str = "",
    card: str = "",
    swap: str = "",
) -> Response:
    """What a kept photograph says, or every reason it says nothing."""
    typed = _typed_corners(here)
    asked = Asked(
        job_id=job_id,
        sha256=sha256,
        sheet=sheet,
        corners=typed or corners,
        card=card,
        swap=swap,
    )
    if typed:
        return RedirectResponse(asked.address(here), 303)
    return _shown(here, asked, Form())


@router.post(_ONE, name="photograph")
def photograph_now(
    here: Here,
    form: SentForm,
    job_id: str,
    sha256: str,
    sheet: str = "",
    corners: str = "",
    card: str = "",
    swap: str = "",
) -> Response:
    """Put the windows that hold a card on record, read again from the stored bytes."""
    asked = Asked(job_id=job_id, sha256=sha256, sheet=sheet, corners=corners, card=card, swap=swap)
    try:
        said = _said(form, asked)
        here.perform(as_read(here.store, here.services.desk, here.shop.photos, said))
    except PhotographRefused:
        return _shown(here, asked, form)
    except Refused as refusal:
        form.refuse(refusal)
        return _shown(here, asked, form)
    return here.see_other("card", code=_judged_code(here, said, card), saved="photograph")


def _keep(here: PageContext, form: Form) -> str:
    content = form.uploaded("photo", MOST_BYTES) or form.uploaded("chosen", MOST_BYTES)
    if not content:
        raise Invalid("photo", "No photograph was chosen. Take one, or pick a file.")
    try:
        stored, _ = store_photo(
            here.shop.photos, here.services.desk, hash_of(content).hexdigest(), content
        )
    except NotAPhoto as error:
        raise Invalid("photo", str(error)) from error
    return stored["sha256"]


def _typed_corners(here: PageContext) -> str:
    """Corners from the four pairs of fields, as the address keeps them; empty when none came."""
    query = here.request.query_params
    if not any(query.get(f"{axis}{n}") for n in range(4) for axis in "xy"):
        return ""
    return " ".join(f"{query.get(f'x{n}', '')},{query.get(f'y{n}', '')}" for n in range(4))


def _said(form: Form, asked: Asked) -> NewPhotograph:
    """Which card lay in which window; windows without a card are left out."""
    lying: list[Lying] = []
    errors: list[FormError] = []
    place = 0
    while window := form.value(f"lying.{place}.window"):
        prefix = f"lying.{place}."
        card_id, _, zone_id = form.value(f"{prefix}card_id").partition("/")
        if card_id and card_id != NO_CARD:
            fixed = {"window": window, "card_id": card_id, "zone_id": zone_id or None}
            temperature = form.number("surface_temperature_c")
            try:
                lying.append(
                    form.read(Lying, prefix, {**fixed, "surface_temperature_c": temperature})
                )
            except FormRefused as refused:
                errors += refused.errors
        place += 1
    if errors:
        raise FormRefused(errors)
    if not lying:
        raise Invalid(
            "lying.0.card_id", "No window holds a card. Say which card lay in which window."
        )
    return form.command(
        NewPhotograph,
        job_id=asked.job_id,
        photo_sha256=asked.sha256,
        lying=tuple(lying),
        photo_target_id=asked.photo_target_id,
        paper=asked.paper,
        corners=asked.points,
    )


def _shown(here: PageContext, asked: Asked, form: Form) -> Response:
    """The page of a photograph, read or refused; 422 when its form was."""
    file = here.store.job(asked.job_id)
    if not _is_name(asked.sha256) or not here.shop.photos.has(asked.sha256):
        raise Unknown("photograph", asked.sha256[:80])
    content = here.shop.photos.get(asked.sha256)
    read: PhotoRead | None = None
    refused: Refused | None = None
    try:
        read = read_photograph(
            here.store.shop(),
            here.services.desk,
            content,
            photo_target_id=asked.photo_target_id,
            paper=asked.paper,
            corners=asked.points,
        )
    except (PhotographRefused, Invalid) as refusal:
        refused = refusal
    wrong = form.sent and (refused is not None or bool(form.errors))
    page: PhotographPage = photograph_page(
        here,
        file,
        here.frame("bench", bench=True, refused=wrong),
        form,
        content=content,
        read=read,
        refused=refused,
        asked={
            "sha256": asked.sha256,
            "sheet": asked.sheet or BY_CODES,
            "corners": asked.corners,
            "card": asked.card,
            "swap": asked.swap,
        },
        sheets=_sheets(here),
        action=asked.address(here),
    )
    return here.render("photograph.html", page, 422 if wrong else 200)


def _is_name(sha: str) -> bool:
    return len(sha) == 64 and all(c in "0123456789abcdef" for c in sha)


def _judged_code(here: PageContext, said: NewPhotograph, came_from: str) -> str:
    """The card whose page shows what came of it: the one one came from, else the first judged."""
    file = here.store.job(said.job_id)
    cards = [file.find(Card, lying.card_id) for lying in said.lying]
    codes = {card.code: lying for card, lying in zip(cards, said.lying, strict=True) if card}
    if came_from in codes:
        return came_from
    judged = [code for code, lying in codes.items() if lying.window != "master"]
    return (judged or list(codes))[0]


def _sheets(here: PageContext) -> tuple[Option, ...]:
    registered = here.store.shop().all(PhotoTarget)
    return (
        Option(BY_CODES, "The one its corner codes tell"),
        *(Option(sheet.root, sheet.name) for sheet in registered),
        *(Option(value, text) for value, text in PAPERS.items()),
    )


def _new_page(
    here: PageContext, file: RecordFile, frame: Frame, form: Form, card: str, swap: str
) -> PhotographNewPage:
    from service.domain.lookups import the_job

    job = the_job(file)
    start: Mapping[str, str] = {"sheet": BY_CODES}
    return PhotographNewPage(
        frame=frame,
        form=Filled(form=form, start=start),
        job_title=f"{job.title}, {job.work_order}",
        job_href=here.link("job", job_id=file.chain),
        action=here.link("photograph_new", job_id=file.chain, card=card, swap=swap),
        sheets=_sheets(here),
        swap=bool(swap),
        most_mib=MOST_BYTES // 2**20,
        sheet_href=here.link("photo_sheet"),
    )
