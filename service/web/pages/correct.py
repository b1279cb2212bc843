"""Correcting a record: old and new side by side, with a reason; and the history of every change."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.record_file import RecordFile
from service.domain.records.base import Record
from service.domain.records.job import Job
from service.domain.records.shop import ApiToken, Person
from service.domain.refused import Invalid, Refused, Unknown
from service.use_cases.command import Command, part_id
from service.use_cases.correcting import JOB_KINDS, SHOP_KINDS, Correct, CorrectShop
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_forms import Filled
from service.web.pages.bench_views import Action
from service.web.pages.office import entrance_of, office_frame
from service.web.pages.record_fields import EditedField, changes_in, edited_fields
from service.web.pages.record_history import RevisionShown, revisions_of, shown_revisions
from service.web.pages.record_words import TABLES, Files, belonging_to, name_of

router = APIRouter()
_OF_JOB = "/jobs/{job_id}/correct/{table}/{record_id}"
_OF_SHOP = "/shop/correct/{table}/{record_id}"
_JOB_HISTORY = "/jobs/{job_id}/history/{table}/{record_id}"
_SHOP_HISTORY = "/shop/history/{table}/{record_id}"
page_rules(
    {
        ("GET", _OF_JOB): Correct,
        ("POST", _OF_JOB): Correct,
        ("GET", _OF_SHOP): CorrectShop,
        ("POST", _OF_SHOP): CorrectShop,
        ("GET", _JOB_HISTORY): ANYBODY_HERE,
        ("GET", _SHOP_HISTORY): CorrectShop,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a record stands: its chain, its name, and the pages around it."""

    job_id: str
    table: str
    kind: str
    record: Record
    name: str
    files: Files
    back_href: str
    back: str
    post_href: str
    history_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Belonging:
    """Records of one kind that belong to the one at hand, each with its own form."""

    what: str
    links: tuple[Action, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectPage:
    """Every field with what stands on record and what it may become."""

    frame: Frame
    form: Filled
    place: Place
    fields: tuple[EditedField, ...]
    may_withdraw: bool
    belonging: tuple[Belonging, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryPage:
    """Every revision of a record, newest first."""

    frame: Frame
    saved: bool
    place: Place
    revisions: tuple[RevisionShown, ...]
    correct_href: str


@router.get(_OF_JOB, name="correct")
def correct(here: Here, job_id: str, table: str, record_id: str) -> Response:
    """The form of a record of a job."""
    place = _of_job(here, job_id, table, record_id)
    return here.render("correct.html", _page(here, place, office_frame(here), Form()))


@router.post(_OF_JOB, name="correct")
def correct_now(here: Here, form: SentForm, job_id: str, table: str, record_id: str) -> Response:
    """Put the correction on record, or the withdrawal."""
    return _correct(here, form, _of_job(here, job_id, table, record_id, withdrawn=True))


@router.get(_OF_SHOP, name="correct_shop")
def correct_shop(here: Here, table: str, record_id: str) -> Response:
    """The form of a record of the shop's own book."""
    place = _of_shop(here, table, record_id)
    return here.render("correct.html", _page(here, place, office_frame(here), Form()))


@router.post(_OF_SHOP, name="correct_shop")
def correct_shop_now(here: Here, form: SentForm, table: str, record_id: str) -> Response:
    """Put the correction on record, or the withdrawal."""
    return _correct(here, form, _of_shop(here, table, record_id, withdrawn=True))


@router.get(_JOB_HISTORY, name="history")
def history(here: Here, job_id: str, table: str, record_id: str, saved: str = "") -> Response:
    """Every revision of a record of a job."""
    place = _of_job(here, job_id, table, record_id, withdrawn=True)
    return here.render("history.html", _history(here, place, job_id, saved != ""))


@router.get(_SHOP_HISTORY, name="shop_history")
def shop_history(here: Here, table: str, record_id: str, saved: str = "") -> Response:
    """Every revision of a record of the shop's book."""
    place = _of_shop(here, table, record_id, withdrawn=True)
    return here.render("history.html", _history(here, place, here.store.shop_id, saved != ""))


def _correct(here: PageContext, form: Form, place: Place) -> Response:
    # A form that was sent twice finds its own entry as the newest one.
    if place.record.id != _entry_id(form):
        if place.record.withdrawn:
            raise Unknown(place.kind, place.record.root)
        answer = _correct_once(here, form, place)
        if answer is not None:
            return answer
    ids = {"table": place.table, "record_id": place.record.root, "saved": "corrected"}
    if place.job_id:
        return here.see_other("history", job_id=place.job_id, **ids)
    return here.see_other("shop_history", **ids)


def _correct_once(here: PageContext, form: Form, place: Place) -> Response | None:
    """The page again when the correction is refused; None when it is on record."""
    try:
        here.perform(_command(here, form, place))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "correct.html",
            lambda frame: _page(here, place, frame, form),
            entrance_of(here),
        )
    return None


def _entry_id(form: Form) -> str:
    """The id of the entry; the two buttons of the page make two, should both be pressed."""
    return part_id(form.id, "withdraw") if form.ticked("withdraw") else form.id


def _command(here: PageContext, form: Form, place: Place) -> Command:
    withdraw = form.ticked("withdraw")
    why = form.value("why_withdrawn" if withdraw else "why")
    changes = {} if withdraw else changes_in(form, place.record, here.zone)
    if not withdraw and not changes:
        raise Invalid("main", "Nothing is changed yet. Change a field, or go back.")
    if not why:
        name = "why_withdrawn" if withdraw else "why"
        raise Invalid(name, "The reason is missing. Say why the entry changes.")
    id = _entry_id(form)
    named: dict[str, Any] = {"table": place.table, "record_id": place.record.root, "why": why}
    if place.job_id:
        return Correct(id=id, job_id=place.job_id, changes=changes, withdraw=withdraw, **named)
    return CorrectShop(id=id, changes=changes, withdraw=withdraw, **named)


def _page(here: PageContext, place: Place, frame: Frame, form: Form) -> CorrectPage:
    return CorrectPage(
        frame=frame,
        form=Filled(form=form),
        place=place,
        fields=edited_fields(place.record, place.files, form, here.zone),
        may_withdraw=not isinstance(place.record, Job),
        belonging=tuple(_belonging(here, place)) if place.job_id else (),
    )


def _belonging(here: PageContext, place: Place) -> Iterable[Belonging]:
    """What belongs to the record, so that every entry of a job is reached from the job."""
    for what, records in belonging_to(place.files, place.record, JOB_KINDS.values()):
        links = [
            Action(
                text=name_of(place.files, one),
                href=here.link("correct", job_id=place.job_id, table=one.table, record_id=one.root),
            )
            for one in records
        ]
        yield Belonging(what=what, links=tuple(links))


def _of_job(
    here: PageContext, job_id: str, table: str, record_id: str, withdrawn: bool = False
) -> Place:
    file = here.store.job(job_id)
    kind = JOB_KINDS.get(table)
    record = _find(file, kind, table, record_id, withdrawn)
    files = Files(file, here.store.shop())
    ids = {"table": table, "record_id": record.root}
    return Place(
        job_id=job_id,
        table=table,
        kind=TABLES[table],
        record=record,
        name=name_of(files, record),
        files=files,
        back_href=here.link("job", job_id=job_id),
        back=file.get(Job, job_id).work_order,
        post_href=here.link("correct", job_id=job_id, **ids),
        history_href=here.link("history", job_id=job_id, **ids),
    )


def _of_shop(here: PageContext, table: str, record_id: str, withdrawn: bool = False) -> Place:
    shop = here.store.shop()
    record = _find(shop, SHOP_KINDS.get(table), table, record_id, withdrawn)
    files = Files(shop, shop)
    ids = {"table": table, "record_id": record.root}
    return Place(
        job_id="",
        table=table,
        kind=TABLES[table],
        record=record,
        name=name_of(files, record),
        files=files,
        back_href=here.link("shop_book"),
        back="The shop’s book",
        post_href=here.link("correct_shop", **ids),
        history_href=here.link("shop_history", **ids),
    )


def _find(
    file: RecordFile, kind: type[Record] | None, table: str, record_id: str, withdrawn: bool
) -> Record:
    if kind is None:
        raise Unknown("record that can be corrected under", table)
    if not withdrawn:
        return file.get(kind, record_id)
    record = file.latest_revision(kind, record_id)
    if record is None:
        raise Unknown(TABLES[table], record_id)
    return record


def _history(here: PageContext, place: Place, chain: str, saved: bool) -> HistoryPage:
    shop = here.store.shop()
    revisions = revisions_of(here.queries, chain, place.table, place.record.root)
    ids = {revision.entry.person_id for revision in revisions}
    people = {id: person.name for id in ids if (person := shop.latest_revision(Person, id))}
    open_to = not place.record.withdrawn and not isinstance(place.record, ApiToken)
    may = here.may(Correct if place.job_id else CorrectShop)
    return HistoryPage(
        frame=office_frame(here),
        saved=saved,
        place=place,
        revisions=shown_revisions(revisions, place.files, here.zone, people),
        correct_href=place.post_href if open_to and may else "",
    )
