"""The bench: the jobs in hand, the last batch, and a card by its code."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from service.domain.card_code import grouped, read_card_code
from service.domain.lines import BatchLine
from service.domain.lookups import the_job
from service.domain.moment import from_text
from service.domain.refused import Refused
from service.domain.terms import CoatRole, Word
from service.use_cases.importing import ImportReadings
from service.use_cases.job import OpenJob
from service.use_cases.photographs import LogPhotograph
from service.use_cases.queries import BatchFilter, JobSummary
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.forms import Form
from service.web.pages.bench_clocks import ClockShown, clocks_of_jobs
from service.web.pages.bench_forms import Filled

router = APIRouter()
page_rules({("GET", "/bench"): ANYBODY_HERE})

MOST_JOBS = 30
LAST_BATCHES = 8
SHOWN_BATCHES = 4
MOST_SHOWING = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class JobInHand:
    """An open job with how its batches and joints stand."""

    summary: JobSummary
    href: str
    opened_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchInHand:
    """A batch mixed lately, to go on from."""

    line: BatchLine
    job_title: str
    work_order: str
    href: str
    card_href: str
    coat_href: str
    next_href: str
    sprayed_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchPage:
    """Where a painter starts; ``code`` is a label that no card has yet."""

    frame: Frame
    form: Filled
    code: str
    jobs: tuple[JobInHand, ...]
    showing: int
    open_jobs: int
    more_href: str
    batch: BatchInHand | None
    others: tuple[BatchInHand, ...]
    clocks: tuple[ClockShown, ...]
    job_new_href: str
    photograph_href: str
    readings_file_href: str


@router.get("/bench", name="bench")
def bench(here: Here, code: str = "", after: str = "") -> Response:
    """The entrance; with a code, the card under it, or the batches it may be a card of."""
    form = Form({"code": [code]} if code else None)
    fresh = ""
    if code:
        try:
            fresh = read_card_code(code)
            line = here.queries.card_by_code(fresh)
            if line is not None:
                return RedirectResponse(here.link("card", code=line.code), 303)
        except Refused as refusal:
            return here.refused(
                form,
                refusal,
                "bench.html",
                lambda frame: _page(here, frame, form, "", after),
                "bench",
                bench=True,
            )
    return here.render(
        "bench.html", _page(here, here.frame("bench", bench=True), form, fresh, after)
    )


def _page(here: PageContext, frame: Frame, form: Form, code: str, after: str) -> BenchPage:
    page = here.queries.jobs(open_only=True, after=after or None, limit=MOST_JOBS)
    jobs = sorted((_unaccepted(here, one) for one in page.lines), key=_most_shows_first)
    batches = _last_batches(here, code)
    # A card is sprayed from a pot of colour, so one of those is what to go on from.
    colour = next((one for one in batches if one.line.role != CoatRole.CLEAR), None)
    batch = colour or (batches[0] if batches else None)
    return BenchPage(
        frame=frame,
        form=Filled(form=form),
        code=grouped(code) if code else "",
        jobs=tuple(
            JobInHand(
                summary=summary,
                href=here.link("job", job_id=summary.line.id),
                opened_at=from_text(summary.line.opened_at),
            )
            for summary in jobs
        ),
        showing=sum(bool(s.joints_show or s.shows) for s in jobs),
        open_jobs=len(jobs),
        more_href=here.link("bench", after=page.after) if page.after else "",
        batch=batch,
        others=tuple(
            one
            for one in batches[:SHOWN_BATCHES]
            if one is not batch and not (code and one.line.role == CoatRole.CLEAR)
        ),
        clocks=() if code else clocks_of_jobs(here, (one.line.job_id for one in batches)),
        job_new_href=here.link("job_new") if here.may(OpenJob) else "",
        photograph_href=here.link("photograph_start")
        if page.lines and here.may(LogPhotograph)
        else "",
        readings_file_href=here.link("readings_file_new")
        if page.lines and here.may(ImportReadings)
        else "",
    )


def _unaccepted(here: PageContext, summary: JobSummary) -> JobSummary:
    """A job's counts without what somebody accepted as it shows, as the job's own page has them."""
    job_id, joints, batches = summary.line.id, summary.joints_show, summary.shows
    if joints:
        lines = here.queries.joints_of_job(job_id)
        joints -= sum(line.accepted for line in lines if line.word == Word.SHOWS)
    if batches:
        showing = BatchFilter(job_id=job_id, word=Word.SHOWS)
        found = here.queries.batches(showing, limit=min(batches, MOST_SHOWING)).lines
        batches -= sum(line.accepted for line in found)
    return replace(summary, joints_show=joints, shows=batches)


def _most_shows_first(summary: JobSummary) -> tuple[int, int, int]:
    """Jobs that would show first; among equals the order of the list, newest first, stays."""
    return -summary.joints_show, -summary.shows, -(summary.not_comparable + summary.cannot_tell)


def _last_batches(here: PageContext, code: str) -> list[BatchInHand]:
    """The painter's own last batches, else the shop's."""
    own = BatchFilter(painter_id=here.person.root)
    lines = here.queries.batches(own, limit=LAST_BATCHES).lines
    lines = lines or here.queries.batches(BatchFilter(), limit=LAST_BATCHES).lines
    found: list[BatchInHand] = []
    for line in lines:
        job = the_job(here.store.job(line.job_id))
        ids = {"job_id": line.job_id, "batch_id": line.id}
        found.append(
            BatchInHand(
                line=line,
                job_title=job.title,
                work_order=job.work_order,
                href=here.link("batch", **ids),
                card_href=here.link("card_new", code=code, **ids),
                coat_href=here.link("coat_new", **ids),
                next_href=here.link("batch_new", job_id=line.job_id, like=line.id),
                sprayed_at=from_text(line.sprayed_at),
            )
        )
    return found
