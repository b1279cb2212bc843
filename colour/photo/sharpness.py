"""How sharp a photograph is, from edges of known place or from the picture alone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from colour.arrays import Floats
from colour.photo.picture import Picture
from colour.photo.placing import Placement
from colour.photo.target import Place

_STEPS = 25  # over an edge
_PLACES = 24  # looked at
_LINES = 7  # along it
_LEAST_CONTRAST = 0.12  # of the range of codes
_SOFT_PX = 3.3
_SMALLEST = 32  # pixels of a picture that can be called sharp or not


def edge_blur_mm(picture: Picture, placement: Placement, places: Sequence[Place]) -> float | None:
    """Standard deviation, in mm, of the blur of the places' own edges; None without any.

    An edge blurred by a Gaussian of deviation s rises by its contrast over √(2π) s at its
    steepest. The median over all edges with contrast; a nearest-pixel staircase adds about a
    third of a pixel, which is taken out.
    """
    some = places[:: max(1, len(places) // _PLACES)]
    boxes = np.array([[p.x_mm, p.y_mm, p.width_mm, p.height_mm] for p in some])
    reach = 0.22 * float(boxes[:, 2:].min())
    reach = min(reach, 3.0) if reach > 1.0 else max(reach, 0.5)
    across = np.linspace(-reach, reach, _STEPS)
    step = across[1] - across[0]
    profiles = _profiles(picture, placement, _edges(boxes, across))
    ends = _STEPS // 5
    contrast = np.abs(profiles[:, :ends].mean(axis=1) - profiles[:, -ends:].mean(axis=1))
    slope = np.abs(profiles[:, 2:] - profiles[:, :-2]).max(axis=1) / (2 * step)
    clear = contrast > _LEAST_CONTRAST
    if clear.sum() < 4:
        return None
    blur = contrast[clear] / (np.sqrt(2 * np.pi) * slope[clear])
    return float(np.median(blur))


def _edges(boxes: Floats, across: Floats) -> Floats:
    """Points over all four edges of every place: (4 n, lines, steps, 2), outside to inside."""
    x, y, w, h = (boxes[:, i, None, None] for i in range(4))
    along = np.linspace(0.3, 0.7, _LINES)[None, :, None]
    over = across[None, None, :]
    pairs = (
        (x + over, y + along * h),
        (x + w - over, y + along * h),
        (x + along * w, y + over),
        (x + along * w, y + h - over),
    )
    return np.concatenate(
        [np.stack(np.broadcast_arrays(px, py), axis=-1) for px, py in pairs], axis=0
    )


def _profiles(picture: Picture, placement: Placement, grid: Floats) -> Floats:
    """About how the eye steps along each row of points, the mean over its lines: (n, steps)."""
    at = (placement.to_photo(grid) + 0.5) * picture.scale - 0.5
    height, width = picture.pixels.shape[:2]
    column = np.rint(at[..., 0]).astype(np.intp).clip(0, width - 1)
    row = np.rint(at[..., 1]).astype(np.intp).clip(0, height - 1)
    encoded = np.sqrt(picture.light[1])
    return np.asarray(encoded[picture.pixels[row, column, 1]].mean(axis=1))


def picture_blur_px(picture: Picture) -> float | None:
    """The same in pixels, from the steepest steps of a picture whose places are unknown.

    Of both directions the worse, for a moved camera smears one; None where there is no contrast.
    """
    height, width = picture.pixels.shape[:2]
    if min(height, width) < _SMALLEST:
        return None
    green = picture.pixels[height // 10 : -height // 10, width // 10 : -width // 10, 1]
    grey = green.astype(np.float32) / np.iinfo(green.dtype).max
    low, high = np.quantile(grey[::8, ::8], [0.02, 0.98])
    if high - low < 0.08:
        return None
    thin = max(1, min(height, width) // 400)
    blur = 0.0
    for lines in (grey[::thin], grey[:, ::thin].T):
        steep = float(np.quantile(np.abs(lines[:, 2:] - lines[:, :-2]), 0.995)) / 2
        blur = max(blur, float(high - low) / (np.sqrt(2 * np.pi) * max(steep, 1e-6)))
    return blur / picture.scale


def is_sharp(blur_px: float | None) -> bool:
    """Whether a picture's own blur is that of a picture in focus: 2.3 at most of 60 simulated."""
    return blur_px is None or blur_px <= _SOFT_PX
