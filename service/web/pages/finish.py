"""A finish: how its batches lie from the master in spray order, and what it is held to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.line_making import batch_gap
from service.domain.lookups import (
    cards_of_batch,
    master_in_force,
    policy_in_force,
    the_job,
)
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Finish, Job, Policy
from service.domain.records.measuring import Lab, Master, Reading
from service.domain.records.spraying import Batch, Coat
from service.domain.refused import Refused
from service.domain.terms import MasterLevel, Role, Stage, Word
from service.use_cases.closing import JudgeAgain
from service.use_cases.job import SetPolicy
from service.use_cases.queries import BatchFilter
from service.web.access import ANYBODY_HERE, page_rules
from service.web.charts import ChartCard, Scatter, StripChart
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.audit_drift import Deviation, Factor, factors_of
from service.web.pages.audit_filters import narrowed
from service.web.pages.bench_views import VerdictShown, person_name, verdict_shown
from service.web.pages.finish_numbers import (
    Measured,
    Spread,
    angles_judged,
    direction,
    draw,
    master_lab,
    measured,
    spread_of,
    within_contour,
    worst_angle,
)
from service.web.pages.job import sprayed_order
from service.web.pages.office import entrance_of, office_frame

router = APIRouter()
_PATH = "/jobs/{job_id}/finishes/{finish_id}"
page_rules({("GET", _PATH): ANYBODY_HERE, ("POST", f"{_PATH}/judge-again"): JudgeAgain})

CHARTED = 60
"""Batches drawn and listed unless all are asked for; the spread is always over all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """What the heading says, about how many, and of which batch if it is one."""

    kind: str
    count: int = 0
    number: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRow:
    """A batch in spray order."""

    number: int
    href: str
    sprayed_at: datetime
    verdict: VerdictShown | None
    gap: str
    is_master: bool
    difference: float | None
    delta: Lab | None
    card: str
    card_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleLink:
    """An angle one may look at."""

    angle: int | None
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """The charts of one angle with the sentences they prove."""

    strip: StripChart
    scatter: Scatter
    furthest: int | None
    furthest_by: float
    furthest_words: str
    drawn: int
    inside: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyShown:
    """Limits, since when, by whom and why."""

    policy: Policy
    author: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MasterShown:
    """An approval of a master."""

    at: datetime
    author: str
    level: MasterLevel
    card: str
    card_href: str
    stages: tuple[Stage, ...]
    note: str
    in_force: bool
    dropped: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishPage:
    """The whole of a finish."""

    frame: Frame
    form: Form
    saved: bool
    job: Job
    job_href: str
    finish: Finish
    headline: Headline
    angle: int | None
    angles: tuple[AngleLink, ...]
    limit: float
    drawn: Drawn | None
    rows: tuple[BatchRow, ...]
    left: int
    all_href: str
    spread: Spread | None
    factors: tuple[Factor, ...]
    compared: int
    policy: PolicyShown
    policies: tuple[PolicyShown, ...]
    masters: tuple[MasterShown, ...]
    policy_href: str
    correct_href: str
    audit_href: str
    may_judge: bool


@router.get(_PATH, name="finish")
def finish(
    here: Here, job_id: str, finish_id: str, angle: str = "", show: str = "", saved: str = ""
) -> Response:
    """The page of a finish at one angle; without one, at the angle that decided the worst."""
    file = here.store.job(job_id)
    page = finish_page(here, file, finish_id, office_frame(here), Form(), angle, show == "all")
    return here.render("finish.html", page)


@router.post(f"{_PATH}/judge-again", name="judge_again")
def judge_again(here: Here, form: SentForm, job_id: str, finish_id: str) -> Response:
    """Judge every batch and joint of the finish by what is in force now; old verdicts stay."""
    try:
        here.perform(form.command(JudgeAgain, job_id=job_id, finish_id=finish_id))
    except Refused as refusal:
        file = here.store.job(job_id)
        return here.refused(
            form,
            refusal,
            "finish.html",
            lambda frame: finish_page(here, file, finish_id, frame, form),
            entrance_of(here),
        )
    return here.see_other("finish", job_id=job_id, finish_id=finish_id, saved="judged")


def finish_page(
    here: PageContext,
    file: RecordFile,
    finish_id: str,
    frame: Frame,
    form: Form,
    asked: str = "",
    everything: bool = False,
) -> FinishPage:
    """Everything the page shows, read off the job's file."""
    finish = file.get(Finish, finish_id)
    batches = [
        batch
        for batch in sprayed_order(file)
        if batch.finish_id == finish.root and batch.role.gives_colour
    ]
    master = master_in_force(file, finish.root)
    angles = angles_judged(file, batches)
    angle = _angle(asked, angles, worst_angle(file, batches))
    origin = master_lab(file, master, angle) if master is not None else None
    found = (
        measured(file, batches, master, angle, origin)
        if master is not None and origin is not None
        else [Measured(batch=b, verdict=None, at=None, lab=None) for b in batches]
    )
    shown = found if everything else found[-CHARTED:]
    policies = file.by(Policy, "finish_id", finish.root)
    limit = policy_in_force(file, finish.root).limit_at(None, angle)
    shop = here.store.shop()
    ids = {"job_id": file.chain, "finish_id": finish.root}
    deviations = _deviations(here, finish, found)
    return FinishPage(
        frame=frame,
        form=form,
        saved=here.request.query_params.get("saved") == "judged",
        job=the_job(file),
        job_href=here.link("job", job_id=file.chain),
        finish=finish,
        headline=_headline(master, found),
        angle=angle,
        angles=tuple(
            AngleLink(angle=a, href=here.link("finish", angle=_typed(a), **ids)) for a in angles
        ),
        limit=limit,
        drawn=_drawn(here, file, shown, origin, limit),
        rows=tuple(_row(here, file, master, one) for one in shown),
        left=len(found) - len(shown),
        all_href=here.link("finish", angle=_typed(angle), show="all", **ids),
        spread=spread_of(found),
        factors=factors_of(
            deviations,
            shop,
            lambda field, value: (
                narrowed(here, BatchFilter(finish_id=finish.root), **{field: value})
                if Role.MANAGER in here.roles
                else ""
            ),
        ),
        compared=len(deviations),
        policy=PolicyShown(policy=policies[-1], author=person_name(shop, policies[-1].author_id)),
        policies=tuple(
            PolicyShown(policy=policy, author=person_name(shop, policy.author_id))
            for policy in reversed(policies[:-1])
        ),
        masters=tuple(_masters(here, file, shop, finish.root)),
        policy_href=here.link("policy_edit", **ids) if here.may(SetPolicy) else "",
        correct_href=here.link(
            "correct", job_id=file.chain, table="finishes", record_id=finish.root
        ),
        audit_href=narrowed(here, BatchFilter(finish_id=finish.root))
        if Role.MANAGER in here.roles
        else "",
        may_judge=here.may(JudgeAgain) and master is not None,
    )


