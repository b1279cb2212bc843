"""A readings file from an instrument: chosen, looked at without storing a number, stored.

The bytes wait under their SHA-256 from the first step on, for a day; the address of a file says
all else: its name, the card one came from, and what was stated because the file does not say it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from service.domain.card_code import read_card_code
from service.domain.records.shop import Instrument
from service.domain.refused import Invalid, Refused
from service.domain.terms import Specular
from service.use_cases.importing import NO_INSTRUMENT, ImportReadings, Stated, store_import
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.files_taken import MOST_BYTES, file_name, in_reading_thread, plan_of
from service.web.forms import Form
from service.web.pages.bench_forms import Filled, Gathering, Kind, in_kept_unit, unit_field
from service.web.pages.bench_reading import OBSERVERS, SPECULAR, STAGES
from service.web.pages.card_photo import FORM_AROUND_BYTES, FormWithFile
from service.web.pages.readings_file_views import UNREGISTERED, file_page

router = APIRouter()
_NEW, _ONE = "/readings/new", "/readings/files/{sha256}"
page_rules(
    {
        ("GET", _NEW): ImportReadings,
        ("POST", _NEW): ImportReadings,
        ("GET", _ONE): ImportReadings,
        ("POST", _ONE): ImportReadings,
    }
)

ANSWERS = ("stage", "illuminant", "observer", "geometry", "specular", "instrument")
TEMPERATURE, READ_AT = "temperature_c", "read_at"
KEPT = ("called", "card", "leave_out", *ANSWERS, TEMPERATURE, unit_field(TEMPERATURE), READ_AT)
"""The fields of an address."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingsFileNewPage:
    """The form that takes a file; ``code`` when one came from a card's page."""

    frame: Frame
    form: Filled
    code: str
    action: str
    most_mib: int


@router.get(_NEW, name="readings_file_new")
def readings_file_new(here: Here, card: str = "") -> Response:
    """The form."""
    page = _new_page(here, here.frame("bench", bench=True), Form(), card)
    return here.render("readings_file_new.html", page)


@router.post(_NEW, name="readings_file_new", max_body_size=MOST_BYTES + FORM_AROUND_BYTES)
async def readings_file_new_now(here: Here, form: FormWithFile, card: str = "") -> Response:
    """Keep the bytes, then show what they hold."""
    return await in_reading_thread(_chosen, here, form, card)


@router.get(_ONE, name="readings_file")
async def readings_file(here: Here, sha256: str) -> Response:
    """What a file would store, or that all of it is stored."""
    return await in_reading_thread(_shown, here, sha256, _asked(here))


@router.post(_ONE, name="readings_file")
async def readings_file_now(here: Here, form: SentForm, sha256: str) -> Response:
    """Put on record what was looked at."""
    return await in_reading_thread(_store, here, form, sha256)


def _chosen(here: PageContext, form: Form, card: str) -> Response:
    try:
        content = form.uploaded("file", MOST_BYTES)
        if not content:
            raise Invalid("file", "No file was chosen. Pick the one the instrument exported.")
        try:
            here.services.read_readings(content)
        except Refused as refusal:
            raise Invalid("file", str(refusal)) from refusal
    except Refused as refusal:
        return _again(here, form, refusal, card)
    sha = here.shop.waiting.put(content)
    name = file_name(form.uploaded_name("file"))
    address = here.link("readings_file", sha256=sha, called=name, card=card)
    return RedirectResponse(address, 303)


def _again(here: PageContext, form: Form, refusal: Refused, card: str) -> Response:
    return here.refused(
        form,
        refusal,
        "readings_file_new.html",
        lambda frame: _new_page(here, frame, form, card),
        "bench",
        bench=True,
    )


def _asked(here: PageContext) -> Form:
    """What the address says beside the file's SHA-256, as the fields of a form."""
    query = here.request.query_params
    given = {name: [query[name]] for name in KEPT if query.get(name)}
    return Form(given, zone=here.zone)


