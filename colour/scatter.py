"""Covariance matrices of readings: checked, compared, and combined."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from colour.arrays import Floats

Flags = NDArray[np.bool_]

# Chance of distrusting two figures for one noise although they agree.
DISTRUST = 0.01


def raised(covariance: Floats, least: Floats) -> Floats:
    """The larger of two covariances in every direction; `least` may be zero.

    Along the principal axes of the covariance in units of `least`, what lies below 1 becomes 1.
    """
    if not least.any():
        return covariance
    unit = np.linalg.cholesky(least)
    whitened = np.linalg.solve(unit, np.linalg.solve(unit, covariance).swapaxes(-1, -2))
    values, vectors = np.linalg.eigh(whitened)
    short = np.maximum(1.0 - values, 0.0)
    lift = unit @ vectors
    result: Floats = covariance + (lift * short[..., None, :]) @ lift.swapaxes(-1, -2)
    return result


def as_matrix(values: ArrayLike, name: str, size: int = 3) -> Floats:
    """A finite float matrix of the given size."""
    matrix = np.asarray(values, dtype=np.float64)
    if matrix.shape != (size, size):
        raise ValueError(f"{name} must have shape ({size}, {size}), got {matrix.shape}")
    if not np.isfinite(matrix).all():
        raise ValueError(f"{name} must be finite; leave it out if it is not known")
    return matrix


def as_covariance(values: ArrayLike, name: str) -> Floats:
    """A symmetric positive semidefinite (3, 3) matrix."""
    matrix = as_matrix(values, name)
    scale = float(np.abs(matrix).max())
    if not np.allclose(matrix, matrix.T, rtol=0, atol=1e-9 * scale):
        raise ValueError(f"{name} must be symmetric, got {matrix.tolist()}")
    matrix = (matrix + matrix.T) / 2
    if np.linalg.eigvalsh(matrix)[0] < -1e-9 * scale:
        raise ValueError(
            f"{name} must be a covariance, and this one gives a negative variance in some "
            f"direction: {matrix.tolist()}"
        )
    return matrix


def stated_variance(standard_uncertainty: ArrayLike) -> Floats:
    """Variances of the three channels from a stated standard uncertainty, one or three."""
    stated = np.asarray(standard_uncertainty, dtype=np.float64)
    if stated.shape not in ((), (3,)):
        raise ValueError(
            f"standard_uncertainty must be one number or one per channel, got shape {stated.shape}"
        )
    if not (np.isfinite(stated) & (stated > 0)).all():
        raise ValueError(
            f"standard_uncertainty must be finite and above 0, got {stated.tolist()}; "
            "leave it out to use the scatter of the repeats"
        )
    return np.broadcast_to(stated, (3,)) ** 2


def contradicts(scatter: Floats, degrees: Floats, stated: Floats) -> Flags:
    """Whether a scatter is too large for its stated covariance, by its trace in units of it."""
    trace = np.trace(np.linalg.solve(stated, scatter), axis1=-2, axis2=-1)
    chance: Floats = _special().chdtrc(np.maximum(3 * degrees, 1.0), trace * degrees)
    return (degrees > 0) & (chance < DISTRUST)


def is_large_ratio(
    above: Floats, below: Floats, nu_above: Floats, nu_below: Floats, chance: float = DISTRUST
) -> Flags:
    """Whether one spread exceeds another by more than chance would make of equal ones."""
    ratio = above / np.maximum(below, 1e-300)
    large: Flags = (
        _special().fdtrc(np.maximum(nu_above, 1e-9), np.maximum(nu_below, 1e-9), ratio) < chance
    )
    return large


def spread_of(covariance: Floats) -> Floats:
    """Sum of the three channels' variances."""
    spread: Floats = np.trace(covariance, axis1=-2, axis2=-1)
    return spread


def effective_channels(covariance: Floats) -> Floats:
    """How many equal channels would vary like this: 1 when one alone varies, 3 when all do."""
    spread = spread_of(covariance)
    squared = np.square(covariance).sum(axis=(-2, -1))
    return np.where(squared > 0, spread**2 / np.where(squared > 0, squared, 1.0), 1.0)


def satterthwaite(*parts: tuple[Floats, Floats]) -> Floats:
    """Degrees of freedom of a sum of estimated covariances, by their traces.

    A part of which nothing is known leaves nothing known; a part that is zero does not count.
    """
    spreads = [spread_of(scatter) for scatter, _ in parts]
    unknown = np.any([degrees <= 0 for _, degrees in parts], axis=0)
    total = np.sum(spreads, axis=0)
    below = np.sum(
        [
            spread**2 / np.maximum(degrees, 1.0)
            for spread, (_, degrees) in zip(spreads, parts, strict=True)
        ],
        axis=0,
    )
    degrees = np.where(below > 0, total**2 / np.where(below > 0, below, 1.0), np.inf)
    return np.where(unknown, 0.0, degrees)


def _special() -> Any:
    # Loaded when a scatter is first tested: half of a short command's start otherwise.
    from scipy import special  # type: ignore[import-untyped]

    return special
