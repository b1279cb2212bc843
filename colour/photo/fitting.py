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

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colour.photo import camera_model as model

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
# Lab distances over which a camera's errors go together: broad ones, and a nearer kind.
_FAR = np.array([60.0, 55.0, 55.0])
_ALONE = 8.0
_NEAR = np.array([18.0, 14.0, 14.0])
# Nine patches in ten lie within this of what the others foretell: the quantile of χ² with three
# degrees of freedom. Real charts' errors have longer tails, and widen the covariance.
_TAIL, _TAIL_SQUARE = 0.9, 6.2514
# The channels' shares of such errors, against L*.
_CHANNEL = np.array([1.0, 1.25, 1.25])


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
    _slopes: Floats
    _inverse: Floats  # of the patches' whole covariance, (3n, 3n)
    _rest: Floats  # Q (y − f(prior)): (3n,)

    def read(self, places: model.Seen, light_covariance: Floats) -> tuple[Floats, Floats]:
        """Lab (m, 3) of places and their joint covariance (3m, 3m)."""
        lab, slopes, by_light = model.predict_with_slopes(self.theta, places, self.patches.white)
        m = len(places)
        prior_sd = self.prior * _light_scaled(self.scales.light)
        j = slopes.reshape(3 * m, -1) * prior_sd
        jp = self._slopes.reshape(-1, model.SIZE) * prior_sd
        cross = j @ jp.T + _smooth(lab, self.patches.lab, self.scales.smooth)
        start = lab.reshape(-1) - j @ (self._shift() / prior_sd)
        mean = start + cross @ self._rest
        joint = j @ j.T + _smooth(lab, lab, self.scales.smooth) - cross @ self._inverse @ cross.T
        joint += _alone(lab, self.scales.single)
        joint *= self.widening
        pixel = by_light @ light_covariance @ by_light.transpose(0, 2, 1)
        for i in range(m):
            joint[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += pixel[i]
        return mean.reshape(m, 3), (joint + joint.T) / 2

    @property
    def in_words(self) -> str:
        """What was fitted, with the scales that foretell left-out patches best."""
        s = self.scales
        return (
            f"tone curve, matrix and light over {len(self.patches.lab)} patches by priors "
            f"(light × {s.light:g}), smooth errors {s.smooth:g}, single errors {s.single:g}, "
            f"widened × {self.widening:.2g}"
        )

    def _shift(self) -> Floats:
        return self.theta - _start_of(self.patches)


def fit(patches: Patches) -> CameraFit:
    """Fit the camera to the patches."""
    start = _start_of(patches)
    prior = _prior(patches, start)
    theta, weights = _most_probable(patches, start, prior)
    lab, slopes, by_light = model.predict_with_slopes(theta, patches.seen, patches.white)
    pixel = by_light @ patches.light_covariance @ by_light.transpose(0, 2, 1)
    # As if linear about theta: y − f(start).
    rest = (patches.lab - lab).reshape(-1) + slopes.reshape(-1, model.SIZE) @ (theta - start)
    scales, weights = _scales(patches, slopes, pixel, rest, prior, weights)
    total = _total(patches, slopes, pixel, prior, scales, weights)
    inverse = np.asarray(np.linalg.inv(total))
    solved = inverse @ rest
    errors, spread = _left_out(inverse, solved)
    noise = _noise(patches, pixel, scales, np.ones(len(weights)))
    spread = spread - _noise(patches, pixel, scales, weights) + noise
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
        fitted=patches.lab
        - (_noise(patches, pixel, scales, weights) @ solved.reshape(-1, 3, 1))[..., 0],
        _slopes=slopes,
        _inverse=inverse,
        _rest=solved,
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


def _scales(
    patches: Patches,
    slopes: Floats,
    pixel: Floats,
    rest: Floats,
    prior: Floats,
    weights: Floats,
) -> tuple[Scales, Floats]:
    """The scales by leave-one-out, and the weights that go with them."""
    best = Scales(light=0.5, smooth=1.0, single=0.5)
    best_score = -np.inf

    def score(scales: Scales) -> tuple[float, Floats]:
        total = _total(patches, slopes, pixel, prior, scales, weights)
        inverse = np.asarray(np.linalg.inv(total))
        errors, spread = _left_out(inverse, inverse @ rest)
        squares = np.einsum("nk,nkl,nl->n", errors, np.linalg.inv(spread), errors)
        logdet = np.linalg.slogdet(spread)[1]
        # Student's density in three dimensions: a wrong patch must not choose the scales.
        nu = _STUDENT
        dense = -0.5 * logdet - 0.5 * (nu + 3) * np.log1p(squares / nu)
        return float(dense.sum()), (nu + 3) / (nu + squares)

    grids = {
        "single": (0.1, 0.2, 0.4, 0.8, 1.4, 2.4, 4.0),
        "smooth": (0.15, 0.4, 1.0, 2.0, 4.0),
        "light": (0.1, 0.3, 1.0),
    }
    tried: dict[Scales, tuple[float, Floats]] = {}
    for _ in range(2):
        for name, values in grids.items():
            for value in values:
                scales = Scales(**{**_as_dict(best), name: value})
                if scales not in tried:
                    tried[scales] = score(scales)
                if tried[scales][0] > best_score:
                    best, best_score = scales, tried[scales][0]
    return best, tried[best][1] * 0 + weights


def _as_dict(scales: Scales) -> dict[str, float]:
    return {"light": scales.light, "smooth": scales.smooth, "single": scales.single}


def _noise(patches: Patches, pixel: Floats, scales: Scales, weights: Floats) -> Floats:
    """Covariance (n, 3, 3) of what a patch has for itself."""
    own = np.minimum(1.0, patches.uncertainty / patches.uncertainty.mean()) * scales.single
    variance = (own[:, None] * _CHANNEL) ** 2
    return np.asarray(
        (pixel + variance[:, :, None] * np.eye(3)) / weights.clip(1e-4, 1)[:, None, None]
    )


def _total(
    patches: Patches,
    slopes: Floats,
    pixel: Floats,
    prior: Floats,
    scales: Scales,
    weights: Floats,
) -> Floats:
    """Covariance (3n, 3n) of the patches' values about the start, everything unknown in it."""
    j = slopes.reshape(-1, model.SIZE) * (prior * _light_scaled(scales.light))
    total = j @ j.T + _smooth(patches.lab, patches.lab, scales.smooth)
    own = _noise(patches, pixel, scales, weights)
    n = len(own)
    view = total.reshape(n, 3, n, 3)
    view[np.arange(n), :, np.arange(n), :] += own
    return np.asarray(total)


def _smooth(a: Floats, b: Floats, scale: float) -> Floats:
    """Covariance (3m, 3n) of the errors that near colours share."""
    chroma = [np.hypot(lab[:, 1], lab[:, 2]) for lab in (a, b)]
    reach = [0.5 + c / 40 for c in chroma]
    shared = scale**2 * reach[0][:, None] * reach[1][None, :]
    alike = 0.8 * _matern(a, b, _FAR) + 0.2 * _matern(a, b, _NEAR)
    return np.asarray(np.kron(shared * alike, np.diag(_CHANNEL**2)))


def _alone(lab: Floats, scale: float) -> Floats:
    """Covariance (3m, 3m) of what single colours stray by; colours that are nearly one share it."""
    apart = ((lab[:, None, :] - lab[None, :, :]) ** 2).sum(axis=-1) / _ALONE**2
    return np.asarray(np.kron(scale**2 * np.exp(-apart / 2), np.diag(_CHANNEL**2)))


def _matern(a: Floats, b: Floats, length: Floats) -> Floats:
    """Matérn 5/2 over Lab."""
    apart = np.sqrt(5) * np.sqrt((((a[:, None, :] - b[None, :, :]) / length) ** 2).sum(axis=-1))
    return np.asarray((1 + apart + apart**2 / 3) * np.exp(-apart))


def _left_out(inverse: Floats, solved: Floats) -> tuple[Floats, Floats]:
    """Error (n, 3) of each patch foretold by the others, and its covariance (n, 3, 3)."""
    n = len(inverse) // 3
    blocks = inverse.reshape(n, 3, n, 3)[np.arange(n), :, np.arange(n), :]
    spread = np.linalg.inv(blocks)
    return (spread @ solved.reshape(n, 3, 1))[..., 0], np.asarray(spread)
