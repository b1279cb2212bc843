"""From a job's file to the lines that lists and searches read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from service.domain.card_code import grouped
from service.domain.drift import moved_by
from service.domain.keeping import HeldBack, is_last
from service.domain.lines import BatchLine, CardLine, JobLine, JointLine, Line
from service.domain.lookups import (
    accepted,
    cards_of_batch,
    master_in_force,
    mean_lab,
    panels_of_batch,
    readings_of_card,
    readings_of_whole_card,
    shown_angle,
    standing_reading,
    the_job,
    uncertainty_of_mean,
    verdict_on_batch,
    verdict_on_joint,
    whereabouts,
)
from service.domain.moment import as_text
from service.domain.record_file import RecordFile
from service.domain.records.base import Record
from service.domain.records.cards import Card, Movement
from service.domain.records.job import (
    Acceptance,
    Area,
    Finish,
    Job,
    Joint,
    Panel,
    Release,
    Repair,
)
from service.domain.records.measuring import Master, Reading, Verdict
from service.domain.records.spraying import Batch, Coat, Component
from service.domain.sides import joint_gap
from service.domain.terms import CoatRole, Method

R = TypeVar("R", bound=Record)


@dataclass
class _Touched:
    """Ids of the things whose lines a change may have altered."""

    job: bool = False
    cards: set[str] = field(default_factory=set)
    batches: set[str] = field(default_factory=set)
    joints: set[str] = field(default_factory=set)

    def everything(self, file: RecordFile) -> None:
        self.job = True
        self.cards.update(c.root for c in file.all(Card))
        self.batches.update(b.root for b in file.all(Batch))
        self.joints.update(j.root for j in file.all(Joint))


def lines_after(file: RecordFile, records: Sequence[Record]) -> list[Line]:
    """Lines to write after these rows were added; ``file`` already holds them."""
    return _lines(file, _touched(file, records))


def stale_lines(file: RecordFile, records: Sequence[Record]) -> list[tuple[type[Line], str]]:
    """Lines to remove after these rows: those of things that were withdrawn."""
    kinds: dict[type[Record], type[Line]] = {
        Job: JobLine,
        Card: CardLine,
        Batch: BatchLine,
        Joint: JointLine,
    }
    return [(kinds[type(r)], r.root) for r in records if r.withdrawn and type(r) in kinds]


def all_lines(file: RecordFile) -> list[Line]:
    """Every line of a job, worked out anew."""
    touched = _Touched()
    touched.everything(file)
    return _lines(file, touched)


def _lines(file: RecordFile, touched: _Touched) -> list[Line]:
    lines: list[Line] = []
    if touched.job and file.find(Job, file.chain) is not None:
        lines.append(_job_line(file))
    lines += [_card_line(file, c) for c in _found(file, Card, touched.cards)]
    lines += [_batch_line(file, b) for b in _found(file, Batch, touched.batches)]
    lines += [_joint_line(file, j) for j in _found(file, Joint, touched.joints)]
    return lines


def _found(file: RecordFile, kind: type[R], ids: Iterable[str]) -> list[R]:
    return [record for record in (file.find(kind, id) for id in sorted(ids)) if record is not None]


def _touched(file: RecordFile, records: Sequence[Record]) -> _Touched:
    touched = _Touched()
    for record in records:
        if record.corrects is not None or isinstance(record, Finish | Panel | Job):
            # A correction may move a thing from one parent to another; it is rare, so all
            # lines of the job are worked out again. A new finish or panel touches none.
            if record.corrects is not None:
                touched.everything(file)
                return touched
            touched.job |= isinstance(record, Job)
        elif isinstance(record, Card):
            _touch_batch(file, touched, record.batch_id)
        elif isinstance(record, Batch):
            touched.batches.add(record.root)
        elif isinstance(record, Component):
            touched.batches.add(record.batch_id)
        elif isinstance(record, Movement):
            # Whether another card of the batch is the last in the rack hangs on it too.
            card = file.find(Card, record.card_id)
            if card is not None:
                _touch_batch(file, touched, card.batch_id)
        elif isinstance(record, Reading) and record.card_id is not None:
            card = file.find(Card, record.card_id)
            if card is None:
                # A stored card of another job, photographed beside this one's.
                continue
            _touch_batch(file, touched, card.batch_id)
            touched.joints.update(j.root for j in file.all(Joint))
        elif isinstance(record, Coat):
            _touch_batch(file, touched, record.batch_id)
            touched.joints.update(j.root for j in file.all(Joint))
        elif isinstance(record, Master):
            for batch in file.by(Batch, "finish_id", record.finish_id):
                _touch_batch(file, touched, batch.root)
        elif isinstance(record, Verdict | Acceptance):
            if record.joint_id is not None:
                touched.joints.add(record.joint_id)
            if record.batch_id is not None:
                _touch_batch(file, touched, record.batch_id)
        elif isinstance(record, Joint):
            touched.joints.add(record.root)
        elif isinstance(record, Area):
            for side in ("panel_a", "panel_b"):
                touched.joints.update(j.root for j in file.by(Joint, side, record.panel_id))
        elif isinstance(record, Release | Repair):
            touched.job = True
    return touched


def _touch_batch(file: RecordFile, touched: _Touched, batch_id: str) -> None:
    touched.batches.add(batch_id)
    touched.cards.update(c.root for c in file.by(Card, "batch_id", batch_id))


def _job_line(file: RecordFile) -> JobLine:
    job = the_job(file)
    releases = file.all(Release)
    repairs = file.all(Repair)
    return JobLine(
        id=job.root,
        shop_id=job.shop_id,
        job_id=job.root,
        work_order=job.work_order,
        title=job.title,
        opened_at=as_text(job.observed_at),
        released_at=as_text(releases[-1].observed_at) if releases else None,
        repairs_job_id=repairs[-1].stored_job_id if repairs else None,
        search=_folded(job.work_order, job.title),
    )


def _card_line(file: RecordFile, card: Card) -> CardLine:
    job = the_job(file)
    finish = file.get(Finish, card.finish_id)
    batch = file.get(Batch, card.batch_id)
    panels = ", ".join(panel.name for panel in panels_of_batch(file, batch.root))
    place = whereabouts(file, card)
    readings = readings_of_card(file, card.root)
    reading = standing_reading(readings)
    angle = shown_angle(reading) if reading else None
    lab = mean_lab(angle) if angle else (None, None, None)
    verdict = verdict_on_batch(file, batch.root)
    master = master_in_force(file, finish.root)
    is_master = master is not None and master.card_id == card.root
    return CardLine(
        id=card.root,
        shop_id=card.shop_id,
        job_id=card.job_id,
        finish_id=finish.root,
        batch_id=batch.root,
        code=card.code,
        kind=card.kind,
        slot=place.slot,
        sprayed_at=as_text(card.observed_at),
        painter_id=card.author_id,
        batch_number=batch.number,
        work_order=job.work_order,
        job_title=job.title,
        finish_name=finish.name,
        finish_kind=finish.kind,
        colour_code=finish.colour_code,
        colour_name=finish.colour_name,
        panels=panels,
        whereabouts=place.place,
        holder_id=place.holder_id,
        is_master=is_master,
        stage=reading.stage if reading else None,
        conditions=conditions_text(reading) if reading else "",
        angle=angle.angle if angle else None,
        l=lab[0],
        a=lab[1],
        b=lab[2],
        standard_uncertainty=uncertainty_of_mean(reading, angle) if reading and angle else None,
        word=verdict.word if verdict else None,
        delta_e_2000=verdict.delta_e_2000 if verdict else None,
        search=_folded(
            card.code,
            grouped(card.code),
            job.work_order,
            job.title,
            finish.name,
            finish.colour_code,
            finish.colour_name,
            panels,
            f"batch {batch.number}",
            place.slot,
        ),
        read_at=_read_at(readings),
        moved_by=moved_by(readings),
        held_back=HeldBack.MASTER if is_master else HeldBack.LAST if is_last(file, card) else "",
    )


def _read_at(readings: Sequence[Reading]) -> str | None:
    """When a card was read last; a photograph counts where no instrument ever read it."""
    by_instrument = [r for r in readings if r.method is Method.INSTRUMENT]
    at = max((r.observed_at for r in by_instrument or readings), default=None)
    return as_text(at) if at is not None else None


def _batch_line(file: RecordFile, batch: Batch) -> BatchLine:
    coats = sorted(file.by(Coat, "batch_id", batch.root), key=lambda c: c.observed_at)
    components = file.by(Component, "batch_id", batch.root)
    verdict = verdict_on_batch(file, batch.root)
    sprayed = as_text(coats[0].observed_at if coats else batch.observed_at)
    colour = [c for c in components if c.role in ("base", "mid")] or components
    return BatchLine(
        id=batch.root,
        shop_id=batch.shop_id,
        job_id=batch.job_id,
        finish_id=batch.finish_id,
        number=batch.number,
        role=batch.role,
        product=", ".join(dict.fromkeys(c.product for c in colour)) or batch.formula,
        lots=", ".join(dict.fromkeys(c.lot for c in components if c.lot)),
        painter_id=batch.author_id,
        booth=next((c.booth for c in coats if c.booth), ""),
        gun=next((c.gun for c in coats if c.gun), ""),
        sprayed_at=sprayed,
        month=sprayed[:7],
        gap=batch_gap(file, batch),
        verdict_id=verdict.root if verdict else None,
        word=verdict.word if verdict else None,
        stage=verdict.stage if verdict else None,
        delta_e_2000=verdict.delta_e_2000 if verdict else None,
        limit_value=verdict.limit if verdict else None,
        delta_l=verdict.delta_l if verdict else None,
        delta_a=verdict.delta_a if verdict else None,
        delta_b=verdict.delta_b if verdict else None,
        accepted=accepted(file, verdict, "batch_id", batch.root),
    )


def batch_gap(file: RecordFile, batch: Batch) -> str:
    """What is missing before a batch can be judged, empty when nothing is.

    Clear pots are not judged: they give no colour of their own.
    """
    if batch.role is CoatRole.CLEAR or verdict_on_batch(file, batch.root) is not None:
        return ""
    cards = cards_of_batch(file, batch.root)
    if not cards:
        return "no_card"
    if not any(readings_of_whole_card(file, card.root) for card in cards):
        return "no_reading"
    master = master_in_force(file, batch.finish_id)
    if master is None:
        return "no_master"
    if any(card.root == master.card_id for card in cards):
        return ""
    return "no_verdict"


def _joint_line(file: RecordFile, joint: Joint) -> JointLine:
    gap = joint_gap(file, joint)
    verdict = verdict_on_joint(file, joint.root) if not gap else None
    return JointLine(
        id=joint.root,
        shop_id=joint.shop_id,
        job_id=joint.job_id,
        kind=joint.kind,
        gap=gap or ("" if verdict else "no_verdict"),
        verdict_id=verdict.root if verdict else None,
        word=verdict.word if verdict else None,
        delta_e_2000=verdict.delta_e_2000 if verdict else None,
        limit_value=verdict.limit if verdict else None,
        accepted=accepted(file, verdict, "joint_id", joint.root),
    )


def conditions_text(reading: Reading) -> str:
    """The conditions of a reading in one line: D65/10°, 45:0."""
    specular = f", specular {reading.specular}" if reading.specular else ""
    return f"{reading.illuminant}/{reading.observer}°, {reading.geometry}{specular}"


def _folded(*words: str) -> str:
    return " ".join(word for word in words if word).casefold()
