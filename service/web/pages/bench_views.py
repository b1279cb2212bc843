"""Records as the templates of the bench show them: verdicts, findings, people, batches."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from service.domain.findings import Finding, Weight
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.measuring import Verdict
from service.domain.records.shop import Person
from service.domain.terms import Stage, Word
from service.web.context import PageContext
from service.web.filters import local_time

WORD_OF = {
    Weight.SHOWS: Word.SHOWS,
    Weight.NOT_COMPARABLE: Word.NOT_COMPARABLE,
    Weight.CANNOT_TELL: Word.CANNOT_TELL,
}


BY_PHOTOGRAPH = '"photographs":{'
"""In the evidence, canonical JSON, of a verdict that rests on photographs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictShown:
    """A verdict with all that stands beside its word."""

    word: Word
    difference: float | None
    bounds: tuple[float, float] | None
    limit: float
    directions: str
    different: bool
    angle: int | None
    stage: Stage | None
    look: int
    sentence: str
    next_step: str
    at: datetime
    late: bool
    by_photograph: bool
    href: str


def bounds_of(verdict: Verdict) -> tuple[float, float] | None:
    """The 95 % range of a verdict's figure, None where it cannot be known."""
    if verdict.low is None or verdict.high is None:
        return None
    return verdict.low, verdict.high


def link_to_each(here: PageContext, name: str, part: str, **parts: str) -> Callable[[str], str]:
    """Links to many things of one kind: the address is put together once, the ids are filled in.

    For ids and card codes, which hold nothing that an address has to escape.
    """
    pattern = here.link(name, **parts, **{part: _SLOT})
    return lambda id: pattern.replace(_SLOT, id)


_SLOT = "EACH"


def verdict_shown(here: PageContext, verdict: Verdict) -> VerdictShown:
    """A verdict as it is shown."""
    return VerdictShown(
        word=verdict.word,
        difference=verdict.delta_e_2000,
        bounds=bounds_of(verdict),
        limit=verdict.limit,
        directions="" if verdict.word is Word.BLENDS else verdict.words,
        different=verdict.over_five and verdict.word is Word.SHOWS,
        angle=verdict.angle,
        stage=verdict.stage,
        look=verdict.look,
        sentence=told_locally(verdict.sentence, verdict.observed_at, here.zone),
        next_step=verdict.next_step,
        at=verdict.observed_at,
        late=verdict.late,
        by_photograph=BY_PHOTOGRAPH in verdict.evidence,
        href=here.link("verdict", job_id=verdict.job_id, verdict_id=verdict.root),
    )


_CLOCK = re.compile(r"about (\d\d):(\d\d) UTC")


def told_locally(sentence: str, at: datetime, zone: str) -> str:
    """A sentence of the record with the time it names on the shop's own clock.

    The record is kept in UTC; a time in it is the first of that clock after ``at``.
    """

    def local(found: re.Match[str]) -> str:
        named = at.replace(hour=int(found[1]), minute=int(found[2]))
        if named < at.replace(second=0, microsecond=0):
            named += timedelta(days=1)
        return f"about {local_time(named, zone)}"

    return _CLOCK.sub(local, sentence)


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingShown:
    """A finding with the page that helps."""

    sentence: str
    remedy: str
    href: str
    word: str


def finding_shown(here: PageContext, file: RecordFile, finding: Finding) -> FindingShown:
    """A finding as it is shown, leading to the thing it is about."""
    word = WORD_OF.get(finding.weight)
    verdict = file.find(Verdict, finding.verdict_id)
    sentence = finding.sentence
    if verdict is not None:
        sentence = told_locally(sentence, verdict.observed_at, here.zone)
    return FindingShown(
        sentence=sentence,
        remedy=finding.remedy,
        href=_place_of(here, file, finding),
        word=word.value if word is not None else "",
    )


def _place_of(here: PageContext, file: RecordFile, finding: Finding) -> str:
    job_id = file.chain
    if finding.joint_id is not None:
        return here.link("joint", job_id=job_id, joint_id=finding.joint_id)
    if finding.batch_id is not None:
        return here.link("batch", job_id=job_id, batch_id=finding.batch_id)
    card = file.find(Card, finding.card_id)
    if card is not None:
        return here.link("card", code=card.code)
    if finding.finish_id is not None:
        return here.link("finish", job_id=job_id, finish_id=finding.finish_id)
    return here.link("job", job_id=job_id)


def person_name(shop: RecordFile, person_id: str | None) -> str:
    """A person's name, also of one who has left."""
    person = shop.latest_revision(Person, person_id or "")
    return person.name if person is not None else "somebody unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """A button that leads on."""

    text: str
    href: str


def allowed(actions: Sequence[tuple[bool, Action]]) -> tuple[Action, ...]:
    """The actions whose condition holds."""
    return tuple(action for holds, action in actions if holds)
