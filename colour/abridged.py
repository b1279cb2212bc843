"""Tristimulus weights for spectra that were sampled at fewer wavelengths than every nanometre.

The procedure of ASTM E2022 (as the open literature tells it; the standard itself was not at
hand). Between two samples the reflectance is taken as Lagrange's polynomial through neighbouring
samples: of third order through the two on either side, quadratic in the first and in the last
interval. The product of illuminant and colour-matching function at every nanometre is shared out
among those samples by the polynomial's coefficients, so the weights are not the product sampled
every 10 nm: under a lamp with narrow lines that naive sum is up to 3.8 ΔE00 wrong.

The same sharing works for any ascending wavelengths. Two rules of ours are for uneven ones: where
neighbouring steps are too unlike for a cubic to be quiet, the interval is linear; and a gap wider
than the 20 nm of the coarsest published tables is refused by the caller.
"""

import numpy as np

from colour.arrays import Floats

MOST_UNLIKE_STEPS = 4.0  # longest step over shortest among those a polynomial runs through


def shares(samples: Floats, targets: Floats) -> Floats:
    """How much of each sample the interpolated value at each target is made of.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Ascending wavelengths, three at least.
    targets : ndarray, shape (m,)
        Wavelengths. Beyond the ends the end sample's value holds: ASTM E308 adds the weights of
        missing wavelengths to the last one there is.

    Returns
    -------
    ndarray, shape (m, n)
        Rows sum to 1.
    """
    count = len(samples)
    found = np.zeros((len(targets), count))
    inside = (targets >= samples[0]) & (targets <= samples[-1])
    found[targets < samples[0], 0] = 1.0
    found[targets > samples[-1], -1] = 1.0
    interval = np.clip(np.searchsorted(samples, targets, side="right") - 1, 0, count - 2)
    for i in np.unique(interval[inside]):
        rows = np.flatnonzero(inside & (interval == i))
        nodes = _nodes(samples, int(i))
        found[rows[:, None], nodes] = _lagrange(samples[nodes], targets[rows])
    return found


def weights(samples: Floats, targets: Floats, products: Floats) -> Floats:
    """Weights of the samples, shape (n, 3), from products of light and observer at the targets.

    Scaled so that the weights of Y sum to 100.
    """
    shared = shares(samples, targets).T @ products
    return np.asarray(shared * (100 / shared[:, 1].sum()))


def _nodes(samples: Floats, interval: int) -> list[int]:
    """The samples that the polynomial of one interval runs through."""
    last = len(samples) - 1
    first = max(interval - 1, 0)
    nodes = list(range(first, min(interval + 2, last) + 1))
    steps = np.diff(samples[nodes])
    if steps.max() > MOST_UNLIKE_STEPS * steps.min():
        return [interval, interval + 1]
    return nodes


def _lagrange(nodes: Floats, targets: Floats) -> Floats:
    """Lagrange's coefficients, shape (targets, nodes)."""
    columns = []
    for j, node in enumerate(nodes):
        others = np.delete(nodes, j)
        columns.append(np.prod((targets[:, None] - others) / (node - others), axis=1))
    return np.stack(columns, axis=-1)
