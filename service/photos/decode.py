"""A photograph's bytes to an upright picture with the meaning of its codes.

What comes from outside is decoded in the bounded worker only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import NDArray

from colour.photo.outcome import Remark
from colour.photo.picture import FineChroma, Picture
from service.photos.fine_chroma import FINEST, STRONGER, fine_chroma
from service.photos.kinds import MEDIA_TYPES, Described, Kind, kind_of, refused
from service.photos.meaning import colours_of
from service.photos.opening import guarded, opened, orientation_of, refuse_if_too_much
from service.photos.pixels import as_array, depth_of, eight_bits, sixteen_bits

if TYPE_CHECKING:
    from PIL.ImageFile import ImageFile
    from PIL.JpegImagePlugin import JpegImageFile

Pixels = NDArray[np.uint8] | NDArray[np.uint16]

# A reduced picture keeps at least so many pixels: a 12 MP photograph is read at half its width,
# where means of patches differ from the whole by 0.02 of 255 at most and markers are found alike.
PIXELS_ENOUGH = 2_900_000
FACTORS = (8, 4, 2, 1)
MOST_PROGRESSIVE_TWICE = 16_000_000  # pixels of a progressive JPEG that is decoded twice

# Tags of TIFF 6.0, and of raw files that look like one.
BITS, PHOTOMETRIC, PLANAR, NEW_SUBFILE, DNG_VERSION = 258, 262, 284, 254, 50706

# Annex K of ITU-T T.81 (JPEG): the sum of the luminance table that is quality 50 of the usual
# scale.
LUMINANCE_SUM = 3688


def _none() -> None:
    return None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decoded:
    """A picture, and what had to be assumed about it."""

    plain: Picture  # without the finer chroma, which may still be on its way
    kind: Kind
    warnings: tuple[Remark, ...] = ()
    chroma: Callable[[], FineChroma | None] = _none

    @property
    def picture(self) -> Picture:
        """The picture with the finer chroma of a JPEG; waits for it."""
        chroma = self.chroma()
        return replace(self.plain, chroma=() if chroma is None else (chroma,))


def describe(content: bytes) -> Described:
    """Kind and upright size, from the head of the file.

    Raises
    ------
    PhotoRefused
        When it is no photograph that ``decode`` would take up.
    """
    kind = kind_of(content)
    with guarded(kind):
        image = opened(content, kind)
        width, height = image.size
        # A TIFF is turned by the library itself, and its size told as turned.
        if kind != "TIFF" and orientation_of(image) >= 5:
            width, height = height, width
        return Described(media_type=MEDIA_TYPES[kind], width=width, height=height)


def decode(content: bytes, *, pixels_enough: int = PIXELS_ENOUGH) -> Decoded:
    """The picture, upright, reduced where it has more pixels than reading it needs.

    Raises
    ------
    PhotoRefused
        ``not_an_image``, ``too_large``, ``unsupported`` or ``damaged``.
    """
    kind = kind_of(content)
    with guarded(kind):
        image = opened(content, kind)
        width, height = image.size
        factor = factor_for(width, height, pixels_enough)
        orientation = 1 if kind == "TIFF" else orientation_of(image)
        remarks = list(_assumptions(image, kind))
        depth = depth_of(image)
        refuse_if_too_much(image, kind, factor, depth)
        quality = _quality(image) if kind == "JPEG" else None
        colours, remark, convert = colours_of(image, 65536 if depth == 16 else 256)
        if remark is not None:
            remarks.append(remark)
        chroma: Callable[[], FineChroma | None] = _none
        stronger: Callable[[], FineChroma | None] | None = None
        if convert is not None:
            pixels: Pixels = as_array(convert(image).convert("RGB"))
        elif depth == 16:
            pixels = sixteen_bits(content, kind, image, factor)
        elif kind == "JPEG":
            pixels, chroma, stronger = _jpeg(content, image, factor, orientation)
        else:
            pixels = eight_bits(image, kind, factor)
    upright = turned(pixels, orientation)
    if orientation >= 5:
        width, height = height, width
    return Decoded(
        plain=Picture(
            pixels=upright,
            light=colours.light,
            primaries=colours.primaries,
            width=width,
            height=height,
            linear=colours.linear,
            stronger_chroma=stronger,
            quality=quality,
        ),
        kind=kind,
        warnings=tuple(remarks),
        chroma=chroma,
    )


def _jpeg(
    content: bytes, image: ImageFile, factor: int, orientation: int
) -> tuple[
    NDArray[np.uint8], Callable[[], FineChroma | None], Callable[[], FineChroma | None] | None
]:
    """Pixels, and the finer chroma, which is decoded beside them where there are two processors.

    And how to come by the chroma of stronger colours, which few photographs need.
    """
    head = cast("JpegImageFile", opened(content, "JPEG"))

    def chroma(times: int = FINEST) -> FineChroma | None:
        try:
            found = fine_chroma(content, head, times)
        except Exception:  # the picture itself is refused for what is wrong with the file
            return None
        return found and replace(found, codes=turned(found.codes, orientation))

    if image.info.get("progressive"):
        # One after the other, for each keeps the coefficients of the whole picture; and of a very
        # large one only the first, which takes the better part of the time there is.
        pixels = eight_bits(image, "JPEG", factor)
        if head.width * head.height > MOST_PROGRESSIVE_TWICE:
            return pixels, _none, None
        made = chroma()
        return pixels, lambda: made, None
    beside = ThreadPoolExecutor(max_workers=1)
    coming = beside.submit(chroma)
    beside.shutdown(wait=False)
    return eight_bits(image, "JPEG", factor), coming.result, lambda: chroma(STRONGER)


def turned(pixels: Any, orientation: int) -> Any:
    """The upright view of an array, by an Exif orientation; nothing is copied."""
    if orientation >= 5:
        pixels = pixels.swapaxes(0, 1)
    # After the swap, left and right are what top and bottom were.
    if orientation in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    if orientation in (3, 4, 7, 8):
        pixels = pixels[::-1]
    return pixels


def factor_for(width: int, height: int, pixels_enough: int) -> int:
    """By how much a picture may be reduced and still have pixels enough."""
    return next(f for f in FACTORS if f == 1 or width * height >= pixels_enough * f * f)


def _assumptions(image: ImageFile, kind: Kind) -> Iterator[Remark]:
    """Refuse what is no photograph of this kind; warn of what is passed over."""
    if image.mode in ("CMYK", "LAB", "HSV", "F", "I"):
        raise refused(
            "unsupported",
            f"The picture is stored as {image.mode}, which is no camera's form. "
            "Export it as RGB with 8 or 16 bits a channel.",
        )
    if kind == "WEBP" and getattr(image, "n_frames", 1) > 1:
        raise refused(
            "not_an_image", "The WebP file is a moving picture. Send a single photograph."
        )
    if kind == "TIFF":
        tags: Any = image.tag_v2  # type: ignore[attr-defined]
        if DNG_VERSION in tags or tags.get(NEW_SUBFILE, 0) & 1:
            raise refused(
                "unsupported",
                "The file is a camera's raw file, whose first picture is a thumbnail. "
                "Develop it to a 16-bit TIFF and send that.",
            )
        bits = max(tags.get(BITS, (1,)))
        if bits > 16 or (bits > 8 and (tags.get(PLANAR, 1) == 2 or tags.get(PHOTOMETRIC) == 0)):
            raise refused(
                "unsupported",
                f"The TIFF keeps its channels apart, inverted or in {bits} bits. "
                "Export it with interleaved RGB channels of 8 or 16 bits.",
            )
        if tags.next:
            yield Remark(
                code="several_pages",
                message="The TIFF holds more than one picture; only the first was read.",
            )
    if image.mode in ("1", "L", "LA", "I;16", "I;16B", "I;16L"):
        yield Remark(
            code="no_colour",
            message="The picture is black and white, so it says nothing about hue. "
            "Take the photograph in colour.",
        )


def _quality(image: ImageFile) -> int | None:
    """The quality a JPEG was saved with on the usual scale of 1 to 100, from its table sum."""
    tables = image.quantization  # type: ignore[attr-defined]
    if not tables:
        return None
    scale = 100 * sum(tables[min(tables)]) / LUMINANCE_SUM
    quality = 100 - scale / 2 if scale <= 100 else 5000 / scale
    return int(min(max(round(quality), 1), 100))
