"""What lies in a window: its mean colour without dust, glare and edges, and how even it is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from colour.arrays import Floats
from colour.photo import camera_model as model
from colour.photo.fitting import CameraFit
from colour.photo.sampling import CLIPPED, WINDOW_SHARE, Samples, block_means
from colour.photo.target import Place

BLOCKS = 16  # of a window, each way
_BELOW_BLACK = 0.03  # of the light of white
_COARSE = 4  # of a window, each way, for what stretches over it
_SPECK = 5.0  # robust standard deviations of a pixel within its block
_STRANGE = 4.0  # the same of a block within its window
_LEAST_STRANGE = 0.8  # L*: nothing nearer than this to the middle of a window is left out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WindowSeen:
    """One window, read through a fitted camera."""

    light: Floats  # (3,): linear, at the middle of the window
    covariance: Floats  # (3, 3): of that mean, from how its parts scatter
    pixels: int  # grid points used
    share_used: float
    bright_share: float  # of blocks left out because they are lighter than the rest
    dark_share: float
    unevenness: float  # L*: what the light's own model leaves over the window, its middle 70 %
    lighter_by: float  # L*: its lightest part over its middle
    darker_by: float  # L*: its middle over its darkest part
    times_lighter: float  # light of its lighter parts over that of its darker ones
    texture: float  # L*: standard deviation at about a millimetre
    clipped: float  # share of pixels with a channel at its top
    floored: float  # and at its lowest code, of the channel where that is most


def look_at(
    samples: Samples, index: int, place: Place, camera: CameraFit, position: Floats, side: float
) -> WindowSeen:
    """Read one window of ``samples``.

    ``position`` (2,) is its middle on the target, −1 to 1 over the longer side; ``side`` is half
    of that side in millimetres.
    """
    light = samples.light[index]
    points = light.shape[0]
    clipped = (samples.codes[index] >= CLIPPED * np.iinfo(samples.codes.dtype).max).any(axis=-1)
    keep = _without_specks(light)
    blocks, weight = block_means(light[None], keep[None].astype(np.float64), BLOCKS)
    blocks, weight = blocks[0], weight[0]
    steps = ((np.arange(BLOCKS) + 0.5) / BLOCKS - 0.5) * WINDOW_SHARE
    x, y = np.meshgrid(steps * place.width_mm / side, steps * place.height_mm / side)
    at = position + np.stack([x.ravel(), y.ravel()], axis=-1)
    lab = model.predict(
        camera.theta, model.seen(blocks.reshape(-1, 3), at), camera.patches.white
    ).reshape(BLOCKS, BLOCKS, 3)
    lightness = lab[..., 0]
    middle = float(np.median(lightness))
    away = lightness - middle
    scatter = 1.4826 * float(np.median(np.abs(away)))
    strange = np.abs(away) > max(_STRANGE * scatter, _LEAST_STRANGE)
    fringe = strange | _beside(strange)
    # Leaving the fringe out too keeps the foot of a highlight away, unless that is most of it.
    left_out = fringe if fringe.mean() < 0.6 else strange
    good = ~left_out & (weight > 0)
    parts = _parts(lightness, good)
    low, high = np.quantile(parts, [0.15, 0.85])
    value, covariance = _at_the_middle(blocks, good, weight)
    # What lies below a channel's lowest code is not known; how far strong colours reach is a guess.
    floored = (samples.codes[index] == 0).mean(axis=(0, 1))
    covariance = covariance + np.diag((_BELOW_BLACK * floored * camera.patches.white) ** 2)
    return WindowSeen(
        light=np.maximum(value + samples.shift[index], 0.0),
        covariance=covariance + samples.rounding[index],
        pixels=int(weight[good].sum()),
        share_used=float(weight[good].sum() / points**2),
        bright_share=float((strange & (away > 0)).mean()),
        dark_share=float((strange & (away < 0)).mean()),
        unevenness=float(high - low),
        lighter_by=float(parts.max() - np.median(parts)),
        darker_by=float(np.median(parts) - parts.min()),
        times_lighter=float(((high + 16) / max(low + 16, 1.0)) ** 3),
        texture=_texture(light, keep, lightness, middle),
        clipped=float(clipped.mean()),
        floored=float(floored.max()),
    )


def doubted(window: WindowSeen) -> WindowSeen:
    """The same with so much uncertainty that nothing is concluded from it."""
    spread = 0.15 * window.light + 0.01
    return replace(window, covariance=window.covariance + np.diag(spread**2))


def _without_specks(light: Floats) -> NDArray[np.bool_]:
    """Pixels that are like their own block, (points, points)."""
    points = light.shape[0]
    side = points // BLOCKS
    total = light.sum(axis=-1)
    parts = total[: side * BLOCKS, : side * BLOCKS].reshape(BLOCKS, side, BLOCKS, side)
    middles = np.median(parts, axis=(1, 3))
    away = np.abs(total - np.repeat(np.repeat(middles, side, 0), side, 1))
    scatter = 1.4826 * float(np.median(away))
    return np.asarray(away <= max(_SPECK * scatter, 0.02 * float(np.median(middles)) + 0.001))


def _beside(marked: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The neighbours of marked blocks, each way."""
    grown = np.zeros_like(marked)
    grown[1:] |= marked[:-1]
    grown[:-1] |= marked[1:]
    grown[:, 1:] |= marked[:, :-1]
    grown[:, :-1] |= marked[:, 1:]
    return grown


