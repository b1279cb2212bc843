"""Findings: what a job still wants, as sentences with what to do; the worst first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum

from service.domain.card_code import grouped
from service.domain.line_making import batch_gap
from service.domain.lookups import (
    accepted,
    cards_of_batch,
    master_in_force,
    verdict_on_batch,
    verdict_on_joint,
    whereabouts,
)
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Finish, Joint, Repair
from service.domain.records.measuring import Reading, Verdict
from service.domain.records.spraying import Batch, Coat
from service.domain.sides import Side, joint_gap, joint_name, place_name, side_at
from service.domain.terms import Word


class Weight(IntEnum):
    """How much a finding presses; the smallest first."""

    SHOWS = 0
    NOT_COMPARABLE = 1
    CANNOT_TELL = 2
    MISSING = 3
    NOTE = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that is not in order.

    ``excess`` is the difference over its limit as a multiple of the limit, to put the worst
    joint first; 0 where nothing was measured.
    """

    code: str
    weight: Weight
    sentence: str
    remedy: str
    excess: float = 0.0
    finish_id: str | None = None
    batch_id: str | None = None
    joint_id: str | None = None
    card_id: str | None = None
    verdict_id: str | None = None

    @property
    def stands_against_release(self) -> bool:
        """Whether a job must not leave while it stands."""
        return self.weight is not Weight.NOTE


_WEIGHT = {
    Word.SHOWS: Weight.SHOWS,
    Word.NOT_COMPARABLE: Weight.NOT_COMPARABLE,
    Word.CANNOT_TELL: Weight.CANNOT_TELL,
}


def findings_of(file: RecordFile) -> list[Finding]:
    """Every finding of a job, what would show first, the worst of it first."""
    return list(file.once(_findings))


def _findings(file: RecordFile) -> tuple[Finding, ...]:
    found = [*_on_joints(file), *_on_batches(file), *_on_finishes(file), *_on_cards(file)]
    return tuple(sorted(found, key=lambda f: (f.weight, -f.excess, f.sentence)))


def _on_joints(file: RecordFile) -> Iterator[Finding]:
    for joint in file.all(Joint):
        gap = joint_gap(file, joint)
        if gap in ("one_stack", "two_finishes"):
            continue
        verdict = verdict_on_joint(file, joint.root) if not gap else None
        if accepted(file, verdict, "joint_id", joint.root):
            continue
        if verdict is not None:
            if verdict.word is not Word.BLENDS:
                yield _from_verdict(verdict, joint_id=joint.root)
            continue
        name = joint_name(file, joint)
        if gap == "no_side":
            sides = (
                side_at(file, joint.panel_a, joint.area_a),
                side_at(file, joint.panel_b, joint.area_b),
            )
            lacking = [side for side in sides if side.card_id is None]
            yield Finding(
                code="side_without_card",
                weight=Weight.MISSING,
                sentence=f"{name}: no card stands for {_places(file, lacking)}, "
                f"because {lacking[0].why}.",
                remedy=lacking[0].remedy,
                joint_id=joint.root,
            )
        else:
            yield Finding(
                code="joint_not_judged",
                weight=Weight.MISSING,
                sentence=f"{name} is not judged yet.",
                remedy="Read the cards that stand for its two sides.",
                joint_id=joint.root,
            )


def _on_batches(file: RecordFile) -> Iterator[Finding]:
    for batch in file.all(Batch):
        gap = batch_gap(file, batch)
        sprayed = bool(file.by(Coat, "batch_id", batch.root))
        verdict = verdict_on_batch(file, batch.root)
        if accepted(file, verdict, "batch_id", batch.root):
            continue
        if verdict is not None:
            if verdict.word is not Word.BLENDS and batch.role.gives_colour:
                yield _from_verdict(verdict, batch_id=batch.root)
        elif gap == "no_card":
            yield Finding(
                code="batch_without_card",
                weight=Weight.MISSING if sprayed else Weight.NOTE,
                sentence=f"Batch {batch.number} has no card.",
                remedy="Spray one from the same pot while it is good.",
                batch_id=batch.root,
            )
        elif gap == "no_reading":
            card = cards_of_batch(file, batch.root)[0]
            yield Finding(
                code="card_without_reading",
                weight=Weight.MISSING,
                sentence=f"Batch {batch.number}'s card {grouped(card.code)} was never read.",
                remedy="Read it, three times, lifting the instrument each time.",
                batch_id=batch.root,
                card_id=card.root,
            )


def _on_finishes(file: RecordFile) -> Iterator[Finding]:
    for finish in file.all(Finish):
        master = master_in_force(file, finish.root)
        if master is None:
            batches = file.by(Batch, "finish_id", finish.root)
            if file.all(Repair):
                # Its batches are judged by the stored master, where there is one.
                batches = [b for b in batches if batch_gap(file, b) == "no_master"]
            if batches:
                yield Finding(
                    code="finish_without_master",
                    weight=Weight.MISSING,
                    sentence=f"{finish.name} has no master card.",
                    remedy="Read the card of its first good batch and approve it as the master.",
                    finish_id=finish.root,
                )
        elif not all(file.find(Reading, id) for id in master.reading_ids):
            yield Finding(
                code="master_reading_dropped",
                weight=Weight.MISSING,
                sentence=f"A reading the master of {finish.name} was approved by was dropped.",
                remedy="Read the master again and approve it anew.",
                finish_id=finish.root,
                card_id=master.card_id,
            )


def _on_cards(file: RecordFile) -> Iterator[Finding]:
    for card in file.all(Card):
        place = whereabouts(file, card).place
        if place == "missing":
            yield Finding(
                code="card_missing",
                weight=Weight.NOTE,
                sentence=f"The card {grouped(card.code)} is missing.",
                remedy="Find it, or spray a replacement; its readings stay.",
                card_id=card.root,
            )
        elif place == "out":
            yield Finding(
                code="card_out",
                weight=Weight.NOTE,
                sentence=f"The card {grouped(card.code)} is out of the rack.",
                remedy="Return it with a look at its state.",
                card_id=card.root,
            )


def _from_verdict(
    verdict: Verdict, batch_id: str | None = None, joint_id: str | None = None
) -> Finding:
    excess = 0.0
    if verdict.word is Word.SHOWS and verdict.delta_e_2000 is not None:
        excess = verdict.delta_e_2000 / verdict.limit - 1
    return Finding(
        code=f"{verdict.subject}_{verdict.word}",
        weight=_WEIGHT[verdict.word],
        sentence=verdict.sentence,
        remedy=verdict.next_step,
        excess=excess,
        batch_id=batch_id,
        joint_id=joint_id,
        card_id=verdict.card_id,
        verdict_id=verdict.root,
    )


def _places(file: RecordFile, sides: list[Side]) -> str:
    return " and ".join(place_name(file, side.panel_id, side.area_id) for side in sides)
