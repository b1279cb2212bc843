"""How far apart two stored colours are, and how well the readings behind them know it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from service.domain.lookups import mean_lab, uncertainty_of_mean
from service.domain.records.measuring import Lab, Reading


@dataclass(frozen=True, slots=True)
class AtAngle:
    """The mean of a reading at one angle, None for one geometry, and how well it is known.

    ``standard_uncertainty`` is that of the mean, per channel, in CIELAB units; None when unknown.
    """

    angle: int | None
    lab: Lab
    standard_uncertainty: float | None = None


def at_angles(reading: Reading) -> tuple[AtAngle, ...]:
    """What a reading says at each of its angles."""
    return tuple(
        AtAngle(one.angle, mean_lab(one), uncertainty_of_mean(reading, one))
        for one in reading.angles
    )


def doubt_of_difference(
    one: Lab, uncertainty: float | None, other: Lab, other_uncertainty: float | None
) -> float | None:
    """Standard uncertainty of ΔE00 between two means; None unless both their figures are known.

    The figures are standard uncertainties per channel, in CIELAB units, as lists keep them.
    """
    return doubts_of_differences([(one, uncertainty, other, other_uncertainty)])[0]


def doubts_of_differences(
    pairs: Sequence[tuple[Lab, float | None, Lab, float | None]],
) -> list[float | None]:
    """The same of many pairs at once, which takes little longer than of one.

    Linear propagation, as a judgement has it (``colour.weighing.standard_uncertainty``), for
    noise that is alike in every channel: √(u² + v²) times the length of the gradient. Where
    nothing differs there is no gradient, and the steepest direction stands in.
    """
    from colour.quadratic_form import local_form

    known = [
        (n, one, other, math.hypot(u, v))
        for n, (one, u, other, v) in enumerate(pairs)
        if u is not None and v is not None
    ]
    found: list[float | None] = [None] * len(pairs)
    middles = [[(x + y) / 2 for x, y in zip(one, other, strict=True)] for _, one, other, _ in known]
    forms = local_form(middles).tolist() if known else []
    for (n, one, other, noise), form in zip(known, forms, strict=True):
        found[n] = noise * _slope(one, other, form)
    return found


def _slope(one: Lab, other: Lab, form: Sequence[Sequence[float]]) -> float:
    """Length of the gradient of ΔE00 between two colours, by the form at their midpoint."""
    step = [y - x for x, y in zip(one, other, strict=True)]
    pull = [_product(row, step) for row in form]
    length = math.sqrt(_product(pull, step))
    return math.hypot(*pull) / length if length > 1e-9 else _steepest(one)


def _steepest(lab: Lab) -> float:
    """The gradient of ΔE00 in the direction in which it rises most, at a colour."""
    from colour.decision import UncertainDifference
    from colour.weighing import standard_uncertainty

    one_unit = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    return standard_uncertainty(UncertainDifference.of(lab, (0.0, 0.0, 0.0), one_unit))


def in_noise(apart: float, uncertainty: float | None, other_uncertainty: float | None) -> bool:
    """Whether two values of one channel lie no further apart than their noise may put them.

    That is within the expanded uncertainty of their difference, k = 2; not where a figure is
    unknown, for then nobody can say.
    """
    if uncertainty is None or other_uncertainty is None:
        return False
    return abs(apart) <= 2 * math.hypot(uncertainty, other_uncertainty)


def _product(one: Sequence[float], other: Sequence[float]) -> float:
    return math.fsum(x * y for x, y in zip(one, other, strict=True))
