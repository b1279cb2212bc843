"""The report of a job: what would show, worst first, and what each word rests on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from service.domain.findings import Finding, Weight, findings_of
from service.domain.line_making import batch_gap
from service.domain.lookups import (
    accepted,
    cards_of_batch,
    master_in_force,
    panels_of_batch,
    verdict_on_batch,
    verdict_on_joint,
    whereabouts,
)
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Acceptance, Finish, Job, Joint, Policy, Release, Repair
from service.domain.records.measuring import Reading, Verdict
from service.domain.records.spraying import Batch, Coat, Component
from service.domain.sides import joint_gap, joint_name
from service.domain.terms import CoatRole, JointKind, Word
from service.use_cases.paper_readings import ReadOff, readings_off
from service.use_cases.papers import PaperHead, Said, name_of, said_by

WORST_FIRST = (Word.SHOWS, Word.NOT_COMPARABLE, Word.CANNOT_TELL, Word.BLENDS)


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinedSides:
    """A joint that was judged."""

    name: str
    kind: JointKind
    said: Said
    accepted: bool
    card_a: str | None
    card_b: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A joint that was not judged; ``gap`` is the code of what it lacks."""

    name: str
    kind: JointKind
    gap: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRow:
    """A batch in spray order; ``gap`` is the code of what it lacks before it can be judged."""

    number: int
    role: CoatRole
    product: str
    lots: str
    sprayed_at: datetime
    painter: str
    places: str
    card_code: str
    slot: str
    gap: str
    is_master: bool
    accepted: bool
    said: Said | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldTo:
    """A finish with what it is held to."""

    finish: Finish
    policy: Policy | None
    set_by: str
    master_code: str
    approved_by: str
    approved_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AcceptedAs:
    """A joint or batch that somebody accepted as it is; ``in_force`` while its verdict stands."""

    what: str
    why: str
    by: str
    at: datetime
    in_force: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class JobPaper:
    """The whole of a report."""

    head: PaperHead
    headline: str
    headline_word: Word | None
    repairs: str
    opened_at: datetime
    released_at: datetime | None
    released_by: str
    release_note: str
    findings: tuple[Finding, ...]
    joints: tuple[JoinedSides, ...]
    waiting: tuple[Waiting, ...]
    one_stack: int
    batches: tuple[BatchRow, ...]
    held_to: tuple[HeldTo, ...]
    acceptances: tuple[AcceptedAs, ...]
    readings: tuple[ReadOff, ...]
    stored_readings: int


def job_paper(file: RecordFile, shop: RecordFile, head: PaperHead) -> JobPaper:
    """The report of a job, read off its file."""
    joints = judged_joints(file)
    waiting, one_stack = _waiting(file)
    findings = tuple(findings_of(file))
    releases = file.all(Release)
    release = releases[-1] if releases else None
    used = dict.fromkeys(id for verdict in _verdicts(file) for id in verdict)
    readings = [r for r in (file.find(Reading, id) for id in used) if r is not None]
    headline, word = headline_of(file, findings, joints)
    return JobPaper(
        head=head,
        headline=headline,
        headline_word=word,
        repairs=next((repair.damage for repair in file.all(Repair)), ""),
        opened_at=file.get(Job, file.chain).observed_at,
        released_at=release.observed_at if release is not None else None,
        released_by=name_of(shop, release.author_id) if release is not None else "",
        release_note=release.note if release is not None else "",
        findings=findings,
        joints=joints,
        waiting=waiting,
        one_stack=one_stack,
        batches=tuple(_batch(file, shop, batch) for batch in in_spray_order(file)),
        held_to=tuple(_held_to(file, shop, finish) for finish in file.all(Finish)),
        acceptances=tuple(_acceptances(file, shop)),
        readings=readings_off(file, shop, readings),
        stored_readings=len(used) - len(readings),
    )


def headline_of(
    file: RecordFile, findings: Iterable[Finding], joints: Iterable[JoinedSides]
) -> tuple[str, Word | None]:
    """The one thing to know of a job as a sentence, and the word it comes to, worst first."""
    found, joints = list(findings), list(joints)
    if not file.all(Batch):
        return "Nothing is sprayed on this job yet", None
    for weight, word, said in (
        (Weight.SHOWS, Word.SHOWS, "would show"),
        (Weight.NOT_COMPARABLE, Word.NOT_COMPARABLE, "cannot be compared"),
        (Weight.CANNOT_TELL, Word.CANNOT_TELL, "cannot be told from what was measured"),
    ):
        of_weight = [finding for finding in found if finding.weight is weight]
        on_joints = [finding for finding in of_weight if finding.joint_id is not None]
        if on_joints:
            return f"{_counted(len(on_joints), 'joint')} on this job {said}", word
        if of_weight:
            return f"{_counted(len(of_weight), 'batch', 'batches')} of this job {said}", word
    missing = sum(finding.weight is Weight.MISSING for finding in found)
    if missing:
        thing = "thing is" if missing == 1 else "things are"
        return f"{_number(missing)} {thing} missing before this job can be judged whole", None
    on_batches = (verdict_on_batch(file, b.root) for b in file.all(Batch) if b.role.gives_colour)
    answers = [
        *(joint.said.word for joint in joints),
        *(v.word for v in on_batches if v is not None),
    ]
    if any(word is not Word.BLENDS for word in answers):
        return "What does not blend on this job was accepted with a reason", None
    if joints:
        one = len(joints) == 1
        return ("The one joint" if one else f"All {len(joints)} joints") + (
            " judged on this job blends" if one else " judged on this job blend"
        ), Word.BLENDS
    return "No joint of this job was judged, and nothing shows", None


