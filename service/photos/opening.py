"""The library's readers, one for each kind, and the limits on what they may be asked.

What can be told from the head of a file to be too much is refused here; the worker's own limits
stop the rest.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import TYPE_CHECKING

from colour.photo.outcome import PhotoRefused, Remark
from service.photos.kinds import Kind, refused

if TYPE_CHECKING:
    from PIL.Image import Exif, Image
    from PIL.ImageFile import ImageFile

# Bytes that decoding may take by the estimates below; the worker's limit is set above it.
MOST_MEMORY = 280 * 10**6
# Beyond this even a reduced decode takes seconds, whatever the memory.
MOST_PIXELS = 130_000_000
WIDEST = 30_000

ORIENTATION = 0x0112

TOO_MUCH_MEMORY = Remark(
    code="too_large",
    message="The picture needs more memory than one photograph may take. "
    "Send it with fewer pixels, or as an ordinary JPEG.",
)


def opened(content: bytes, kind: Kind) -> ImageFile:
    """The library's picture, its head read and its size within limits, not yet decoded.

    Only the one reader for the kind is asked, so what else the bytes may be stays unread.
    """
    image = _reader(kind)(BytesIO(content))
    width, height = image.size
    if width * height > MOST_PIXELS or max(width, height) > WIDEST:
        raise too_many_pixels(width, height)
    return image


def too_many_pixels(width: int, height: int) -> PhotoRefused:
    return refused(
        "too_large",
        f"The picture has {width} by {height} pixels, more than can be decoded safely. "
        "Send it with fewer pixels, or as an ordinary JPEG; 12 million are plenty.",
    )


def refuse_if_too_much(image: ImageFile, kind: Kind, factor: int, depth: int) -> None:
    """Refuse what would take more memory than one photograph may.

    Bytes a pixel, measured as peaks of the process: the library's picture 4, twice for 16 bits;
    the array 3 or 6; a progressive JPEG keeps every coefficient of the whole picture, 2 bytes each;
    WebP's own canvases 12 more, HEIC's planes and tiles 6, a TIFF in one strip its raw bytes.
    """
    width, height = image.size
    pixels = width * height
    if kind == "JPEG":
        need = 7 * pixels / factor**2
        if image.info.get("progressive"):
            need += 2 * pixels * _components(image)
    elif depth == 16:
        need = pixels * (8 + 6 / factor**2 + (6 if kind == "TIFF" else 0))
    else:
        extra = {"WEBP": 12, "HEIC": 6, "TIFF": 4}.get(kind, 0)
        need = pixels * (4 + extra + 4 / factor**2 + 3 / factor**2)
    if need > MOST_MEMORY:
        raise too_many_pixels(width, height)


def _components(image: ImageFile) -> float:
    """Coefficients a pixel of a JPEG: 3 when no channel is subsampled, 1.5 for 4:2:0."""
    layers = image.layer  # type: ignore[attr-defined]
    widest, tallest = max(layer[1] for layer in layers), max(layer[2] for layer in layers)
    return float(sum(layer[1] * layer[2] for layer in layers) / (widest * tallest))


def orientation_of(image: Image) -> int:
    """How the picture is to be turned, 1 to 8 as Exif counts; 1 when that cannot be read."""
    try:
        value = exif_of(image).get(ORIENTATION, 1)
    except Exception:  # whatever broken Exif makes of the reader, the picture itself may be whole
        return 1
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def exif_of(image: Image) -> Exif:
    """The Exif data in the head of the file."""
    if image.format != "PNG":
        return image.getexif()
    # Asked itself, a PNG decodes all its pixels first, for some write Exif behind them.
    from PIL.Image import Exif

    exif = Exif()
    exif.load(image.info.get("exif") or b"")
    return exif


@contextmanager
def guarded(kind: str) -> Iterator[None]:
    """Turn whatever a decoder throws at hostile bytes into a refusal."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of decoders, about metadata that is not used here
            yield
    except PhotoRefused:
        raise
    except MemoryError as error:
        raise PhotoRefused((TOO_MUCH_MEMORY,)) from error
    except (ImportError, NameError):  # faults of the program, not of the file
        raise
    except Exception as error:  # decoders raise nearly anything
        raise refused(
            "damaged",
            f"The {kind} picture is damaged or cut short ({error or type(error).__name__}). "
            "Copy it from the camera again, or take another photograph.",
        ) from error


def _reader(kind: Kind) -> Callable[[BytesIO], ImageFile]:
    """The library's reader for one kind. That of JPEG reads a phone's first picture of several."""
    if kind == "JPEG":
        from PIL.JpegImagePlugin import JpegImageFile

        return JpegImageFile
    if kind == "PNG":
        from PIL.PngImagePlugin import PngImageFile

        return PngImageFile
    if kind == "TIFF":
        from PIL.TiffImagePlugin import TiffImageFile

        return TiffImageFile
    if kind == "WEBP":
        from PIL.WebPImagePlugin import WebPImageFile

        return WebPImageFile
    try:
        from pillow_heif import HeifImageFile
    except ImportError as error:
        raise refused(
            "unsupported",
            "The photograph is HEIC, and this installation cannot read that. Install the extra "
            "with pip install 'keepcard[heic]', or set the phone to save JPEG.",
        ) from error
    reader: Callable[[BytesIO], ImageFile] = HeifImageFile
    return reader
