"""Release: what still stands against a job, and a manager's word that it may leave."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.findings import Finding, Weight, findings_of
from service.domain.lookups import the_job
from service.domain.record_file import RecordFile
from service.domain.records.job import Acceptance, Job, Joint, Release
from service.domain.records.spraying import Batch
from service.domain.refused import Refused
from service.domain.sides import joint_name
from service.use_cases.closing import ReleaseJob
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_views import FindingShown, finding_shown, person_name

router = APIRouter()
_PATH = "/jobs/{job_id}/release"
page_rules({("GET", _PATH): ReleaseJob, ("POST", _PATH): ReleaseJob})


@dataclass(frozen=True, slots=True, kw_only=True)
class Against:
    """A finding that stands against release; ``accept_href`` when it may be accepted by name."""

    finding: FindingShown
    accept_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AcceptedShown:
    """What was accepted, by whom and why."""

    what: str
    by: str
    at: datetime
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleasedShown:
    """By whom and when the job was released."""

    by: str
    at: datetime
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleasePage:
    """What stands against the job, what was accepted, and the form when nothing stands."""

    frame: Frame
    form: Form
    saved: bool
    job: Job
    job_href: str
    against: tuple[Against, ...]
    shows: bool
    notes: tuple[FindingShown, ...]
    accepted: tuple[AcceptedShown, ...]
    released: ReleasedShown | None


@router.get(_PATH, name="release_new")
def release_new(here: Here, job_id: str, saved: str = "") -> Response:
    """The page; the form stands on it once nothing stands against the job."""
    file = here.store.job(job_id)
    return here.render("release.html", _page(here, file, here.frame("audit"), Form(), saved != ""))


@router.post(_PATH, name="release_new")
def release_now(here: Here, form: SentForm, job_id: str) -> Response:
    """Release the job."""
    try:
        here.perform(form.command(ReleaseJob, job_id=job_id))
    except Refused as refusal:
        file = here.store.job(job_id)
        return here.refused(
            form, refusal, "release.html", lambda frame: _page(here, file, frame, form), "audit"
        )
    return here.see_other("job", job_id=job_id)


def _page(
    here: PageContext, file: RecordFile, frame: Frame, form: Form, saved: bool = False
) -> ReleasePage:
    found = findings_of(file)
    shop = here.store.shop()
    releases = file.all(Release)
    against = [one for one in found if one.stands_against_release]
    return ReleasePage(
        frame=frame,
        form=form,
        saved=saved,
        job=the_job(file),
        job_href=here.link("job", job_id=file.chain),
        against=tuple(
            Against(finding=finding_shown(here, file, one), accept_href=_accept(here, file, one))
            for one in against
        ),
        shows=any(one.weight is Weight.SHOWS for one in against),
        notes=tuple(
            finding_shown(here, file, one) for one in found if not one.stands_against_release
        ),
        accepted=tuple(_accepted(file, shop)),
        released=ReleasedShown(
            by=person_name(shop, releases[-1].author_id),
            at=releases[-1].observed_at,
            note=releases[-1].note,
        )
        if releases
        else None,
    )


def _accept(here: PageContext, file: RecordFile, finding: Finding) -> str:
    """Where a joint or batch can be accepted; a missing master, for one, cannot be."""
    if finding.joint_id is None and finding.batch_id is None:
        return ""
    return here.link(
        "accept_new",
        job_id=file.chain,
        joint_id=finding.joint_id,
        batch_id=finding.batch_id if finding.joint_id is None else None,
        back="release",
    )


def _accepted(file: RecordFile, shop: RecordFile) -> Iterable[AcceptedShown]:
    """Every acceptance, the newest first."""
    for word in reversed(file.all(Acceptance)):
        joint, batch = file.find(Joint, word.joint_id), file.find(Batch, word.batch_id)
        if joint is None and batch is None:
            continue
        yield AcceptedShown(
            what=joint_name(file, joint) if joint is not None else f"Batch {batch.number}",  # type: ignore[union-attr]
            by=person_name(shop, word.author_id),
            at=word.observed_at,
            why=word.why,
        )
