"""How far apart two stored colours are, and how well the readings behind them know it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from service.domain.records.measuring import Lab


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
    import numpy as np

    from colour.quadratic_form import local_form, size

    found: list[float | None] = [None] * len(pairs)
    known = [n for n, (_, u, _, v) in enumerate(pairs) if u is not None and v is not None]
    if not known:
        return found
    one, other = (np.array([pairs[n][side] for n in known], dtype=float) for side in (0, 2))
    noise = np.array([math.hypot(pairs[n][1] or 0.0, pairs[n][3] or 0.0) for n in known])
    difference = other - one
    form = local_form((one + other) / 2)
    length = size(difference, form)
    steepest = np.sqrt(np.linalg.eigvalsh(form)[:, -1])
    apart = length > 1e-9
    gradient = np.linalg.norm(np.einsum("nij,nj->ni", form, difference), axis=-1)
    slope = np.where(apart, gradient / np.where(apart, length, 1.0), steepest)
    for n, doubt in zip(known, (slope * noise).tolist(), strict=True):
        found[n] = doubt
    return found


def in_noise(apart: float, uncertainty: float | None, other_uncertainty: float | None) -> bool:
    """Whether two values of one channel lie no further apart than their noise may put them.

    That is within the expanded uncertainty of their difference, k = 2; not where a figure is
    unknown, for then nobody can say.
    """
    if uncertainty is None or other_uncertainty is None:
        return False
    return abs(apart) <= 2 * math.hypot(uncertainty, other_uncertainty)
