"""Corners of a code to a fraction of a pixel.

The reader of codes tells corners in whole pixels. Here the code's own black and white modules are
laid over the picture and moved until they fit best, all of its edges at once (least squares,
Gauss-Newton).
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from colour.arrays import Floats

MODULES = 21  # across a version 1 code
QUIET = 1  # modules of white around it that the fit takes in
FINDER = 7  # modules across a finder pattern
PER_MODULE = 3  # samples of the fit across a module
BLUR = 0.25  # modules, standard deviation: about what a phone's picture has, and our averaging
STEPS = 6
SETTLED = 0.01  # modules; a step below it ends the fit
FINEST = 3.0  # pixels a module; a picture much finer is averaged down to it
SMALLEST_MODULE = 1.5  # pixels; below it the modules cannot be told


def area(corners: Floats) -> float:
    """Twice the area, positive when the corners run clockwise as seen (y downward)."""
    x, y = corners.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


def fitted_corners(pixels: NDArray[Any], light: Floats, corners: Floats) -> Floats | None:
    """Corners to a fraction of a pixel, or None when the modules do not show well enough."""
    low = np.floor(corners.min(axis=0)).astype(int)
    high = np.ceil(corners.max(axis=0)).astype(int)
    size = float(np.sqrt(abs(area(corners)) / 2)) / MODULES  # pixels a module
    if size < SMALLEST_MODULE:
        return None
    margin = int(4 * size) + 2
    height, width = pixels.shape[:2]
    left, top = (max(int(value) - margin, 0) for value in low)
    right, bottom = min(high[0] + margin + 1, width), min(high[1] + margin + 1, height)
    window = light[pixels[top:bottom, left:right, 1]]
    # Samples of the fit stand a third of a module apart; finer detail would slip between them.
    coarser = max(int(size / FINEST + 0.5), 1)
    window = _averaged(window, coarser)
    offset = np.array([left, top], dtype=float)
    place = from_square((corners - offset + 0.5) / coarser - 0.5)
    modules = _modules(window, place)
    if modules is None:
        return None
    fitted = _fit(window, place, modules)
    if fitted is None:
        return None
    # The modules were told by corners in whole pixels, so a few may have been told wrong.
    better = _modules(window, fitted)
    if better is not None and (better != modules).any():
        fitted = _fit(window, fitted, better)
        if fitted is None:
            return None
    moved = (mapped(fitted, square()) + 0.5) * coarser - 0.5 + offset
    # A fit that ran away is worse than the reader's own corners.
    if np.abs(moved - corners).max() > 2 * size + 2:
        return None
    return np.asarray(moved)


def square() -> Floats:
    return np.array([(0, 0), (1, 0), (1, 1), (0, 1)], dtype=float) * MODULES


def from_square(corners: Floats) -> Floats:
    """From modules to pixels by the code's four corners."""
    rows = []
    for (u, v), (x, y) in zip(square(), corners, strict=True):
        rows.append([u, v, 1, 0, 0, 0, -x * u, -x * v])
        rows.append([0, 0, 0, u, v, 1, -y * u, -y * v])
    return np.append(np.linalg.solve(np.array(rows), corners.ravel()), 1).reshape(3, 3)


def mapped(place: Floats, points: Floats) -> Floats:
    at = points @ place[:, :2].T + place[:, 2]
    return np.asarray(at[..., :2] / at[..., 2:])


def sampled(window: NDArray[Any], at: Floats) -> Floats:
    """Bilinear values at (x, y) points; beyond the window its nearest edge."""
    height, width = window.shape
    x = np.clip(at[..., 0], 0, width - 1.001)
    y = np.clip(at[..., 1], 0, height - 1.001)
    column, row = x.astype(np.intp), y.astype(np.intp)
    x, y = x - column, y - row
    flat = window.ravel()
    index = row * width + column
    upper = flat[index] * (1 - x) + flat[index + 1] * x
    lower = flat[index + width] * (1 - x) + flat[index + width + 1] * x
    return np.asarray(upper * (1 - y) + lower * y)


