"""The stored cards nearest to a colour read at one angle or at several.

At several, cards are ranked by the angle at which they differ most. They are kept in order of
one angle only (45° where it was read), but what a card differs at its worst is never less than
what it differs there. So cards are taken in that order until the next can be no nearer.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from service.domain.lines import CardLine
from service.domain.nearness import AtAngle, at_angles
from service.domain.records.measuring import Lab, Reading
from service.use_cases.queries import NearCard, Queries

FIRST, FURTHER, MOST = 32, 4, 1024
"""So many cards are looked at, then so many times as many, up to so many: a third of a second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadLike:
    """The conditions a card must have been read under; ``specular`` empty where either will do."""

    illuminant: str
    observer: int
    geometry: str
    specular: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """How far a card lies from what was read at one angle; ``lab`` is the card's."""

    angle: int | None
    delta_e_2000: float
    lab: Lab
    standard_uncertainty: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
    """A card near what was read; ``worst`` ranks it.

    ``angles`` are those both were read at; ``lacking`` those the card was never read at, so that
    it may lie further off there.
    """

    line: CardLine
    worst: Apart
    angles: tuple[Apart, ...]
    lacking: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """The nearest cards; ``all_looked_at`` is false where nearer ones may be among the rest."""

    cards: tuple[Near, ...]
    all_looked_at: bool = True


def nearest_to_reading(queries: Queries, reading: Reading, count: int) -> Nearest:
    """The cards nearest to a reading on record, by every angle it has."""
    like = ReadLike(
        illuminant=reading.illuminant, observer=reading.observer, geometry=reading.geometry
    )
    return nearest_at_angles(queries, at_angles(reading), like, count)


def nearest_at_angles(
    queries: Queries, read: Sequence[AtAngle], like: ReadLike, count: int
) -> Nearest:
    """The cards nearest to what was read, at one angle or at several."""
    first = next((one for one in read if one.angle == 45), read[0])
    if len(read) == 1:
        found = _along(queries, first, like, count)
        return Nearest(cards=tuple(_at_one_angle(near) for near in found))
    ranked: list[Near] = []
    seen: set[str] = set()
    many = max(FIRST, count)
    while True:
        found = _along(queries, first, like, many)
        new = [near.line for near in found if near.line.id not in seen]
        seen.update(line.id for line in new)
        ranked = sorted([*ranked, *_at_all_angles(queries, read, new)], key=_rank)
        farthest = ranked[count - 1].worst.delta_e_2000 if len(ranked) >= count else None
        settled = len(found) < many or (farthest is not None and found[-1].delta_e_2000 > farthest)
        if settled or many >= MOST:
            return Nearest(cards=tuple(ranked[:count]), all_looked_at=settled)
        many *= FURTHER


def _rank(near: Near) -> tuple[float, int, str]:
    """Of cards equally far, those that were read at more of the angles come first."""
    return near.worst.delta_e_2000, len(near.lacking), near.line.id


def _along(queries: Queries, at: AtAngle, like: ReadLike, count: int) -> tuple[NearCard, ...]:
    return queries.nearest_cards(
        at.lab,
        illuminant=like.illuminant,
        observer=like.observer,
        geometry=like.geometry,
        specular=like.specular or None,
        angle=at.angle,
        count=count,
    )


def _at_one_angle(near: NearCard) -> Near:
    line = near.line
    apart = Apart(
        angle=line.angle,
        delta_e_2000=near.delta_e_2000,
        lab=(line.l or 0.0, line.a or 0.0, line.b or 0.0),
        standard_uncertainty=line.standard_uncertainty,
    )
    return Near(line=line, worst=apart, angles=(apart,))


def _at_all_angles(
    queries: Queries, read: Sequence[AtAngle], lines: Sequence[CardLine]
) -> Iterable[Near]:
    angles = queries.angles_of_cards([line.id for line in lines])
    held = {line.id: {one.angle: one for one in angles.get(line.id, ())} for line in lines}
    apart = {one.angle: _apart_at(one, held) for one in read}
    for line in lines:
        shared = tuple(apart[one.angle][line.id] for one in read if line.id in apart[one.angle])
        if shared:
            yield Near(
                line=line,
                worst=max(shared, key=lambda one: one.delta_e_2000),
                angles=shared,
                lacking=tuple(
                    one.angle
                    for one in read
                    if one.angle is not None and line.id not in apart[one.angle]
                ),
            )


def _apart_at(read: AtAngle, held: Mapping[str, Mapping[int | None, AtAngle]]) -> dict[str, Apart]:
    """By card, how far each that was read at an angle lies from what was read there."""
    there = {id: angles[read.angle] for id, angles in held.items() if read.angle in angles}
    if not there:
        return {}
    import numpy as np

    from colour.difference import delta_e_2000

    differences = delta_e_2000(np.array(read.lab), np.array([at.lab for at in there.values()]))
    return {
        id: Apart(
            angle=read.angle,
            delta_e_2000=float(difference),
            lab=at.lab,
            standard_uncertainty=at.standard_uncertainty,
        )
        for (id, at), difference in zip(there.items(), differences, strict=True)
    }
