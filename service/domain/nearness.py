"""How far apart two stored colours are, and how well the readings behind them know it."""

from __future__ import annotations

import math

from service.domain.records.measuring import Lab


def doubt_of_difference(
    one: Lab, uncertainty: float | None, other: Lab, other_uncertainty: float | None
) -> float | None:
    """Standard uncertainty of ΔE00 between two means; None unless both their figures are known.

    The figures are standard uncertainties per channel, in CIELAB units, as lists keep them.
    """
    if uncertainty is None or other_uncertainty is None:
        return None
    from colour.decision import UncertainColour, UncertainDifference
    from colour.weighing import standard_uncertainty

    sides = (
        UncertainColour.from_mean(lab, _in_every_channel(figure))
        for lab, figure in ((one, uncertainty), (other, other_uncertainty))
    )
    return standard_uncertainty(UncertainDifference.between(*sides))


def in_noise(apart: float, uncertainty: float | None, other_uncertainty: float | None) -> bool:
    """Whether two values of one channel lie no further apart than their noise may put them.

    That is within the expanded uncertainty of their difference, k = 2; not where a figure is
    unknown, for then nobody can say.
    """
    if uncertainty is None or other_uncertainty is None:
        return False
    return abs(apart) <= 2 * math.hypot(uncertainty, other_uncertainty)


def _in_every_channel(figure: float) -> list[list[float]]:
    return [[figure**2 if row == column else 0.0 for column in range(3)] for row in range(3)]