def _typed(angle: int | None) -> str:
    return "" if angle is None else str(angle)


def _angle(asked: str, angles: Sequence[int | None], worst: int | None) -> int | None:
    """The angle asked for, if a batch was judged there; else the one that decided the worst."""
    for angle in angles:
        if asked and _typed(angle) == asked:
            return angle
    if worst in angles:
        return worst
    return angles[0] if angles else None


def _headline(master: Master | None, found: Sequence[Measured]) -> Headline:
    if master is None:
        return Headline(kind="no_master")
    verdicts = [one.verdict for one in found if one.verdict is not None]
    if not verdicts:
        return Headline(kind="none_judged")
    for word in (Word.SHOWS, Word.NOT_COMPARABLE, Word.CANNOT_TELL):
        of_word = [one for one in found if one.verdict is not None and one.verdict.word is word]
        if of_word:
            number = of_word[0].batch.number if len(of_word) == 1 else None
            return Headline(kind=word.value, count=len(of_word), number=number)
    return Headline(kind="blends", count=len(verdicts))


def _drawn(
    here: PageContext,
    file: RecordFile,
    found: Sequence[Measured],
    master: Lab | None,
    limit: float,
) -> Drawn | None:
    seen = [one for one in found if one.at is not None and one.lab is not None]
    if master is None or not seen:
        return None
    cards = tuple(
        ChartCard(
            label=str(one.batch.number),
            href=_batch_href(here, file, one.batch),
            colour=one.lab,
            word=one.at.word if one.at is not None else Word.CANNOT_TELL.value,
        )
        for one in found
    )
    strip, scatter = draw(cards, master, limit)
    furthest = max(seen, key=lambda one: one.at.delta_e_2000 if one.at is not None else 0.0)
    assert furthest.at is not None and furthest.lab is not None
    return Drawn(
        strip=strip,
        scatter=scatter,
        furthest=furthest.batch.number,
        furthest_by=furthest.at.delta_e_2000,
        furthest_words=direction(master, furthest.lab),
        drawn=len(seen),
        inside=within_contour(seen, master, limit),
    )


def _row(here: PageContext, file: RecordFile, master: Master | None, one: Measured) -> BatchRow:
    batch = one.batch
    cards = cards_of_batch(file, batch.root)
    judged = next((c for c in cards if one.verdict and c.root == one.verdict.card_id), None)
    card = judged or (cards[0] if cards else None)
    coats = file.by(Coat, "batch_id", batch.root)
    return BatchRow(
        number=batch.number,
        href=_batch_href(here, file, batch),
        sprayed_at=min((c.observed_at for c in coats), default=batch.observed_at),
        verdict=verdict_shown(here, one.verdict) if one.verdict is not None else None,
        gap=batch_gap(file, batch),
        is_master=master is not None and any(c.root == master.card_id for c in cards),
        difference=one.at.delta_e_2000 if one.at is not None else None,
        delta=one.at.delta if one.at is not None else None,
        card=card.code if card is not None else "",
        card_href=here.link("card", code=card.code) if card is not None else "",
    )


def _batch_href(here: PageContext, file: RecordFile, batch: Batch) -> str:
    return here.link("batch", job_id=file.chain, batch_id=batch.root)


def _deviations(here: PageContext, finish: Finish, found: Sequence[Measured]) -> list[Deviation]:
    """The judged batches with their lots, booth, gun and painter, at the angle shown."""
    lines = {line.id: line for line in here.queries.batches_of_finish(finish.root)}
    return [
        Deviation(
            line=lines[one.batch.root],
            word=one.verdict.word,
            delta=one.at.delta if one.at is not None else None,
        )
        for one in found
        if one.verdict is not None and one.batch.root in lines
    ]


def _masters(
    here: PageContext, file: RecordFile, shop: RecordFile, finish_id: str
) -> Iterable[MasterShown]:
    """Every approval, the newest first."""
    masters = file.by(Master, "finish_id", finish_id)
    for master in reversed(masters):
        card = file.find(Card, master.card_id)
        readings = [file.find(Reading, id) for id in master.reading_ids]
        yield MasterShown(
            at=master.observed_at,
            author=person_name(shop, master.author_id),
            level=master.level,
            card=card.code if card is not None else "",
            card_href=here.link("card", code=card.code) if card is not None else "",
            stages=tuple(reading.stage for reading in readings if reading is not None),
            note=master.note,
            in_force=master is masters[-1],
            dropped=sum(reading is None for reading in readings),
        )
