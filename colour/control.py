"""Control charts: whether a row of batches holds together, or something moved.

Chart the signed components (ΔL*, Δa*, Δb*) and T² over them, never ΔE00: it is not negative, is
skewed, and has lost the direction. Constants and limits are those of the standards' tables, so
that published examples come out to their printed digits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from colour.arrays import Floats

D2, D4 = 1.128, 3.267
"""Of moving ranges of two, as the standards' tables print them; exactly 2/√π and 1 + 3·0.7555."""
RUN = 8
"""Points in a row on one side of the centre that count as a shift."""
ENOUGH = 20
"""Rows below which limits that come from the rows themselves say little."""


@dataclass(frozen=True, kw_only=True)
class ControlChart:
    """The points of a chart, in time order, with its lines.

    ``lower`` and ``upper`` have shape (n,); ``lower`` is None where there is none. ``signals``
    are the places, counted from 0, of the points outside; ``runs`` those at which the eighth or
    a further point in a row lies on one side of the centre.
    """

    centre: Floats
    lower: Floats | None
    upper: Floats
    points: Floats
    signals: tuple[int, ...]
    runs: tuple[int, ...]
    standard_deviation: float | None = None


def individuals(
    values: ArrayLike,
    *,
    sigma: float = 3.0,
    target: float | None = None,
    standard_deviation: float | None = None,
) -> ControlChart:
    """Chart of individual values, its limits from the mean moving range.

    Parameters
    ----------
    values : array_like, shape (n,)
        In time order, two at least unless target and standard deviation are given.
    sigma : float
        Width of the limits in standard deviations.
    target, standard_deviation : float, optional
        The centre and the spread where they are known; else the mean, and the mean moving range
        over d2 = 1.128.

    Raises
    ------
    ValueError
        When there are too few values, one is not finite, or nothing varies.

    References
    ----------
    .. [1] ISO 7870-2:2023, Control charts, Part 2: Shewhart control charts, individuals.
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    series = _series(values)
    _check_positive("sigma", sigma)
    centre = _centre(series, target)
    spread = _spread(series, standard_deviation)
    return _chart(
        series, series, centre, np.full(len(series), sigma * spread), spread, with_runs=True
    )


def moving_range(values: ArrayLike) -> ControlChart:
    """Chart of the moving ranges of two; the first point belongs to the second value.

    Parameters
    ----------
    values : array_like, shape (n,)

    References
    ----------
    .. [1] ISO 7870-2:2023, Control charts, Part 2: Shewhart control charts, moving ranges.
    """
    series = _series(values)
    if len(series) < 2:
        raise ValueError(f"values must hold two at least to have a range, got {len(series)}")
    ranges = np.abs(np.diff(series))
    centre = float(ranges.mean())
    upper = np.full(len(ranges), D4 * centre)
    outside = tuple(int(i) for i in np.flatnonzero(ranges > upper))
    return ControlChart(
        centre=np.array(centre),
        lower=np.zeros(len(ranges)),
        upper=upper,
        points=ranges,
        signals=outside,
        runs=(),
    )


def ewma(
    values: ArrayLike,
    *,
    weight: float = 0.3,
    sigma: float = 3.0,
    target: float | None = None,
    standard_deviation: float | None = None,
) -> ControlChart:
    """Chart of the exponentially weighted moving average, which finds a small shift soonest.

    The limits are the exact ones, which open with time; `steady_reach` is where they end.

    Parameters
    ----------
    values : array_like, shape (n,)
    weight : float
        λ, the weight of the newest value, above 0 and at most 1; with 1 it is the chart of
        individuals.
    sigma, target, standard_deviation
        As in ``individuals``; the average starts at the centre.

    References
    ----------
    .. [1] ISO 7870-6:2016, Control charts, Part 6: EWMA control charts.
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
    """
    series = _series(values)
    _check_positive("sigma", sigma)
    if not 0 < weight <= 1:
        raise ValueError(f"weight must lie above 0 and be at most 1, got {weight}; 0.3 is usual")
    centre = _centre(series, target)
    spread = _spread(series, standard_deviation)
    averages = np.empty_like(series)
    held = centre
    for place, value in enumerate(series):
        held = weight * value + (1 - weight) * held
        averages[place] = held
    times = np.arange(1, len(series) + 1)
    reach = steady_reach(weight=weight, sigma=sigma, standard_deviation=spread) * np.sqrt(
        1 - (1 - weight) ** (2 * times)
    )
    return _chart(series, averages, centre, reach, spread, with_runs=False)


def steady_reach(*, weight: float, sigma: float, standard_deviation: float) -> float:
    """How far from the centre the limits of an EWMA chart come to lie in the end."""
    return float(sigma * standard_deviation * np.sqrt(weight / (2 - weight)))


@dataclass(frozen=True, kw_only=True)
class Baseline:
    """Mean, shape (p,), and covariance, shape (p, p), of ``rows`` rows that held together."""

    mean: Floats
    covariance: Floats
    rows: int


def baseline_of(rows: ArrayLike) -> Baseline:
    """Mean and covariance (n - 1) of rows of shape (m, p)."""
    table = _rows(rows)
    return Baseline(
        mean=table.mean(axis=0),
        covariance=np.atleast_2d(np.cov(table, rowvar=False)),
        rows=len(table),
    )


def t_squared(
    rows: ArrayLike, *, alpha: float = 0.0027, baseline: Baseline | None = None, phase: int = 1
) -> ControlChart:
    """Hotelling's T² of single rows of several variables.

    Parameters
    ----------
    rows : array_like, shape (n, p)
        In time order.
    alpha : float
        Chance that a point of a process at rest lies outside.
    baseline : Baseline, optional
        Rows that held together before; else the rows themselves.
    phase : int
        1: the rows are those of the baseline. 2: they come after it. In phase 2 without a
        baseline the limit is the one for the next row, with all rows as the baseline.

    Raises
    ------
    ValueError
        When there are too few rows for the variables, or the variables move as one.

    References
    ----------
    .. [1] N. D. Tracy, J. C. Young, R. L. Mason, Multivariate control charts for individual
       observations, Journal of Quality Technology 24 (1992) 88-95.
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.5.4.3.4.
    """
    from scipy import special  # type: ignore[import-untyped]

    table = _rows(rows)
    if phase not in (1, 2):
        raise ValueError(f"phase must be 1 or 2, got {phase}")
    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, got {alpha}; 0.0027 is usual")
    if phase == 1 and baseline is not None:
        raise ValueError("phase 1 makes its own baseline; give one in phase 2 only")
    held = baseline_of(table) if baseline is None else baseline
    m, p = held.rows, table.shape[1]
    if held.mean.shape != (p,):
        raise ValueError(f"the baseline has {held.mean.size} variables and the rows have {p}")
    if m < p + 2:
        raise ValueError(
            f"T² of {p} variables needs {p + 2} rows at least, got {m}; add batches or take fewer"
        )
    spread = np.sqrt(np.diag(held.covariance))
    if (
        not spread.all()
        or np.linalg.matrix_rank(held.covariance / np.outer(spread, spread), hermitian=True) < p
    ):
        raise ValueError("the variables move as one or do not move; leave one of them out")
    away = table - held.mean
    points = np.einsum("ij,ij->i", away, np.linalg.solve(held.covariance, away.T).T)
    if phase == 1:
        limit = (m - 1) ** 2 / m * float(special.betaincinv(p / 2, (m - p - 1) / 2, 1 - alpha))
    else:
        limit = p * (m + 1) * (m - 1) / (m * m - m * p) * float(special.fdtri(p, m - p, 1 - alpha))
    return ControlChart(
        centre=held.mean,
        lower=None,
        upper=np.full(len(table), limit),
        points=points,
        signals=tuple(int(i) for i in np.flatnonzero(points > limit)),
        runs=(),
    )


def _chart(
    series: Floats,
    points: Floats,
    centre: float,
    reach: Floats,
    spread: float,
    *,
    with_runs: bool,
) -> ControlChart:
    lower, upper = centre - reach, centre + reach
    return ControlChart(
        centre=np.array(centre),
        lower=lower,
        upper=upper,
        points=points,
        signals=tuple(int(i) for i in np.flatnonzero((points < lower) | (points > upper))),
        runs=_runs(series - centre) if with_runs else (),
        standard_deviation=spread,
    )


def _runs(away: Floats) -> tuple[int, ...]:
    found, length, side = [], 0, 0.0
    for place, sign in enumerate(np.sign(away)):
        length = length + 1 if sign == side and sign != 0 else int(sign != 0)
        side = sign
        if length >= RUN:
            found.append(place)
    return tuple(found)


def _series(values: ArrayLike) -> Floats:
    series = np.asarray(values, dtype=np.float64)
    if series.ndim != 1 or not len(series):
        raise ValueError(f"values must be one series, shape (n,), got shape {series.shape}")
    _check_finite(series)
    return series


def _rows(rows: ArrayLike) -> Floats:
    table = np.asarray(rows, dtype=np.float64)
    if table.ndim != 2 or not table.size:
        raise ValueError(f"rows must have shape (n, p), got shape {table.shape}")
    _check_finite(table)
    return table


def _check_finite(values: Floats) -> None:
    if not np.isfinite(values).all():
        row = int(np.argwhere(~np.isfinite(values))[0][0])
        raise ValueError(f"every value must be finite, and row {row + 1} is not; leave it out")


def _check_positive(name: str, value: float) -> None:
    if not (np.isfinite(value) and value > 0):
        raise ValueError(f"{name} must be finite and above 0, got {value}")


def _centre(series: Floats, target: float | None) -> float:
    if target is None:
        return float(series.mean())
    if not np.isfinite(target):
        raise ValueError(f"target must be finite, got {target}")
    return float(target)


def _spread(series: Floats, stated: float | None) -> float:
    if stated is not None:
        _check_positive("standard_deviation", stated)
        return float(stated)
    if len(series) < 2:
        raise ValueError("one value has no spread; give more, or state the standard deviation")
    mean_range = float(np.abs(np.diff(series)).mean())
    if not mean_range:
        raise ValueError("all values are the same, so no limits come of them; check the file")
    return mean_range / D2
