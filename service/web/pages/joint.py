"""A joint: what stands for its two sides, whether it would show, and who accepted it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.lookups import policy_in_force, readings_of_card, the_job, whereabouts
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Acceptance, Finish, Job, Joint, Panel
from service.domain.records.measuring import EyeCheck, Reading, Verdict
from service.domain.records.spraying import Batch
from service.domain.sides import Side, joint_gap, joint_name, place_name, side_at
from service.domain.terms import EyeWord, Look, Word
from service.use_cases.closing import Accept, JudgeAgain
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.forms import Form
from service.web.pages.bench_swatches import SwatchShown, swatch_of_reading
from service.web.pages.bench_views import VerdictShown, person_name, verdict_shown
from service.web.pages.evidence import ReasonShown, reasons_of
from service.web.pages.figures import Figures, figures_on_record
from service.web.pages.office import office_frame

router = APIRouter()
page_rules({("GET", "/jobs/{job_id}/joints/{joint_id}"): ANYBODY_HERE})


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatsOfOne:
    """Coats of one role from one batch, lying on each other."""

    role: str
    count: int
    number: int
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SideShown:
    """One side: where, its stack from the top down, and the card that stands for it."""

    name: str
    stack: tuple[CoatsOfOne, ...]
    why: str
    remedy: str
    card: str
    card_href: str
    slot: str
    finish: str
    batch: int | None
    read: Reading | None
    swatch: SwatchShown | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AcceptanceShown:
    """Who accepted it, when and why; ``holds`` when it is about the verdict in force."""

    by: str
    at: datetime
    why: str
    holds: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class EyeShown:
    """What a person saw, holding one of the two cards against the other."""

    by: str
    at: datetime
    look: Look
    light: str
    word: EyeWord
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JointPage:
    """The whole of a joint."""

    frame: Frame
    form: Form
    saved: bool
    job: Job
    job_href: str
    joint: Joint
    name: str
    gap: str
    limit: float
    limit_origin: str
    verdict: VerdictShown | None
    figures: Figures | None
    reasons: tuple[ReasonShown, ...]
    sides: tuple[SideShown, SideShown]
    acceptances: tuple[AcceptanceShown, ...]
    accepted: bool
    eyes: tuple[EyeShown, ...]
    history: tuple[VerdictShown, ...]
    finish_id: str
    finish_href: str
    correct_href: str
    accept_href: str
    may_accept: bool
    may_judge: bool


@router.get("/jobs/{job_id}/joints/{joint_id}", name="joint")
def joint(here: Here, job_id: str, joint_id: str, saved: str = "", angle: str = "") -> Response:
    """The page of a joint; ``saved`` says that it was just accepted, ``angle`` what is drawn."""
    page = joint_page(here, here.store.job(job_id), joint_id, saved == "accepted", angle)
    return here.render("joint.html", page)


def joint_page(
    here: PageContext, file: RecordFile, joint_id: str, saved: bool, angle: str = ""
) -> JointPage:
    """Everything the page shows, read off the job's file."""
    joint = file.get(Joint, joint_id)
    finish = file.get(Finish, file.get(Panel, joint.panel_a).finish_id)
    policy = policy_in_force(file, finish.root)
    gap = joint_gap(file, joint)
    verdicts = file.by(Verdict, "joint_id", joint.root)
    verdict = verdicts[-1] if verdicts and not gap else None
    sides = (
        side_at(file, joint.panel_a, joint.area_a),
        side_at(file, joint.panel_b, joint.area_b),
    )
    words = _acceptances(here, file, joint, verdict)
    accepted = any(word.holds for word in words)
    settled = gap in ("one_stack", "two_finishes")
    open_question = not settled and (verdict is None or verdict.word is not Word.BLENDS)
    earlier = verdicts[:-1] if verdict is not None else verdicts
    return JointPage(
        frame=office_frame(here),
        form=Form(),
        saved=saved,
        job=the_job(file),
        job_href=here.link("job", job_id=file.chain),
        joint=joint,
        name=joint_name(file, joint),
        gap=gap,
        limit=policy.limit(joint.kind),
        limit_origin=policy.limit_origin,
        verdict=verdict_shown(here, verdict) if verdict is not None else None,
        figures=figures_on_record(
            here,
            file,
            verdict,
            angle,
            lambda angle: here.link("joint", job_id=file.chain, joint_id=joint.root, angle=angle),
        ),
        reasons=reasons_of(verdict) if verdict is not None else (),
        sides=(
            _side(here, file, sides[0], verdict, 0),
            _side(here, file, sides[1], verdict, 1),
        ),
        acceptances=words,
        accepted=accepted,
        eyes=_eyes(here, file, [side.card_id for side in sides]),
        history=tuple(verdict_shown(here, one) for one in reversed(earlier)),
        finish_id=finish.root,
        finish_href=here.link("finish", job_id=file.chain, finish_id=finish.root),
        correct_href=here.link("correct", job_id=file.chain, table="joints", record_id=joint.root),
        accept_href=here.link("accept_new", job_id=file.chain),
        may_accept=here.may(Accept) and open_question and not accepted,
        may_judge=here.may(JudgeAgain) and not settled,
    )