def _at_the_middle(
    blocks: Floats, good: NDArray[np.bool_], weight: Floats
) -> tuple[Floats, Floats]:
    """Light at the middle of a window by a plane through its good blocks, and its covariance.

    The covariance comes from coarse parts: what scatters over millimetres is texture and noise,
    what scatters over centimetres does not average out.
    """
    steps = (np.arange(BLOCKS) + 0.5) / BLOCKS * 2 - 1
    x, y = np.meshgrid(steps, steps)
    basis = np.stack([np.ones(x.size), x.ravel(), y.ravel()], axis=-1)
    w = (weight * good).ravel()
    values = blocks.reshape(-1, 3)
    normal = (basis * w[:, None]).T @ basis
    # A lopsided remnant must not throw the plane: slopes are held a little.
    normal[1, 1] += 0.02 * w.sum()
    normal[2, 2] += 0.02 * w.sum()
    plane = np.linalg.solve(normal, (basis * w[:, None]).T @ values)
    rest = ((values - basis @ plane) * w[:, None]).reshape(BLOCKS, BLOCKS, 3)
    share = w.reshape(BLOCKS, BLOCKS)
    side = BLOCKS // _COARSE
    sums = rest.reshape(_COARSE, side, _COARSE, side, 3).sum(axis=(1, 3)).reshape(-1, 3)
    total = share.reshape(_COARSE, side, _COARSE, side).sum(axis=(1, 3)).ravel()
    full = total > 0.3 * total.max()
    parts = sums[full] / total[full, None]
    count = len(parts)
    covariance = parts.T @ parts / (max(count - 3, 1) * count)
    return np.asarray(plane[0]), np.asarray(covariance)


def _parts(lightness: Floats, good: NDArray[np.bool_]) -> Floats:
    """L* of the coarse parts of a window that are mostly there."""
    side = BLOCKS // _COARSE
    w = good.astype(np.float64).reshape(_COARSE, side, _COARSE, side)
    total = w.sum(axis=(1, 3))
    sums = (lightness.reshape(_COARSE, side, _COARSE, side) * w).sum(axis=(1, 3))
    full = total >= 0.3 * side**2
    return np.asarray(sums[full] / total[full]) if full.any() else np.array([lightness.mean()])


def _texture(light: Floats, keep: NDArray[np.bool_], lightness: Floats, middle: float) -> float:
    """Standard deviation of L* between parts of three grid points, noise and all."""
    points = light.shape[0]
    cut = points // 3 * 3
    total = np.where(keep, light.sum(axis=-1), np.nan)[:cut, :cut]
    with np.errstate(all="ignore"):
        parts = total.reshape(cut // 3, 3, cut // 3, 3).mean(axis=(1, 3))
    finite = np.isfinite(parts)
    if finite.sum() < 9:
        return 0.0
    level = np.median(parts[finite])
    # Differences of neighbours: a slope of the light over the window is no texture.
    steps = np.diff(parts, axis=1)
    steps = steps[np.isfinite(steps)]
    if not steps.size:
        return 0.0
    relative = 1.4826 * float(np.median(np.abs(steps))) / np.sqrt(2) / max(float(level), 1e-6)
    return float(relative * (middle + 16) / 3)
