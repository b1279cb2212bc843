"""A repair: whether the car still matches its stored card, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.beside_car import readings_of_car, readings_of_repair, the_repair
from service.domain.let_down import GROUND_FIRST, BesideSteps, beside_steps, let_down_cards
from service.domain.lookups import master_in_force, readings_of_card
from service.domain.recommendation import Plan, Recommendation, recommend
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Finish, Job, Panel, Release, Repair
from service.domain.records.measuring import Reading, Verdict
from service.domain.records.spraying import Batch
from service.domain.refused import OutOfOrder
from service.domain.terms import Subject
from service.use_cases.closing import ApproveMaster
from service.use_cases.measuring import LogReading
from service.use_cases.spraying import MixBatch
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.pages.bench_views import (
    Action,
    VerdictShown,
    allowed,
    person_name,
    verdict_shown,
)
from service.web.pages.card_made import MixShown, mix_shown
from service.web.pages.nearest import NearHit, near_hits
from service.web.pages.repair_views import CarSeen, car_seen

router = APIRouter()
page_rules({("GET", "/jobs/{job_id}/repair"): ANYBODY_HERE})

NEAR = 6
SAVED = {
    "opened": "The repair is open.",
    "reading": "The reading is on record, and the car was judged by it.",
}
"""What is said after a form was taken, by the word in the address."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelRead:
    """A reading of a panel, of the car as it came in or of the repair."""

    reading: Reading
    panel: str
    by: str
    href: str
    chosen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LetDownShown:
    """The car along the steps of one let-down card."""

    code: str
    href: str
    eye_href: str
    stored: bool
    beside: BesideSteps


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairPage:
    """The whole of a repair, what to do next first."""

    frame: Frame
    saved: str
    job: Job
    job_href: str
    released: Release | None
    repair: Repair
    finish: Finish
    stored_job: Job
    stored_href: str
    recommendation: Recommendation
    seen: CarSeen | None
    stored_mix: MixShown | None
    reads: tuple[PanelRead, ...]
    after: tuple[PanelRead, ...]
    near: tuple[NearHit, ...]
    let_downs: tuple[LetDownShown, ...]
    ground_first: str
    verdicts: tuple[VerdictShown, ...]
    actions: tuple[Action, ...]


@router.get("/jobs/{job_id}/repair", name="repair")
def repair(here: Here, job_id: str, panel: str = "", saved: str = "") -> Response:
    """The page of a repair; ``panel`` picks one of several that were read."""
    page = _page(here, here.store.job(job_id), panel, SAVED.get(saved, ""))
    return here.render("repair.html", page)


class NoRepair(OutOfOrder):
    """A job that repairs nothing."""

    def __init__(self, work_order: str) -> None:
        super().__init__(
            f"The job {work_order} is no repair of a stored finish. "
            "Open the stored card, and start the repair from it."
        )


def repair_of(file: RecordFile) -> Repair:
    """What a job repairs; refuses when it repairs nothing."""
    found = the_repair(file)
    if found is None:
        raise NoRepair(file.get(Job, file.chain).work_order)
    return found


def _page(here: PageContext, file: RecordFile, panel_id: str, saved: str) -> RepairPage:
    repair = repair_of(file)
    stored = here.store.job(repair.stored_job_id)
    seen = car_seen(here, file, repair, panel_id)
    releases = file.all(Release)
    advice = seen.recommendation if seen else recommend(car_was_read=False, stored=None)
    return RepairPage(
        frame=here.frame("rack"),
        saved=saved,
        job=file.get(Job, file.chain),
        job_href=here.link("job", job_id=file.chain),
        released=releases[-1] if releases else None,
        repair=repair,
        finish=stored.get(Finish, repair.stored_finish_id),
        stored_job=stored.get(Job, stored.chain),
        stored_href=here.link("job", job_id=stored.chain),
        recommendation=advice,
        seen=seen,
        stored_mix=_stored_mix(here, stored, seen),
        reads=tuple(_reads(here, file, readings_of_car(file), seen)),
        after=tuple(_reads(here, file, readings_of_repair(file), seen)),
        near=_near(here, file, seen),
        let_downs=tuple(_let_downs(here, file, stored, repair, seen)),
        ground_first=GROUND_FIRST,
        verdicts=tuple(
            verdict_shown(here, verdict)
            for verdict in reversed(file.by(Verdict, "subject", Subject.CAR))
        ),
        actions=_actions(here, file, advice),
    )


