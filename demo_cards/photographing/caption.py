"""The words burnt into every simulated photograph, beside the sheet."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

WORDS = "SIMULATED PHOTOGRAPH"


def write_caption(
    pixels: NDArray[np.uint8] | NDArray[np.uint16], cover: NDArray[np.float32], grid: int
) -> bool:
    """Write the words where the sheet is not; False where no place is wide enough."""
    from PIL import Image, ImageDraw, ImageFont

    height, width, _ = pixels.shape
    occupied = np.pad(cover > 0, 1, mode="edge")
    sums = np.pad(np.cumsum(np.cumsum(occupied.astype(int), axis=0), axis=1), ((1, 0), (1, 0)))
    for share in (55, 75, 100, 130):
        letter = max(9.0, max(width, height) / share)
        font = ImageFont.load_default(letter)
        left, top, right, bottom = font.getbbox(WORDS)
        long, short = int(right - left) + 4, int(bottom - top) + 4
        for upended in (False, True):
            box_width, box_height = (short, long) if upended else (long, short)
            place = _free(sums, (width, height), (box_width, box_height), grid)
            if place is None:
                continue
            mask = Image.new("L", (long, short))
            ImageDraw.Draw(mask).text((2 - left, 2 - top), WORDS, fill=255, font=font)
            if upended:
                mask = mask.transpose(Image.Transpose.ROTATE_90)
            x, y = place
            block = pixels[y : y + box_height, x : x + box_width]
            peak = np.iinfo(pixels.dtype).max
            ink = 0.93 * peak if block.mean() < 0.5 * peak else 0.07 * peak
            share_of_ink = np.asarray(mask, np.float32)[..., None] / 255
            block[:] = (block + share_of_ink * (ink - block)).astype(pixels.dtype)
            return True
    return False


def _free(
    sums: NDArray[np.int64], frame: tuple[int, int], box: tuple[int, int], grid: int
) -> tuple[int, int] | None:
    """A corner for a box that meets no sheet: along the bottom first, then anywhere."""
    rows, columns = (side // grid + 3 for side in (box[1], box[0]))
    if rows >= sums.shape[0] or columns >= sums.shape[1]:
        return None
    inside = (
        sums[rows:, columns:] - sums[:-rows, columns:] - sums[rows:, :-columns]
        + sums[:-rows, :-columns]
    )  # fmt: skip
    for row in range(inside.shape[0] - 1, -1, -1):
        free = np.flatnonzero(inside[row] == 0)
        if len(free):
            x = min(int(free[0]) * grid, frame[0] - box[0] - 2)
            y = min(row * grid, frame[1] - box[1] - 2)
            return max(0, x), max(0, y)
    return None
