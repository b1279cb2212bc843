"""What the codes of an opened picture mean: its profile, or what stands for one."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from typing import TYPE_CHECKING

from colour.photo.outcome import Remark
from service.photos import profile
from service.photos.opening import exif_of

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageFile import ImageFile

INTEROPERABILITY, INTEROPERABILITY_INDEX = 0xA005, 0x0001


def colours_of(
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
        index = exif_of(image).get_ifd(INTEROPERABILITY).get(INTEROPERABILITY_INDEX)
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