def _counted(count: int, one: str, many: str = "") -> str:
    return f"{_number(count)} {one if count == 1 else many or one + 's'}"


def _number(count: int) -> str:
    words = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine")
    return words[count] if count < len(words) else str(count)


def judged_joints(file: RecordFile) -> tuple[JoinedSides, ...]:
    """The joints that were judged, worst first."""
    return file.once(_judged_joints)


def _judged_joints(file: RecordFile) -> tuple[JoinedSides, ...]:
    found = []
    for joint in file.all(Joint):
        verdict = None if joint_gap(file, joint) else verdict_on_joint(file, joint.root)
        if verdict is not None:
            found.append(
                JoinedSides(
                    name=joint_name(file, joint),
                    kind=joint.kind,
                    said=said_by(verdict),
                    accepted=accepted(file, verdict, "joint_id", joint.root),
                    card_a=verdict.card_id,
                    card_b=verdict.other_card_id,
                )
            )
    return tuple(
        sorted(
            found,
            key=lambda one: (
                WORST_FIRST.index(one.said.word),
                -(one.said.difference or 0.0) / one.said.limit,
            ),
        )
    )


def _waiting(file: RecordFile) -> tuple[tuple[Waiting, ...], int]:
    """The joints that were not judged, and how many have the same coats on both sides."""
    waiting, one_stack = [], 0
    for joint in file.all(Joint):
        gap = joint_gap(file, joint)
        if gap == "one_stack":
            one_stack += 1
        elif gap or verdict_on_joint(file, joint.root) is None:
            waiting.append(
                Waiting(name=joint_name(file, joint), kind=joint.kind, gap=gap or "no_verdict")
            )
    return tuple(waiting), one_stack


def in_spray_order(file: RecordFile) -> list[Batch]:
    """The batches of a job by their first coat, else by their mixing."""

    def first(batch: Batch) -> tuple[datetime, int]:
        coats = file.by(Coat, "batch_id", batch.root)
        return min((c.observed_at for c in coats), default=batch.observed_at), batch.number

    return sorted(file.all(Batch), key=first)


def _batch(file: RecordFile, shop: RecordFile, batch: Batch) -> BatchRow:
    coats = file.by(Coat, "batch_id", batch.root)
    poured = file.by(Component, "batch_id", batch.root)
    verdict = verdict_on_batch(file, batch.root)
    card = _standing_for(file, batch, verdict)
    gap = batch_gap(file, batch)
    return BatchRow(
        number=batch.number,
        role=batch.role,
        product=_joined(c.product for c in poured if c.role in ("base", "mid", "clear"))
        or batch.formula,
        lots=_joined(c.lot for c in poured),
        sprayed_at=min((c.observed_at for c in coats), default=batch.observed_at),
        painter=name_of(shop, batch.author_id),
        places=_joined(panel.name for panel in panels_of_batch(file, batch.root)),
        card_code=card.code if card is not None else "",
        slot=whereabouts(file, card).slot if card is not None else "",
        gap=gap,
        is_master=not gap and verdict is None and batch.role.gives_colour,
        accepted=accepted(file, verdict, "batch_id", batch.root),
        said=said_by(verdict) if verdict is not None else None,
    )


def _standing_for(file: RecordFile, batch: Batch, verdict: Verdict | None) -> Card | None:
    """The card a batch was judged by, or is the master by; else the one that stands first."""
    cards = cards_of_batch(file, batch.root)
    judged = verdict.card_id if verdict is not None else None
    master = master_in_force(file, batch.finish_id)
    for wanted in (judged, master.card_id if master is not None else None):
        for card in cards:
            if card.root == wanted:
                return card
    return cards[0] if cards else None


def _joined(texts: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(text for text in texts if text))


def _held_to(file: RecordFile, shop: RecordFile, finish: Finish) -> HeldTo:
    policies = file.by(Policy, "finish_id", finish.root)
    policy = policies[-1] if policies else None
    master = master_in_force(file, finish.root)
    card = file.find(Card, master.card_id) if master is not None else None
    return HeldTo(
        finish=finish,
        policy=policy,
        set_by=name_of(shop, policy.author_id) if policy is not None else "",
        master_code=card.code if card is not None else "",
        approved_by=name_of(shop, master.author_id) if master is not None else "",
        approved_at=master.observed_at if master is not None else None,
    )


def _acceptances(file: RecordFile, shop: RecordFile) -> Iterable[AcceptedAs]:
    for word in sorted(file.all(Acceptance), key=lambda word: word.observed_at):
        joint, batch = file.find(Joint, word.joint_id), file.find(Batch, word.batch_id)
        what = "something withdrawn"
        standing = None
        if joint is not None:
            what, standing = joint_name(file, joint), verdict_on_joint(file, joint.root)
        elif batch is not None:
            what, standing = f"Batch {batch.number}", verdict_on_batch(file, batch.root)
        yield AcceptedAs(
            what=what,
            why=word.why,
            by=name_of(shop, word.author_id),
            at=word.observed_at,
            in_force=word.verdict_id == (standing.root if standing is not None else None),
        )


def _verdicts(file: RecordFile) -> Iterable[tuple[str, ...]]:
    """The ids of the readings that each verdict in force rests on."""
    for batch in file.all(Batch):
        verdict = verdict_on_batch(file, batch.root)
        if verdict is not None:
            yield verdict.reading_ids
    for joint in file.all(Joint):
        verdict = verdict_on_joint(file, joint.root)
        if verdict is not None:
            yield verdict.reading_ids