def _side(
    here: PageContext, file: RecordFile, side: Side, verdict: Verdict | None, which: int
) -> SideShown:
    card = file.find(Card, side.card_id)
    batch = file.find(Batch, card.batch_id) if card is not None else None
    read = _read(file, side, verdict)
    angle = verdict.angle if verdict is not None else None
    return SideShown(
        name=place_name(file, side.panel_id, side.area_id),
        stack=tuple(_stack(here, file, side)),
        why=side.why,
        remedy=side.remedy,
        card=card.code if card is not None else "",
        card_href=here.link("card", code=card.code) if card is not None else "",
        slot=_slot(file, card) if card is not None else "",
        finish=file.get(Finish, card.finish_id).name if card is not None else "",
        batch=batch.number if batch is not None else None,
        read=read,
        swatch=swatch_of_reading(read, angle) if read is not None else None,
    )


def _slot(file: RecordFile, card: Card) -> str:
    place = whereabouts(file, card)
    return place.slot if place.place == "in" else ""


def _read(file: RecordFile, side: Side, verdict: Verdict | None) -> Reading | None:
    """The newest reading of a side's card, of those the verdict rests on if there is one."""
    if side.card_id is None:
        return None
    readings = readings_of_card(file, side.card_id)
    used = [one for one in readings if verdict is not None and one.root in verdict.reading_ids]
    return next(reversed(used or readings), None)


def _stack(here: PageContext, file: RecordFile, side: Side) -> list[CoatsOfOne]:
    """The coats, the last one first, as one sees them."""
    found = []
    for (role, batch_id), coats in groupby(reversed(side.stack)):
        batch = file.get(Batch, batch_id)
        found.append(
            CoatsOfOne(
                role=role.value,
                count=len(list(coats)),
                number=batch.number,
                href=here.link("batch", job_id=file.chain, batch_id=batch.root),
            )
        )
    return found


def _acceptances(
    here: PageContext, file: RecordFile, joint: Joint, verdict: Verdict | None
) -> tuple[AcceptanceShown, ...]:
    """Every word that accepted the joint, the newest first."""
    shop = here.store.shop()
    wanted = verdict.root if verdict is not None else None
    return tuple(
        AcceptanceShown(
            by=person_name(shop, word.author_id),
            at=word.observed_at,
            why=word.why,
            holds=word.verdict_id == wanted,
        )
        for word in reversed(file.by(Acceptance, "joint_id", joint.root))
    )


def _eyes(
    here: PageContext, file: RecordFile, card_ids: Sequence[str | None]
) -> tuple[EyeShown, ...]:
    """What people saw who held the two cards side by side."""
    shop = here.store.shop()
    pair = {id for id in card_ids if id is not None}
    checks = [check for id in sorted(pair) for check in file.by(EyeCheck, "card_id", id)]
    return tuple(
        EyeShown(
            by=person_name(shop, check.author_id),
            at=check.observed_at,
            look=check.look,
            light=check.light,
            word=check.word,
            note=check.note,
        )
        for check in checks
        if check.against_card_id in pair
    )
