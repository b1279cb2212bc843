"""A photograph's bytes to an upright picture with the meaning of its codes.

Runs in the bounded worker for whatever comes from outside: this module refuses what it can tell
to be too much, and the worker's own limits stop the rest.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from colour.photo.outcome import PhotoRefused, Remark
from colour.photo.picture import Picture
from service.photos import profile
from service.photos.kinds import Kind, kind_of, refused

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageFile import ImageFile

Pixels = NDArray[np.uint8] | NDArray[np.uint16]

# A reduced picture keeps at least so many pixels: a 12 MP photograph is read at half its width,
# where means of patches differ from the whole by 0.02 of 255 at most and markers are found alike.
PIXELS_ENOUGH = 2_900_000
FACTORS = (8, 4, 2, 1)

# Bytes that decoding may take by the estimates below; the worker's limit is set above it.
MOST_MEMORY = 240 * 10**6
# Beyond this even a reduced decode takes seconds, whatever the memory.
MOST_PIXELS = 130_000_000
WIDEST = 30_000
STRIP = 256  # rows copied at a time, so that no second whole picture is made

ORIENTATION, INTEROPERABILITY, INTEROPERABILITY_INDEX = 0x0112, 0xA005, 0x0001
PLANAR, NEW_SUBFILE, PHOTOMETRIC, DNG_VERSION = 284, 254, 262, 50706

# Annex K of ITU-T T.81 (JPEG): the luminance table at quality 50 of the usual scale, any order.
LUMINANCE_SUM = 3688


@dataclass(frozen=True, slots=True, kw_only=True)
class Described:
    """What a photograph is, without its pixels being decoded; sizes as it stands upright."""

    kind: Kind
    width: int
    height: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decoded:
    """A picture, and what had to be assumed about it."""

    picture: Picture
    kind: Kind
    warnings: tuple[Remark, ...] = ()


def describe(content: bytes) -> Described:
    """Kind and upright size, from the head of the file.

    Raises
    ------
    PhotoRefused
        When it is no photograph that ``decode`` would take up.
    """
    kind = kind_of(content)
    with _guarded(kind):
        image = opened(content, kind)
        width, height = image.size
        # A TIFF is turned by the library itself, and its size told as turned.
        if kind != "TIFF" and orientation_of(image) >= 5:
            width, height = height, width
        return Described(kind=kind, width=width, height=height)


def decode(content: bytes, *, pixels_enough: int = PIXELS_ENOUGH) -> Decoded:
    """The picture, upright, reduced where it has more pixels than reading it needs.

    Raises
    ------
    PhotoRefused
        ``not_an_image``, ``too_large``, ``unsupported`` or ``damaged``.
    """
    kind = kind_of(content)
    with _guarded(kind):
        image = opened(content, kind)
        width, height = image.size
        factor = factor_for(width, height, pixels_enough)
        orientation = 1 if kind == "TIFF" else orientation_of(image)
        remarks = list(_assumptions(image, kind))
        depth = _depth(image)
        _check_memory(image, kind, factor, depth)
        quality = _quality(image) if kind == "JPEG" else None
        colours, remark, convert = _colours(image, 65536 if depth == 16 else 256)
        if remark is not None:
            remarks.append(remark)
        if convert is not None:
            pixels: Pixels = _array(convert(image).convert("RGB"))
        elif depth == 16:
            pixels = _sixteen_bits(content, kind, image)
        else:
            pixels = _eight_bits(image, kind, factor)
    upright = turned(pixels, orientation)
    if orientation >= 5:
        width, height = height, width
    return Decoded(
        picture=Picture(
            pixels=upright,
            light=colours.light,
            primaries=colours.primaries,
            width=width,
            height=height,
            linear=colours.linear,
            quality=quality,
        ),
        kind=kind,
        warnings=tuple(remarks),
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


def orientation_of(image: Image) -> int:
    """How the picture is to be turned, 1 to 8 as Exif counts; 1 when that cannot be read."""
    try:
        value = image.getexif().get(ORIENTATION, 1)
    except Exception:  # whatever broken Exif makes of the reader, the picture itself may be whole
        return 1
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


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


@contextmanager
def _guarded(kind: str) -> Iterator[None]:
    """Turn whatever a decoder throws at hostile bytes into a refusal."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of decoders, about metadata that is not used here
            yield
    except PhotoRefused:
        raise
    except MemoryError as error:
        raise refused(
            "too_large",
            "The picture needs more memory than one photograph may take. "
            "Send it with fewer pixels, or as an ordinary JPEG.",
        ) from error
    except ImportError:
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
        if _depth(image) == 16 and (tags.get(PLANAR, 1) == 2 or tags.get(PHOTOMETRIC) == 0):
            raise refused(
                "unsupported",
                "The TIFF keeps its 16-bit channels apart or inverted. "
                "Export it with interleaved RGB channels.",
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


def _depth(image: ImageFile) -> int:
    """Bits of a channel that are worth keeping: 8 or 16."""
    if image.mode.startswith("I;16"):
        return 16
    return 16 if image.tile and _raw_mode(image.tile[0].args) in SWAPPED else 8


def _check_memory(image: ImageFile, kind: Kind, factor: int, depth: int) -> None:
    """Refuse what would take more memory than one photograph may.

    Bytes a pixel, measured as peaks of the process: the library's picture 4, the array 3 (8 bits)
    or 6 (16 bits); a progressive JPEG keeps every coefficient of the whole picture, 2 bytes each;
    WebP's own canvases 12 more, HEIC's planes and tiles 6, a TIFF in one strip its raw bytes.
    """
    width, height = image.size
    pixels = width * height
    if kind == "JPEG":
        need = 7 * pixels / factor**2
        if image.info.get("progressive"):
            need += 2 * pixels * _components(image)
    elif depth == 16:
        need = pixels * (16 if kind == "TIFF" else 10)
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


def _quality(image: ImageFile) -> int | None:
    """The quality a JPEG was saved with on the usual scale of 1 to 100, from its table sum."""
    tables = image.quantization  # type: ignore[attr-defined]
    if not tables:
        return None
    scale = 100 * sum(tables[min(tables)]) / LUMINANCE_SUM
    quality = 100 - scale / 2 if scale <= 100 else 5000 / scale
    return int(min(max(round(quality), 1), 100))


def _colours(
    image: ImageFile, codes: int
) -> tuple[profile.Colours, Remark | None, Callable[[Image], Image] | None]:
    """What codes mean; a remark where that had to be assumed; how to convert when tables say it."""
    icc = image.info.get("icc_profile")
    grey = image.mode in ("1", "L", "LA") or image.mode.startswith("I;16")
    if not icc:
        if _says_wide(image):
            return profile.wide(codes), None, None
        if codes == 256:
            return profile.srgb(codes), None, None
        remark = Remark(
            code="no_profile",
            message="The 16-bit picture has no colour profile and was taken for sRGB. "
            "Embed the profile when you export it.",
        )
        return profile.srgb(codes), remark, None
    try:
        return profile.from_icc(icc, codes, grey=grey), None, None
    except profile.TablesOnly:
        convert = _conversion(icc)
        if convert is not None:
            return profile.srgb(256), None, convert
        why = "its tables cannot be used"
    except profile.BrokenProfile as error:
        why = str(error)
    remark = Remark(
        code="broken_profile",
        message=f"The embedded colour profile is damaged ({why}); the picture was taken for "
        "sRGB. Export it again with its profile.",
    )
    return profile.srgb(codes), remark, None


def _says_wide(image: Image) -> bool:
    try:
        index = image.getexif().get_ifd(INTEROPERABILITY).get(INTEROPERABILITY_INDEX)
    except Exception:  # broken Exif says nothing
        return False
    return isinstance(index, str) and index.startswith("R03")


def _conversion(icc: bytes) -> Callable[[Image], Image] | None:
    """A converter to sRGB by the colour engine, for profiles of lookup tables."""
    from PIL import ImageCms

    try:
        transform = ImageCms.buildTransform(
            ImageCms.ImageCmsProfile(BytesIO(icc)),
            ImageCms.createProfile("sRGB"),
            "RGB",
            "RGB",
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return None

    def convert(image: Image) -> Image:
        converted = ImageCms.applyTransform(image.convert("RGB"), transform)
        assert converted is not None
        return converted

    return convert


def _eight_bits(image: ImageFile, kind: Kind, factor: int) -> NDArray[np.uint8]:
    width, height = image.size
    if kind == "JPEG":
        image.draft("L" if image.mode == "L" else "RGB", (width // factor, height // factor))
        return _array(image)
    small: Image = image
    if image.mode not in ("RGB", "L"):
        # Transparency is dropped: what lies under it is what the camera saw.
        small = image.convert("L" if image.mode in ("1", "LA") else "RGB")
    return _array(small.reduce(factor) if factor > 1 else small)


def _array(image: Image) -> NDArray[np.uint8]:
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


def _raw_mode(arguments: Any) -> str:
    first = arguments if isinstance(arguments, str) else (arguments or ("",))[0]
    return str(first)


def _swapped(arguments: Any) -> Any:
    other = SWAPPED[_raw_mode(arguments)]
    return other if isinstance(arguments, str) else (other, *arguments[1:])


def _sixteen_bits(content: bytes, kind: Kind, image: ImageFile) -> NDArray[np.uint16]:
    if image.mode.startswith("I;16"):
        grey = np.asarray(image).astype(np.uint16, copy=False)
        return np.repeat(grey[:, :, None], 3, axis=2)
    codes = _array(image).astype(np.uint16)
    image.close()
    codes <<= 8
    again = opened(content, kind)
    again.tile = [tile._replace(args=_swapped(tile.args)) for tile in again.tile]
    codes |= _array(again)
    return codes
