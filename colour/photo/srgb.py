"""Lab of an 8-bit sRGB colour, D65 and 2 degree observer, without numpy.

References
----------
IEC 61966-2-1:1999 (sRGB): primaries, white point and transfer function.
CIE 15:2018, 8.2.1: CIELAB.
"""

from __future__ import annotations

import math
from fractions import Fraction

from colour.photo.target import Lab

Rgb = tuple[int, int, int]

_PRIMARIES = (("0.64", "0.33"), ("0.30", "0.60"), ("0.15", "0.06"))
_WHITE = ("0.3127", "0.3290")


def _xyz_of(x: str, y: str) -> tuple[Fraction, Fraction, Fraction]:
    """Tristimulus values of a chromaticity at luminance 1."""
    at_x, at_y = Fraction(x), Fraction(y)
    return at_x / at_y, Fraction(1), (1 - at_x - at_y) / at_y


def _determinant(columns: list[tuple[Fraction, Fraction, Fraction]]) -> Fraction:
    (a, d, g), (b, e, h), (c, f, i) = columns
    return a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)


def _channels() -> tuple[tuple[float, float, float], ...]:
    """X/Xn, Y/Yn, Z/Zn of each channel alone: primaries scaled (Cramer) so that they sum to 1."""
    white = _xyz_of(*_WHITE)
    columns = [_xyz_of(x, y) for x, y in _PRIMARIES]
    whole = _determinant(columns)
    channels = []
    for place, column in enumerate(columns):
        share = _determinant([*columns[:place], white, *columns[place + 1 :]]) / whole
        channels.append(tuple(float(share * v / w) for v, w in zip(column, white, strict=True)))
    return tuple((x, y, z) for x, y, z in channels)


_CHANNELS = _channels()
_DELTA = 6 / 29


def lab_of_srgb(rgb: Rgb) -> Lab:
    """L*, a* and b* of an sRGB triple of 0 to 255."""
    linear = [_linear(value / 255) for value in rgb]
    x, y, z = (
        _f(sum(light * channel[axis] for light, channel in zip(linear, _CHANNELS, strict=True)))
        for axis in range(3)
    )
    # Rounding takes off what arithmetic leaves on a neutral, 1e-14 or so.
    return (
        round(116 * y - 16, 9) + 0.0,
        round(500 * (x - y), 9) + 0.0,
        round(200 * (y - z), 9) + 0.0,
    )


def _linear(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else math.pow((value + 0.055) / 1.055, 2.4)


def _f(share: float) -> float:
    if share > _DELTA**3:
        return math.cbrt(share)
    return share / (3 * _DELTA**2) + 4 / 29
