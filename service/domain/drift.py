"""How a card's colour moved since it was first read: while it cured, then in storage."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from service.domain.instruments import variance_between_instruments
from service.domain.lookups import mean_lab, uncertainty_of_mean
from service.domain.nearness import doubt_of_difference
from service.domain.pooling import same_age, way_of
from service.domain.records.measuring import AngleReading, Lab, Reading
from service.domain.terms import Method

MOVED_BY = 0.1
"""A card has moved when its ΔE00 is shown to be more than this. Nobody sees a tenth, and it is an
eighth of the limit a finish starts with; but nothing can be shown to be more than nothing by a
test that asks what lies beyond a limit. Ours, no standard's figure."""
RISK = 0.05
"""The stated risk of saying that a card moved when it did not, over all its angles."""
CURE_DAYS = 30
"""Whole days for which colour and gloss go on moving while paint cures; common practice, no
source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """The newest reading of a zone beside its first, both made alike, at one angle.

    ``difference`` is newest less first (ΔL*, Δa*, Δb*); ``standard_uncertainty`` is of the
    ΔE00, None where nothing is known of the readings' noise. ``low`` and ``high`` bound 95 % of
    where ΔE00 lies; ``moved`` says whether it is more than noise explains. All three are None
    where the readings are too few to judge their own noise. Where two instruments read, what they
    stand apart by is in all of them.
    """

    first: Reading
    newest: Reading
    angle: int | None
    difference: Lab
    delta_e_2000: float
    standard_uncertainty: float | None
    words: str
    low: float | None
    high: float | None
    moved: bool | None

    @property
    def days(self) -> int:
        """Whole days between the two readings."""
        return (self.newest.observed_at - self.first.observed_at).days


def drifts_of(readings: Iterable[Reading]) -> list[Drift]:
    """The drift of each zone and stage that was read alike more than once, angle by angle."""
    return [drift for group in _alike(readings) for drift in drifts_between(group[0], group[-1])]


def drifts_between(first: Reading, newest: Reading) -> list[Drift]:
    """How one reading lies beside an earlier one made alike, at each angle both have."""
    shared = _shared(first, newest)
    return [_drift(first, before, newest, after, len(shared)) for before, after in shared]


def moved_by(readings: Iterable[Reading]) -> float | None:
    """The largest ΔE00 between a card's first reading and one of another age; None without one."""
    from colour.difference import delta_e_2000

    found = [
        float(delta_e_2000(mean_lab(before), mean_lab(after)))
        for group in _alike(readings)
        if not same_age(group[0].observed_at, group[-1].observed_at)
        for before, after in _shared(group[0], group[-1])
    ]
    return max(found, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class CoursePoint:
    """One reading against the first; the first itself lies at nothing.

    ``difference`` is this less the first (ΔL*, Δa*, Δb*); ``standard_uncertainty`` is of ΔE00.
    """

    reading: Reading
    days: float
    difference: Lab
    delta_e_2000: float
    standard_uncertainty: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How one zone at one stage and angle moved, reading by reading, the first first."""

    first: Reading
    angle: int | None
    points: tuple[CoursePoint, ...]


def course_of(readings: Iterable[Reading]) -> list[Course]:
    """The course of each zone and stage that was read alike more than once, angle by angle."""
    return [
        Course(
            first=group[0],
            angle=angle.angle,
            points=tuple(
                _point(group[0], angle, reading, after)
                for reading in group
                for after in reading.angles
                if after.angle == angle.angle
            ),
        )
        for group in _alike(readings)
        for angle in group[0].angles
    ]


def since_when(drift: Drift, sprayed_at: datetime) -> str:
    """Between when and when a card moved, and whether that was cure or storage."""
    days = f"{drift.days} day{'' if drift.days == 1 else 's'} before" if drift.days else "that day"
    if (drift.newest.observed_at - sprayed_at).days <= CURE_DAYS:
        return (
            f"Since it was first read, {days}. It was still curing, when colour and gloss "
            "move, so this says nothing of storage."
        )
    if read_while_curing(drift, sprayed_at):
        return (
            f"Since it was first read, {days}. It was still curing then, so part of this "
            "may be cure and not storage."
        )
    return f"In storage, since it was first read {days}."


def read_while_curing(drift: Drift, sprayed_at: datetime) -> bool:
    """Whether a card was first read while it cured, so that part of its drift may be cure."""
    return (drift.first.observed_at - sprayed_at).days <= CURE_DAYS


def tells_of(first: Reading, later: Reading) -> bool:
    """Whether two readings are of one surface read one way, so that they tell how it moved.

    By one instrument, or by two of which it is known how far they stand from others.
    """
    *what_and_how, instrument = way_of(first)
    *same, other = way_of(later)
    return what_and_how == same and (
        instrument == other or variance_between_instruments(first, later) > 0
    )


def _alike(readings: Iterable[Reading]) -> list[list[Reading]]:
    """Readings that tell of each other, each group oldest first; those of more than one.

    A photograph of one card has a large error of its own, which another does not share.
    """
    left = sorted(
        (reading for reading in readings if reading.method is not Method.PHOTOGRAPH),
        key=lambda reading: reading.observed_at,
    )
    groups = []
    while left:
        group = [reading for reading in left if tells_of(left[0], reading)]
        taken = {reading.root for reading in group}
        left = [reading for reading in left if reading.root not in taken]
        groups.append(group)
    return [group for group in groups if len(group) > 1]


def _shared(first: Reading, newest: Reading) -> list[tuple[AngleReading, AngleReading]]:
    return [(a, b) for a in first.angles for b in newest.angles if a.angle == b.angle]


def _point(
    first: Reading, before: AngleReading, reading: Reading, after: AngleReading
) -> CoursePoint:
    from colour.difference import delta_e_2000

    one, other = mean_lab(before), mean_lab(after)
    known, later = uncertainty_of_mean(first, before), uncertainty_of_mean(reading, after)
    if later is not None:
        later = math.hypot(later, math.sqrt(variance_between_instruments(first, reading)))
    itself = reading.root == first.root
    return CoursePoint(
        reading=reading,
        days=(reading.observed_at - first.observed_at).total_seconds() / 86_400,
        difference=_less(other, one),
        delta_e_2000=float(delta_e_2000(one, other)),
        standard_uncertainty=None if itself else doubt_of_difference(one, known, other, later),
    )


def _drift(
    first: Reading, before: AngleReading, newest: Reading, after: AngleReading, angles: int
) -> Drift:
    from colour.words import directions, words

    one, other = mean_lab(before), mean_lab(after)
    point = _point(first, before, newest, after)
    low, high, moved = _weighed(first, before.repeats, newest, after.repeats, angles)
    return Drift(
        first=first,
        newest=newest,
        angle=before.angle,
        difference=point.difference,
        delta_e_2000=point.delta_e_2000,
        standard_uncertainty=point.standard_uncertainty,
        words=words(one, other) if directions(one, other) else "",
        low=low,
        high=high,
        moved=moved,
    )


def _weighed(
    first: Reading,
    before: Sequence[Lab],
    newest: Reading,
    after: Sequence[Lab],
    angles: int,
) -> tuple[float | None, float | None, bool | None]:
    """The 95 % range of a drift, and whether it is more than noise explains."""
    from colour.decision import UncertainColour, UncertainDifference, Verdict, judge_difference

    between = UncertainDifference.between(
        UncertainColour.from_repeats(before, standard_uncertainty=first.standard_uncertainty),
        UncertainColour.from_repeats(after, standard_uncertainty=newest.standard_uncertainty),
    )
    variance = variance_between_instruments(first, newest)
    if variance:
        between = between.widened(standard_uncertainty=math.sqrt(variance))
    judged = judge_difference(between, limit=MOVED_BY, risk=RISK, shows_risk=RISK / angles)
    reach = judged.interval
    if reach is None:
        return None, None, None
    return reach.low, reach.high, judged.verdict is Verdict.SHOWS


def _less(one: Lab, other: Lab) -> Lab:
    return (one[0] - other[0], one[1] - other[1], one[2] - other[2])
