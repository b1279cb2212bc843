"""The one door for readings files: tells the format by content and hands on to its reader."""

from __future__ import annotations

import gc
import re
from collections.abc import Iterator
from contextlib import contextmanager

from service.exchange.readings import ReadingsFile, ReadingsRefused
from service.exchange.text_file import decode

LARGEST_FILE = 20_000_000  # bytes

_BYTE_ORDER_MARKS = b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff"
_CGATS = re.compile(
    r"^[ \t\ufeff]*\"?(CGATS([._]?\d+)?\b|IT8[./]\d|ISO[ _]?28178|BEGIN_DATA(_FORMAT)?\b"
    r"|NUMBER_OF_(FIELDS|SETS)\b|END_DATA_FORMAT\b)",
    re.MULTILINE | re.IGNORECASE,
)
LONGEST_LINE = 1_000_000  # characters; 10,000 columns of 100
_LONG_LINE = re.compile(r"(?<![^\r\n])[^\r\n]{1000001}")
_FAR_ENOUGH = 200_000  # characters in which a mark of CGATS.17 must stand


def read_readings(data: bytes) -> ReadingsFile:
    """Everything a readings file holds; nothing is stored, and nothing is taken in part.

    Raises ReadingsRefused, whose text says what is wrong, where, and what to do.
    """
    if len(data) > LARGEST_FILE:
        raise ReadingsRefused(
            f"The file has {len(data):,} bytes; at most {LARGEST_FILE:,} are read. "
            "Split it into smaller files."
        )
    with _collector_at_rest():
        return _read(data)


def _read(data: bytes) -> ReadingsFile:
    if _is_xml(data):
        from service.exchange.readings_cxf import read_cxf

        return read_cxf(data)
    text, warnings = decode(data)
    if is_cgats(text):
        from service.exchange.readings_cgats import read_cgats

        return read_cgats(text, tuple(warnings))
    if longest := _LONG_LINE.search(text):
        raise ReadingsRefused(
            f"the line has more than {LONGEST_LINE:,} characters, which no readings file has. "
            "Export the readings again.",
            line=text.count("\n", 0, longest.start()) + 1,
        )
    from service.exchange.readings_csv import read_csv

    return read_csv(text, tuple(warnings))


@contextmanager
def _collector_at_rest() -> Iterator[None]:
    """No cyclic collection meanwhile: a file makes many small values and no rings of them.

    Half of the time on a file of 10 MB went into looking for such rings, measured.
    """
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_enabled:
            gc.enable()


def is_cgats(text: str) -> bool:
    """Whether a text has a line only CGATS.17 and its dialects have."""
    # Old line ends are no line ends to the expression.
    return _CGATS.search(text[:_FAR_ENOUGH].replace("\r", "\n")) is not None


def _is_xml(data: bytes) -> bool:
    """Whether the first sign is <, in any encoding a byte order mark or zero bytes tell."""
    start = data[:1_000]
    for mark in _BYTE_ORDER_MARKS:
        start = start.removeprefix(mark)
    return start.replace(b"\0", b"").lstrip().startswith(b"<")
