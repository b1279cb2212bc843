"""A comparison angle by angle: what was judged, under which limit, and what was not read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from service.domain.comparability import required_angles
from service.domain.record_file import RecordFile
from service.domain.records.job import Finish, Joint, Panel, Policy
from service.domain.records.measuring import Lab, Reading, Verdict
from service.domain.records.spraying import Batch
from service.domain.terms import JointKind, Subject
from service.web.pages.evidence import AngleJudged
from service.web.pages.figures_sides import mean_of

FACE_TO, MIDDLE_TO = 30, 60
"""Aspecular degrees up to which one looks at the face and at the middle; common practice, no
source. ASTM E2539 and DIN 6175-2 give the angles, not the words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleRow:
    """One angle of a comparison; without a difference it was not read on both sides."""

    angle: int | None
    seen_at: str
    limit: float
    word: str
    difference: float | None
    bounds: tuple[float, float] | None
    delta: Lab | None
    words: str
    first: Lab | None
    second: Lab | None
    decides: bool


def angle_rows(
    file: RecordFile,
    verdict: Verdict,
    angles: Sequence[AngleJudged],
    first: Sequence[Reading],
    second: Sequence[Reading],
) -> list[AngleRow]:
    """Every angle that was judged and every one that should have been, in order."""
    bounds = _all_bounds(verdict, angles, first)
    rows = [
        AngleRow(
            angle=one.angle,
            seen_at=seen_at(one.angle),
            limit=one.limit,
            word=one.word,
            difference=one.delta_e_2000,
            bounds=bounds.get(one.angle),
            delta=one.delta,
            words=_direction(mean_of(first, one.angle), one.delta),
            first=mean_of(first, one.angle),
            second=mean_of(second, one.angle),
            decides=one.decides,
        )
        for one in angles
    ]
    missing = _missing(file, verdict, {row.angle for row in rows})
    rows += [_not_read(angle, limit, first, second) for angle, limit in missing]
    return sorted(rows, key=lambda row: -999 if row.angle is None else row.angle)


def seen_at(angle: int | None) -> str:
    """What one looks at from an angle, in the trade's words."""
    if angle is None:
        return ""
    if angle < 0:
        return "behind the gloss"
    return "face" if angle <= FACE_TO else "middle" if angle <= MIDDLE_TO else "flop"


def _direction(first: Lab | None, delta: Lab) -> str:
    if first is None:
        return ""
    from colour.words import directions, words

    second = [a + d for a, d in zip(first, delta, strict=True)]
    return words(first, second) if directions(first, second) else ""


def _missing(
    file: RecordFile, verdict: Verdict, judged: set[int | None]
) -> list[tuple[int, float]]:
    """The angles that the policy of the time asked for and that were not judged, with limits."""
    finish_id, joint = _held_to(file, verdict)
    finish = file.latest_revision(Finish, finish_id)
    policies = file.by(Policy, "finish_id", finish_id)
    then = [policy for policy in policies if policy.received_at <= verdict.received_at]
    if finish is None or not then or None in judged:
        return []
    asked = required_angles(finish, then[-1])
    return [(a, then[-1].limit_at(joint, a)) for a in asked if a not in judged]


def _held_to(file: RecordFile, verdict: Verdict) -> tuple[str, JointKind | None]:
    """The finish a verdict is of, and the kind of joint whose limits held."""
    if verdict.subject is Subject.JOINT:
        joint = file.latest_revision(Joint, verdict.joint_id or "")
        panel = file.latest_revision(Panel, joint.panel_a) if joint is not None else None
        kind = joint.kind if joint is not None else None
        return (panel.finish_id if panel is not None else ""), kind
    batch = file.latest_revision(Batch, verdict.batch_id or "")
    return (batch.finish_id if batch is not None else ""), None


def _not_read(
    angle: int, limit: float, first: Sequence[Reading], second: Sequence[Reading]
) -> AngleRow:
    return AngleRow(
        angle=angle,
        seen_at=seen_at(angle),
        limit=limit,
        word="",
        difference=None,
        bounds=None,
        delta=None,
        words="",
        first=mean_of(first, angle),
        second=mean_of(second, angle),
        decides=False,
    )


Bounds = tuple[float, float]


def _all_bounds(
    verdict: Verdict, angles: Sequence[AngleJudged], first: Sequence[Reading]
) -> dict[int | None, Bounds]:
    """The 95 % range of every angle: that of the angle that decided is on record."""
    found: dict[int | None, Bounds] = {}
    if verdict.low is not None and verdict.high is not None:
        found[verdict.angle] = verdict.low, verdict.high
    open_ones = [one for one in angles if one.angle not in found and one.p_blends is not None]
    colours = [mean_of(first, one.angle) for one in open_ones]
    starts = [colour for colour in colours if colour is not None]
    if not starts or len(starts) < len(open_ones):
        return found
    ranges = _ranges(
        tuple(starts),
        tuple(one.delta for one in open_ones),
        tuple(one.covariance for one in open_ones),
        tuple(one.degrees_of_freedom for one in open_ones),
    )
    return found | {one.angle: found for one, found in zip(open_ones, ranges, strict=True)}


@lru_cache(maxsize=128)
def _ranges(
    starts: tuple[Lab, ...],
    deltas: tuple[Lab, ...],
    covariances: tuple[tuple[Lab, ...], ...],
    degrees: tuple[float | None, ...],
) -> tuple[Bounds, ...]:
    """The ranges, worked out as the verdict's own is, by the noise on record."""
    from colour.ranges import ranges_of

    scatter = [math.inf if of is None else of for of in degrees]
    found = ranges_of(starts, deltas, covariances, scatter)
    return tuple((low, high) for low, high in found.tolist())
