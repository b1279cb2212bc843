"""Photographs on their way in and out: told by their content, and shown only as made anew.

Nothing is decoded here; the desk does that in a process of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from service.domain.refused import Invalid, Refused
from service.use_cases.ports import PhotoReader, PictureDescribed

if TYPE_CHECKING:
    from colour.photo.outcome import PhotoRefused

FORMATS = {
    "JPEG": "image/jpeg",
    "PNG": "image/png",
    "WebP": "image/webp",
    "TIFF": "image/tiff",
    "HEIC": "image/heic",
}
MOST_BYTES = 40 * 2**20
WIDEST = 4096
BUSY = "busy"


class NotAPhoto(Refused):
    """Bytes that are none of the kinds of picture that are taken."""


class DeskBusy(Refused):
    """Too many photographs are being looked at already."""


def describe(desk: PhotoReader, content: bytes) -> PictureDescribed:
    """Kind and size of a photograph, by its content.

    Raises
    ------
    NotAPhoto
        When it is none, or has too many pixels to be decoded safely.
    """
    from colour.photo.outcome import PhotoRefused

    try:
        return desk.describe(content)
    except PhotoRefused as refused:
        raise _in_words(refused) from refused


def shown(desk: PhotoReader, content: bytes, width: int) -> bytes:
    """The photograph as a JPEG made anew: upright, at most so wide, in sRGB, and nothing else.

    Place, serial numbers and whatever else a camera writes into its files stay behind; the
    stored bytes keep them.
    """
    from colour.photo.outcome import PhotoRefused

    if not 16 <= width <= WIDEST:
        raise Invalid("width", f"The width cannot be {width}. Ask for 16 to {WIDEST} pixels.")
    try:
        return desk.shown(content, width)
    except PhotoRefused as refused:
        raise _in_words(refused) from refused


def _in_words(refused: PhotoRefused) -> Refused:
    codes = {reason.code for reason in refused.reasons}
    return DeskBusy(str(refused)) if BUSY in codes else NotAPhoto(str(refused))
