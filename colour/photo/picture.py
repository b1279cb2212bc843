"""A decoded photograph, as the colour science takes it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FineChroma:
    """Chroma of a JPEG picture, finer than the whole codes a decoder gives.

    A decoder rounds Cb and Cr to whole codes; over a patch of one colour the rounding is the same
    everywhere and no mean takes it out: half a code of Cr is 0.5 in a* of a silver. ``codes``
    (height, width, 2) are (Cb, Cr) less 128, times ``factor``, plus 128, at about an eighth of the
    photograph's size; chroma too strong for the factor is cut off at 0 or 255. ``step`` and
    ``luma_step`` are what the file itself rounds block means to.
    """

    codes: NDArray[np.uint8]
    factor: float
    step: float  # codes of chroma
    luma_step: float  # codes of luma


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """Pixels of an upright photograph, and how its codes become light.

    ``pixels`` may be smaller than the photograph by ``scale``: pixel (x, y) of the photograph
    lies at ``(x + 0.5) * scale - 0.5`` of the array. Positions everywhere else are in pixels of
    the whole upright photograph, (0, 0) the middle of its top left pixel.
    """

    pixels: NDArray[np.uint8] | NDArray[np.uint16]  # (height, width, 3): R, G, B codes
    light: NDArray[np.float64]  # (3, codes): linear light 0 to 1 of each code, per channel
    primaries: NDArray[np.float64]  # (3, 3): linear RGB to linear sRGB (BT.709 primaries, D65)
    width: int  # of the whole upright photograph
    height: int
    linear: bool = False  # whether the codes were proportional to light: a scanner's or raw file
    chroma: tuple[FineChroma, ...] = ()  # of a JPEG, the finest first
    # Makes one with room for stronger colours, where that is worth the time.
    stronger_chroma: Callable[[], FineChroma | None] | None = None
    quality: int | None = None  # JPEG quality as estimated from its tables, if it is one

    @property
    def scale(self) -> float:
        return float(self.pixels.shape[1]) / self.width
