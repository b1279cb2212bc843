"""Pixels to the bytes of a file, with the profile and orientation a phone would write."""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from demo_cards.photographing.cameras import BRADFORD

Pixels = NDArray[np.uint8] | NDArray[np.uint16]
Array = NDArray[np.float64]

# Display P3: the primaries of SMPTE RP 431-2 with the D65 white and the sRGB curve.
P3_PRIMARIES = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
D65_CHROMATICITY = (0.3127, 0.3290)
D50_WHITE = (0.9642, 1.0, 0.8249)  # of the profile connection space, ICC.1
SAYS = "Simulated photograph"

# How a picture must be stored so that the viewer's turn by the EXIF orientation puts it upright.
_STORED = {
    1: lambda upright: upright,
    2: lambda upright: upright[:, ::-1],
    3: lambda upright: upright[::-1, ::-1],
    4: lambda upright: upright[::-1],
    5: lambda upright: upright.transpose(1, 0, 2),
    6: lambda upright: np.rot90(upright, 1),
    7: lambda upright: upright[::-1, ::-1].transpose(1, 0, 2),
    8: lambda upright: np.rot90(upright, -1),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class FileForm:
    """How the photograph is kept."""

    kind: Literal["jpeg", "png", "tiff"] = "jpeg"
    bits: Literal[8, 16] = 8
    quality: int = 92
    full_chroma: bool = False  # 4:4:4 rather than 4:2:0
    orientation: int = 1  # EXIF, 1 to 8
    wide_gamut: bool = False  # Display P3 values and profile

    def __post_init__(self) -> None:
        if self.kind == "jpeg" and self.bits != 8:
            raise ValueError("a JPEG holds 8 bits, got bits=16; use kind png or tiff")
        if self.bits == 16 and self.kind == "tiff" and self.orientation not in _STORED:
            raise ValueError(f"orientation must be 1 to 8, got {self.orientation}")


def encode(upright: Pixels, form: FileForm) -> bytes:
    """File bytes of an upright picture."""
    stored = np.ascontiguousarray(_STORED[form.orientation](upright))
    profile = display_p3_profile() if form.wide_gamut else None
    if form.bits == 16:
        if form.kind == "png":
            return _png_16(stored, profile, form.orientation)
        return _tiff_16(stored, profile, form.orientation)
    from PIL import Image

    picture = Image.fromarray(stored.astype(np.uint8, copy=False))
    tags = picture.getexif()
    tags[0x0112] = form.orientation
    tags[0x010E] = SAYS
    out = io.BytesIO()
    if form.kind == "jpeg":
        picture.save(
            out,
            "JPEG",
            quality=form.quality,
            subsampling=0 if form.full_chroma else 2,
            exif=tags,
            icc_profile=profile,
        )
    elif form.kind == "png":
        picture.save(out, "PNG", compress_level=1, exif=tags, icc_profile=profile)
    else:
        picture.save(out, "TIFF", exif=tags, icc_profile=profile)
    return out.getvalue()


def rgb_to_xyz(primaries: tuple[tuple[float, float], ...], white: tuple[float, float]) -> Array:
    """(3, 3): linear RGB of stated primaries and white to XYZ."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    white_xyz = np.array([white[0] / white[1], 1.0, (1 - white[0] - white[1]) / white[1]])
    return np.asarray(columns * np.linalg.solve(columns, white_xyz))


@cache
def p3_from_srgb() -> Array:
    """(3, 3): linear sRGB to linear Display P3."""
    srgb = rgb_to_xyz(((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)), D65_CHROMATICITY)
    return np.asarray(np.linalg.solve(rgb_to_xyz(P3_PRIMARIES, D65_CHROMATICITY), srgb))


@cache
def display_p3_profile() -> bytes:
    """A minimal matrix profile, ICC.1:2010 (version 4): primaries, white, sRGB curve."""
    to_xyz = rgb_to_xyz(P3_PRIMARIES, D65_CHROMATICITY)
    white = to_xyz.sum(axis=1)
    gains = (BRADFORD @ D50_WHITE) / (BRADFORD @ white)
    adapt = np.linalg.inv(BRADFORD) @ np.diag(gains) @ BRADFORD
    columns = (adapt @ to_xyz).T

    def fixed(values: object) -> bytes:
        return struct.pack(">3i", *(round(float(v) * 65536) for v in np.ravel(np.array(values))))

    def text(words: str) -> bytes:
        letters = words.encode("utf-16-be")
        head = struct.pack(">4sIII2s2sII", b"mluc", 0, 1, 12, b"en", b"US", len(letters), 28)
        return head + letters

    curve = struct.pack(">4sIHH", b"para", 0, 3, 0) + struct.pack(
        ">5i",
        *(round(v * 65536) for v in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)),
    )
    adaption = b"sf32" + bytes(4) + b"".join(fixed(row) for row in adapt)
    parts = {
        b"desc": text("Display P3, simulated"),
        b"cprt": text("No rights reserved"),
        b"wtpt": b"XYZ " + bytes(4) + fixed(D50_WHITE),
        b"chad": adaption,
        **{
            name: b"XYZ " + bytes(4) + fixed(column)
            for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True)
        },
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    table, body = struct.pack(">I", len(parts)), b""
    start = 128 + 4 + 12 * len(parts)
    for name, part in parts.items():
        table += struct.pack(">4sII", name, start + len(body), len(part))
        body += part + bytes(-len(part) % 4)
    head = struct.pack(
        ">I4sI4s4s4s6H4s4sIIIQI3i4s44s",
        start + len(body), bytes(4), 0x04200000, b"mntr", b"RGB ", b"XYZ ",
        2026, 1, 1, 0, 0, 0, b"acsp", bytes(4), 0, 0, 0, 0, 0,
        *(round(v * 65536) for v in D50_WHITE), bytes(4), bytes(44),
    )  # fmt: skip
    return head + table + body


def _png_16(pixels: Pixels, profile: bytes | None, orientation: int) -> bytes:
    height, width, _ = pixels.shape

    def chunk(kind: bytes, data: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(kind + data))
        return struct.pack(">I", len(data)) + kind + data + check

    rows = pixels.astype(">u2").reshape(height, -1).view(np.uint8)
    raw = np.zeros((height, rows.shape[1] + 1), np.uint8)
    raw[:, 1:] = rows
    made = b"\x89PNG\r\n\x1a\n" + chunk(
        b"IHDR", struct.pack(">IIBBBBB", width, height, 16, 2, 0, 0, 0)
    )
    if profile:
        made += chunk(b"iCCP", b"Display P3\0\0" + zlib.compress(profile))
    made += chunk(b"tEXt", b"Description\0" + SAYS.encode())
    tags = struct.pack(">2sHIHHHIHHI", b"MM", 42, 8, 1, 0x0112, 3, 1, orientation, 0, 0)
    made += chunk(b"eXIf", tags)
    return made + chunk(b"IDAT", zlib.compress(raw.tobytes(), 1)) + chunk(b"IEND", b"")


def _tiff_16(pixels: Pixels, profile: bytes | None, orientation: int) -> bytes:
    """One uncompressed strip, little-endian, TIFF 6.0."""
    height, width, _ = pixels.shape
    data = pixels.astype("<u2").tobytes()
    says = SAYS.encode() + b"\0"
    extra = struct.pack("<3H", 16, 16, 16) + b"\0\0"
    extra += says + bytes(len(says) % 2)
    icc_at = 8 + len(data) + len(extra)
    extra += profile or b""
    at = 8 + len(data)
    tags = [
        (256, 4, 1, width), (257, 4, 1, height), (258, 3, 3, at), (259, 3, 1, 1), (262, 3, 1, 2),
        (270, 2, len(says), at + 8), (273, 4, 1, 8), (274, 3, 1, orientation), (277, 3, 1, 3),
        (278, 4, 1, height), (279, 4, 1, len(data)), (284, 3, 1, 1),
    ]  # fmt: skip
    if profile:
        tags.append((34675, 7, len(profile), icc_at))
    pad = bytes(len(extra) % 2)
    directory = struct.pack("<H", len(tags)) + b"".join(struct.pack("<HHII", *tag) for tag in tags)
    start = 8 + len(data) + len(extra) + len(pad)
    return b"II*\0" + struct.pack("<I", start) + data + extra + pad + directory + bytes(4)
