"""Chances of an observed ΔE00 under the least favourable truth at a limit.

Everything works on a batch of questions, one per entry of the leading axis, so that a
simulation runs the very code a single judgement runs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from colour.quadratic_form import local_form, size, truths_on_limit
from colour.weighted_chi_square import length_distribution, scale_nodes

Array = NDArray[np.float64]

# Longer runs of a batch leave the processor's cache.
_RUN = 64


@dataclass(frozen=True, slots=True)
class Noise:
    """Covariances of a batch of differences: a known part, and one known only to a scale.

    The difference errs by a normal of covariance ``known + scatter / v²``, where v² is
    χ²_ν/ν: `scatter` was estimated with ν degrees of freedom.
    """

    known: Array  # (n, 3, 3)
    scatter: Array  # (n, 3, 3)
    nodes: Array  # (n, k): values of v
    weights: Array  # (n, k): their chances

    @classmethod
    def of(cls, known: Array, scatter: Array, degrees_of_freedom: Array) -> Noise:
        """Noise whose scatter has the degrees of freedom given for each, (n,)."""
        estimated = scatter.any(axis=(-2, -1))
        kinds, which = np.unique(
            np.where(estimated, degrees_of_freedom, np.inf), return_inverse=True
        )
        rules = [scale_nodes(float(degrees)) for degrees in kinds]
        width = max(len(nodes) for nodes, _ in rules)
        # Missing nodes have no weight, so the scale they stand for does not matter.
        nodes = np.array([np.pad(v, (0, width - len(v)), constant_values=1.0) for v, _ in rules])
        weights = np.array([np.pad(w, (0, width - len(w))) for _, w in rules])
        return cls(known, scatter, nodes[which], weights[which])

    def kinds(self) -> list[NDArray[np.intp]]:
        """Indices of the batch by what they cost (one scale or many, one part or two), in runs."""
        mixed = self.known.any(axis=(-2, -1)) & self.scatter.any(axis=(-2, -1))
        kind = 2 * (self.weights > 0).sum(axis=1) + mixed
        alike = (np.flatnonzero(kind == one) for one in np.unique(kind))
        return [
            indices[first : first + _RUN]
            for indices in alike
            for first in range(0, len(indices), _RUN)
        ]

    def only(self, indices: NDArray[np.intp]) -> Noise:
        """The part of the batch with these indices, which are of one kind."""
        width = int((self.weights[indices[0]] > 0).sum())
        return Noise(
            self.known[indices],
            self.scatter[indices],
            self.nodes[indices, :width],
            self.weights[indices, :width],
        )

    @property
    def total(self) -> Array:
        """Best estimate of the covariance, (n, 3, 3)."""
        return self.known + self.scatter


@dataclass(frozen=True, slots=True)
class Truths:
    """Candidate truths of one length, each with its noise along principal axes."""

    length: Array  # (n,): ΔE00 of every truth
    variances: Array  # (n, c, k, 3): noise along the axes, in squared ΔE00
    centres: Array  # (n, c, k, 3): squared coordinates of the truth on them
    bends: Array  # (n, c): how the formula departs from its form, see `truths_on_limit`
    weights: Array  # (n, k)

    def only(self, indices: NDArray[np.intp]) -> Truths:
        """Those of some questions of the batch."""
        return Truths(
            self.length[indices],
            self.variances[indices],
            self.centres[indices],
            self.bends[indices],
            self.weights[indices],
        )

    def chances_below(self, seen: Array) -> tuple[Array, Array]:
        """P(ΔE00 ≤ seen) for every candidate, (n, c), and its slope in `seen`."""
        # The size seen, as the candidate's form has it: the form is exact at the truth, and the
        # bend carries it along the direction to where the formula gives that size.
        levels = self.length[:, None] - self.bends * seen[:, None]
        levels = np.maximum(levels, 0.05 * self.length[:, None])
        stretch = np.divide(
            (1 - self.bends) * self.length[:, None],
            levels,
            out=np.ones_like(levels),
            where=levels > 0,
        )
        lengths = np.broadcast_to((seen[:, None] * stretch)[..., None], self.variances.shape[:-1])
        probability, density = length_distribution(lengths, self.variances, self.centres)
        weights = self.weights[:, None, :]
        slope = (density * weights).sum(-1) * stretch**2 / (1 - self.bends)
        return (probability * weights).sum(-1), slope


def _covariances_of_scale(noise: Noise) -> Array:
    """Covariances whose principal axes may be the worst directions, (n, m, 3, 3).

    With a known part beside a scattered one the axes turn with the scale, so those of a scatter
    found too small are taken as well.
    """
    covariances = [noise.total]
    if noise.known.any() and noise.scatter.any():
        chance = np.cumsum(noise.weights, axis=1)
        for seldom in (0.02, 0.2):  # scales as small as this come up that often
            at = np.argmax(chance > seldom, axis=1)  # nodes ascend
            scale = np.take_along_axis(noise.nodes, at[:, None], axis=1)[:, :, None]
            covariances.append(noise.known + noise.scatter / np.square(scale))
    return np.stack(covariances, axis=1)


def truths_at_limit(master: Array, noise: Noise, limit: Array, toward: Array) -> Truths:
    """Candidates for the least favourable truth on the surface ΔE00(master, truth) = limit.

    They are the ends of the principal axes of the noise as ΔE00 sees it there, and both ends of
    the observed direction. In a fixed metric the chance changes with a squared coordinate θᵢ² by
    minus the density that the squared length has after adding an exponential of mean 2σᵢ²; louder
    axes give later densities, so a small length is likeliest on the loudest axis, a large one on
    one or another, and only a narrow band of lengths between has its extreme off the axes.
    ΔE00's metric turns a little along the surface, so the axes are taken once more from the form
    at each end found. The tests hold the result against a fine grid over the whole surface: it
    is short of the largest chance by less than 6 % of it at limits below 1.
    """
    covariance = _covariances_of_scale(noise)
    here = local_form(master)[:, None]
    axes = _principal_axes(here, covariance).reshape(len(master), -1, 3)
    axes = np.concatenate([axes, -axes], axis=1)
    # Which covariance each of them belongs to.
    covariance = np.tile(np.repeat(covariance, 3, axis=1), (1, 2, 1, 1))
    start, level = master[:, None], limit[:, None]
    there = axes * (level / size(axes, here))[..., None]
    form = local_form(start + there / 2)
    turned = _principal_axes(form, covariance)
    alike = np.einsum("ncij,ncjk,nck->nci", turned, form, axes)
    best = np.argmax(np.abs(alike), axis=-1)[..., None]
    sign = np.sign(np.take_along_axis(alike, best, axis=-1))
    axes = sign * np.take_along_axis(turned, best[..., None], axis=-2)[..., 0, :]
    # No direction was observed where nothing differs; an axis stands in.
    nothing = ~toward.any(axis=-1, keepdims=True)
    observed = np.where(nothing, axes[:, 0], toward)[:, None]
    directions = np.concatenate([axes, observed, -observed], axis=1)
    difference, form, bend = truths_on_limit(start, directions, level, here)
    return _resolve(difference, form, bend, noise, limit)


def truths_on_axes(form: Array, noise: Noise, limit: Array) -> Truths:
    """The same as `truths_at_limit` in one fixed metric, (n, 3, 3): fast, for forecasts."""
    axes = _principal_axes(form, noise.total) * limit[:, None, None]
    straight = np.zeros(axes.shape[:-1])
    return _resolve(axes, np.repeat(form[:, None], 3, axis=1), straight, noise, limit)


def no_difference(master: Array, noise: Noise) -> Truths:
    """The truth that nothing differs, as the one candidate."""
    nothing = np.zeros((len(master), 1, 3))
    length, straight = np.zeros(len(master)), np.zeros((len(master), 1))
    return _resolve(nothing, local_form(master)[:, None], straight, noise, length)


def _factor(form: Array) -> Array:
    """F with Fᵀ F = form."""
    lower = np.asarray(np.linalg.cholesky(form), dtype=np.float64)
    return lower.swapaxes(-1, -2)


def _principal_axes(form: Array, covariance: Array) -> Array:
    """Lab directions, one a row, of the principal axes of the noise as the form sees it."""
    factor = _factor(form)
    _, vectors = np.linalg.eigh(_seen_through(factor, covariance))
    axes: Array = np.linalg.solve(factor, vectors).swapaxes(-1, -2)
    return axes


def _seen_through(factor: Array, covariance: Array) -> Array:
    return factor @ covariance @ factor.swapaxes(-1, -2)


def _resolve(difference: Array, form: Array, bend: Array, noise: Noise, length: Array) -> Truths:
    """Turn differences (n, c, 3) and their forms into noise along principal axes."""
    factor = _factor(form)
    centre = np.einsum("ncij,ncj->nci", factor, difference)[..., None, :]
    if noise.known.any():
        covariance = noise.scatter[:, None] / np.square(noise.nodes)[..., None, None]
        covariance = (noise.known[:, None] + covariance)[:, None]
        variances, vectors = np.linalg.eigh(_seen_through(factor[:, :, None], covariance))
        centre = np.einsum("nckji,nckj->ncki", vectors, np.broadcast_to(centre, vectors.shape[:-1]))
    else:
        # One set of axes serves every scale.
        variances, vectors = np.linalg.eigh(_seen_through(factor, noise.scatter[:, None]))
        variances = variances[:, :, None] / np.square(noise.nodes)[:, None, :, None]
        centre = centre @ vectors
        centre = np.broadcast_to(centre, variances.shape)
    return Truths(length, np.maximum(variances, 0.0), np.square(centre), bend, noise.weights)


def largest_chances(truths: Truths, seen: Array) -> tuple[Array, Array]:
    """Largest P(ΔE00 ≤ seen) and largest P(ΔE00 ≥ seen) over the candidates, each (n,)."""
    below, _ = truths.chances_below(seen)
    # A difference of nothing is no smaller than what is seen with certainty.
    return below.max(axis=1), 1.0 - below.min(axis=1)


def largest_that_blends(truths: Truths, risk: Array) -> Array:
    """The ΔE00 below which `largest_chances` gives a first chance under `risk`, (n,)."""
    return _critical(truths, risk, blends=True)


def smallest_that_shows(truths: Truths, risk: Array) -> Array:
    """The ΔE00 above which `largest_chances` gives a second chance under `risk`, (n,)."""
    return _critical(truths, risk, blends=False)


def _critical(truths: Truths, risk: Array, *, blends: bool) -> Array:
    loudest = truths.variances.max(axis=(1, 3))
    deviation = np.sqrt((loudest * truths.weights).sum(axis=1))
    low, high = np.zeros_like(deviation), truths.length + (5 if blends else 50) * deviation
    # Where one noisy axis alone would put it.
    normal = NormalDist()
    quantile = np.array([normal.inv_cdf(float(one)) for one in risk])
    value = truths.length + (quantile if blends else -quantile) * deviation
    value = np.where(value > 0.2 * truths.length, value, truths.length / 2)
    open_ones = np.arange(len(value))
    for _ in range(60):
        below, slope = truths.only(open_ones).chances_below(value[open_ones])
        pick = (below.argmax(axis=1) if blends else below.argmin(axis=1))[:, None]
        chance = np.take_along_axis(below, pick, axis=1)[:, 0]
        slope = np.take_along_axis(slope, pick, axis=1)[:, 0]
        if not blends:
            chance, slope = 1 - chance, -slope
        now, target = value[open_ones], risk[open_ones]
        too_high = (chance > target) == blends
        high[open_ones] = np.where(too_high, now, high[open_ones])
        low[open_ones] = np.where(too_high, low[open_ones], now)
        # Newton on the logarithm, where both tails are nearly straight; halving when it strays.
        sloped = np.abs(slope) * deviation[open_ones] > 1e-12
        step = np.log(np.maximum(chance, 1e-12) / target) * chance / np.where(sloped, slope, 1.0)
        following = now - step
        inside = sloped & (following > low[open_ones]) & (following < high[open_ones])
        following = np.where(inside, following, (low + high)[open_ones] / 2)
        value[open_ones] = following
        # Newton's next step would be the square of this one.
        open_ones = open_ones[np.abs(following - now) > 1e-3 * deviation[open_ones]]
        if not len(open_ones):
            break
    return value


def range_of_difference(
    master: Array, noise: Noise, toward: Array, seen: Array, tail: float
) -> tuple[Array, Array]:
    """The true ΔE00 that the one seen does not speak against, at `tail` on either side, (n,) each.

    The lowest is the least limit at which so large a difference has that chance; the highest the
    greatest at which so small a one has it. A difference smaller than noise alone would show says
    that the noise was lucky, not that it is small: the highest then belongs to the noise-only
    root mean square.
    """
    noise_only = no_difference(master, noise)
    squares = (noise_only.variances.sum(axis=3)[:, 0] * noise_only.weights).sum(axis=1)
    deviation = np.sqrt(squares)
    count = len(seen)
    reached = np.concatenate([seen, np.maximum(seen, deviation)])
    twice = np.concatenate([np.arange(count)] * 2)
    is_low = np.arange(2 * count) < count
    normal = NormalDist()

    def surplus(length: Array, which: NDArray[np.intp]) -> Array:
        """Normal quantile of the chance over that of `tail`, made to rise with the length."""
        whose = twice[which]
        truths = truths_at_limit(master[whose], noise.only(whose), length, toward[whose])
        below, above = largest_chances(truths, reached[which])
        chance = np.clip(np.where(is_low[which], above, below), 1e-12, 1 - 1e-12)
        quantile = np.array([normal.inv_cdf(float(one)) for one in chance])
        return np.where(is_low[which], 1.0, -1.0) * (quantile - normal.inv_cdf(tail))

    least = 1e-3 * deviation
    none_needed = surplus(least, np.arange(count)) >= 0
    wanted = np.flatnonzero(np.concatenate([~none_needed, np.ones(count, dtype=bool)]))
    start = np.where(is_low, np.concatenate([least, least]), reached)[wanted]
    width = deviation[twice[wanted]]
    guess = np.maximum(reached[wanted] + np.where(is_low[wanted], -1.5, 1.5) * width, start)
    ends = np.zeros(2 * count)
    ends[wanted] = _crossing(lambda length: surplus(length, wanted), start, guess, width)
    return ends[:count], ends[count:]


def _crossing(function: Callable[[Array], Array], low: Array, guess: Array, width: Array) -> Array:
    """Where functions, negative at `low` and rising by about 1 a `width`, cross zero."""
    at_low = np.full_like(low, -2.0)
    high, at_high = np.full_like(low, np.inf), np.full_like(low, np.inf)
    value = guess
    for _ in range(60):
        now = function(value)
        settled = np.abs(now) < 0.005
        if settled.all():
            break
        under = now < 0
        low, at_low = np.where(under, value, low), np.where(under, now, at_low)
        high, at_high = np.where(under, high, value), np.where(under, at_high, now)
        closed = np.isfinite(high)
        span = np.where(closed, high - low, 1.0)
        rise = np.where(closed, at_high - at_low, 1.0)
        # The chord, held off the ends of the bracket so that neither stays for long.
        chord = low + span * np.clip(-at_low / rise, 0.05, 0.95)
        value = np.where(settled, value, np.where(closed, chord, value - (now - 0.5) * width))
    return value
