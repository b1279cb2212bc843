"""A photograph made anew to be shown: upright, in sRGB, and nothing else."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

from service.photos.decode import describe
from service.photos.kinds import kind_of
from service.photos.opening import guarded, opened, orientation_of, refuse_if_too_much

if TYPE_CHECKING:
    from PIL.Image import Image

TALLEST = 4096
QUALITY = 88
BY_ORIENTATION = ("FLIP_LEFT_RIGHT", "ROTATE_180", "FLIP_TOP_BOTTOM", "TRANSPOSE", "ROTATE_270",
                  "TRANSVERSE", "ROTATE_90")  # fmt: skip


def shown(content: bytes, width: int) -> bytes:
    """The photograph as a JPEG, at most so wide.

    Place, serial numbers and whatever else a camera writes into its files stay behind; the
    stored bytes keep them.

    Raises
    ------
    PhotoRefused
        As ``decode`` does, except that a printer's colours (CMYK) are shown too.
    """
    kind = kind_of(content)
    upright_width = describe(content).width
    with guarded(kind):
        from PIL import Image

        image = opened(content, kind)
        orientation = 1 if kind == "TIFF" else orientation_of(image)
        profile = image.info.get("icc_profile")
        factor = max(upright_width // width, 1)
        refuse_if_too_much(image, kind, min(factor, 8), 8)
        if kind == "JPEG":
            image.draft("RGB", (image.width // factor, image.height // factor))
        image.load()
        small: Image.Image = image
        if image.mode.startswith("I;16"):
            small = Image.fromarray((np.asarray(image) >> 8).astype(np.uint8))
        elif image.mode not in ("RGB", "L", "CMYK"):
            small = image.convert("RGB")
        if orientation >= 5:
            small.thumbnail((TALLEST, width))
        else:
            small.thumbnail((width, TALLEST))
        if orientation > 1:
            small = small.transpose(Image.Transpose[BY_ORIENTATION[orientation - 2]])
        picture = _in_srgb(small, profile)
        out = BytesIO()
        picture.save(out, "JPEG", quality=QUALITY)
        return out.getvalue()


def _in_srgb(image: Image, profile: bytes | None) -> Image:
    converted = None
    if profile:
        from PIL import ImageCms

        try:
            source = ImageCms.ImageCmsProfile(BytesIO(profile))
            converted = ImageCms.profileToProfile(
                image, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
            )
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            # A profile that does not fit its own picture says nothing about it.
            converted = None
    bare = converted if converted is not None else image.convert("RGB")
    bare.info = {}  # a save would carry it along
    return bare
