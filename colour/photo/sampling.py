"""Places of a target as the photograph shows them: grids of pixels, and their robust means."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colour.arrays import Floats
from colour.photo.chroma import settle_chroma
from colour.photo.picture import Picture
from colour.photo.placing import Placement
from colour.photo.target import Place

# A code this near the top of its range may have been cut off, by the sensor or by a curve.
CLIPPED = 254 / 255
# Share of a patch kept, about its middle: print edges, blur and a slip of the corners stay out.
PATCH_SHARE = 0.56
WINDOW_SHARE = 0.72
PATCH_POINTS = 12
WINDOW_POINTS = 80


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Samples:
    """Pixels of n places on one regular grid each; nothing between the pixels is made up."""

    codes: NDArray[np.uint8] | NDArray[np.uint16]  # (n, points, points, 3)
    light: Floats  # (n, points, points, 3): linear
    shift: Floats  # (n, 3): of the mean light, what rounding to codes took from it
    rounding: Floats  # (n, 3, 3): covariance of the mean light that rounding leaves
    inside: NDArray[np.bool_]  # (n,): whether the whole place is in the photograph


def sample(
    picture: Picture, placement: Placement, places: Sequence[Place], *, share: float, points: int
) -> Samples:
    """The pixels nearest to a grid of ``points`` by ``points`` over the middle of each place."""
    steps = (np.arange(points) + 0.5) / points * share + (1 - share) / 2
    boxes = np.array([[p.x_mm, p.y_mm, p.width_mm, p.height_mm] for p in places])
    x = boxes[:, :1] + boxes[:, 2:3] * steps  # (n, points)
    y = boxes[:, 1:2] + boxes[:, 3:] * steps
    shape = (len(places), points, points)
    grid = np.stack(
        [np.broadcast_to(x[:, None, :], shape), np.broadcast_to(y[:, :, None], shape)], axis=-1
    )
    whole = placement.to_photo(grid)
    at = (whole + 0.5) * picture.scale - 0.5
    height, width = picture.pixels.shape[:2]
    column = np.rint(at[..., 0]).astype(np.intp)
    row = np.rint(at[..., 1]).astype(np.intp)
    within = (column >= 0) & (column < width) & (row >= 0) & (row < height)
    codes = picture.pixels[row.clip(0, height - 1), column.clip(0, width - 1)]
    light = np.stack([picture.light[c][codes[..., c]] for c in range(3)], axis=-1)
    shift, rounding = settle_chroma(picture, whole, codes)
    slope = _slope_of_light(picture, codes)
    return Samples(
        codes=codes,
        light=light,
        shift=shift * slope,
        rounding=rounding * slope[:, :, None] * slope[:, None, :],
        inside=within.all(axis=(1, 2)),
    )


def _slope_of_light(picture: Picture, codes: NDArray[np.uint8] | NDArray[np.uint16]) -> Floats:
    """Light by code at the mean code of each place, (n, 3)."""
    middle = np.rint(codes.reshape(len(codes), -1, 3).mean(axis=1)).astype(np.intp)
    last = picture.light.shape[1] - 1
    up, down = (middle + 1).clip(0, last), (middle - 1).clip(0, last)
    return np.stack(
        [
            (picture.light[c][up[:, c]] - picture.light[c][down[:, c]]) / (up - down)[:, c]
            for c in range(3)
        ],
        axis=-1,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Means:
    """Robust means of n places, with what may be wrong with them."""

    light: Floats  # (n, 3): linear
    covariance: Floats  # (n, 3, 3): of the mean, from the scatter of its parts
    clipped: Floats  # (n,): share of pixels with a channel at its top
    floored: Floats  # (n,): and at its lowest code, of the channel where that is most
    kept: Floats  # (n,): share of pixels the mean was taken over
    spread: Floats  # (n,): of lightness pixel by pixel, relative


def means(samples: Samples, blocks: int = 6) -> Means:
    """Mean light of each place without its specks, and the covariance of that mean.

    Neighbouring pixels share noise (the camera's own interpolation, JPEG's blocks), so the
    covariance comes from the means of ``blocks`` by ``blocks`` parts and not from pixel counts.
    A slope of light over the place is taken out of it: the light has a model of its own.
    """
    light = samples.light
    n, points = light.shape[:2]
    sum_light = light.sum(axis=-1).reshape(n, -1)
    middle = np.median(sum_light, axis=1, keepdims=True)
    off = np.abs(sum_light - middle)
    scatter = 1.4826 * np.median(off, axis=1, keepdims=True)
    keep = off <= np.maximum(4.5 * scatter, 0.03 * middle + 0.002)
    weight = keep.astype(np.float64)
    flat = light.reshape(n, -1, 3)
    total = weight.sum(axis=1)
    mean = np.einsum("np,npc->nc", weight, flat) / total[:, None]
    scattered = _covariance_of_means(light, weight.reshape(n, points, points), blocks)
    return Means(
        light=np.maximum(mean + samples.shift, 0.0),
        covariance=scattered + samples.rounding,
        clipped=(samples.codes >= CLIPPED * np.iinfo(samples.codes.dtype).max)
        .any(axis=-1)
        .mean(axis=(1, 2)),
        floored=(samples.codes == 0).mean(axis=(1, 2)).max(axis=-1),
        kept=total / flat.shape[1],
        spread=scatter[:, 0] / np.maximum(middle[:, 0], 1e-9),
    )


def block_means(light: Floats, weight: Floats, blocks: int) -> tuple[Floats, Floats]:
    """Means (n, blocks, blocks, 3) of the parts of a grid, and the weight each part has."""
    n, points = light.shape[:2]
    side = points // blocks
    cut = side * blocks
    w = weight[:, :cut, :cut].reshape(n, blocks, side, blocks, side)
    x = light[:, :cut, :cut].reshape(n, blocks, side, blocks, side, 3)
    total = w.sum(axis=(2, 4))
    sums = np.einsum("nisjt,nisjtc->nijc", w, x)
    return sums / np.maximum(total, 1)[..., None], total


def _covariance_of_means(light: Floats, weight: Floats, blocks: int) -> Floats:
    parts, total = block_means(light, weight, blocks)
    n = len(parts)
    values = parts.reshape(n, -1, 3)
    good = (total.reshape(n, -1) > 0.3 * total.max(axis=(1, 2))[:, None]).astype(np.float64)
    slope = _plane_basis(blocks)
    # Least squares per place over its good parts; the plane takes three degrees of freedom.
    normal = np.einsum("nk,ki,kj->nij", good, slope, slope) + 1e-9 * np.eye(3)
    moments = np.einsum("nk,ki,nkc->nic", good, slope, values)
    rest = values - np.einsum("ki,nic->nkc", slope, np.linalg.solve(normal, moments))
    count = good.sum(axis=1)
    freedom = np.maximum(count - 3, 1)
    squares = np.einsum("nk,nkc,nkd->ncd", good, rest, rest)
    return np.asarray(squares / (freedom * count)[:, None, None])


def _plane_basis(blocks: int) -> Floats:
    """Constant and two slopes at the middles of ``blocks`` by ``blocks`` parts, (parts, 3)."""
    steps = (np.arange(blocks) + 0.5) / blocks * 2 - 1
    x, y = np.meshgrid(steps, steps)
    return np.stack([np.ones(blocks * blocks), x.ravel(), y.ravel()], axis=-1)
