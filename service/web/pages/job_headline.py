"""The one thing to know of a job, which its page is headed by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.domain.findings import Finding, Weight
from service.domain.record_file import RecordFile
from service.domain.records.job import Release
from service.domain.records.spraying import Batch
from service.domain.terms import Word
from service.web.pages.job_map import JointShown


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """What the job's heading says: which kind of answer, about how many, and of whom if one."""

    kind: str
    count: int = 0
    name: str = ""


def headline_of(
    file: RecordFile, found: Sequence[Finding], joints: Sequence[JointShown]
) -> Headline:
    """The one thing to know of a job, worst first."""
    if file.all(Release):
        return Headline(kind="released")
    if not file.all(Batch):
        return Headline(kind="nothing_sprayed")
    for weight, kind in (
        (Weight.SHOWS, "show"),
        (Weight.NOT_COMPARABLE, "not_comparable"),
        (Weight.CANNOT_TELL, "cannot_tell"),
    ):
        of_weight = [f for f in found if f.weight is weight]
        on_joints = [f for f in of_weight if f.joint_id is not None]
        if on_joints:
            return Headline(kind=f"joints_{kind}", count=len(on_joints))
        if of_weight:
            batch = file.find(Batch, of_weight[0].batch_id)
            name = str(batch.number) if batch is not None else ""
            return Headline(kind=f"batches_{kind}", count=len(of_weight), name=name)
    missing = sum(f.weight is Weight.MISSING for f in found)
    if missing:
        return Headline(kind="missing", count=missing)
    if any(joint.word is not Word.BLENDS for joint in joints):
        return Headline(kind="accepted")
    return Headline(kind="all_blend" if joints else "nothing_shows", count=len(joints))
