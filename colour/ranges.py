"""The 95 % ranges of many ΔE00 at once, from what is on record of each difference."""

import numpy as np
from numpy.typing import ArrayLike

from colour.arrays import Floats, as_lab
from colour.difference import delta_e_2000
from colour.least_favourable import Noise, range_of_difference

_TAIL = 0.025


def ranges_of(
    reference: ArrayLike,
    difference: ArrayLike,
    covariance: ArrayLike,
    degrees_of_freedom: ArrayLike,
) -> Floats:
    """The true ΔE00 that the readings do not speak against, at 95 %.

    Parameters
    ----------
    reference, difference : array_like, shape (n, 3)
        CIELAB colours and how others differ from them.
    covariance : array_like, shape (n, 3, 3)
        Of the differences; each must be above nothing.
    degrees_of_freedom : array_like, shape (n,)
        How much scatter a covariance was estimated from; infinite where it is known. One that
        is partly known counts as estimated altogether, which makes no range narrower.

    Returns
    -------
    ndarray, shape (n, 2)
        Low and high ends, in CIEDE2000 units.
    """
    start, mean = as_lab(reference, "reference"), as_lab(difference, "difference")
    noise = np.asarray(covariance, dtype=float)
    degrees = np.asarray(degrees_of_freedom, dtype=float)
    if noise.shape != (len(start), 3, 3) or degrees.shape != (len(start),):
        raise ValueError(
            f"covariance and degrees_of_freedom must have shapes ({len(start)}, 3, 3) and "
            f"({len(start)},), got {noise.shape} and {degrees.shape}"
        )
    known = np.isinf(degrees)[:, None, None]
    parts = Noise.of(np.where(known, noise, 0.0), np.where(known, 0.0, noise), degrees)
    seen = np.asarray(delta_e_2000(start, start + mean))
    found = np.empty((len(start), 2))
    for kind in parts.kinds():
        ends = range_of_difference(start[kind], parts.only(kind), mean[kind], seen[kind], _TAIL)
        found[kind] = np.stack(ends, axis=-1)
    return found
