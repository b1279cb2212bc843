"""The one door for readings files: tells the format by content and hands on to its reader."""

from __future__ import annotations

import re

from service.exchange.readings import ReadingsFile, ReadingsRefused
from service.exchange.text_file import decode

LARGEST_FILE = 10_000_000  # bytes

_CGATS = re.compile(r"^\s*(CGATS(\.\d+)?\b|BEGIN_DATA_FORMAT\b|NUMBER_OF_FIELDS\b)", re.MULTILINE)


def read_readings(data: bytes) -> ReadingsFile:
    """Everything a readings file holds; nothing is stored, and nothing is taken in part.

    Raises ReadingsRefused, whose text says what is wrong, where, and what to do.
    """
    if len(data) > LARGEST_FILE:
        raise ReadingsRefused(
            f"The file has {len(data):,} bytes; at most {LARGEST_FILE:,} are read. "
            "Split it into smaller files."
        )
    text, warnings = decode(data)
    start = text[:20_000]
    if start.lstrip().startswith("<"):
        kind = "a CxF3 file" if "CxF" in start else "XML or a web page"
        raise ReadingsRefused(
            f"This looks like {kind}; this version reads CSV. Export the readings as CSV."
        )
    if _CGATS.search(start):
        raise ReadingsRefused(
            "This looks like a CGATS.17 file; this version reads CSV. Export the readings as CSV."
        )
    from service.exchange.readings_csv import read_csv

    return read_csv(text, tuple(warnings))
