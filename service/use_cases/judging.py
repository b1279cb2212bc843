"""Turning drafts into verdicts on record; nothing is recorded anew when nothing changed."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from datetime import timedelta
from typing import Any

from service.domain.judging import (
    Draft,
    draft_for_batch,
    draft_for_car,
    draft_for_joint,
    reads_again,
)
from service.domain.lookups import (
    batches_of_finish,
    master_in_force,
    panels_of_batch,
)
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Joint, Repair
from service.domain.records.measuring import Reading, Verdict
from service.domain.version import program_version
from service.use_cases.command import Command, happened, stamp
from service.use_cases.ports import Unit

LATE_AFTER = timedelta(minutes=10)
"""A reading that arrives this long after it was made is marked late on its verdict."""


def judge_after_reading(unit: Unit, command: Command, file: RecordFile, reading: Reading) -> None:
    """Judge what a reading of a card bears on: its batch, and each joint the batch is in.

    A reading of the master's own card changes nothing until somebody approves it. One that
    measures a card again, long after it was first read, tells how the card kept: verdicts that
    do not rest on it stay as they are, and it was no further look at them.
    """
    again = reading.root if reads_again(file, reading) else None
    _bears_on(unit, command, file, reading, again)


def judge_without(unit: Unit, command: Command, file: RecordFile, left: Reading) -> None:
    """Judge what a dropped reading bore on, by one that is left of the same card or frame."""
    _bears_on(unit, command, file, left, None)


def _bears_on(
    unit: Unit, command: Command, file: RecordFile, reading: Reading, again: str | None
) -> None:
    """Judge the batch of a reading's card and its joints; ``again`` as for ``judge_batches``."""
    card = file.get(Card, reading.card_id or "")
    judge_batches(unit, command, file, batch_ids={card.batch_id}, again=again)
    judge_joints(unit, command, unit.job(file.chain), batch_id=card.batch_id, again=again)


def judge_batches(
    unit: Unit,
    command: Command,
    file: RecordFile,
    *,
    finish_id: str | None = None,
    batch_ids: Iterable[str] | None = None,
    again: str | None = None,
) -> None:
    """Judge batches against the master in force, one finish's or those named.

    ``again`` is the id of a reading that measured a card again: where a verdict stands, a new
    one is made only if it rests on that reading.
    """
    if finish_id is not None:
        batch_ids = [batch.root for batch in batches_of_finish(file, finish_id)]
    repairs = file.all(Repair)
    stored = unit.job(repairs[-1].stored_job_id) if repairs else None
    for batch_id in sorted(batch_ids or ()):
        before = file.by(Verdict, "batch_id", batch_id)
        draft = draft_for_batch(file, batch_id, stored)
        _record(unit, command, file, draft, before, f"batch {batch_id}", again)


def judge_joints(
    unit: Unit,
    command: Command,
    file: RecordFile,
    *,
    panel_ids: set[str] | None = None,
    batch_id: str | None = None,
    again: str | None = None,
) -> None:
    """Judge joints by both their sides: all, those of some panels, or those a batch lies at.

    ``again`` as for batches.
    """
    if batch_id is not None:
        panel_ids = panels_touched(file, batch_id)
    for joint in file.all(Joint):
        if panel_ids is not None and not panel_ids & {joint.panel_a, joint.panel_b}:
            continue
        before = file.by(Verdict, "joint_id", joint.root)
        draft = draft_for_joint(file, joint.root)
        _record(unit, command, file, draft, before, f"joint {joint.root}", again)


def panels_touched(file: RecordFile, batch_id: str) -> set[str]:
    """Ids of the panels a batch was sprayed on."""
    return {panel.root for panel in panels_of_batch(file, batch_id)}


def judge_car(unit: Unit, command: Command, file: RecordFile, reading: Reading) -> None:
    """Judge the car against the master of the stored finish the repair goes back to."""
    repairs = file.all(Repair)
    if not repairs:
        return
    stored = unit.job(repairs[-1].stored_job_id)
    master = master_in_force(stored, repairs[-1].stored_finish_id)
    if master is None:
        return
    draft = draft_for_car(file, reading, stored, stored.get(Card, master.card_id))
    _record(unit, command, file, draft, [], f"car {reading.root}")


def _record(
    unit: Unit,
    command: Command,
    file: RecordFile,
    draft: Draft | None,
    before: list[Verdict],
    part: str,
    again: str | None = None,
) -> None:
    if draft is None or (before and again is not None and again not in draft.reading_ids):
        return
    # One command may judge a thing twice (two readings in one frame): the count keeps ids apart.
    verdict = _stamped(unit, command, file, draft, f"{part} {len(before)}")
    if not before or _content(before[-1]) != _content(verdict):
        unit.add(verdict)


_PLACE_ON_RECORD = (
    "id",
    "author_id",
    "observed_at",
    "received_at",
    "corrects",
    "revision",
    "reason",
    "late",
)


def _content(verdict: Verdict) -> dict[str, Any]:
    content = asdict(verdict)
    return {name: value for name, value in content.items() if name not in _PLACE_ON_RECORD}


def _stamped(unit: Unit, command: Command, file: RecordFile, draft: Draft, part: str) -> Verdict:
    decision = draft.decision
    late = unit.now - happened(unit, command) > LATE_AFTER
    evidence: dict[str, Any] = {
        "reasons": [asdict(reason) for reason in draft.reasons],
        "angles": [dict(angle) for angle in decision.angles] if decision else [],
    }
    if draft.photographs is not None:
        evidence["photographs"] = draft.photographs.as_evidence()
    return Verdict(
        **stamp(unit, command, f"verdict {part}"),
        job_id=file.chain,
        subject=draft.subject,
        word=draft.word,
        sentence=draft.sentence,
        stage=draft.stage,
        limit=draft.limit,
        limit_origin=draft.limit_origin,
        risk=draft.risk,
        batch_id=draft.batch_id,
        joint_id=draft.joint_id,
        card_id=draft.card_id,
        other_card_id=draft.other_card_id,
        master_id=draft.master_id,
        angle=decision.angle if decision else None,
        delta_e_2000=decision.delta_e_2000 if decision else None,
        low=decision.low if decision else None,
        high=decision.high if decision else None,
        standard_uncertainty=decision.standard_uncertainty if decision else None,
        p_blends=decision.p_blends if decision else None,
        p_shows=decision.p_shows if decision else None,
        power_at_zero=decision.power_at_zero if decision else None,
        delta_l=decision.difference[0] if decision else None,
        delta_a=decision.difference[1] if decision else None,
        delta_b=decision.difference[2] if decision else None,
        over_five=decision.over_five if decision else False,
        look=draft.look,
        risk_spent=decision.risk_spent if decision else 0.0,
        words=decision.words if decision else "",
        next_step=draft.next_step,
        reasons=tuple(reason.code for reason in draft.reasons),
        reading_ids=draft.reading_ids,
        evidence=json.dumps(evidence, sort_keys=True, separators=(",", ":"), ensure_ascii=False),
        program_version=program_version(),
        late=late,
    )
