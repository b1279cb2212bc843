"""Pixels of an opened picture as arrays: 8 bits reduced where that suffices, 16 bits whole."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from service.photos.kinds import Kind
from service.photos.opening import opened

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageFile import ImageFile

STRIP = 256  # rows copied at a time, so that no second whole picture is made


def eight_bits(image: ImageFile, kind: Kind, factor: int) -> NDArray[np.uint8]:
    width, height = image.size
    if kind == "JPEG":
        # Its decoder reduces by itself, in the frequencies, in half the time.
        image.draft("L" if image.mode == "L" else "RGB", (width // factor, height // factor))
        factor = 1
    if image.mode in ("RGB", "L"):
        return as_array(image, factor)
    # Transparency is dropped: what lies under it is what the camera saw.
    return as_array(image.convert("L" if image.mode in ("1", "LA") else "RGB"), factor)


def as_array(image: Image, factor: int = 1) -> NDArray[np.uint8]:
    """(height, width, 3) codes of a picture of 8 bits, copied strip by strip."""
    image.load()
    codes = np.empty((image.height // factor, image.width // factor, 3), np.uint8)
    for rows, box in _strips(image, factor):
        strip = np.asarray(image.crop(box))
        codes[rows] = averaged(strip if strip.ndim == 3 else strip[:, :, None], factor)[..., :3]
    return codes


def _strips(image: Image, factor: int) -> Iterator[tuple[slice, tuple[int, int, int, int]]]:
    """Rows of the reduced picture with the part of the whole that they come from."""
    height = image.height // factor * factor
    for top in range(0, height, STRIP):
        bottom = min(top + STRIP, height)
        yield slice(top // factor, bottom // factor), (0, top, image.width, bottom)


def averaged(codes: NDArray[Any], factor: int) -> NDArray[Any]:
    """Means of blocks of codes.

    Halves are rounded to even: always up would lift every mean of a patch by an eighth of a code.
    A row or column that fills no block is left out; those of cameras are all even.
    """
    if factor == 1:
        return codes
    height, width = (side // factor for side in codes.shape[:2])
    whole = codes[: height * factor, : width * factor]
    total = np.zeros(
        (height, width, codes.shape[2]), np.uint16 if codes.dtype == np.uint8 else np.uint32
    )
    for row in range(factor):
        for column in range(factor):
            total += whole[row::factor, column::factor]
    area = factor * factor
    total += (area // 2 - 1) + (total // area & 1)
    total //= area
    return total.astype(codes.dtype)


# The library keeps 8 of 16 bits, and which 8 is told by the order of bytes it is given: asked a
# second time in the opposite order, it gives the low ones. So one hardened decoder serves both
# depths, and no further library is needed (pyvips: 8 MB, imagecodecs: 26 MB).
_NATIVE = "L" if np.little_endian else "B"
_FOREIGN = "B" if np.little_endian else "L"
SWAPPED = {
    f"{mode};16{order}": f"{mode};16{other}"
    for mode in ("RGB", "RGBA", "RGBX", "RGBa")
    for order, other in (("B", "L"), ("L", "B"), ("N", _FOREIGN))
}


def depth_of(image: ImageFile) -> int:
    """Bits of a channel that are worth keeping: 8 or 16."""
    if image.mode.startswith("I;16"):
        return 16
    return 16 if image.tile and _raw_mode(image.tile[0].args) in SWAPPED else 8


def _raw_mode(arguments: Any) -> str:
    first = arguments if isinstance(arguments, str) else (arguments or ("",))[0]
    return str(first)


def _swapped(arguments: Any) -> Any:
    other = SWAPPED[_raw_mode(arguments)]
    return other if isinstance(arguments, str) else (other, *arguments[1:])


def sixteen_bits(content: bytes, kind: Kind, image: ImageFile, factor: int) -> NDArray[np.uint16]:
    if image.mode.startswith("I;16"):
        grey = np.asarray(image).astype(np.uint16, copy=False)
        return np.repeat(averaged(grey[:, :, None], factor), 3, axis=2)
    again = opened(content, kind)
    again.tile = [tile._replace(args=_swapped(tile.args)) for tile in again.tile]
    image.load()
    again.load()
    codes = np.empty((image.height // factor, image.width // factor, 3), np.uint16)
    for rows, box in _strips(image, factor):
        high, low = (np.asarray(half.crop(box))[:, :, :3] for half in (image, again))
        strip = high.astype(np.uint16)
        strip <<= 8
        strip |= low
        codes[rows] = averaged(strip, factor)
    return codes
