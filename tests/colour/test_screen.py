"""Display colours against the sRGB standard and against coloraide."""

import subprocess
import sys

import numpy as np
import pytest
from coloraide import Color
from coloraide.cat import WHITES

from colour.screen import KNOWN, can_show, screen_colour

# IEC 61966-2-1 (from memory): chromaticities of the primaries (ITU-R BT.709) and of D65.
PRIMARIES = {"red": (0.64, 0.33), "green": (0.30, 0.60), "blue": (0.15, 0.06)}
D65 = (0.3127, 0.3290)
EPSILON, KAPPA = 216 / 24389, 24389 / 27  # CIE 15


def xyz_of(x, y, luminance=1.0):
    return luminance / y * np.array([x, y, 1 - x - y])


def srgb_matrix():
    """XYZ of linear sRGB, from the chromaticities alone."""
    columns = np.array([xyz_of(*xy) for xy in PRIMARIES.values()]).T
    return columns * np.linalg.solve(columns, xyz_of(*D65))


def lab_of(xyz, white):
    """CIELAB by ISO/CIE 11664-4."""
    ratio = np.asarray(xyz) / white
    x, y, z = np.where(ratio > EPSILON, np.cbrt(ratio), (KAPPA * ratio + 16) / 116)
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def linear(channels):
    """IEC 61966-2-1 decoding of 8-bit channels (from memory)."""
    v = np.asarray(channels) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


CORNERS = [(r, g, b) for r in (0, 255) for g in (0, 255) for b in (0, 255)]


@pytest.mark.parametrize("corner", CORNERS)
def test_the_corners_of_srgb_are_its_primaries_and_their_mixtures(corner):
    lab = lab_of(srgb_matrix() @ linear(corner), xyz_of(*D65))
    shown = screen_colour(lab, illuminant="D65", observer=2)
    assert np.abs(np.subtract(shown[:3], corner)).max() <= 1
    assert shown.in_gamut


def test_every_grey_level_comes_back():
    for level in range(256):
        lab = lab_of(srgb_matrix() @ linear([level] * 3), xyz_of(*D65))
        assert screen_colour(lab, illuminant="D65", observer=2) == (level, level, level, True)


def test_the_surround_of_the_swatches_is_l_50():
    # Y of L* 50 is 0.18419 (CIE 15); sRGB encodes it as 0.4663, 118.9 of 255.
    assert screen_colour((50.0, 0.0, 0.0), illuminant="D65", observer=10).hex == "#777777"


RANDOM = np.random.default_rng(61966).integers(0, 256, (150, 3))


def of_channels(channels):
    return Color("srgb", [value / 255 for value in channels.tolist()])


@pytest.mark.parametrize("space", [("lab-d65", "D65"), ("lab", "D50")], ids=lambda v: v[1])
def test_srgb_colours_come_back_from_coloraides_lab(space):
    name, illuminant = space
    for channels in RANDOM:
        lab = tuple(of_channels(channels).convert(name).coords())
        shown = screen_colour(lab, illuminant=illuminant, observer=2)
        assert np.abs(np.subtract(shown[:3], channels)).max() <= 1
        assert shown.in_gamut


@pytest.mark.parametrize(
    ("illuminant", "observer"), [("D65", 10), ("D50", 10), ("A", 2), ("C", 2), ("D75", 2)]
)
def test_srgb_colours_come_back_under_other_whites(illuminant, observer):
    # coloraide adapts to its own white points by Bradford; colormath's differ in the 4th decimal.
    display = WHITES["2deg"]["D65"]
    white = WHITES[f"{observer}deg"][illuminant]
    for channels in RANDOM:
        colour = of_channels(channels)
        xyz = colour.convert("xyz-d65").coords()
        adapted = colour.chromatic_adaptation(display, white, xyz, method="bradford")
        lab = lab_of(adapted, xyz_of(*white))
        shown = screen_colour(tuple(lab), illuminant=illuminant, observer=observer)
        # Two steps: near black one of 255 is a thousandth in the fourth decimal of the white.
        assert np.abs(np.subtract(shown[:3], channels)).max() <= 2


