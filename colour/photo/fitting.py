"""The camera model fitted to a target's patches, and what it leaves uncertain.

Three steps. The parameters' most probable values, by Gauss-Newton with Student weights so that a
wrong patch does not pull the rest. Then, with the model taken as linear about them, three scales
chosen by how well each patch is foretold by all the others (leave one out, in closed form): how
uneven the light may be, how far colours that the model cannot reach stray together (a smooth
field over Lab, so that a gap between the patches, and more so a colour beyond them, is uncertain),
and how far single patches stray from their stated values. Last, the fit with those scales.

References
----------
.. [1] Rasmussen, Williams, Gaussian Processes for Machine Learning (2006): 2.7 explicit basis
   functions, 5.4.2 leave one out in closed form.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from colour.photo import camera_model as model
from colour.photo.foretelling import (
    CHANNEL,
    Foretelling,
    one_paint_covariance,
    smooth_covariance,
    unlike_print_covariance,
)

Floats = NDArray[np.float64]

# Prior standard deviations. Widths are of cameras' usual renderings: gammas 1.6 to 2.8 about
# 2.2 (0.3 of the logarithm), S-curves, stray light of a few per cent of white.
_TONE = np.array([0.25, 0.6, 0.9, 1.5])
_OWN_TONE = 0.06
_STRAY, _OWN_STRAY = 0.008, 0.002
_LIGHT_BY_ORDER = np.array([0.30, 0.15, 0.05, 0.025])
_TINT_BY_ORDER = np.array([0.05, 0.02])
_MATRIX = 0.25
# A patch of Student weights with so many degrees of freedom: a wrong patch loses its pull.
_STUDENT = 4.0
# Nine patches in ten lie within this of what the others foretell: the quantile of χ² with three
# degrees of freedom. Real charts' errors have longer tails, and widen the covariance.
_TAIL, _TAIL_SQUARE = 0.9, 6.2514
_GRIDS = {
    "single": (0.1, 0.25, 0.6, 1.4, 3.0),
    "smooth": (0.15, 0.6, 2.0, 4.0),
    "light": (0.1, 0.3, 1.0),
}
# Lab by which a camera misreads a paint against inks of the same colour, from simulated spectral
# cameras under daylight, lamps and tubes: 0.9 at the middle.
_METAMERISM = 0.9
_LEAST_WEIGHT = 1e-4
# So many patches, spread over the lightnesses, suffice to choose three scales.
_ENOUGH = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Scales:
    """The three scales the patches choose; Lab units but for ``light``."""

    light: float  # times the prior width of the unevenness of the light
    smooth: float  # of errors that near colours share
    single: float  # of errors a patch has for itself


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patches:
    """What a target states and the picture shows of n patches."""

    lab: Floats  # (n, 3)
    uncertainty: Floats  # (n,)
    seen: model.Seen
    light_covariance: Floats  # (n, 3, 3)
    white: float  # linear light of the lightest neutral
    primaries: Floats  # (3, 3): the picture's linear RGB to linear sRGB
    linear: bool = False  # whether its codes were proportional to light


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CameraFit:
    """The fitted camera: parameters, scales, and all that a prediction needs."""

    patches: Patches
    theta: Floats
    prior: Floats
    scales: Scales
    weights: Floats  # (n,): 1 for a patch as foretold, near 0 for a wrong one
    left_out: Floats  # (n, 3): Lab of each patch as the others foretell it
    left_out_covariance: Floats  # (n, 3, 3)
    widening: float  # of every covariance: 1, or more where the patches scatter beyond it
    fitted: Floats  # (n, 3)
    _start: Floats
    _foretelling: Foretelling
    _solved: Floats  # (n, 3): the inverse covariance times what the patches showed

    def read(self, places: model.Seen, light_covariance: Floats) -> tuple[Floats, Floats]:
        """Lab (m, 3) of places and their joint covariance (3m, 3m)."""
        lab, slopes, by_light = model.predict_with_slopes(self.theta, places, self.patches.white)
        width = self.prior * _light_scaled(self.scales.light)
        more, joint = self._foretelling.foretell(
            self._solved,
            slopes * width,
            smooth_covariance(lab, self.patches.lab),
            smooth_covariance(lab, lab),
            self.scales.smooth,
        )
        mean = lab - slopes @ (self.theta - self._start) + more
        joint = (joint + one_paint_covariance(lab, self.scales.single)) * self.widening
        joint += unlike_print_covariance(lab, self._unlike_print())
        pixel = by_light @ light_covariance @ by_light.transpose(0, 2, 1)
        for i in range(len(places)):
            joint[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += pixel[i]
        return mean, joint

    def _unlike_print(self) -> float:
        # A print whose patches keep close to their stated values strays little as a whole.
        stated = float(self.patches.uncertainty.mean())
        return float(np.hypot(_METAMERISM, min(stated, 1.2 * self.scales.single)))

    @property
    def in_words(self) -> str:
        """What was fitted, with the scales that foretell left-out patches best."""
        s = self.scales
        return (
            f"tone curve, matrix and light over {len(self.patches.lab)} patches by priors "
            f"(light × {s.light:g}), smooth errors {s.smooth:g}, single errors {s.single:g}, "
            f"widened × {self.widening:.2g}"
        )


def fit(patches: Patches) -> CameraFit:
    """Fit the camera to the patches."""
    start = _start_of(patches)
    prior = _prior(patches, start)
    theta, weights = _most_probable(patches, start, prior)
    lab, slopes, by_light = model.predict_with_slopes(theta, patches.seen, patches.white)
    pixel = np.einsum(
        "nkc,ncd,nkd->nk", by_light, patches.light_covariance, by_light, optimize=True
    )
    # As if linear about theta: y − f(start).
    shown = patches.lab - lab + slopes @ (theta - start)
    smooth = smooth_covariance(patches.lab, patches.lab)
    linear = _Linear(patches, slopes, prior, pixel, shown, weights, smooth)
    scales = _scales(linear.some(_ENOUGH))
    foretelling, solved = linear.at(scales)
    errors, spread = foretelling.left_out(solved)
    own = linear.noise(scales)
    plain = own * weights.clip(_LEAST_WEIGHT, 1)[:, None]
    spread = spread + (plain - own)[:, :, None] * np.eye(3)
    squares = np.einsum("nk,nkl,nl->n", errors, np.linalg.inv(spread), errors)
    widening = max(1.0, float(np.quantile(squares, _TAIL, method="higher")) / _TAIL_SQUARE)
    return CameraFit(
        patches=patches,
        theta=theta,
        prior=prior,
        scales=scales,
        weights=weights,
        left_out=patches.lab - errors,
        left_out_covariance=spread * widening,
        widening=widening,
        fitted=patches.lab - own * solved,
        _start=start,
        _foretelling=foretelling,
        _solved=solved,
    )


def _start_of(patches: Patches) -> Floats:
    """Parameters of a camera that renders sRGB, with the white balance of the neutrals."""
    xyz = model.relative_xyz(patches.lab)
    chroma = np.hypot(patches.lab[:, 1], patches.lab[:, 2])
    # Light neutrals tell the gains; where there are none, everything does.
    pull = np.exp(-chroma / 6) * np.clip(patches.lab[:, 0], 10, None) + 1e-3
    light = np.clip(patches.seen.light, 1e-5, None)
    gains = np.array([_weighted_median(xyz[:, 1] / light[:, c], pull) for c in range(3)])
    theta = np.zeros(model.SIZE)
    theta[model.MATRIX] = (_rendering(patches) * gains).ravel()
    return theta


def _rendering(patches: Patches) -> Floats:
    return np.asarray(model.RELATIVE_XYZ_FROM_SRGB @ patches.primaries)


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])


def _prior(patches: Patches, start: Floats) -> Floats:
    """Standard deviation of every parameter."""
    width = np.empty(model.SIZE)
    gains = start[model.MATRIX].reshape(3, 3).sum(axis=0) / _rendering(patches).sum(axis=0)
    width[model.MATRIX] = np.tile(_MATRIX * gains, 3)
    # A picture whose codes are proportional to light had no tone curve to undo.
    tone = _TONE * (0.05 if patches.linear else 1.0)
    width[model.TONE] = tone
    width[model.OWN_TONE] = np.tile(tone * _OWN_TONE, 3)
    width[model.STRAY] = [_STRAY, _OWN_STRAY, _OWN_STRAY, _OWN_STRAY]
    orders = model.field_orders().astype(int)
    width[model.LIGHT] = _LIGHT_BY_ORDER[orders - 1]
    width[model.TINT] = np.tile(_TINT_BY_ORDER[orders[: model.TINT_TERMS] - 1], 2)
    return width


def _light_scaled(scale: float) -> Floats:
    factor = np.ones(model.SIZE)
    factor[model.LIGHT] = scale
    factor[model.TINT] = scale
    return factor


def _most_probable(patches: Patches, start: Floats, prior: Floats) -> tuple[Floats, Floats]:
    """Gauss-Newton with Student weights and halved steps, from the start."""
    n = len(patches.lab)
    theta = start.copy()
    floor = 1.0
    weights = np.ones(n)
    lab, slopes, _ = model.predict_with_slopes(theta, patches.seen, patches.white)
    rest = patches.lab - lab
    for _ in range(25):
        variance = patches.uncertainty**2 + floor**2
        squares = (rest**2).sum(axis=-1) / 3 / variance
        weights = (_STUDENT + 3) / (_STUDENT + 3 * squares)
        w = weights / variance
        j = slopes * prior
        flat = j.reshape(3 * n, -1)
        weighted = (j * w[:, None, None]).reshape(3 * n, -1)
        normal = flat.T @ weighted + np.eye(model.SIZE)
        pull = weighted.T @ rest.reshape(-1) - (theta - start) / prior
        step = prior * np.linalg.solve(normal, pull)

        def cost(at: Floats, left: Floats, w: Floats = w) -> float:
            return float((w[:, None] * left**2).sum() + (((at - start) / prior) ** 2).sum())

        now = cost(theta, rest)
        length = 1.0
        while True:
            tried = theta + length * step
            lab, slopes, _ = model.predict_with_slopes(tried, patches.seen, patches.white)
            left = patches.lab - lab
            if cost(tried, left) <= now * (1 + 1e-12) or length < 1 / 64:
                break
            length /= 2
        moved = float(np.abs(left - rest).max())
        theta, rest = tried, left
        floor = max(0.15, min(floor, float(np.median(np.abs(rest))) * 1.4826))
        if moved < 0.02:
            break
    return theta, weights


@dataclass(frozen=True, slots=True, eq=False)
class _Linear:
    """The model taken as linear about its most probable parameters, for any scales."""

    patches: Patches
    slopes: Floats  # (n, 3, SIZE)
    prior: Floats
    pixel: Floats  # (n, 3): variance of the patches' Lab by their pixels
    shown: Floats  # (n, 3)
    weights: Floats
    smooth: Floats  # (n, n)

    def some(self, count: int) -> _Linear:
        """The same over a part of the patches."""
        n = len(self.weights)
        if n <= count:
            return self
        by_lightness = np.argsort(self.patches.lab[:, 0], kind="stable")
        which = by_lightness[np.linspace(0, n - 1, count).round().astype(int)]
        return _Linear(
            replace(
                self.patches,
                lab=self.patches.lab[which],
                uncertainty=self.patches.uncertainty[which],
            ),
            self.slopes[which],
            self.prior,
            self.pixel[which],
            self.shown[which],
            self.weights[which],
            self.smooth[np.ix_(which, which)],
        )

    def noise(self, scales: Scales) -> Floats:
        """Variance (n, 3) of what a patch has for itself."""
        stated = self.patches.uncertainty
        own = np.minimum(1.0, stated / stated.mean()) * scales.single
        variance = self.pixel + (own[:, None] * CHANNEL) ** 2
        return np.asarray(variance / self.weights.clip(_LEAST_WEIGHT, 1)[:, None])

    def at(self, scales: Scales) -> tuple[Foretelling, Floats]:
        width = self.prior * _light_scaled(scales.light)
        foretelling = Foretelling.of(
            self.slopes * width, self.smooth, scales.smooth, self.noise(scales)
        )
        return foretelling, foretelling.solve(self.shown.T[:, :, None])[..., 0].T

    def score(self, scales: Scales) -> float:
        """How well each patch is foretold by the others: Student's log density, up to a constant.

        Student's, so that a wrong patch does not choose the scales.
        """
        foretelling, solved = self.at(scales)
        blocks = foretelling.blocks()
        # The error is block⁻¹ solved and its covariance block⁻¹.
        squares = np.einsum("nk,nkl,nl->n", solved, np.linalg.inv(blocks), solved)
        logdet = np.linalg.slogdet(blocks)[1]
        return float((0.5 * logdet - 0.5 * (_STUDENT + 3) * np.log1p(squares / _STUDENT)).sum())


def _scales(linear: _Linear) -> Scales:
    """The scales by leave-one-out: one after the other, twice round."""
    best = Scales(light=0.3, smooth=0.6, single=0.25)
    tried = {best: linear.score(best)}
    for _ in range(2):
        for name, values in _GRIDS.items():
            for value in values:
                scales = replace(best, **{name: value})
                if scales not in tried:
                    tried[scales] = linear.score(scales)
            best = max(tried, key=lambda scales: tried[scales])
    return best
