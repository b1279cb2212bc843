"""What an embedded ICC profile says of a picture's codes: their light, and their primaries.

Only the profiles that cameras, phones, scanners and raw developers embed: three primaries and a
tone curve each ("matrix/TRC"), or one curve for grey. A profile of lookup tables alone is left to
a colour engine. References: ICC.1:2022 (profile version 4.4), clauses 7 (header and tag table),
10.6 (curveType), 10.18 (parametricCurveType), Annex F.3 (three-component matrix model); primaries
of sRGB from IEC 61966-2-1.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from colour.arrays import Floats

# The white of the profile connection space, D50 as ICC.1:2022, 7.2.16 writes it.
D50 = np.array([0.9642, 1.0, 0.8249])

# Bradford's matrix as ICC.1:2022, annex E.3 gives it, to adapt a white to D50.
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
D65_XY = (0.3127, 0.3290)


def _adapted(*primaries: tuple[float, float]) -> Floats:
    """XYZ under D50 from linear RGB of three primaries (x, y) and the white D65."""

    def xyz(x: float, y: float) -> tuple[float, float, float]:
        return x / y, 1.0, (1 - x - y) / y

    white = np.array(xyz(*D65_XY))
    columns = np.array([xyz(*primary) for primary in primaries]).T
    matrix = columns * np.linalg.solve(columns, white)
    cones = (BRADFORD @ D50) / (BRADFORD @ white)
    return np.asarray(np.linalg.inv(BRADFORD) @ (cones[:, None] * BRADFORD) @ matrix)


XYZ_FROM_SRGB = _adapted((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
SRGB_FROM_XYZ = np.linalg.inv(XYZ_FROM_SRGB)
# The colour space that digital cameras may choose beside sRGB (DCF 2.0, interoperability rule R03).
XYZ_FROM_WIDE = _adapted((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))
WIDE_EXPONENT = 2 + 51 / 256

MOST_BYTES = 4 * 2**20
MOST_TAGS = 200
# How far the sum of the colorants may lie from D50. Profiles of older programs stray by 0.01;
# one that was never adapted (D65) strays by 0.26 in Z and would tint every grey.
COLORANT_TOLERANCE = 0.05


class BrokenProfile(ValueError):
    """A profile that cannot be believed; the text says why."""


class TablesOnly(ValueError):
    """A sound profile of lookup tables, without primaries and curves."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Colours:
    """How codes become light."""

    light: Floats  # (3, codes): linear light of each code
    primaries: Floats  # (3, 3): linear RGB to linear sRGB
    linear: bool  # whether codes are proportional to light


def srgb(codes: int) -> Colours:
    """What holds where no profile says otherwise (IEC 61966-2-1)."""
    code = np.linspace(0, 1, codes)
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return Colours(light=_thrice(light), primaries=np.eye(3), linear=False)


def wide(codes: int) -> Colours:
    """The cameras' other colour space, told by the interoperability index R03 in Exif."""
    light = np.linspace(0, 1, codes) ** WIDE_EXPONENT
    return Colours(light=_thrice(light), primaries=SRGB_FROM_XYZ @ XYZ_FROM_WIDE, linear=False)


def from_icc(profile: bytes, codes: int, *, grey: bool = False) -> Colours:
    """Tables and primaries from an ICC profile.

    Raises
    ------
    BrokenProfile
        When it is damaged, or not for such a picture.
    TablesOnly
        When it has lookup tables and no primaries.
    """
    tags = _tags(profile, b"GRAY" if grey else b"RGB ")
    if grey:
        light = _curve(_needed(tags, b"kTRC"), codes)
        return Colours(light=_thrice(light), primaries=np.eye(3), linear=_is_linear(light))
    if b"rXYZ" not in tags and b"A2B0" in tags:
        raise TablesOnly("it holds lookup tables only")
    colorants = np.stack([_xyz(_needed(tags, tag)) for tag in (b"rXYZ", b"gXYZ", b"bXYZ")], axis=1)
    white = colorants.sum(axis=1)
    if np.abs(white - D50).max() > COLORANT_TOLERANCE:
        raise BrokenProfile(
            f"its primaries sum to the white {white[0]:.3f} {white[1]:.3f} {white[2]:.3f}"
        )
    if abs(np.linalg.det(colorants)) < 1e-3:
        raise BrokenProfile("its primaries do not span any colours")
    light = np.stack([_curve(_needed(tags, tag), codes) for tag in (b"rTRC", b"gTRC", b"bTRC")])
    return Colours(light=light, primaries=SRGB_FROM_XYZ @ colorants, linear=_is_linear(light))


