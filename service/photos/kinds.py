"""Which kind of file the bytes are, told by their first bytes and never by a name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from colour.photo.outcome import PhotoRefused, Remark

Kind = Literal["JPEG", "PNG", "TIFF", "WEBP", "HEIC"]

MEDIA_TYPES: dict[Kind, str] = {
    "JPEG": "image/jpeg",
    "PNG": "image/png",
    "TIFF": "image/tiff",
    "WEBP": "image/webp",
    "HEIC": "image/heic",
}
MOST_BYTES = 40 * 2**20

TAKEN = "Send a JPEG, PNG, TIFF, WebP or HEIC photograph."

HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
OTHERS = (
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive or an office document"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture"),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL picture"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"II+\x00", "a BigTIFF picture"),
    (b"MM\x00+", "a BigTIFF picture"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Described:
    """What a photograph is, without its pixels being decoded; sizes as it stands upright."""

    media_type: str
    width: int
    height: int


def refused(code: str, message: str) -> PhotoRefused:
    return PhotoRefused((Remark(code=code, message=message),))


def kind_of(content: bytes) -> Kind:
    """The kind of a photograph's bytes.

    Raises
    ------
    PhotoRefused
        ``too_large`` or ``not_an_image``, saying what the bytes look like.
    """
    if not content:
        raise refused("not_an_image", f"The file is empty, 0 bytes. {TAKEN}")
    if len(content) > MOST_BYTES:
        raise refused(
            "too_large",
            f"The file has {len(content) / 2**20:.0f} MiB, more than {MOST_BYTES // 2**20}. "
            "Send the photograph as a JPEG, or with fewer pixels.",
        )
    start = content[:64]
    if start.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if start.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if start.startswith((b"II*\x00", b"MM\x00*")):
        return "TIFF"
    if start.startswith(b"RIFF") and start[8:12] == b"WEBP":
        return "WEBP"
    if start[4:8] == b"ftyp" and start[8:12] in HEIC_BRANDS:
        return "HEIC"
    raise refused("not_an_image", f"{_looks_like(start)} {TAKEN}")


def _looks_like(start: bytes) -> str:
    for mark, words in OTHERS:
        if start.startswith(mark):
            return f"The file is {words}, which is not taken."
    if start[4:8] == b"ftyp":
        brand = start[8:12].decode("latin-1")
        return f"The file is a video or a picture of the kind {brand!r}, which is not taken."
    text = start.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if text.startswith((b"<svg", b"<?xml")):
        return "The file is an SVG or XML document, which is not taken."
    if text.startswith((b"<!doctype", b"<html")):
        return "The file is a web page, which is not taken."
    return f"The file is no picture of a known kind; it begins with the bytes {start[:8].hex(' ')}."