def _shown(here: PageContext, sha256: str, asked: Form, refusal: Refused | None = None) -> Response:
    """The page of a file; 422 where what was stated, or a change meanwhile, stands against it."""
    content = here.shop.waiting.get(sha256)
    if content is None:
        gone = Invalid("file", "The file waits here no longer, only a day. Choose it again.")
        return _again(here, Form({}), gone, asked.value("card"))
    if refusal is not None:
        asked.refuse(refusal)
    try:
        stated, read_at = _stated(here, asked)
    except Refused:
        stated, read_at = Stated(), None
    plan = plan_of(
        here,
        content,
        stated,
        source=asked.value("called"),
        card=asked.value("card") or None,
        fill_gaps=True,
        leave_out_unknown=asked.ticked("leave_out"),
        read_at=read_at,
    )
    wrong = bool(asked.errors)
    frame = here.frame("bench", bench=True, refused=wrong)
    page = file_page(here, frame, asked, plan, sha256)
    return here.render("readings_file.html", page, 422 if wrong else 200)


def _store(here: PageContext, form: Form, sha256: str) -> Response:
    asked = _asked(here)
    content = here.shop.waiting.get(sha256)
    if content is None:
        return _shown(here, sha256, asked)
    try:
        stated, read_at = _stated(here, asked)
        plan = plan_of(
            here,
            content,
            stated,
            source=asked.value("called"),
            card=asked.value("card") or None,
            fill_gaps=True,
            leave_out_unknown=asked.ticked("leave_out"),
            read_at=read_at,
        )
        if not plan.problems and form.value("id") != plan.command.id:
            raise Invalid(
                "file",
                "What this file would store has changed since you looked at it. Look again, "
                "then store it.",
            )
        store_import(here.store, here.person.root, plan, here.acting_as)
    except Refused as refusal:
        return _shown(here, sha256, asked, refusal)
    given = {name: asked.value(name) for name in KEPT}
    return here.see_other("readings_file", sha256=sha256, **given, saved="yes")


def _stated(here: PageContext, asked: Form) -> tuple[Stated, datetime | None]:
    """What was stated on the page, and when it was read; refuses words that are not offered."""
    gathering = Gathering(asked)

    def chosen(name: str, values: tuple[str, ...]) -> str | None:
        text = asked.value(name)
        if text and text not in values:
            raise Invalid(name, f"{text!r} is unknown here. Pick one of: {', '.join(values)}.")
        return text or None

    stage = gathering.take(lambda: chosen("stage", tuple(o.value for o in STAGES)), None)
    observers = tuple(o.value for o in OBSERVERS if o.value)
    observer = gathering.take(lambda: chosen("observer", observers), None)
    speculars = tuple(o.value for o in SPECULAR if o.value)
    specular = gathering.take(lambda: chosen("specular", speculars), None)
    instrument = gathering.take(lambda: _instrument(here, asked.value("instrument")), None)
    temperature = gathering.take(lambda: in_kept_unit(asked, TEMPERATURE, Kind.TEMPERATURE), None)
    read_at = gathering.take(lambda: asked.moment(READ_AT), None)
    gathering.done()
    stated = Stated(
        stage=stage,
        illuminant=asked.value("illuminant") or None,
        observer=int(observer) if observer else None,
        geometry=asked.value("geometry") or None,
        specular=Specular(specular) if specular else None,
        instrument=instrument,
        temperature_c=temperature,
    )
    return stated, read_at


def _instrument(here: PageContext, chosen: str) -> str | None:
    if not chosen:
        return None
    if chosen == UNREGISTERED:
        return NO_INSTRUMENT
    found = here.store.shop().find(Instrument, chosen)
    if found is None:
        raise Invalid("instrument", "That instrument is not registered here. Pick one of these.")
    return found.name


def _new_page(here: PageContext, frame: Frame, form: Form, card: str) -> ReadingsFileNewPage:
    return ReadingsFileNewPage(
        frame=frame,
        form=Filled(form=form),
        code=_code(card),
        action=here.link("readings_file_new", card=card),
        most_mib=MOST_BYTES // 2**20,
    )


def _code(card: str) -> str:
    try:
        return read_card_code(card) if card else ""
    except Invalid:
        return ""
