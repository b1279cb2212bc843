"""Laying two specimens side by side: like with like first, then one question for each angle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from service.domain.angles_read import angles_read
from service.domain.comparability import Grade, reasons_against, required_angles
from service.domain.deciding import AngleQuestion, SideBySide, decide
from service.domain.instruments import variance_between_instruments
from service.domain.photographed import NEXT, THROUGH_MASTER, Between
from service.domain.pooling import (
    difference_covariance,
    has_angle,
    known_uncertainty,
    repeats_at,
    shared_angle,
)
from service.domain.record_file import RecordFile
from service.domain.records.job import Finish, Policy
from service.domain.records.measuring import Reading
from service.domain.specimens import Specimen
from service.domain.terms import JointKind, Word


def lay_side_by_side(
    file: RecordFile,
    finish: Finish,
    policy: Policy,
    joint: JointKind | None,
    a: Specimen,
    b: Specimen,
    readings_a: Sequence[Reading],
    readings_b: Sequence[Reading],
    panels: int,
    photographed: Between | None = None,
) -> SideBySide:
    """Compare like with like, then decide; ``panels`` counts the cards that stand for a panel.

    ``joint`` is the kind of joint whose limits hold, None for those against the master.
    """
    laid = _laid(file, finish, policy, joint, a, b, readings_a, readings_b, panels, photographed)
    if photographed is None:
        return laid
    through = " through the master" if photographed.how == THROUGH_MASTER else ""
    note = f"By photograph{through}, under the conditions of its sheet."
    step = laid.next_step
    if laid.decision is not None and step == laid.decision.next_step and step:
        # Photographs err alike, so what so many more of them would settle is no count to give.
        step = NEXT[photographed.how]
    return replace(laid, reading_ids=photographed.reading_ids, note=note, next_step=step)


def _laid(
    file: RecordFile,
    finish: Finish,
    policy: Policy,
    joint: JointKind | None,
    a: Specimen,
    b: Specimen,
    readings_a: Sequence[Reading],
    readings_b: Sequence[Reading],
    panels: int,
    photographed: Between | None,
) -> SideBySide:
    reasons = tuple(reasons_against(file, finish, a, b, (readings_a, readings_b)))
    reading_ids = tuple(r.root for r in (*readings_a, *readings_b))
    # The first reading of each side makes the first look; every further one is another.
    look = max(1, len(readings_a) + len(readings_b) - 1)
    if photographed is not None:
        look = photographed.looks
    stopping = [reason for reason in reasons if reason.grade is Grade.STOPS]
    if stopping:
        remedy = " ".join(dict.fromkeys(reason.remedy for reason in stopping))
        return SideBySide(Word.NOT_COMPARABLE, reasons, None, look, reading_ids, remedy)
    widening = sum(
        policy.widening.get(reason.code, 0.0) ** 2
        for reason in reasons
        if reason.grade is Grade.NOTED
    )
    widening += panels * (policy.card_to_panel or 0.0) ** 2
    widening += variance_between_instruments(a.reading, b.reading)
    required = required_angles(finish, policy)
    wanted = [
        angle for angle in required if has_angle(readings_a, angle) and has_angle(readings_b, angle)
    ]
    angles: list[int | None] = list(wanted)
    if not required and angles_read(readings_a) & angles_read(readings_b):
        angles = [shared_angle(readings_a, readings_b)]
    questions = [
        _of_photographs(photographed, widening, policy, joint, panels)
        if photographed is not None
        else AngleQuestion(
            angle=angle,
            master=repeats_at(readings_a, angle),
            card=repeats_at(readings_b, angle),
            master_uncertainty=known_uncertainty(readings_a),
            card_uncertainty=known_uncertainty(readings_b),
            joint_covariance=difference_covariance(file, readings_a[-1], readings_b[-1], angle),
            added_variance=widening,
            to_panel=bool(panels and policy.card_to_panel),
            limit=policy.limit_at(joint, angle),
        )
        for angle in angles
    ]
    if not questions:
        remedy = " ".join(dict.fromkeys(reason.remedy for reason in reasons))
        return SideBySide(Word.CANNOT_TELL, reasons, None, look, reading_ids, remedy)
    decision = decide(questions, risk=policy.risk, look=look, planned_looks=policy.planned_looks)
    holding = [reason for reason in reasons if reason.grade is Grade.ONLY_CANNOT_TELL]
    # No coat, bake or warmth makes another colour of a paint, nor does another instrument that is
    # within its calibration; one that is past it may.
    different = decision.word is Word.SHOWS and decision.over_five
    trusted = all(reason.code != "past_calibration" for reason in holding)
    if holding and not (different and trusted):
        remedy = " ".join(dict.fromkeys(reason.remedy for reason in holding))
        return SideBySide(Word.CANNOT_TELL, reasons, decision, look, reading_ids, remedy)
    return SideBySide(decision.word, reasons, decision, look, reading_ids, decision.next_step)


def _of_photographs(
    between: Between, widening: float, policy: Policy, joint: JointKind | None, panels: int
) -> AngleQuestion:
    start, by = between.start, between.difference
    return AngleQuestion(
        angle=None,
        master=[start],
        card=[(start[0] + by[0], start[1] + by[1], start[2] + by[2])],
        joint_covariance=between.covariance,
        added_variance=widening,
        to_panel=bool(panels and policy.card_to_panel),
        limit=policy.limit(joint),
    )
