"""Marked corners, settled: moved until the patches are as even inside as they can be.

A finger marks a corner to a few millimetres. Patches are flat colours, so a placement that is
off shows as edges inside them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from colour.arrays import Floats
from colour.photo.picture import Picture
from colour.photo.placing import Placement
from colour.photo.target import Place

_POINTS = 9  # each way over a patch
_SHARE = 0.92  # of a patch that is looked at
_FIRST = 0.14  # of a patch's side: the first step of a corner
_LAST = 0.01
_GAIN = 0.85  # of the unevenness that must be left at most for the move to be believed
_FARTHEST = 0.7  # of a patch's side: a corner is not looked for beyond it
_EVEN = 0.02  # standard deviation in a patch, of encoded codes, of corners that are right already


def settle(
    picture: Picture,
    corners: Sequence[tuple[float, float]],
    patches: Sequence[Place],
    width_mm: float,
    height_mm: float,
) -> Placement:
    """The placement from ``corners``, or from better ones near them."""
    first = Placement.from_corners(corners, width_mm, height_mm)
    at = np.asarray(corners, dtype=np.float64)
    encoded = np.sqrt(picture.light.mean(axis=0)).astype(np.float32)
    steps = ((np.arange(_POINTS) + 0.5) / _POINTS - 0.5) * _SHARE + 0.5
    boxes = np.array([[p.x_mm, p.y_mm, p.width_mm, p.height_mm] for p in patches])
    x = boxes[:, 0, None, None] + boxes[:, 2, None, None] * steps[None, None, :]
    y = boxes[:, 1, None, None] + boxes[:, 3, None, None] * steps[None, :, None]
    grid = np.stack(np.broadcast_arrays(x, y), axis=-1)
    height, width = picture.pixels.shape[:2]

    def unevenness(tried: Floats) -> float:
        try:
            placement = Placement.from_corners(tried, width_mm, height_mm)
        except ValueError:
            return np.inf
        where = (placement.to_photo(grid) + 0.5) * picture.scale - 0.5
        column = np.rint(where[..., 0]).astype(np.intp).clip(0, width - 1)
        row = np.rint(where[..., 1]).astype(np.intp).clip(0, height - 1)
        seen = encoded[picture.pixels[row, column]]
        # A root of each patch's own variance: one patch under a shadow must not lead the way.
        return float(np.sqrt(seen.var(axis=(1, 2)).sum(axis=-1)).sum())

    side = float(np.median(boxes[:, 2:])) * first.pixels_per_mm((width_mm / 2, height_mm / 2))
    moves = _moves()
    marked = at
    start = best = unevenness(at)
    if start <= _EVEN * len(patches):
        return first
    step = _FIRST * side
    while step > _LAST * side:
        moved = False
        for move in moves:
            for sign in (step, -step):
                tried = at + sign * move
                if np.abs(tried - marked).max() > _FARTHEST * side:
                    continue
                value = unevenness(tried)
                if value < best:
                    at, best, moved = tried, value, True
                    break
        if not moved:
            step /= 2
    if best > _GAIN * start:
        return first
    return Placement.from_corners(at, width_mm, height_mm)


def _moves() -> list[Floats]:
    """All corners together (shift, growth, turn), then each by itself."""
    around = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    together = [
        np.tile([1.0, 0.0], (4, 1)),
        np.tile([0.0, 1.0], (4, 1)),
        around * [1.0, 0.0],
        around * [0.0, 1.0],
        np.stack([-around[:, 1], around[:, 0]], axis=-1),
    ]
    alone = []
    for corner in range(4):
        for axis in range(2):
            move = np.zeros((4, 2))
            move[corner, axis] = 1.0
            alone.append(move)
    return together + alone
