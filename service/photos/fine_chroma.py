"""Chroma of a JPEG in eighths of a code.

A decoder hands out Cb and Cr as whole codes. Over a card of one colour that rounding is the same
in every block, and no mean takes it out: it was most of the error of a silver's difference. The
file itself is finer. So it is decoded once more, at an eighth of its size, with the chroma's
quantisation table multiplied: the same codes then come out eight times as large, and their
rounding an eighth. Chroma far from grey has no room for that, and is enlarged less.
"""

from __future__ import annotations

import struct
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

from colour.photo.picture import FineChroma

if TYPE_CHECKING:
    from PIL.JpegImagePlugin import JpegImageFile

# An eighth of a code is as fine as files keep block means, and has room within 16 codes of grey:
# silvers, whites, blacks. A third has room for nearly all other colours of cars.
FINEST, STRONGER = 8, 3
REDUCED = 8

# ITU-T T.81, table B.1.
_DQT, _SOS = 0xDB, 0xDA
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_WITHOUT_LENGTH = frozenset({0x01, *range(0xD0, 0xD8)})


def fine_chroma(content: bytes, image: JpegImageFile, factor: int = FINEST) -> FineChroma | None:
    """The finer chroma of a JPEG whose head ``image`` has read, in the file's own orientation.

    None where the file does not keep luma and two chromas of one table. Whatever the decoder
    raises over a damaged file is the caller's to refuse.
    """
    layers = image.layer
    if image.mode != "RGB" or len(layers) != 3 or image.info.get("adobe_transform") == 0:
        return None
    if bytes(layer[0] for layer in layers) == b"RGB" or layers[1][3] != layers[2][3]:
        return None
    tables = image.quantization
    luma, chroma = tables.get(layers[0][3]), tables.get(layers[1][3])
    enlarged = _with_larger_chroma(content, layers[0][3], factor) if luma and chroma else None
    if enlarged is None or luma is None or chroma is None:
        return None
    from PIL.JpegImagePlugin import JpegImageFile

    again = JpegImageFile(BytesIO(enlarged))
    width, height = again.size
    again.draft("YCbCr", (max(1, width // REDUCED), max(1, height // REDUCED)))
    codes = np.asarray(again)
    if codes.ndim != 3 or again.mode != "YCbCr":
        return None
    # The first entry is that of the block's mean, whose coefficient is eight times it.
    return FineChroma(
        codes=codes[:, :, 1:],
        factor=float(factor),
        step=chroma[0] / 8,
        luma_step=luma[0] / 8,
    )


def _with_larger_chroma(content: bytes, luma_table: int, factor: int) -> bytes | None:
    """The same file with a table of its own for the chroma, the old one times ``factor``."""
    tables: dict[int, bytes] = {}
    at = 2
    while at + 4 <= len(content):
        if content[at] != 0xFF:
            return None
        marker = content[at + 1]
        if marker == 0xFF or marker in _WITHOUT_LENGTH:
            at += 1 if marker == 0xFF else 2
            continue
        (length,) = struct.unpack_from(">H", content, at + 2)
        if marker == _DQT:
            tables.update(_tables(content[at + 4 : at + 2 + length], factor))
        elif marker in _FRAMES:
            return _changed(content, at, tables, luma_table)
        elif marker == _SOS:
            return None
        at += 2 + length
    return None


def _tables(segment: bytes, factor: int) -> dict[int, bytes]:
    """Tables of one segment by their number, enlarged, as 16-bit big-endian entries."""
    tables = {}
    at = 0
    while at < len(segment):
        wide, number = segment[at] >> 4, segment[at] & 15
        size = 128 if wide else 64
        entries = np.frombuffer(segment[at + 1 : at + 1 + size], ">u2" if wide else "u1")
        tables[number] = np.minimum(entries.astype(int) * factor, 0xFFFF).astype(">u2").tobytes()
        at += 1 + size
    return tables


def _changed(content: bytes, frame: int, tables: dict[int, bytes], luma_table: int) -> bytes | None:
    # Of each component in the frame's head: its name, its sampling, its table.
    third = frame + 10
    old = content[third + 5]
    table = tables.get(old)
    if table is None or len(table) != 128:
        return None
    free = next(number for number in (3, 2, 1) if number != luma_table)
    head = bytearray(content[frame : third + 9])
    head[10 + 5] = head[10 + 8] = free
    segment = b"\xff\xdb" + struct.pack(">HB", 2 + 1 + 128, 0x10 | free) + table
    return content[:frame] + segment + bytes(head) + content[third + 9 :]
