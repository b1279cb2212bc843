"""Pixels of an opened picture as arrays: 8 bits reduced where that suffices, 16 bits whole."""

from __future__ import annotations

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
        image.draft("L" if image.mode == "L" else "RGB", (width // factor, height // factor))
        return as_array(image)
    small: Image = image
    if image.mode not in ("RGB", "L"):
        # Transparency is dropped: what lies under it is what the camera saw.
        small = image.convert("L" if image.mode in ("1", "LA") else "RGB")
    return as_array(small.reduce(factor) if factor > 1 else small)


def as_array(image: Image) -> NDArray[np.uint8]:
    """(height, width, 3) codes, copied strip by strip."""
    width, height = image.size
    image.load()
    if image.mode == "L":
        return np.repeat(np.asarray(image)[:, :, None], 3, axis=2)
    codes = np.empty((height, width, 3), np.uint8)
    for top in range(0, height, STRIP):
        bottom = min(top + STRIP, height)
        codes[top:bottom] = np.asarray(image.crop((0, top, width, bottom)))[:, :, :3]
    return codes


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
        return np.repeat(_averaged(grey[:, :, None], factor), 3, axis=2)
    again = opened(content, kind)
    again.tile = [tile._replace(args=_swapped(tile.args)) for tile in again.tile]
    image.load()
    again.load()
    width, height = image.size
    height = height // factor * factor if factor > 1 else height
    codes = np.empty((height // factor, width // factor, 3), np.uint16)
    for top in range(0, height, STRIP):
        box = (0, top, width, min(top + STRIP, height))
        high, low = (np.asarray(half.crop(box))[:, :, :3] for half in (image, again))
        strip = high.astype(np.uint16)
        strip <<= 8
        strip |= low
        codes[top // factor : box[3] // factor] = _averaged(strip, factor)
    return codes


def _averaged(codes: NDArray[np.uint16], factor: int) -> NDArray[np.uint16]:
    """Means of blocks. A row or column that fills none is left out: the camera's are all even."""
    if factor == 1:
        return codes
    height, width = (side // factor for side in codes.shape[:2])
    whole = codes[: height * factor, : width * factor]
    total = np.zeros((height, width, codes.shape[2]), np.uint32)
    for row in range(factor):
        for column in range(factor):
            total += whole[row::factor, column::factor]
    total += factor * factor // 2
    total //= factor * factor
    return total.astype(np.uint16)
