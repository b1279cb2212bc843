"""CIELAB to the 8-bit sRGB of a display, for swatches on a page. A swatch is never proof.

The conversion is colormath's, with what it leaves to chance taken away:

- Illuminant and observer are always given; its own defaults are D50 and 2°.
- The white under which the colour was measured is adapted (Bradford) to the display's white,
  D65 for the 2° observer, by the two white points themselves. colormath compares names only, so
  it would take D65/10° for D65/2° and tint every grey. For D65/10° this is a fair picture and no
  more: the two observers see a colour a little differently, which no adaptation can undo.
- Fluorescent whites are left out (its tables for them disagree), and so is any condition whose
  white point it does not know, such as A/10°: better no swatch than a wrong one.
- It lifts negative light to zero before encoding, which hides that a colour lies outside sRGB.
  That is judged here, before.

colormath takes 0.15 s to import; the first swatch pays it, nothing else does.
"""

import warnings
from functools import cache, lru_cache
from math import isfinite
from typing import Any, NamedTuple

# Illuminants whose white points colormath has right, by observer (degrees).
KNOWN = {
    2: ("A", "B", "C", "D50", "D55", "D65", "D75", "E"),
    10: ("D50", "D55", "D65", "D75"),
}


class ScreenColour(NamedTuple):
    """What the display is told to show."""

    red: int  # 0 to 255, sRGB
    green: int
    blue: int
    in_gamut: (
        bool  # False: sRGB has no such colour, and this is its nearest edge, channel by channel
    )

    @property
    def hex(self) -> str:
        """The colour as "#rrggbb"."""
        return f"#{self.red:02x}{self.green:02x}{self.blue:02x}"


def can_show(illuminant: str, observer: int) -> bool:
    """Whether a colour measured under these conditions can be drawn."""
    return illuminant.upper() in KNOWN.get(observer, ())


def screen_colour(
    lab: tuple[float, float, float], *, illuminant: str, observer: int
) -> ScreenColour:
    """The sRGB of a CIELAB colour.

    Parameters
    ----------
    lab : sequence of 3 floats
        L*, a*, b* as measured.
    illuminant : str
        Under which it was measured: D50, D55, D65, D75, and for 2° also A, B, C, E.
    observer : int
        2 or 10 degrees.

    Returns
    -------
    ScreenColour

    References
    ----------
    .. [1] IEC 61966-2-1:1999, Colour management, Default RGB colour space, sRGB.
    """
    if not can_show(illuminant, observer):
        known = "; ".join(f"{', '.join(names)} for {degrees}°" for degrees, names in KNOWN.items())
        raise ValueError(
            f"a colour under {illuminant}/{observer}° cannot be drawn; known are {known}"
        )
    lightness, a, b = (float(value) for value in lab)
    if not (isfinite(lightness) and isfinite(a) and isfinite(b)):
        raise ValueError(f"lab must be finite to be drawn, got {(lightness, a, b)}")
    return _screen_colour(lightness, a, b, illuminant.upper(), observer)


# A page draws the same masters and cards again and again.
@lru_cache(maxsize=4096)
def _screen_colour(
    lightness: float, a: float, b: float, illuminant: str, observer: int
) -> ScreenColour:
    library = _library()
    measured = library.LabColor(
        lightness, a, b, observer=str(observer), illuminant=illuminant.lower()
    )
    measured = library.convert_color(measured, library.XYZColor)
    xyz = _to_display_white(illuminant, observer) @ measured.get_value_tuple()
    shown = library.convert_color(
        library.XYZColor(*xyz, observer="2", illuminant="d65"), library.sRGBColor
    )
    channels = (shown.clamped_rgb_r, shown.clamped_rgb_g, shown.clamped_rgb_b)
    red, green, blue = (round(255 * float(channel)) for channel in channels)
    linear = library.sRGBColor.conversion_matrices["xyz_to_rgb"] @ xyz
    # Inside, to the eight bits that are shown: nothing is cut by more than half a step.
    half_step = 0.5 / 255
    below = min(12.92 * float(channel) for channel in linear)  # the encoding's slope near zero
    above = max(float(shown.rgb_r), float(shown.rgb_g), float(shown.rgb_b))
    return ScreenColour(red, green, blue, below >= -half_step and above <= 1 + half_step)


@cache
def _to_display_white(illuminant: str, observer: int) -> Any:
    """Bradford adaptation of XYZ to D65/2°, as a matrix."""
    import numpy as np

    library = _library()
    white = library.ILLUMINANTS[str(observer)][illuminant.lower()]
    display = library.ILLUMINANTS["2"]["d65"]
    columns = [
        library.apply_chromatic_adaptation(*unit, orig_illum=white, targ_illum=display)
        for unit in np.eye(3)
    ]
    return np.array(columns).T


class _Library(NamedTuple):
    """The parts of colormath that are used."""

    LabColor: Any
    XYZColor: Any
    sRGBColor: Any
    ILLUMINANTS: Any
    apply_chromatic_adaptation: Any
    convert_color: Any


@cache
def _library() -> _Library:
    with warnings.catch_warnings():
        # Its sources hold escapes that Python warns of each time they are compiled.
        warnings.simplefilter("ignore")
        from colormath.chromatic_adaptation import apply_chromatic_adaptation  # type: ignore[import-untyped]
        from colormath.color_constants import ILLUMINANTS  # type: ignore[import-untyped]
        from colormath.color_conversions import convert_color  # type: ignore[import-untyped]
        from colormath.color_objects import LabColor, XYZColor, sRGBColor  # type: ignore[import-untyped]
    return _Library(
        LabColor, XYZColor, sRGBColor, ILLUMINANTS, apply_chromatic_adaptation, convert_color
    )