def _stored_mix(here: PageContext, stored: RecordFile, seen: CarSeen | None) -> MixShown | None:
    if seen is None or seen.stored is None:
        return None
    cards = stored.by(Card, "code", seen.stored.code)
    return mix_shown(here, stored, stored.get(Batch, cards[0].batch_id))


def _reads(
    here: PageContext, file: RecordFile, readings: Iterable[Reading], seen: CarSeen | None
) -> Iterable[PanelRead]:
    shop = here.store.shop()
    for reading in readings:
        panel_id = reading.panel_id or ""
        yield PanelRead(
            reading=reading,
            panel=file.get(Panel, panel_id).name,
            by=person_name(shop, reading.author_id),
            href=here.link("repair", job_id=file.chain, panel=panel_id),
            chosen=seen is not None and seen.reading.root == reading.root,
        )


def _let_downs(
    here: PageContext, file: RecordFile, stored: RecordFile, repair: Repair, seen: CarSeen | None
) -> Iterable[LetDownShown]:
    """The car beside the let-down cards of this repair, then of the stored finish."""
    if seen is None:
        return
    of_car = seen.panel.finish_id
    for home, finish_id in ((file, of_car), (stored, repair.stored_finish_id)):
        for card in let_down_cards(home, finish_id):
            yield LetDownShown(
                code=card.code,
                href=here.link("card", code=card.code),
                eye_href=here.link("eye_check_new", code=card.code),
                stored=home is stored,
                beside=beside_steps(home, card, seen.reading),
            )


def _near(here: PageContext, file: RecordFile, seen: CarSeen | None) -> tuple[NearHit, ...]:
    """The stored cards of other jobs that lie nearest to the car as it was read."""
    if seen is None:
        return ()
    found = near_hits(here, reading=seen.reading, count=NEAR + len(file.all(Card)))
    return tuple(one for one in found if one.hit.line.job_id != file.chain)[:NEAR]


def _actions(here: PageContext, file: RecordFile, advice: Recommendation) -> tuple[Action, ...]:
    """What is done next, the recommended thing first."""
    ids = {"job_id": file.chain}
    read = Action(text="Read the car", href=here.link("car_reading_new", **ids))
    mix = Action(text="Mix a trial batch", href=here.link("batch_new", **ids))
    may_read, may_mix = here.may(LogReading), here.may(MixBatch)
    rest: tuple[tuple[bool, Action], ...] = ((may_read, read), (may_mix, mix))
    card = file.find(Card, advice.card_id)
    if advice.plan in (Plan.TRIAL, Plan.TINT):
        rest = ((may_mix, mix), (may_read, read))
    elif advice.plan in (Plan.EDGE, Plan.FADE) and card is not None:
        pot = Action(
            text="Mix the pot for the car like it",
            href=here.link("batch_new", like=card.batch_id, **ids),
        )
        approve = Action(
            text="Approve the trial card as the repair’s master",
            href=here.link("master_new", code=card.code),
        )
        unapproved = master_in_force(file, card.finish_id) is None
        may_approve = unapproved and here.may(ApproveMaster)
        rest = ((may_approve, approve), (may_mix, pot), *rest)
    return (*allowed(rest), *_cards_to_come(here, file))


def _cards_to_come(here: PageContext, file: RecordFile) -> Iterable[Action]:
    """What is missing before the newest pot can be held against the car: its card, or a reading."""
    batches = [batch for batch in file.all(Batch) if batch.role.gives_colour]
    if not batches:
        return
    newest = max(batches, key=lambda batch: batch.observed_at)
    cards = file.by(Card, "batch_id", newest.root)
    unread = [card for card in cards if not readings_of_card(file, card.root)]
    if not cards:
        href = here.link("card_new", job_id=file.chain, batch_id=newest.root)
        yield Action(text=f"Spray a trial card of batch {newest.number}", href=href)
    elif unread:
        href = here.link("reading_new", code=unread[0].code)
        yield Action(text=f"Read the card of batch {newest.number}", href=href)