def _thrice(light: Floats) -> Floats:
    return np.broadcast_to(light, (3, light.size)).copy()


def _is_linear(light: Floats) -> bool:
    straight = np.linspace(0, 1, light.shape[-1])
    return bool(np.abs(light - straight).max() < 2e-3)


def _tags(profile: bytes, colour_space: bytes) -> dict[bytes, bytes]:
    if not 132 <= len(profile) <= MOST_BYTES:
        raise BrokenProfile(f"it has {len(profile)} bytes")
    if profile[36:40] != b"acsp":
        raise BrokenProfile("it does not carry the mark of an ICC profile")
    if profile[16:20] != colour_space:
        raise BrokenProfile(f"it is for {_printable(profile[16:20])} pictures")
    if profile[20:24] != b"XYZ " and colour_space == b"RGB ":
        if profile[20:24] == b"Lab ":
            raise TablesOnly("it holds lookup tables only")
        raise BrokenProfile(f"it leads to {_printable(profile[20:24])}")
    (count,) = struct.unpack_from(">I", profile, 128)
    if count > MOST_TAGS or 132 + 12 * count > len(profile):
        raise BrokenProfile(f"it claims {count} tags")
    tags = {}
    for index in range(count):
        name, start, size = struct.unpack_from(">4sII", profile, 132 + 12 * index)
        if start + size > len(profile):
            raise BrokenProfile(f"its tag {_printable(name)} reaches beyond its end")
        tags[name] = profile[start : start + size]
    return tags


def _needed(tags: dict[bytes, bytes], name: bytes) -> bytes:
    if name not in tags:
        raise BrokenProfile(f"its tag {_printable(name)} is missing")
    return tags[name]


def _xyz(tag: bytes) -> Floats:
    if len(tag) < 20 or tag[:4] != b"XYZ ":
        raise BrokenProfile("a primary is not given as XYZ")
    return np.asarray(np.frombuffer(tag, ">i4", 3, 8) / 65536)


def _curve(tag: bytes, codes: int) -> Floats:
    code = np.linspace(0, 1, codes)
    if tag[:4] == b"curv" and len(tag) >= 12:
        light = _sampled(tag, code)
    elif tag[:4] == b"para" and len(tag) >= 12:
        light = _parametric(tag, code)
    else:
        raise BrokenProfile("a tone curve is of no known kind")
    if not np.isfinite(light).all():
        raise BrokenProfile("a tone curve has no finite values")
    light = np.clip(light, 0, 1)
    if np.diff(light).min() < 0 or light[0] > 0.1 or light[-1] < 0.9:
        raise BrokenProfile("a tone curve does not rise from dark to light")
    return light


def _sampled(tag: bytes, code: Floats) -> Floats:
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return code
    if 12 + 2 * count > len(tag):
        raise BrokenProfile(f"a tone curve claims {count} points")
    points = np.frombuffer(tag, ">u2", count, 12)
    if count == 1:
        return np.asarray(code ** (float(points[0]) / 256))
    return np.interp(code, np.linspace(0, 1, count), points / 65535)


def _parametric(tag: bytes, code: Floats) -> Floats:
    """ICC.1:2022, table 68: (a X + b)^g and a straight foot, in five degrees of detail."""
    (kind,) = struct.unpack_from(">H", tag, 8)
    if kind > 4:
        raise BrokenProfile(f"a tone curve is of the unknown parametric kind {kind}")
    count = (1, 3, 4, 5, 7)[kind]
    if 12 + 4 * count > len(tag):
        raise BrokenProfile("a tone curve is cut short")
    g, *rest = (np.frombuffer(tag, ">i4", count, 12) / 65536).tolist()
    if not rest:
        return np.asarray(code**g)
    a, b = rest[:2]
    power = np.maximum(a * code + b, 0) ** g
    if kind <= 2:
        if a == 0:
            raise BrokenProfile("a tone curve has no slope")
        foot = rest[2] if kind == 2 else 0.0
        return np.asarray(np.where(code >= -b / a, power + foot, foot))
    c, d = rest[2:4]
    e, f = rest[4:6] if kind == 4 else (0.0, 0.0)
    return np.asarray(np.where(code >= d, power + e, c * code + f))


def _printable(name: bytes) -> str:
    return repr(name.decode("latin-1").strip())
