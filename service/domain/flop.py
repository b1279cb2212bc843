"""How far a card's lightness falls from face to flop, and how that lies beside its master's."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from service.domain.comparability import normal_geometry
from service.domain.lookups import mean_lab, uncertainty_of_mean
from service.domain.records.measuring import Reading

if TYPE_CHECKING:
    from colour.angles import FlopDifference


@dataclass(frozen=True, slots=True, kw_only=True)
class Flop:
    """Alman's flop index of one reading: 0 for a solid, 15 to 17 for a very strong metallic.

    ``standard_uncertainty`` comes of the noise of the reading, None where that is not known;
    ``words`` says whether a flop stands out of it. ``colour.angles`` says where the formula is
    from.
    """

    index: float
    standard_uncertainty: float | None
    words: str


def flop_of(reading: Reading) -> Flop | None:
    """The flop index of a reading; None unless it was read at 15°, 45° and 110°."""
    from colour.angles import flop_index

    found = flop_index(_lightness(reading), _doubts(reading))
    if found is None:
        return None
    return Flop(
        index=found.value, standard_uncertainty=found.standard_uncertainty, words=found.words
    )


def flop_words(master_reading: Reading, card_reading: Reading) -> str:
    """How the card's face, middle and flop lie beside the master's, lighter or darker.

    Empty where they were not read at the angles it takes, or not alike, and where nothing stands
    out of the noise: "lighter at the face, darker at the flop, so it travels more".
    """
    found = flop_beside(master_reading, card_reading)
    return found.words if found is not None else ""


def flop_beside(master_reading: Reading, card_reading: Reading) -> FlopDifference | None:
    """The same with its figures; None where there is nothing to lay side by side."""
    if _way(master_reading) != _way(card_reading):
        return None
    from colour.angles import flop_difference

    return flop_difference(
        _lightness(master_reading), _lightness(card_reading), _between(master_reading, card_reading)
    )


def _way(reading: Reading) -> tuple[object, ...]:
    """What must be alike before two lightnesses tell anything of flop."""
    return (
        reading.illuminant.casefold(),
        reading.observer,
        normal_geometry(reading.geometry),
        reading.method,
        reading.stage.is_cleared,
    )


def _lightness(reading: Reading) -> dict[int, float]:
    return {one.angle: mean_lab(one)[0] for one in reading.angles if one.angle is not None}


def _doubts(reading: Reading) -> dict[int, float | None]:
    return {
        one.angle: uncertainty_of_mean(reading, one)
        for one in reading.angles
        if one.angle is not None
    }


def _between(one: Reading, other: Reading) -> Mapping[int, float | None]:
    """Standard uncertainty of the difference of the two, by angle.

    Where two instruments read them, what these stand apart by comes on top as far as it is known.
    """
    apart = 0.0
    if one.instrument_id != other.instrument_id:
        apart = math.hypot(
            one.inter_instrument_uncertainty or 0.0, other.inter_instrument_uncertainty or 0.0
        )
    of_one, of_other = _doubts(one), _doubts(other)
    between: dict[int, float | None] = {}
    for angle in of_one.keys() & of_other.keys():
        u, v = of_one[angle], of_other[angle]
        between[angle] = None if u is None or v is None else math.hypot(u, v, apart)
    return between
