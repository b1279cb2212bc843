"""Approving masters, judging again, accepting what shows, and letting a job leave."""

from __future__ import annotations

from dataclasses import dataclass

from service.domain.findings import findings_of
from service.domain.lookups import master_in_force, verdict_on_batch, verdict_on_joint
from service.domain.records.cards import Card
from service.domain.records.job import Acceptance, Finish, Joint, Release
from service.domain.records.measuring import Master, Reading, Verdict
from service.domain.records.spraying import Batch
from service.domain.refused import Invalid, OutOfOrder
from service.domain.terms import MasterLevel, Role
from service.use_cases.command import EVERYONE, Command, stamp, verb
from service.use_cases.judging import judge_batches, judge_joints
from service.use_cases.ports import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class ApproveMaster(Command):
    """A card a finish is judged against from now on, by these of its readings, one a stage."""

    job_id: str
    card_id: str
    reading_ids: tuple[str, ...]
    level: MasterLevel = MasterLevel.MASTER
    note: str = ""


@verb(Role.MANAGER, Role.REFINISHER, doing="approve a master")
def approve_master(unit: Unit, command: ApproveMaster) -> None:
    """Approve a master; every batch of the finish is judged against it at once."""
    file = unit.job(command.job_id)
    card = file.get(Card, command.card_id)
    readings = [file.get(Reading, id) for id in command.reading_ids]
    if any(reading.card_id != card.root for reading in readings):
        raise Invalid("reading_ids", "A reading is of another card. Pick readings of this card.")
    stages = [reading.stage for reading in readings]
    if len(set(stages)) != len(stages):
        raise Invalid("reading_ids", "Two readings are of one stage. Pick one reading a stage.")
    before = master_in_force(file, card.finish_id)
    if command.level is not MasterLevel.MASTER and before is None:
        raise OutOfOrder("A duplicate or working master needs a master first. Approve one.")
    unit.add(
        Master(
            **stamp(unit, command),
            job_id=file.chain,
            finish_id=card.finish_id,
            card_id=card.root,
            reading_ids=tuple(command.reading_ids),
            level=command.level,
            parent_id=before.root if before else None,
            note=command.note,
        )
    )
    judge_batches(unit, command, unit.job(command.job_id), finish_id=card.finish_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgeAgain(Command):
    """Judge a finish anew, for instance after its limits changed; old verdicts stay."""

    job_id: str
    finish_id: str


@verb(*EVERYONE, doing="judge again")
def judge_again(unit: Unit, command: JudgeAgain) -> None:
    """Judge every batch and joint of a finish by what is in force now."""
    file = unit.job(command.job_id)
    finish = file.get(Finish, command.finish_id)
    judge_batches(unit, command, file, finish_id=finish.root)
    judge_joints(unit, command, unit.job(command.job_id))
    if len(unit.job(command.job_id).all(Verdict)) == len(file.all(Verdict)):
        raise OutOfOrder(
            "Nothing that bears on a verdict has changed, so every verdict stands as it is."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Accept(Command):
    """A joint or batch stays as it is, by somebody's name and reason."""

    job_id: str
    why: str
    joint_id: str | None = None
    batch_id: str | None = None


@verb(Role.MANAGER, doing="accept what would show")
def accept(unit: Unit, command: Accept) -> None:
    """Accept a joint or batch as its newest verdict has it."""
    file = unit.job(command.job_id)
    if command.joint_id is not None:
        verdict = verdict_on_joint(file, file.get(Joint, command.joint_id).root)
    else:
        verdict = verdict_on_batch(file, file.get(Batch, command.batch_id or "").root)
    unit.add(
        Acceptance(
            **stamp(unit, command),
            job_id=file.chain,
            why=command.why,
            joint_id=command.joint_id,
            batch_id=command.batch_id,
            verdict_id=verdict.root if verdict else None,
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseJob(Command):
    """The job may leave the shop."""

    job_id: str
    note: str = ""


class StillOpen(OutOfOrder):
    """A job cannot be released while findings stand against it."""

    def __init__(self, findings: list[str]) -> None:
        shown = " ".join(findings[:5])
        more = f" And {len(findings) - 5} more." if len(findings) > 5 else ""
        super().__init__(
            f"{len(findings)} finding{'s' * (len(findings) > 1)} still stand against release. "
            f"{shown}{more} Settle them, or accept each joint with a reason."
        )
        self.findings = findings


@verb(Role.MANAGER, doing="release a job")
def release_job(unit: Unit, command: ReleaseJob) -> None:
    """Release a job with no open finding: every joint blends or is accepted by name."""
    file = unit.job(command.job_id)
    if file.all(Release):
        raise OutOfOrder("This job is released already.")
    against = [finding.sentence for finding in findings_of(file) if finding.stands_against_release]
    if against:
        raise StillOpen(against)
    unit.add(Release(**stamp(unit, command), job_id=file.chain, note=command.note))
