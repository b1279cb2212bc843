"""The camera model's most probable parameters, from patches of known colour and priors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from colour.arrays import Floats
from colour.photo import camera_model as model

# Prior standard deviations. Widths are of cameras' usual renderings: gammas 1.6 to 2.8 about
# 2.2 (0.3 of the logarithm), S-curves, stray light of a few per cent of white.
_TONE = np.array([0.25, 0.6, 0.9, 1.5])
_OWN_TONE = 0.06
_STRAY, _OWN_STRAY = 0.008, 0.002
_LIGHT_BY_ORDER = np.array([0.30, 0.15, 0.05, 0.025])
_TINT_BY_ORDER = np.array([0.05, 0.02])
_MATRIX = 0.25
# A patch of Student weights with so many degrees of freedom: a wrong patch loses its pull.
STUDENT = 4.0


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


def most_probable(patches: Patches, start: Floats, prior: Floats) -> tuple[Floats, Floats]:
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
        weights = (STUDENT + 3) / (STUDENT + 3 * squares)
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


def start_of(patches: Patches) -> Floats:
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


def prior_of(patches: Patches, start: Floats) -> Floats:
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
