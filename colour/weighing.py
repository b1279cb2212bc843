"""What a batch of uncertain differences says about a limit, as bare numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from colour.arrays import Floats
from colour.difference import delta_e_2000
from colour.least_favourable import (
    Noise,
    largest_chances,
    largest_that_blends,
    no_difference,
    truths_at_limit,
)
from colour.quadratic_form import local_form, size
from colour.scatter import Flags
from colour.uncertain_difference import UncertainDifference

# A scatter estimated with fewer degrees of freedom is too uncertain itself.
LEAST_DEGREES = 3.0
LEAST_POWER = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """For each difference of a batch, (n,): the figures on which a verdict rests."""

    delta_e_2000: Floats
    p_blends: Floats  # largest P(ΔE00 ≤ seen) over truths at the limit
    p_shows: Floats  # largest P(ΔE00 ≥ seen) over truths at the limit
    largest_that_blends: Floats  # the ΔE00 below which the answer would be `blends`
    power_at_zero: Floats  # chance of answering `blends` when nothing differs


def flat_parts(difference: UncertainDifference) -> tuple[Floats, Floats, Noise]:
    """Reference, mean and noise of a batch of differences, over one leading axis."""
    mean = difference.mean.reshape(-1, 3)
    count = len(mean)

    def flat(values: Floats) -> Floats:
        wide = np.broadcast_to(values, (*difference.mean.shape[:-1], *values.shape[-2:]))
        return wide.reshape(count, 3, 3)

    reference = np.broadcast_to(difference.reference, difference.mean.shape).reshape(count, 3)
    degrees = np.broadcast_to(difference.degrees_of_freedom, difference.mean.shape[:-1])
    noise = Noise.of(
        flat(difference.known + difference.fixed), flat(difference.scatter), degrees.reshape(count)
    )
    return reference, mean, noise


def weigh(
    difference: UncertainDifference, *, limit: float, risk: float, seen: Floats | None = None
) -> Weighing:
    """Weigh differences against a limit, by the least favourable truth at it.

    `risk` decides only how far `blends` reaches, and with it the power at zero. That power
    averages over the scale of an estimated noise, as it is known now. `seen` are the ΔE00, when
    they are at hand.
    """
    reference, mean, noise = flat_parts(difference)
    if seen is None:
        seen = np.asarray(delta_e_2000(reference, reference + mean))
    figures = np.empty((4, len(mean)))
    for kind in noise.kinds():
        start, part = reference[kind], noise.only(kind)
        limits, risks = np.full(len(kind), float(limit)), np.full(len(kind), float(risk))
        truths = truths_at_limit(start, part, limits, mean[kind])
        critical = largest_that_blends(truths, risks)
        power, _ = no_difference(start, part).chances_below(critical)
        figures[:, kind] = (*largest_chances(truths, seen[kind]), critical, power[:, 0])
    return Weighing(
        delta_e_2000=seen,
        p_blends=figures[0],
        p_shows=figures[1],
        largest_that_blends=figures[2],
        power_at_zero=figures[3],
    )


def is_judgeable(difference: UncertainDifference) -> Flags:
    """Whether enough is known of the noise for any verdict, for each difference of a batch."""
    degrees = difference.degrees_of_freedom
    judgeable: Flags = (degrees >= LEAST_DEGREES) | (difference.stated & (degrees > 0))
    return judgeable


def standard_uncertainty(difference: UncertainDifference) -> float:
    """Standard uncertainty of the ΔE00 of one difference, by linear propagation.

    √(gᵀ Σ g) with g = M d / ΔE00, M being the form at the midpoint. Where nothing differs there
    is no gradient; the largest over all directions stands in, which is what it tends to in the
    least favourable one.
    """
    form = local_form(difference.reference + difference.mean / 2)
    covariance = difference.covariance
    length = size(difference.mean, form)
    if length > 1e-9:
        gradient = form @ difference.mean / length
        return float(np.sqrt(gradient @ covariance @ gradient))
    factor = np.linalg.cholesky(form).T
    return float(np.sqrt(np.linalg.eigvalsh(factor @ covariance @ factor.T)[-1]))
