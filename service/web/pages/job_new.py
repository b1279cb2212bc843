"""Opening a job, and adding the finishes it is sprayed in."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.record_file import RecordFile
from service.domain.records.job import DEFAULT_LIMIT_ORIGIN, EFFECT_ANGLES, Finish, Job
from service.domain.refused import Refused
from service.domain.terms import FinishKind
from service.use_cases.job import AddFinish, OpenJob
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_defaults import newest
from service.web.pages.bench_forms import Filled, Option, Start

router = APIRouter()
page_rules(
    {
        ("GET", "/jobs/new"): OpenJob,
        ("POST", "/jobs/new"): OpenJob,
        ("GET", "/jobs/{job_id}/finishes/new"): AddFinish,
        ("POST", "/jobs/{job_id}/finishes/new"): AddFinish,
    }
)

KINDS = (
    Option(FinishKind.SOLID, "Solid", "one angle"),
    Option(FinishKind.METALLIC, "Metallic", "read at 15°, 45° and 110°"),
    Option(FinishKind.PEARL, "Pearl", "read at 15°, 45° and 110°"),
    Option(FinishKind.TRI_COAT, "Tri-coat", "mid-coats over a ground, three angles"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class JobNewPage:
    """Work order and vehicle."""

    frame: Frame
    form: Filled


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishNewPage:
    """One paint colour system and what it starts out held to."""

    frame: Frame
    form: Filled
    job: Job
    job_href: str
    first: bool
    kinds: tuple[Option, ...]
    effect_angles: tuple[int, ...]
    limit_origin: str


@router.get("/jobs/new", name="job_new")
def job_new(here: Here) -> Response:
    """The form of a job."""
    page = JobNewPage(frame=here.frame("bench", bench=True), form=Filled(form=Form()))
    return here.render("job_new.html", page)


@router.post("/jobs/new", name="job_new")
def job_new_now(here: Here, form: SentForm) -> Response:
    """Open the job, and go on to its first finish."""
    try:
        command = form.command(OpenJob)
        here.perform(command)
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "job_new.html",
            lambda frame: JobNewPage(frame=frame, form=Filled(form=form)),
            "bench",
            bench=True,
        )
    return here.see_other("finish_new", job_id=command.id)


@router.get("/jobs/{job_id}/finishes/new", name="finish_new")
def finish_new(here: Here, job_id: str) -> Response:
    """The form of a finish."""
    page = _finish_page(here, here.store.job(job_id), here.frame("bench", bench=True), Form())
    return here.render("job_finish.html", page)


@router.post("/jobs/{job_id}/finishes/new", name="finish_new")
def finish_new_now(here: Here, form: SentForm, job_id: str) -> Response:
    """Add the finish; the first one leads on to the panels."""
    file = here.store.job(job_id)
    first = not file.all(Finish)
    try:
        command = form.command(AddFinish, job_id=job_id)
        here.perform(command)
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "job_finish.html",
            lambda frame: _finish_page(here, file, frame, form),
            "bench",
            bench=True,
        )
    if first:
        return here.see_other("panel_new", job_id=job_id)
    return here.see_other("job", job_id=job_id)


def _finish_page(here: PageContext, file: RecordFile, frame: Frame, form: Form) -> FinishNewPage:
    model = newest(file.all(Finish))
    start: Start = {"clear": model.clear if model else ""}
    return FinishNewPage(
        frame=frame,
        form=Filled(form=form, start=start),
        job=file.get(Job, file.chain),
        job_href=here.link("job", job_id=file.chain),
        first=model is None,
        kinds=KINDS,
        effect_angles=EFFECT_ANGLES,
        limit_origin=DEFAULT_LIMIT_ORIGIN,
    )