def _averaged(window: Floats, by: int) -> Floats:
    if by == 1:
        return window
    height, width = (side // by for side in window.shape)
    blocks = window[: height * by, : width * by].reshape(height, by, width, by)
    return np.asarray(blocks.mean(axis=(1, 3)))


def _modules(window: Floats, place: Floats) -> Floats | None:
    """The code's modules as the picture shows them, 1 white and 0 black, with a white margin."""
    middles = np.stack(np.meshgrid(*[np.arange(MODULES) + 0.5] * 2), axis=-1)
    values = sampled(window, mapped(place, middles))
    dark, bright = np.percentile(values, (10, 90))
    # Light that falls off across the code leaves the threshold between the two all the same: the
    # levels of any code lie far apart against what light does over 18 mm.
    shown = (values > (dark + bright) / 2).astype(float)
    if (shown != _finders()[0])[_finders()[1]].mean() > 0.05:
        return None
    shown[_finders()[1]] = _finders()[0][_finders()[1]]
    return np.pad(shown, QUIET, constant_values=1.0)


@cache
def _finders() -> tuple[Floats, NDArray[np.bool_]]:
    """What every code has in three corners, and where: 7 modules each, and the white beside."""
    ring = np.zeros((FINDER, FINDER))
    ring[1:-1, 1:-1] = 1
    ring[2:-2, 2:-2] = 0
    shown, where = np.ones((MODULES, MODULES)), np.zeros((MODULES, MODULES), dtype=bool)
    near, far = slice(0, FINDER), slice(MODULES - FINDER, MODULES)
    wide, beyond = slice(0, FINDER + 1), slice(MODULES - FINDER - 1, MODULES)
    for rows, columns, all_rows, all_columns in (
        (near, near, wide, wide),
        (near, far, wide, beyond),
        (far, near, beyond, wide),
    ):
        shown[rows, columns] = ring
        where[all_rows, all_columns] = True
    return shown, where


@cache
def _grid() -> tuple[Floats, Floats]:
    """Points of the fit in modules from the code's corner, and the blur across one axis."""
    count = (MODULES + 2 * QUIET) * PER_MODULE
    axis = (np.arange(count) + 0.5) / PER_MODULE - QUIET
    points = np.stack(np.meshgrid(axis, axis), axis=-1)
    apart = axis[:, None] - axis[None, :]
    kernel = np.exp(-0.5 * (apart / BLUR) ** 2)
    return points, kernel / kernel.sum(axis=1, keepdims=True)


def _fit(window: Floats, place: Floats, modules: Floats) -> Floats | None:
    """Move the place of the modules until they lie best on the picture.

    The picture is taken as dark + bright · modules, both falling off linearly with the light, and
    two more unknowns take up edges that spread (print, flare) or are softer or sharper than
    supposed, so that they cannot pull the corners.
    """
    points, blur = _grid()
    crisp = np.repeat(np.repeat(modules, PER_MODULE, axis=0), PER_MODULE, axis=1)
    shape = blur @ crisp @ blur.T
    down, across = np.gradient(shape, 1 / PER_MODULE)
    u, v = (points[..., 0] / MODULES).ravel(), (points[..., 1] / MODULES).ravel()
    slope_u, slope_v = across.ravel() * MODULES, down.ravel() * MODULES
    spread = np.hypot(slope_u, slope_v)
    softer = (np.gradient(down, axis=0) + np.gradient(across, axis=1)).ravel()
    along = u * slope_u + v * slope_v
    # Derivatives of shape(P(u, v)) for P near the identity, in the unit square of the code.
    moves = (u * slope_u, v * slope_u, slope_u, u * slope_v, v * slope_v, slope_v, -u * along,
             -v * along)  # fmt: skip
    flat = shape.ravel()
    levels = [np.ones_like(u), u, v, flat, flat * u, flat * v, spread, softer]
    unknowns = np.stack([*moves, *levels])
    try:
        # By the inverse of the few unknowns: solving for thousands of points costs thrice as much.
        solved = np.linalg.inv(unknowns @ unknowns.T) @ unknowns
    except np.linalg.LinAlgError:
        return None
    at = np.stack([u, v], axis=1)
    to_unit = np.diag([MODULES, MODULES, 1.0])
    current = place @ to_unit
    for _ in range(STEPS):
        fit = solved @ sampled(window, mapped(current, at))
        contrast = fit[11] + (fit[12] + fit[13]) / 2  # in the middle of the code
        if contrast <= 0:
            return None
        step = fit[:8] / contrast
        # The picture shows shape(P(u, v)), so its place is moved by the inverse of P.
        current = current @ np.linalg.inv(np.append(step, 0).reshape(3, 3) + np.eye(3))
        current /= current[2, 2]
        if np.abs(step).max() * MODULES < SETTLED:
            break
    return np.asarray(current @ np.linalg.inv(to_unit))
