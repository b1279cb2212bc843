"""How a card's colour moved between its first reading and its newest one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.domain.lookups import mean_lab, uncertainty_of_mean
from service.domain.nearness import doubt_of_difference
from service.domain.pooling import alike
from service.domain.records.measuring import AngleReading, Lab, Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """The newest reading of a zone beside its first, both made alike, at one angle.

    ``difference`` is newest less first (ΔL*, Δa*, Δb*); ``standard_uncertainty`` is of the
    ΔE00, None where nothing is known of the readings' noise.
    """

    first: Reading
    newest: Reading
    angle: int | None
    difference: Lab
    delta_e_2000: float
    standard_uncertainty: float | None
    words: str


def drifts_of(readings: Sequence[Reading]) -> list[Drift]:
    """The drift of each zone and stage that was read alike more than once, angle by angle."""
    found: list[Drift] = []
    seen: set[str] = set()
    for first in sorted(readings, key=lambda reading: reading.observed_at):
        if first.root in seen:
            continue
        group = alike(readings, first)
        seen.update(reading.root for reading in group)
        newest = max(group, key=lambda reading: reading.observed_at)
        if newest.root == first.root:
            continue
        for angle in first.angles:
            later = next((a for a in newest.angles if a.angle == angle.angle), None)
            if later is not None:
                found.append(_drift(first, angle, newest, later))
    return found


def _drift(first: Reading, before: AngleReading, newest: Reading, after: AngleReading) -> Drift:
    from colour.difference import delta_e_2000
    from colour.words import directions, words

    one, other = mean_lab(before), mean_lab(after)
    return Drift(
        first=first,
        newest=newest,
        angle=before.angle,
        difference=(other[0] - one[0], other[1] - one[1], other[2] - one[2]),
        delta_e_2000=float(delta_e_2000(one, other)),
        standard_uncertainty=doubt_of_difference(
            one, uncertainty_of_mean(first, before), other, uncertainty_of_mean(newest, after)
        ),
        words=words(one, other) if directions(one, other) else "",
    )
