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

from colour.arrays import Floats
from colour.photo import camera_model as model
from colour.photo.foretelling import (
    Foretelling,
    one_paint_covariance,
    smooth_covariance,
    unlike_print_covariance,
)
from colour.photo.most_probable import Patches, most_probable, prior_of, start_of
from colour.photo.scale_choice import (
    ENOUGH,
    LEAST_WEIGHT,
    Linear,
    Scales,
    choose_scales,
    light_scaled,
)

# Nine patches in ten lie within this of what the others foretell: the quantile of χ² with three
# degrees of freedom. Real charts' errors have longer tails, and widen the covariance.
_TAIL, _TAIL_SQUARE = 0.9, 6.2514
# Lab by which a camera misreads a paint against inks of the same colour, from simulated spectral
# cameras under daylight, lamps and tubes: 0.9 at the middle, more in the tails.
_METAMERISM = 1.1


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
        width = self.prior * light_scaled(self.scales.light)
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
    start = start_of(patches)
    prior = prior_of(patches, start)
    theta, weights = most_probable(patches, start, prior)
    lab, slopes, by_light = model.predict_with_slopes(theta, patches.seen, patches.white)
    pixel = np.einsum(
        "nkc,ncd,nkd->nk", by_light, patches.light_covariance, by_light, optimize=True
    )
    # As if linear about theta: y − f(start).
    shown = patches.lab - lab + slopes @ (theta - start)
    smooth = smooth_covariance(patches.lab, patches.lab)
    linear = Linear(patches, slopes, prior, pixel, shown, weights, smooth)
    scales = choose_scales(linear.some(ENOUGH))
    foretelling, solved = linear.at(scales)
    errors, spread = foretelling.left_out(solved)
    own = linear.noise(scales)
    plain = own * weights.clip(LEAST_WEIGHT, 1)[:, None]
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
