"""What the check tiles tell of noise: how an instrument repeats, how far two stand apart.

ASTM E2214 is the practice for specifying and verifying the performance of colour-measuring
instruments (its scope was read); that it calls the scatter of one instrument on one specimen
repeatability, and how two of one design read one specimen inter-instrument agreement, is from
memory. The figures are worked out as the docstrings say, not by the clauses of that standard.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from service.domain.lookups import mean_lab
from service.domain.record_file import RecordFile
from service.domain.records.measuring import AngleReading, Lab
from service.domain.records.shop import CheckTile, Instrument, TileReading
from service.domain.tile_history import (
    Way,
    alike_tile_readings,
    tile_readings,
)
from service.domain.tile_noise import less

LEAST_DEGREES = 9
"""Degrees of freedom from which a repeatability is offered: ten readings of one set, say. The
figure is then known to about a quarter of itself, 1/√(2ν) (JCGM 100, E.4.3, from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """The scatter of an instrument's repeats on tiles, at the angle where it is largest.

    ``deviations`` are the pooled standard deviations of one reading in L*, a*, b*; ``figure`` is
    the largest of them, for a verdict takes one figure for every channel. ``offered`` says
    whether the readings are enough to go by.
    """

    angle: int | None
    deviations: Lab
    figure: float
    readings: int
    sets: int
    degrees: int

    @property
    def offered(self) -> bool:
        """Whether there are readings enough to put the figure into the book."""
        return self.degrees >= LEAST_DEGREES


def repeatability_of(shop: RecordFile, instrument_id: str) -> Repeatability | None:
    """Pooled over every set of repeats on any tile: s² = Σ(n−1)s² / Σ(n−1), angle by angle.

    It leaves out what changes between sets, so slow drift is not in it. A tile is smooth: a card
    with texture or flake scatters more. None where no tile was read more than once in a row.
    """
    found = [
        _pooled(angle, sets)
        for angle, sets in _sets(tile_readings(shop, instrument_id)).items()
        if any(len(one) > 1 for one in sets)
    ]
    return max(found, key=lambda one: one.figure, default=None)


def _pooled(angle: int | None, sets: Sequence[Sequence[Lab]]) -> Repeatability:
    from colour.uncertainty import pooled_history

    counted = [one for one in sets if len(one) > 1]
    history = pooled_history(counted)
    l, a, b = (math.sqrt(float(history.covariance[n][n])) for n in range(3))  # noqa: E741
    return Repeatability(
        angle=angle,
        deviations=(l, a, b),
        figure=max(l, a, b),
        readings=sum(map(len, counted)),
        sets=len(counted),
        degrees=round(history.degrees_of_freedom),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ApartOnTile:
    """Two instruments' newest readings of one tile at one angle; the other's less this one's."""

    tile: CheckTile
    angle: int | None
    reading: TileReading
    other_reading: TileReading
    difference: Lab
    delta_e_2000: float

    @property
    def days(self) -> int:
        """Whole days between the two readings."""
        return abs((self.reading.observed_at - self.other_reading.observed_at).days)


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """How far an instrument stands from another, and what that makes of each one's figure."""

    other: Instrument
    on: tuple[ApartOnTile, ...]
    root_mean_square: float
    tiles: int
    figure: float


def apart_from_others(shop: RecordFile, instrument_id: str) -> list[Apart]:
    """How far an instrument stands from each other one that read the same tiles in a like way.

    On tile t the two means differ by d_t = b − a in each channel. Each instrument stands off by a
    bias of variance u², which is what the shop's book holds, so E d² = u_a² + u_b²; two
    instruments alone do not say whose share is whose, and are taken to be alike. Over m tiles
    (angles and channels averaged within a tile) u² is then half the mean of d². That mean rests
    on 3m squares at the most, so u² is made larger by ν/(ν − 2), ν = 3m, as the variance of a
    scaled t distribution is (JCGM 101, 6.4.9, from memory): by 3 for one tile, by 1.5 for two.
    The noise of the means is left in, which errs to the safe side. Biases change with colour, so
    tiles of unlike colours tell more than many readings of one.
    """
    shop.get(Instrument, instrument_id)
    own = _newest_by_way(tile_readings(shop, instrument_id))
    found: list[Apart] = []
    for other in shop.all(Instrument):
        if other.root == instrument_id:
            continue
        theirs = _newest_by_way(tile_readings(shop, other.root))
        on = [
            _apart_on(shop, own[way], a, theirs[way], b)
            for way in own.keys() & theirs.keys()
            for a in own[way].angles
            for b in theirs[way].angles
            if a.angle == b.angle
        ]
        if on:
            found.append(_apart(other, on))
    return found


def _apart(other: Instrument, on: Sequence[ApartOnTile]) -> Apart:
    by_tile: dict[str, list[float]] = {}
    for one in on:
        square = sum(d * d for d in one.difference) / 3
        by_tile.setdefault(one.tile.root, []).append(square)
    mean = sum(sum(squares) / len(squares) for squares in by_tile.values()) / len(by_tile)
    degrees = 3 * len(by_tile)
    return Apart(
        other=other,
        on=tuple(
            sorted(on, key=lambda one: (one.tile.name, -999 if one.angle is None else one.angle))
        ),
        root_mean_square=math.sqrt(mean),
        tiles=len(by_tile),
        figure=math.sqrt(mean / 2 * degrees / (degrees - 2)),
    )


def _apart_on(
    shop: RecordFile, reading: TileReading, a: AngleReading, other: TileReading, b: AngleReading
) -> ApartOnTile:
    from colour.difference import delta_e_2000

    one, two = mean_lab(a), mean_lab(b)
    return ApartOnTile(
        tile=shop.get(CheckTile, reading.tile_id),
        angle=a.angle,
        reading=reading,
        other_reading=other,
        difference=less(two, one),
        delta_e_2000=float(delta_e_2000(one, two)),
    )


def _newest_by_way(readings: Iterable[TileReading]) -> dict[Way, TileReading]:
    return {way: group[-1] for way, group in alike_tile_readings(readings).items()}


def _sets(readings: Iterable[TileReading]) -> dict[int | None, list[tuple[Lab, ...]]]:
    """The sets of repeats by angle."""
    found: dict[int | None, list[tuple[Lab, ...]]] = {}
    for reading in readings:
        for angle in reading.angles:
            found.setdefault(angle.angle, []).append(angle.repeats)
    return found
