"""Chroma finer than whole codes, and what a file's rounding leaves uncertain."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from colour.arrays import Floats
from colour.photo.picture import FineChroma, Picture

# Full-range YCbCr of JFIF (ITU-T T.871): R, G, B codes by Y, Cb, Cr codes.
_RGB_BY_CHROMA = np.array([[0.0, 1.402], [-0.344136, -0.714136], [1.772, 0.0]])
_CHROMA_BY_RGB = np.array([[-0.168736, -0.331264, 0.5], [0.5, -0.418688, -0.081312]])
_MOST = 1.2  # codes: a finer value further off than this is of something else
_LUMA_FLOOR = 0.06  # codes: what a mean of luma strays by where the above explains nothing
_SATURATED = 0.1  # share of a place whose finer chroma is beyond its range


def with_chroma_for(picture: Picture, codes: NDArray[np.uint8] | NDArray[np.uint16]) -> Picture:
    """The picture with chroma for places of these codes (n, rows, columns, 3) too."""
    if picture.stronger_chroma is None or not picture.chroma:
        return picture
    middles = np.median(codes.reshape(len(codes), -1, 3), axis=1) @ _CHROMA_BY_RGB.T
    if np.abs(middles).max() * picture.chroma[0].factor < 120:
        return picture
    stronger = picture.stronger_chroma()
    return picture if stronger is None else replace(picture, chroma=(*picture.chroma, stronger))


def settle_chroma(
    picture: Picture, at: Floats, codes: NDArray[np.uint8] | NDArray[np.uint16]
) -> tuple[Floats, Floats]:
    """What rounding took from the codes of places, and the covariance it leaves: in codes.

    Parameters
    ----------
    at : ndarray, shape (n, rows, columns, 2)
        Where the pixels were taken, in pixels of the whole photograph.
    codes : ndarray, shape (n, rows, columns, 3)
        Their codes.

    Returns
    -------
    shift : ndarray, shape (n, 3)
        To be added to the mean codes of each place.
    covariance : ndarray, shape (n, 3, 3)
        Of the means, from rounding alone.
    """
    n = len(codes)
    if not picture.chroma:
        return np.zeros((n, 3)), np.broadcast_to(_alone(codes), (n, 3, 3)).copy()
    coarse = codes.reshape(n, -1, 3).mean(axis=1) @ _CHROMA_BY_RGB.T
    off = np.zeros((n, 2))
    variance = np.full((n, 2), np.nan)
    for fine in reversed(picture.chroma):
        # The finer picture has an eighth of the pixels: every other place of the grid is plenty.
        taken, spread, full = _fine_means(picture, fine, at[:, ::2, ::2])
        known = ~full & (np.abs(taken - coarse) <= _MOST)
        off = np.where(known, taken - coarse, off)
        # Where no chroma fits, whole codes are left, with the scatter as far as it is known.
        codes_left = np.where(known, fine.factor**-2 / 12, rounding_variance(1.0, spread))
        left = codes_left + rounding_variance(fine.step, spread)
        variance = np.where(known | np.isnan(variance), left, variance)
    luma_step = picture.chroma[0].luma_step
    luma_spread = _spread(codes[:, ::2, ::2, 1].reshape(n, -1).astype(np.float64), 3.0)
    # A luma block is a mean of 64 pixels, whose noise is an eighth of theirs.
    luma = rounding_variance(luma_step, luma_spread / 8) + rounding_variance(1.0, luma_spread)
    luma += _LUMA_FLOOR**2
    covariance = np.einsum("ci,ni,di->ncd", _RGB_BY_CHROMA, variance, _RGB_BY_CHROMA)
    return off @ _RGB_BY_CHROMA.T, covariance + luma[:, None, None]


def rounding_variance(step: float, spread: Floats) -> Floats:
    """Variance of the mean of values rounded to ``step`` that scatter by ``spread`` before it.

    Values that scatter by a good part of a step round up and down in proportion, and their mean
    is right. The bias of a rounded mean is a sine of where it lies, of amplitude
    (step / π) exp(−2 π² (spread / step)²): the first term of its Fourier series.
    """
    return np.asarray(step**2 / 12 * np.exp(-4 * np.pi**2 * (spread / step) ** 2))


def _alone(codes: NDArray[np.uint8] | NDArray[np.uint16]) -> Floats:
    """Whole codes in each channel by itself: pictures without blocks."""
    spread = _spread(codes[:, ::2, ::2].reshape(len(codes), -1, 3).astype(np.float64), 3.0)
    return np.asarray(rounding_variance(1.0, spread)[:, :, None] * np.eye(3))


def _spread(values: NDArray[Any], reach: float) -> Floats:
    """Standard deviation over the second axis of what lies within ``reach`` of its median.

    Dust in a flat field scatters widely, and dithers nothing.
    """
    off = values - np.median(values, axis=1, keepdims=True)
    near = np.abs(off) <= reach
    count = np.maximum(near.sum(axis=1), 1)
    mean = np.where(near, off, 0).sum(axis=1) / count
    squares = np.where(near, off**2, 0).sum(axis=1) / count
    return np.asarray(np.sqrt(np.maximum(squares - mean**2, 0.0)))


def _fine_means(
    picture: Picture, fine: FineChroma, at: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Mean Cb and Cr less 128 (n, 2), their scatter before rounding, and whether beyond range."""
    height, width = fine.codes.shape[:2]
    across, down = width / picture.width, height / picture.height
    column = np.rint((at[..., 0] + 0.5) * across - 0.5).astype(np.intp).clip(0, width - 1)
    row = np.rint((at[..., 1] + 0.5) * down - 0.5).astype(np.intp).clip(0, height - 1)
    seen = fine.codes[row, column].reshape(len(at), -1, 2).astype(np.float64)
    full = ((seen <= 1) | (seen >= 254)).mean(axis=1) > _SATURATED
    values = (seen - 128) / fine.factor
    scatter = np.sqrt(np.maximum(_spread(values, 1.0) ** 2 - fine.step**2 / 12, 0.0))
    return values.mean(axis=1), scatter, full