@pytest.mark.parametrize(
    ("illuminant", "observer"), [(name, observer) for observer in KNOWN for name in KNOWN[observer]]
)
@pytest.mark.parametrize("lightness", [0.0, 3.0, 20.0, 50.0, 80.0, 100.0])
def test_a_neutral_is_grey_whatever_white_it_was_measured_under(illuminant, observer, lightness):
    # The trap: colormath on its own tints D65/10° greys, since both are called D65.
    shown = screen_colour((lightness, 0.0, 0.0), illuminant=illuminant, observer=observer)
    assert max(shown[:3]) - min(shown[:3]) <= 1
    assert shown.in_gamut


@pytest.mark.parametrize(
    "lab",
    [
        pytest.param((50.0, 100.0, -100.0), id="violet"),
        pytest.param((80.0, -120.0, 60.0), id="green"),
        pytest.param((50.0, -60.0, -10.0), id="turquoise, negative red"),
        pytest.param((60.0, 45.0, 90.0), id="orange, negative blue"),
        pytest.param((115.0, 0.0, 0.0), id="lighter than white"),
    ],
)
def test_what_a_screen_cannot_show_is_said(lab):
    shown = screen_colour(lab, illuminant="D65", observer=2)
    assert not shown.in_gamut
    assert not Color("lab-d65", list(lab)).in_gamut("srgb")
    assert all(0 <= channel <= 255 for channel in shown[:3])


def test_gamut_agrees_with_coloraide_away_from_its_edge():
    rng = np.random.default_rng(3)
    seen = set()
    for lab in rng.uniform([0, -90, -90], [100, 90, 90], (400, 3)).tolist():
        colour = Color("lab-d65", lab)
        clear = 0.01
        if colour.in_gamut("srgb", tolerance=0) != colour.in_gamut("srgb", tolerance=clear):
            continue
        inside = colour.in_gamut("srgb", tolerance=0)
        edge = min(min(v, 1 - v) for v in colour.convert("srgb").coords())
        if inside and edge < clear:
            continue
        seen.add(inside)
        assert screen_colour(tuple(lab), illuminant="D65", observer=2).in_gamut == inside
    assert seen == {True, False}


def test_hex_is_what_a_page_writes():
    shown = screen_colour((0.0, 0.0, 0.0), illuminant="D65", observer=2)
    assert shown.hex == "#000000"
    white = screen_colour((100.0, 0.0, 0.0), illuminant="d65", observer=2)
    assert white.hex == "#ffffff"
    assert isinstance(white.red, int)


@pytest.mark.parametrize(
    ("illuminant", "observer"),
    [("A", 10), ("F2", 2), ("F11", 2), ("LED-B3", 10), ("D65", 5), ("", 2)],
)
def test_a_condition_without_a_white_point_is_refused(illuminant, observer):
    assert not can_show(illuminant, observer)
    with pytest.raises(ValueError, match=f"under {illuminant}/{observer}° cannot be drawn; known"):
        screen_colour((50.0, 0.0, 0.0), illuminant=illuminant, observer=observer)


def test_conditions_have_no_default():
    with pytest.raises(TypeError, match="illuminant"):
        screen_colour((50.0, 0.0, 0.0), observer=2)
    with pytest.raises(TypeError, match="observer"):
        screen_colour((50.0, 0.0, 0.0), illuminant="D65")


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_what_is_not_finite_is_refused(bad):
    with pytest.raises(ValueError, match="lab must be finite to be drawn, got"):
        screen_colour((50.0, bad, 0.0), illuminant="D65", observer=2)


@pytest.mark.parametrize("lab", [[50.0, 1.0, 2.0], np.array([50.0, 1.0, 2.0]), (50, 1, 2)])
def test_any_three_numbers_will_do(lab):
    expected = screen_colour((50.0, 1.0, 2.0), illuminant="D65", observer=2)
    assert screen_colour(lab, illuminant="D65", observer=2) == expected


def test_the_library_is_loaded_by_the_first_swatch_only():
    program = (
        "import sys; from colour.screen import can_show, screen_colour; can_show('D65', 10);"
        "early = {'colormath', 'numpy', 'networkx'} & set(sys.modules);"
        "screen_colour((50., 0., 0.), illuminant='D65', observer=10);"
        "sys.exit(bool(early) or 'colormath' not in sys.modules)"
    )
    # All warnings are errors in it: the library's own must not reach a command.
    ran = subprocess.run([sys.executable, "-W", "error", "-c", program])
    assert ran.returncode == 0
