"""Which readings are taken together, and what is known of their noise."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from service.domain.record_file import RecordFile
from service.domain.records.measuring import Frame, Lab, Matrix, Reading
from service.domain.terms import Method, Stage

SAME_AGE = timedelta(days=90)
"""Readings of one card no further apart than this are of one age; a suggestion, no standard's
figure. It leaves room for the cure (about thirty days, common practice) and for a job that takes
a season, and is far from the year after which a card in storage is read again. Readings further
apart are never pooled: a card that aged would pull the mean of a batch that is as it was."""


def same_age(one: datetime, other: datetime) -> bool:
    """Whether two readings, by when they were made, are of one age of a card."""
    return abs(one - other) <= SAME_AGE


def as_sprayed(readings: Iterable[Reading]) -> list[Reading]:
    """The readings of each stage from its first period; later ones measure a card again.

    They tell how the surface looked when it was made, and what was sprayed is judged by them.
    Once the early ones are dropped the next are the first. Order is kept.
    """
    readings = list(readings)
    first: dict[Stage, datetime] = {}
    for reading in readings:
        at = first.get(reading.stage, reading.observed_at)
        first[reading.stage] = min(at, reading.observed_at)
    return [r for r in readings if same_age(r.observed_at, first[r.stage])]


def as_it_is_now(readings: Iterable[Reading]) -> list[Reading]:
    """The readings of a card's newest age. Order is kept."""
    readings = list(readings)
    newest = max((reading.observed_at for reading in readings), default=None)
    return [r for r in readings if newest is not None and same_age(r.observed_at, newest)]


def repeats_at(readings: Sequence[Reading], angle: int | None) -> list[Lab]:
    return [
        lab for reading in readings for a in reading.angles if a.angle == angle for lab in a.repeats
    ]


def known_uncertainty(readings: Sequence[Reading]) -> float | None:
    """The standard uncertainty of one repeat, when it is known of every reading: the largest."""
    figures = [reading.standard_uncertainty for reading in readings]
    known = [figure for figure in figures if figure is not None]
    return max(known) if len(known) == len(figures) else None


def difference_covariance(
    file: RecordFile, a: Reading, b: Reading, angle: int | None
) -> Matrix | None:
    """Covariance of the difference of two readings, where they have one of their own."""
    frame = file.find(Frame, a.frame_id) if a.frame_id and a.frame_id == b.frame_id else None
    if frame is not None:
        i, j = (3 * frame.reading_ids.index(reading.root) for reading in (a, b))
        s = frame.covariance
        return tuple(
            tuple(
                s[i + r][i + c] + s[j + r][j + c] - s[i + r][j + c] - s[j + r][i + c]
                for c in range(3)
            )
            for r in range(3)
        )
    own = [
        next((x.covariance for x in reading.angles if x.angle == angle), None) for reading in (a, b)
    ]
    if own[0] is None or own[1] is None:
        return None
    return tuple(
        tuple(x + y for x, y in zip(*rows, strict=True)) for rows in zip(*own, strict=True)
    )


def has_angle(readings: Sequence[Reading], angle: int) -> bool:
    return any(a.angle == angle for reading in readings for a in reading.angles)


def shared_angle(a: Sequence[Reading], b: Sequence[Reading]) -> int | None:
    """The angle a solid is judged at: 45° where both have it, else any they share."""
    of_a = {angle.angle for reading in a for angle in reading.angles}
    of_b = {angle.angle for reading in b for angle in reading.angles}
    shared = of_a & of_b
    return 45 if 45 in shared else sorted(shared, key=lambda angle: angle or 0)[0]


def alike(readings: Sequence[Reading], model: Reading) -> list[Reading]:
    """The readings that may be pooled with one: same stage, zone, conditions, instrument and age.

    Photographs of one card share errors that averaging does not lessen, so one stands alone.
    """
    if model.method is Method.PHOTOGRAPH:
        return [model]
    wanted = way_of(model)
    return [
        reading
        for reading in readings
        if way_of(reading) == wanted and same_age(reading.observed_at, model.observed_at)
    ]


def way_of(reading: Reading) -> tuple[object, ...]:
    """What was read and how; readings that agree in it differ by noise and age alone."""
    return (
        reading.stage,
        reading.zone_id,
        reading.illuminant,
        reading.observer,
        reading.geometry,
        reading.specular,
        reading.method,
        reading.instrument_id,
    )


def nearest_stage(approved: Sequence[Reading], stage: Stage) -> Reading:
    """The master's reading to compare with when it has none of the stage: alike in clear first."""
    return min(
        approved,
        key=lambda r: (r.stage.is_cleared != stage.is_cleared, abs(r.stage.order - stage.order)),
    )


def common_stage(a: list[Reading], b: list[Reading]) -> tuple[Sequence[Reading], Sequence[Reading]]:
    """The readings of two cards at the furthest stage both have, else the furthest of each."""
    shared = {r.stage for r in a} & {r.stage for r in b}
    if shared:
        stage = max(shared, key=lambda s: s.order)
        return [r for r in a if r.stage is stage], [r for r in b if r.stage is stage]
    furthest = [max(found, key=lambda r: r.stage.order).stage for found in (a, b)]
    return (
        [r for r in a if r.stage is furthest[0]],
        [r for r in b if r.stage is furthest[1]],
    )
