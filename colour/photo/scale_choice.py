"""How uneven, how smooth, how scattered: three scales that the patches themselves choose.

With the camera model taken as linear about its most probable parameters, each patch is foretold
by all the others in closed form; the scales that foretell best are taken.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from colour.arrays import Floats
from colour.photo import camera_model as model
from colour.photo.foretelling import CHANNEL, Foretelling
from colour.photo.most_probable import STUDENT, Patches

_GRIDS = {
    "single": (0.1, 0.25, 0.6, 1.4, 3.0),
    "smooth": (0.15, 0.6, 2.0, 4.0),
    "light": (0.1, 0.3, 1.0),
}
LEAST_WEIGHT = 1e-4
_MOST_UNSURE = 6.0  # times the usual uncertainty of a patch: a print's blacks, say
# So many patches, spread over the lightnesses, suffice to choose three scales.
ENOUGH = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Scales:
    """The three scales the patches choose; Lab units but for ``light``."""

    light: float  # times the prior width of the unevenness of the light
    smooth: float  # of errors that near colours share
    single: float  # of errors a patch has for itself


def light_scaled(scale: float) -> Floats:
    factor = np.ones(model.SIZE)
    factor[model.LIGHT] = scale
    factor[model.TINT] = scale
    return factor


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """The model taken as linear about its most probable parameters, for any scales."""

    patches: Patches
    slopes: Floats  # (n, 3, SIZE)
    prior: Floats
    pixel: Floats  # (n, 3): variance of the patches' Lab by their pixels
    shown: Floats  # (n, 3)
    weights: Floats
    smooth: Floats  # (n, n)

    def some(self, count: int) -> Linear:
        """The same over a part of the patches."""
        n = len(self.weights)
        if n <= count:
            return self
        by_lightness = np.argsort(self.patches.lab[:, 0], kind="stable")
        which = by_lightness[np.linspace(0, n - 1, count).round().astype(int)]
        return Linear(
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
        own = np.minimum(stated / np.median(stated), _MOST_UNSURE) * scales.single
        variance = self.pixel + (own[:, None] * CHANNEL) ** 2
        return np.asarray(variance / self.weights.clip(LEAST_WEIGHT, 1)[:, None])

    def at(self, scales: Scales) -> tuple[Foretelling, Floats]:
        width = self.prior * light_scaled(scales.light)
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
        return float((0.5 * logdet - 0.5 * (STUDENT + 3) * np.log1p(squares / STUDENT)).sum())


def choose_scales(linear: Linear) -> Scales:
    """The scales by leave-one-out, one after the other, the scatter again at the end."""
    best = Scales(light=0.3, smooth=0.6, single=0.25)
    tried = {best: linear.score(best)}
    for name in ("single", "smooth", "light", "single"):
        for value in _GRIDS[name]:
            scales = replace(best, **{name: value})
            if scales not in tried:
                tried[scales] = linear.score(scales)
        best = max(tried, key=lambda scales: tried[scales])
    return best
