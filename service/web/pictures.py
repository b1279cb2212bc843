"""Photographs on their way in and out: told by their content, and shown only as made anew."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

from service.domain.refused import Invalid, Refused

if TYPE_CHECKING:
    from PIL.Image import Image

FORMATS = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
MOST_BYTES = 25 * 2**20
MOST_PIXELS = 50_000_000
WIDEST = 4096
QUALITY = 88


class NotAPhoto(Refused):
    """Bytes that are none of the kinds of picture that are taken."""

    def __init__(self, why: str) -> None:
        super().__init__(f"{why} Send a JPEG, PNG or WebP photograph.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Described:
    """What is known of a picture without decoding it; sizes in pixels, as it stands upright."""

    media_type: str
    width: int
    height: int


def describe(content: bytes) -> Described:
    """Kind and size of a photograph, by its content.

    Raises
    ------
    NotAPhoto
        When it is none, or has too many pixels to be decoded safely.
    """
    with _opened(content) as image:
        width, height = image.size
        # Tag 0x0112 of Exif: values from 5 on lie on their side.
        if image.getexif().get(0x0112, 1) >= 5:
            width, height = height, width
        return Described(media_type=FORMATS[image.format or ""], width=width, height=height)


def shown(content: bytes, width: int) -> bytes:
    """The photograph as a JPEG made anew: upright, at most so wide, in sRGB, and nothing else.

    Place, serial numbers and whatever else a camera writes into its files stay behind; the
    stored bytes keep them.
    """
    from PIL import ImageOps

    if not 16 <= width <= WIDEST:
        raise Invalid("width", f"The width cannot be {width}. Ask for 16 to {WIDEST} pixels.")
    with _opened(content) as image:
        if image.format == "JPEG":
            image.draft("RGB", (width, width))
        try:
            upright = ImageOps.exif_transpose(image)
            upright.thumbnail((width, WIDEST))
            picture = _in_srgb(upright)
        except (OSError, ValueError, SyntaxError) as error:
            raise NotAPhoto(f"The photograph is damaged ({error}).") from error
        out = BytesIO()
        picture.save(out, "JPEG", quality=QUALITY, optimize=False)
        return out.getvalue()


def _opened(content: bytes) -> Image:
    from PIL import Image

    try:
        with warnings.catch_warnings():
            # Pillow only warns of what its limit calls a bomb; the limit below is ours.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(BytesIO(content), formats=tuple(FORMATS))
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise NotAPhoto("The bytes are no picture of a kind that is taken.") from error
    width, height = image.size
    if width * height > MOST_PIXELS:
        image.close()
        raise NotAPhoto(
            f"The picture has {width} by {height} pixels, more than {MOST_PIXELS // 10**6} million."
        )
    return image


def _in_srgb(image: Image) -> Image:
    profile = image.info.get("icc_profile")
    if profile:
        from PIL import ImageCms

        try:
            source = ImageCms.ImageCmsProfile(BytesIO(profile))
            converted = ImageCms.profileToProfile(
                image, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
            )
        except (ImageCms.PyCMSError, OSError, ValueError):
            # A profile that does not fit its own picture says nothing about it.
            converted = None
        if converted is not None:
            return _bare(converted)
    return _bare(image.convert("RGB"))


def _bare(image: Image) -> Image:
    """The pixels alone: what a save would carry along is dropped."""
    image.info = {}
    return image
