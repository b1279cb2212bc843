"""A verdict: every number on it, down to each repeat reading it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.lookups import the_job
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Job, Joint, Panel
from service.domain.records.measuring import Master, Reading, Verdict
from service.domain.records.spraying import Batch
from service.domain.sides import joint_name
from service.domain.terms import MasterLevel, Subject
from service.use_cases.closing import JudgeAgain
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.forms import Form
from service.web.pages.bench_views import Action, VerdictShown, person_name, verdict_shown
from service.web.pages.evidence import Evidence, evidence_of
from service.web.pages.figures import Figures, figures_of
from service.web.pages.figures_sides import files_of
from service.web.pages.office import office_frame

router = APIRouter()
page_rules({("GET", "/jobs/{job_id}/verdicts/{verdict_id}"): ANYBODY_HERE})


@dataclass(frozen=True, slots=True, kw_only=True)
class MasterUsed:
    """The approval a batch was judged by."""

    card: str
    card_href: str
    level: MasterLevel
    by: str
    at: datetime
    in_force: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictPage:
    """A verdict with its whole working and its place among those before and after it."""

    frame: Frame
    form: Form
    job: Job
    job_href: str
    what: str
    what_href: str
    shown: VerdictShown
    verdict: Verdict
    by: str
    evidence: Evidence
    figures: Figures | None
    master: MasterUsed | None
    newer: VerdictShown | None
    older: VerdictShown | None
    in_force: VerdictShown | None
    finish_id: str
    actions: tuple[Action, ...]
    may_judge: bool


@router.get("/jobs/{job_id}/verdicts/{verdict_id}", name="verdict")
def verdict(here: Here, job_id: str, verdict_id: str, angle: str = "") -> Response:
    """The page of a verdict, drawn at one angle; without one, at the angle that decided."""
    page = verdict_page(here, here.store.job(job_id), verdict_id, angle)
    return here.render("verdict.html", page)


def verdict_page(
    here: PageContext, file: RecordFile, verdict_id: str, angle: str = ""
) -> VerdictPage:
    """Everything the page shows."""
    found = file.get(Verdict, verdict_id)
    row = _same_question(file, found)
    place = next(i for i, one in enumerate(row) if one.root == found.root)
    what, href, finish_id = _subject(here, file, found)
    last = row[-1]
    evidence = evidence_of(here, file, found)
    return VerdictPage(
        frame=office_frame(here),
        form=Form(),
        job=the_job(file),
        job_href=here.link("job", job_id=file.chain),
        what=what,
        what_href=href,
        shown=verdict_shown(here, found),
        verdict=found,
        by=person_name(here.store.shop(), found.author_id),
        evidence=evidence,
        figures=figures_of(
            here,
            file,
            found,
            evidence.angles,
            [used.reading for used in evidence.readings],
            angle,
            lambda angle: here.link(
                "verdict", job_id=file.chain, verdict_id=found.root, angle=angle
            ),
        ),
        master=_master(here, file, found),
        newer=verdict_shown(here, row[place + 1]) if place + 1 < len(row) else None,
        older=verdict_shown(here, row[place - 1]) if place else None,
        in_force=verdict_shown(here, last) if place + 2 < len(row) else None,
        finish_id=finish_id,
        actions=_actions(here, file, finish_id),
        may_judge=here.may(JudgeAgain) and finish_id != "" and found.subject is not Subject.CAR,
    )


def _same_question(file: RecordFile, verdict: Verdict) -> list[Verdict]:
    """Every verdict on the same batch, joint or place of the car, in order."""
    if verdict.subject is Subject.BATCH:
        return file.by(Verdict, "batch_id", verdict.batch_id)
    if verdict.subject is Subject.JOINT:
        return file.by(Verdict, "joint_id", verdict.joint_id)
    panel = _panel_read(file, verdict)
    return [
        one
        for one in file.by(Verdict, "subject", Subject.CAR)
        if one.root == verdict.root or (panel is not None and _panel_read(file, one) == panel)
    ]


def _panel_read(file: RecordFile, verdict: Verdict) -> str | None:
    """The panel of the car a verdict is about."""
    rows = (file.latest_revision(Reading, id) for id in verdict.reading_ids)
    return next((row.panel_id for row in rows if row is not None and row.panel_id), None)


def _subject(here: PageContext, file: RecordFile, verdict: Verdict) -> tuple[str, str, str]:
    """What it is about, where that is shown, and of which finish it is."""
    if verdict.subject is Subject.BATCH:
        batch = file.latest_revision(Batch, verdict.batch_id or "")
        if batch is None:
            return "A batch", "", ""
        href = here.link("batch", job_id=file.chain, batch_id=batch.root)
        return f"Batch {batch.number}", "" if batch.withdrawn else href, batch.finish_id
    if verdict.subject is Subject.JOINT:
        joint = file.find(Joint, verdict.joint_id)
        if joint is None:
            return "A joint that was withdrawn", "", ""
        href = here.link("joint", job_id=file.chain, joint_id=joint.root)
        finish_id = file.get(Panel, joint.panel_a).finish_id
        return joint_name(file, joint), href, finish_id
    panel = file.find(Panel, _panel_read(file, verdict))
    if panel is None:
        return "The car", "", ""
    return f"The car at the {panel.name[:1].lower()}{panel.name[1:]}", "", panel.finish_id


def _master(here: PageContext, file: RecordFile, verdict: Verdict) -> MasterUsed | None:
    homes = (one for one in files_of(here, file) if one.find(Master, verdict.master_id))
    home = next(homes, None)
    if home is None:
        return None
    master = home.get(Master, verdict.master_id or "")
    card = home.latest_revision(Card, master.card_id)
    return MasterUsed(
        card=card.code if card is not None else "",
        card_href=here.link("card", code=card.code) if card is not None else "",
        level=master.level,
        by=person_name(here.store.shop(), master.author_id),
        at=master.observed_at,
        in_force=home.by(Master, "finish_id", master.finish_id)[-1].root == master.root,
    )


def _actions(here: PageContext, file: RecordFile, finish_id: str) -> tuple[Action, ...]:
    found = [Action(text="The job’s journal", href=here.link("journal", job_id=file.chain))]
    if finish_id:
        href = here.link("finish", job_id=file.chain, finish_id=finish_id)
        found.insert(0, Action(text="The finish it belongs to", href=href))
    return tuple(found)
