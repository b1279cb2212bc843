"""Accepting what would show: a manager's word, with a reason, on one joint or batch."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.lookups import the_job, verdict_on_batch, verdict_on_joint
from service.domain.record_file import RecordFile
from service.domain.records.job import Job, Joint
from service.domain.records.spraying import Batch
from service.domain.refused import Invalid, Refused
from service.domain.sides import joint_gap, joint_name
from service.use_cases.closing import Accept
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_views import VerdictShown, verdict_shown

router = APIRouter()
_PATH = "/jobs/{job_id}/accept"
page_rules({("GET", _PATH): Accept, ("POST", _PATH): Accept})


@dataclass(frozen=True, slots=True, kw_only=True)
class AcceptPage:
    """What is to be accepted, what was said of it, and the reason asked for."""

    frame: Frame
    form: Form
    job: Job
    job_href: str
    joint_id: str
    batch_id: str
    name: str
    verdict: VerdictShown | None
    back: str


@router.get(_PATH, name="accept_new")
def accept_new(here: Here, job_id: str, joint_id: str = "", batch_id: str = "") -> Response:
    """The form; the address says which joint or batch."""
    file = here.store.job(job_id)
    frame = here.frame("audit")
    back = here.request.query_params.get("back", "")
    return here.render("accept.html", _page(here, file, frame, Form(), joint_id, batch_id, back))


@router.post(_PATH, name="accept_new")
def accept_now(here: Here, form: SentForm, job_id: str) -> Response:
    """Put the word on record; it holds for the verdict that is in force."""
    joint_id, batch_id = form.value("joint_id"), form.value("batch_id")
    try:
        if not form.value("why"):
            raise Invalid("why", "The reason is missing. Say why it may stay as it is.")
        here.perform(form.command(Accept, job_id=job_id))
    except Refused as refusal:
        file = here.store.job(job_id)
        return here.refused(
            form,
            refusal,
            "accept.html",
            lambda frame: _page(here, file, frame, form, joint_id, batch_id, form.value("back")),
            "audit",
        )
    if form.value("back") == "release":
        return here.see_other("release_new", job_id=job_id, saved="accepted")
    if joint_id:
        return here.see_other("joint", job_id=job_id, joint_id=joint_id, saved="accepted")
    return here.see_other("batch", job_id=job_id, batch_id=batch_id)


def _page(
    here: PageContext,
    file: RecordFile,
    frame: Frame,
    form: Form,
    joint_id: str,
    batch_id: str,
    back: str,
) -> AcceptPage:
    if bool(joint_id) == bool(batch_id):
        raise Invalid("joint_id", "Say which joint or batch: start from its own page.")
    if joint_id:
        joint = file.get(Joint, joint_id)
        name = joint_name(file, joint)
        verdict = None if joint_gap(file, joint) else verdict_on_joint(file, joint.root)
    else:
        batch = file.get(Batch, batch_id)
        name, verdict = f"Batch {batch.number}", verdict_on_batch(file, batch.root)
    return AcceptPage(
        frame=frame,
        form=form,
        job=the_job(file),
        job_href=here.link("job", job_id=file.chain),
        joint_id=joint_id,
        batch_id=batch_id,
        name=name,
        verdict=verdict_shown(here, verdict) if verdict is not None else None,
        back=back,
    )
