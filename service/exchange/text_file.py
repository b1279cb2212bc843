"""Bytes to text: which encoding a readings file is in, and what it is when it is no text."""

from __future__ import annotations

import re
from codecs import BOM_UTF8, BOM_UTF16_BE, BOM_UTF16_LE

from service.exchange.readings import FileWarning, ReadingsRefused

_KINDS_BY_FIRST_BYTES = (
    (b"\xff\xd8\xff", "a JPEG photograph"),
    (b"\x89PNG", "a PNG picture"),
    (b"%PDF", "a PDF"),
    (b"PK\x03\x04", "a spreadsheet workbook or another ZIP archive"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet workbook"),
    (b"\x1f\x8b", "a gzip archive"),
)
_NOT_IN_WINDOWS_1252 = (b"\x81", b"\x8d", b"\x8f", b"\x90", b"\x9d")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")


def decode(data: bytes) -> tuple[str, list[FileWarning]]:
    """Text of the file, and what had to be assumed to read it."""
    for first, kind in _KINDS_BY_FIRST_BYTES:
        if data.startswith(first):
            raise ReadingsRefused(f"The file is {kind}, not text. Save the readings as CSV.")
    text, warnings = _decode(data)
    ended = text.rstrip("\x1a\x00")
    if ended != text and not text.startswith("\x00"):
        text = ended
        warnings.append(
            FileWarning(
                code="end_of_file_mark",
                message="End-of-file marks of old systems were passed over.",
            )
        )
    if not text.strip():
        raise ReadingsRefused("The file is empty. Export the readings again.")
    if control := _CONTROL.search(text):
        # Refused here for the whole file, so that no message can carry one to a terminal.
        raise ReadingsRefused(
            f"The file holds the control character {control[0]!a}, so it is not plain text. "
            "Save the readings as CSV.",
            line=text.count("\n", 0, control.start()) + 1,
        )
    return text, warnings


def _decode(data: bytes) -> tuple[str, list[FileWarning]]:
    if data.startswith(BOM_UTF8):
        said = FileWarning(
            code="byte_order_mark", message="A byte order mark at the start was passed over."
        )
        return _strict(data[len(BOM_UTF8) :], "utf-8"), [said]
    utf_16 = _utf_16(data)
    if utf_16 is not None:
        said = FileWarning(code="utf_16", message="The file is in UTF-16; UTF-8 is usual.")
        return _strict(data, utf_16).removeprefix("\ufeff"), [said]
    try:
        return data.decode("utf-8"), []
    except UnicodeDecodeError:
        if b"BEGIN_DATA" in data and any(sign in data for sign in _NOT_IN_WINDOWS_1252):
            said = FileWarning(
                code="encoding_assumed",
                message="The file is not in UTF-8 and was read as DOS code page 850. Check names "
                "with accents and signs.",
            )
            return data.decode("cp850"), [said]
        # The degree sign as one byte is what older instrument software writes.
        said = FileWarning(
            code="encoding_assumed",
            message="The file is not in UTF-8 and was read as Windows-1252. Check names with "
            "accents and signs; save the file as UTF-8 to be sure.",
        )
        return _strict(data, "cp1252"), [said]


def _strict(data: bytes, encoding: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        raise ReadingsRefused(
            f"Byte {error.start + 1} of the file is not text in any encoding this program reads. "
            "Save the file as CSV in UTF-8."
        ) from None


def _utf_16(data: bytes) -> str | None:
    """The byte order, by the mark or by the zero byte of the first letter; else None."""
    if data.startswith(BOM_UTF16_LE):
        return "utf-16-le"
    if data.startswith(BOM_UTF16_BE):
        return "utf-16-be"
    if len(data) > 1 and data[0] and not data[1]:
        return "utf-16-le"
    if len(data) > 1 and not data[0] and data[1]:
        return "utf-16-be"
    return None
