"""Files of photographs and of what only looks like one, made byte by byte where no library will."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Mapping
from io import BytesIO
from typing import Any

import numpy as np
import tifffile
from PIL import Image


def saved(pixels: Any, kind: str, **options: Any) -> bytes:
    """A file as Pillow writes it, of an array or a picture."""
    picture = Image.fromarray(pixels) if isinstance(pixels, np.ndarray) else pixels
    file = BytesIO()
    picture.save(file, kind, **options)
    return file.getvalue()


def smooth(width: int, height: int, seed: int = 0) -> Image.Image:
    """A picture with content, that packs well enough."""
    coarse = np.random.default_rng(seed).integers(0, 256, (9, 12, 3), dtype=np.uint8)
    return Image.fromarray(coarse).resize((width, height), Image.Resampling.BILINEAR)


def png_chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(
    width: int, height: int, packed: bytes, *, depth: int = 8, colour: int = 2, more: bytes = b""
) -> bytes:
    """A PNG (ISO/IEC 15948) around rows already packed; ``colour`` 0 grey, 2 RGB, 6 RGBA."""
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return b"".join(
        (
            b"\x89PNG\r\n\x1a\n",
            png_chunk(b"IHDR", head),
            more,
            png_chunk(b"IDAT", packed),
            png_chunk(b"IEND", b""),
        )
    )


def png_16(pixels: np.ndarray, *, icc: bytes | None = None) -> bytes:
    """16 bits a channel, big end first, rows unfiltered."""
    height, width = pixels.shape[:2]
    channels = 1 if pixels.ndim == 2 else pixels.shape[2]
    rows = pixels.astype(">u2").reshape(height, -1)
    raw = b"".join(b"\x00" + row.tobytes() for row in rows)
    more = png_chunk(b"iCCP", b"profile\x00\x00" + zlib.compress(icc)) if icc else b""
    colour = {1: 0, 3: 2, 4: 6}[channels]
    return png(width, height, zlib.compress(raw), depth=16, colour=colour, more=more)


def tiff_16(pixels: np.ndarray, **options: Any) -> bytes:
    """As the library tifffile writes it, which is not the one that reads it here."""
    file = BytesIO()
    photometric = "minisblack" if pixels.ndim == 2 else "rgb"
    tifffile.imwrite(file, pixels, photometric=photometric, **options)
    return file.getvalue()


def zeros_packed(length: int) -> bytes:
    """Very many zeros in few bytes."""
    packer = zlib.compressobj(9)
    block = bytes(2**20)
    parts = [packer.compress(block[: min(length - at, 2**20)]) for at in range(0, length, 2**20)]
    return b"".join(parts) + packer.flush()


def scan_bomb(width: int, height: int, scans: int) -> bytes:
    """A progressive JPEG whose last scan comes over and over: each costs a pass over the whole."""
    file = saved(Image.new("L", (width, height), 90), "JPEG", quality=90, progressive=True)
    last = file.rindex(b"\xff\xda")
    return file[:last] + file[last:-2] * scans + b"\xff\xd9"


def fixed(*values: float) -> bytes:
    return b"".join(struct.pack(">i", round(value * 65536)) for value in values)


def icc(tags: Mapping[bytes, bytes], *, space: bytes = b"RGB ", pcs: bytes = b"XYZ ") -> bytes:
    """An ICC profile (ICC.1:2022, clause 7): header, tag table, tags."""
    table, body = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for name, data in tags.items():
        data += bytes(-len(data) % 4)
        table += struct.pack(">4sII", name, start + len(body), len(data))
        body += data
    size = start + len(body)
    head = struct.pack(
        ">I4sI4s4s4s12s4s4sIIIQI12s",
        size, b"none", 0x04400000, b"mntr", space, pcs, bytes(12), b"acsp", b"none", 0, 0, 0, 0, 0,
        fixed(0.9642, 1.0, 0.8249),
    )  # fmt: skip
    return head + bytes(128 - len(head)) + table + body


def xyz_tag(values: Any) -> bytes:
    return b"XYZ " + bytes(4) + fixed(*values)


def gamma_tag(gamma: float) -> bytes:
    return b"curv" + bytes(4) + struct.pack(">IH", 1, round(gamma * 256))


def table_tag(points: Any) -> bytes:
    points = np.asarray(points)
    return b"curv" + bytes(4) + struct.pack(">I", len(points)) + points.astype(">u2").tobytes()


def parametric_tag(kind: int, *values: float) -> bytes:
    return b"para" + bytes(4) + struct.pack(">HH", kind, 0) + fixed(*values)


SRGB_CURVE = parametric_tag(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def matrix_icc(
    colorants: Any, curve: bytes, *, curves: Mapping[bytes, bytes] | None = None
) -> bytes:
    """Three primaries, columns of ``colorants`` (XYZ under D50), and their tone curves."""
    tags = {
        b"wtpt": xyz_tag((0.9642, 1.0, 0.8249)),
        **{
            name: xyz_tag(column)
            for name, column in zip(
                (b"rXYZ", b"gXYZ", b"bXYZ"), np.asarray(colorants).T, strict=True
            )
        },
        **(curves or {name: curve for name in (b"rTRC", b"gTRC", b"bTRC")}),
    }
    return icc(tags)


def cube_icc(colorants: Any) -> bytes:
    """Light as codes, told by a lookup table of 2 by 2 by 2 instead of primaries (lut16Type)."""
    ends = struct.pack(">HH", 0, 65535)
    corners = [np.asarray(colorants) @ (r, g, b) for r in (0, 1) for g in (0, 1) for b in (0, 1)]
    cube = (np.array(corners) * 32768).round().astype(">u2").tobytes()
    table = (
        b"mft2" + bytes(4) + bytes((3, 3, 2, 0)) + fixed(1, 0, 0, 0, 1, 0, 0, 0, 1)
        + struct.pack(">HH", 2, 2) + ends * 3 + cube + ends * 3
    )  # fmt: skip
    text = "tables".encode("utf-16-be")
    words = b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(text), 28) + text
    white = xyz_tag((0.9642, 1.0, 0.8249))
    return icc({b"desc": words, b"cprt": words, b"wtpt": white, b"A2B0": table})
