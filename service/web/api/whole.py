"""A whole job and a whole card, put together from the job's file."""

from __future__ import annotations

from typing import Any

from service.domain.findings import findings_of
from service.domain.lines import CardLine
from service.domain.lookups import cards_of_batch, the_job, verdict_on_joint, whereabouts
from service.domain.metameric import UnderLights
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Movement, Photo, Zone
from service.domain.records.job import Finish, Joint, Release
from service.domain.records.measuring import EyeCheck, Reading, Verdict
from service.domain.records.shop import Person
from service.domain.records.spraying import Bake, Batch, Coat, Component, Finishing
from service.domain.sides import joint_gap, joint_name, side_at
from service.web.api.answers import JOB_KINDS
from service.web.api.plain import plain


def job_whole(file: RecordFile) -> dict[str, Any]:
    """A job as the API shows it."""
    return {
        "job": the_job(file),
        "released": bool(file.all(Release)),
        "records": {kind.table: file.all(kind) for kind in JOB_KINDS},
        "findings": findings_of(file),
        "joints": [_joint_whole(file, joint) for joint in file.all(Joint)],
    }


def job_to_answer(file: RecordFile) -> dict[str, Any]:
    """The same for whoever asks for a job: without the spectra, which are most of its bytes."""
    whole = job_whole(file)
    slim = []
    for reading in whole["records"][Reading.table]:
        fields = plain(reading)
        del fields["spectra"]
        slim.append({**fields, "spectra_at": [spectrum.angle for spectrum in reading.spectra]})
    return {**whole, "records": {**whole["records"], Reading.table: slim}}


def batch_whole(file: RecordFile, batch_id: str, lights: UnderLights | None) -> dict[str, Any]:
    """A batch as the API shows it."""
    batch = file.get(Batch, batch_id)
    return {
        "batch": batch,
        "finish": file.get(Finish, batch.finish_id),
        "components": file.by(Component, "batch_id", batch.root),
        "coats": file.by(Coat, "batch_id", batch.root),
        "cards": cards_of_batch(file, batch.root),
        "verdicts": file.by(Verdict, "batch_id", batch.root),
        "under_lights": lights,
    }


def _joint_whole(file: RecordFile, joint: Joint) -> dict[str, Any]:
    sides = [
        side_at(file, panel_id, area_id)
        for panel_id, area_id in ((joint.panel_a, joint.area_a), (joint.panel_b, joint.area_b))
    ]
    return {
        "id": joint.root,
        "name": joint_name(file, joint),
        "kind": joint.kind,
        "gap": joint_gap(file, joint),
        "sides": sides,
        "verdict": verdict_on_joint(file, joint.root),
    }


def card_whole(file: RecordFile, shop: RecordFile, line: CardLine) -> dict[str, Any]:
    """A card as the API shows it."""
    card = file.get(Card, line.id)
    place = whereabouts(file, card)
    holder = shop.latest_revision(Person, place.holder_id) if place.holder_id else None
    return {
        "card": card,
        "line": line,
        "batch": file.get(Batch, card.batch_id),
        "finish": file.get(Finish, card.finish_id),
        **{
            name: file.by(kind, "card_id", card.root)
            for name, kind in (
                ("coats", Coat),
                ("bakes", Bake),
                ("finishings", Finishing),
                ("zones", Zone),
                ("readings", Reading),
                ("eye_checks", EyeCheck),
                ("movements", Movement),
                ("photos", Photo),
            )
        },
        "verdicts": [
            verdict
            for verdict in file.all(Verdict)
            if card.root in (verdict.card_id, verdict.other_card_id)
        ],
        "whereabouts": {
            "place": place.place,
            "slot": place.slot,
            "holder_id": place.holder_id,
            "holder": holder.name if holder else None,
        },
    }
