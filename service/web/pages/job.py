"""A job: what would show, where, and every batch, card and finish behind it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.findings import findings_of
from service.domain.line_making import batch_gap
from service.domain.lookups import (
    cards_of_batch,
    master_in_force,
    verdict_on_batch,
    whereabouts,
)
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Finish, Job, Panel, Policy, Release, Repair
from service.domain.records.spraying import Batch, Coat, Component
from service.use_cases.closing import ReleaseJob
from service.use_cases.job import SetPolicy
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.pages.bench_clocks import ClockShown, clocks_of
from service.web.pages.bench_swatches import swatch_of_card
from service.web.pages.bench_views import (
    Action,
    FindingShown,
    VerdictShown,
    allowed,
    finding_shown,
    person_name,
    verdict_shown,
)
from service.web.pages.job_headline import Headline, headline_of
from service.web.pages.job_map import JointShown, JointWaiting, map_of, shown_joints
from service.web.vehicle_map import VehicleMap

router = APIRouter()
page_rules({("GET", "/jobs/{job_id}"): ANYBODY_HERE})

MOST_FINDINGS = 12
MOST_JOINTS = 20
MOST_BATCHES = 24
MOST_CARDS = 8
MOST_COLOURS = 8

SAVED = {"bake": "The bake is on record.", "finishing": "The step is on record."}
"""What is said after a form was taken, by the word in the address."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchShown:
    """A batch in spray order with its colour and verdict."""

    number: int
    role: str
    href: str
    product: str
    lots: str
    sprayed_at: datetime
    painter: str
    places: str
    card: str
    card_href: str
    slot: str
    gap: str
    is_master: bool
    verdict: VerdictShown | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """One colour of a row, with whose it is."""

    colour: str
    label: str
    out: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourRow:
    """The master of a finish and its last batches, touching, in spray order."""

    finish: str
    swatches: tuple[Named, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CardShown:
    """A card as it hangs."""

    code: str
    slot: str
    finish: str
    href: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishShown:
    """A finish with what it is held to and its master."""

    name: str
    href: str
    kind: str
    colour: str
    policy: Policy | None
    policy_href: str
    master_code: str
    master_href: str
    coats_to_hide: int | None
    ground: str
    clear: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JobPage:
    """The whole of a job, the worst first."""

    frame: Frame
    saved: str
    clocks: tuple[ClockShown, ...]
    job: Job
    opened_at: datetime
    released_at: datetime | None
    repairs: str
    headline: Headline
    findings: tuple[FindingShown, ...]
    findings_left: int
    drawing: VehicleMap | None
    joints: tuple[JointShown, ...]
    joints_left: int
    judged: int
    waiting: tuple[JointWaiting, ...]
    one_batch: int
    colours: tuple[ColourRow, ...]
    batches: tuple[BatchShown, ...]
    batches_left: int
    cards: tuple[CardShown, ...]
    cards_left: int
    finishes: tuple[FinishShown, ...]
    everything_href: str
    actions: tuple[Action, ...]
    office: tuple[Action, ...]


@router.get("/jobs/{job_id}", name="job")
def job(here: Here, job_id: str, show: str = "", saved: str = "") -> Response:
    """The page of a job; ``show=all`` leaves nothing out, ``saved`` says what was put on record."""
    page = job_page(here, here.store.job(job_id), show == "all", SAVED.get(saved, ""))
    return here.render("job.html", page)


def job_page(
    here: PageContext, file: RecordFile, everything: bool = False, saved: str = ""
) -> JobPage:
    """Everything the page shows, read off the job's file."""
    found = findings_of(file)
    joints, waiting, one_batch = shown_joints(here, file)
    batches = sprayed_order(file)
    cards = sorted(file.all(Card), key=lambda c: c.observed_at, reverse=True)
    the_job, releases = file.get(Job, file.chain), file.all(Release)
    most = (len(found), len(joints), len(batches), len(cards))
    if not everything:
        most = (MOST_FINDINGS, MOST_JOINTS, MOST_BATCHES, MOST_CARDS)
    shop = here.store.shop()
    return JobPage(
        frame=here.frame("bench", bench=True),
        saved=saved,
        clocks=tuple(clocks_of(here, file)),
        job=the_job,
        opened_at=the_job.observed_at,
        released_at=releases[-1].observed_at if releases else None,
        repairs=next((repair.damage for repair in file.all(Repair)), ""),
        headline=headline_of(file, found, joints),
        findings=tuple(finding_shown(here, file, f) for f in found[: most[0]]),
        findings_left=max(0, len(found) - most[0]),
        drawing=map_of(here, file, joints, waiting),
        joints=tuple(joints[: most[1]]),
        joints_left=max(0, len(joints) - most[1]),
        judged=len(joints),
        waiting=tuple(waiting[: most[1]]),
        one_batch=one_batch,
        colours=tuple(_colour_rows(file, batches)),
        batches=tuple(_batch_shown(here, file, shop, b) for b in _last(batches, most[2])),
        batches_left=max(0, len(batches) - most[2]),
        cards=tuple(_card_shown(here, file, shop, card) for card in cards[: most[3]]),
        cards_left=max(0, len(cards) - most[3]),
        finishes=tuple(_finish_shown(here, file, finish) for finish in file.all(Finish)),
        everything_href=here.link("job", job_id=file.chain, show="all"),
        actions=_actions(here, file),
        office=_office(here, file),
    )


def sprayed_order(file: RecordFile) -> tuple[Batch, ...]:
    """The batches of a job in spray order: by their first coat, else by their mixing."""
    return file.once(_sprayed_order)


def _sprayed_order(file: RecordFile) -> tuple[Batch, ...]:
    def first(batch: Batch) -> tuple[datetime, int]:
        coats = file.by(Coat, "batch_id", batch.root)
        return min((c.observed_at for c in coats), default=batch.observed_at), batch.number

    return tuple(sorted(file.all(Batch), key=first))


def _last(batches: Sequence[Batch], most: int) -> Sequence[Batch]:
    return batches[-most:] if most else ()


def _colour_rows(file: RecordFile, batches: Sequence[Batch]) -> Iterable[ColourRow]:
    for finish in file.all(Finish):
        master = master_in_force(file, finish.root)
        card = file.find(Card, master.card_id) if master else None
        first = _named(file, card, "Master")
        read: list[Named] = []
        for batch in reversed(batches):
            others = file.by(Card, "batch_id", batch.root)
            if batch.finish_id == finish.root and not (card and card.batch_id == batch.root):
                named = _named(file, others[-1] if others else None, f"Batch {batch.number}")
                read += [named] if named is not None else []
            if len(read) == MOST_COLOURS - 1:
                break
        found = (*([first] if first else []), *reversed(read))
        if found:
            yield ColourRow(finish=finish.name, swatches=found)


def _named(file: RecordFile, card: Card | None, label: str) -> Named | None:
    swatch = swatch_of_card(file, card) if card else None
    return Named(colour=swatch.colour, label=label, out=swatch.out) if swatch else None


def _batch_shown(here: PageContext, file: RecordFile, shop: RecordFile, batch: Batch) -> BatchShown:
    coats = file.by(Coat, "batch_id", batch.root)
    components = file.by(Component, "batch_id", batch.root)
    cards = cards_of_batch(file, batch.root)
    card = cards[0] if cards else None
    verdict = verdict_on_batch(file, batch.root)
    gap = batch_gap(file, batch)
    return BatchShown(
        number=batch.number,
        role=batch.role.value,
        href=here.link("batch", job_id=file.chain, batch_id=batch.root),
        product=_joined(c.product for c in components if c.role in ("base", "mid", "clear"))
        or batch.formula,
        lots=_joined(c.lot for c in components),
        sprayed_at=min((c.observed_at for c in coats), default=batch.observed_at),
        painter=person_name(shop, batch.author_id),
        places=_joined(panel.name for panel in _panels(file, coats)),
        card=card.code if card else "",
        card_href=here.link("card", code=card.code) if card else "",
        slot=whereabouts(file, card).slot if card else "",
        gap=gap,
        is_master=not gap and verdict is None and batch.role.gives_colour,
        verdict=verdict_shown(here, verdict) if verdict else None,
    )


def _panels(file: RecordFile, coats: Iterable[Coat]) -> list[Panel]:
    ids = dict.fromkeys(coat.panel_id for coat in coats if coat.panel_id)
    return [panel for panel in (file.find(Panel, id) for id in ids) if panel is not None]


def _joined(texts: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(text for text in texts if text))


def _card_shown(here: PageContext, file: RecordFile, shop: RecordFile, card: Card) -> CardShown:
    place = whereabouts(file, card)
    batch = file.find(Batch, card.batch_id)
    note = f"Batch {batch.number}" if batch else ""
    if place.place == "out":
        note = f"{note}, out with {person_name(shop, place.holder_id)}"
    elif place.place == "missing":
        note = f"{note}, missing"
    return CardShown(
        code=card.code,
        slot=place.slot if place.place == "in" else "",
        finish=file.get(Finish, card.finish_id).name,
        href=here.link("card", code=card.code),
        note=note,
    )


def _finish_shown(here: PageContext, file: RecordFile, finish: Finish) -> FinishShown:
    policies = file.by(Policy, "finish_id", finish.root)
    master = master_in_force(file, finish.root)
    card = file.find(Card, master.card_id) if master else None
    ids = {"job_id": file.chain, "finish_id": finish.root}
    return FinishShown(
        name=finish.name,
        href=here.link("finish", **ids),
        kind=finish.kind.value,
        colour=_joined((finish.colour_code, finish.colour_name)),
        policy=policies[-1] if policies else None,
        policy_href=here.link("policy_edit", **ids) if here.may(SetPolicy) else "",
        master_code=card.code if card else "",
        master_href=here.link("card", code=card.code) if card else "",
        coats_to_hide=finish.coats_to_hide,
        ground=_joined((finish.ground_coat, finish.ground_shade)),
        clear=finish.clear,
    )


def _actions(here: PageContext, file: RecordFile) -> tuple[Action, ...]:
    """What a painter does next; the first is what the page is for."""
    job_id = file.chain
    has_finish, has_panel = bool(file.all(Finish)), bool(file.all(Panel))
    has_batch = bool(file.all(Batch))
    work = (
        (not has_finish, Action(text="Add its first finish", href="finish_new")),
        (has_finish and not has_panel, Action(text="Add its panels", href="panel_new")),
        (has_finish, Action(text="Mix a batch", href="batch_new")),
        (has_batch, Action(text="Log a bake", href="bake_new")),
        (has_batch, Action(text="Log cutting or polishing", href="finishing_new")),
        (has_finish and has_panel, Action(text="Add panels", href="panel_new")),
        (has_panel, Action(text="Add joints", href="joint_new")),
        (has_finish, Action(text="Add a finish", href="finish_new")),
    )
    return _linked(here, job_id, allowed(work))


def _office(here: PageContext, file: RecordFile) -> tuple[Action, ...]:
    """What is done at the desk."""
    correcting = Action(
        text="Correct the job’s name",
        href=here.link("correct", job_id=file.chain, table="jobs", record_id=file.chain),
    )
    release = here.may(ReleaseJob) and not file.all(Release)
    report = Action(text="Print its report", href=here.link("job_report", job_id=file.chain))
    order = file.get(Job, file.chain).work_order
    labels = Action(text="Print labels of its cards", href=here.link("labels", order=order))
    return (
        report,
        *allowed(((bool(file.all(Card)), labels),)),
        *_linked(
            here,
            file.chain,
            allowed(
                (
                    (release, Action(text="Release the job", href="release_new")),
                    (True, Action(text="Its journal", href="journal")),
                )
            ),
        ),
        correcting,
    )


def _linked(here: PageContext, job_id: str, actions: Iterable[Action]) -> tuple[Action, ...]:
    return tuple(Action(text=a.text, href=here.link(a.href, job_id=job_id)) for a in actions)
