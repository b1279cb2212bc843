"""What codes mean: sRGB, the phones' wider colours, gammas, tables, and profiles that lie.

Colour spaces are checked against coloraide, conversions against LittleCMS (in Pillow).
"""

from io import BytesIO

import numpy as np
import pytest
from coloraide import Color
from PIL import Image, ImageCms

from service.photos import profile
from service.photos.decode import decode
from service.photos.profile import XYZ_FROM_SRGB, BrokenProfile
from tests.photos import picture_files as files

COLOURS = np.random.default_rng(2).random((20, 3))


def colorants_of(space):
    """The primaries of one of coloraide's linear spaces, in XYZ under D50."""
    primaries = ((1, 0, 0), (0, 1, 0), (0, 0, 1))
    return np.array([Color(space, rgb).convert("xyz-d50").coords() for rgb in primaries]).T


def linear_srgb_of(space, rgb):
    return Color(space, list(rgb)).convert("srgb-linear").coords()


P3 = files.matrix_icc(colorants_of("display-p3-linear"), files.SRGB_CURVE)


def read_of(colours, codes, number=65536):
    """Linear sRGB by tables and primaries, of codes 0 to 1."""
    at = np.round(np.asarray(codes) * (number - 1)).astype(int)
    light = np.stack([colours.light[c][at[:, c]] for c in range(3)], axis=-1)
    return light @ colours.primaries.T


@pytest.mark.parametrize(
    ("colours", "space"),
    [
        (profile.srgb(65536), "srgb"),
        (profile.wide(65536), "a98-rgb"),
        (profile.from_icc(P3, 65536), "display-p3"),
        (
            profile.from_icc(
                files.matrix_icc(colorants_of("a98-rgb-linear"), files.gamma_tag(563 / 256)), 65536
            ),
            "a98-rgb",
        ),
    ],
    ids=["sRGB", "the cameras' wider space", "Display P3 profile", "gamma profile"],
)
def test_light_and_primaries_are_those_of_the_space(colours, space):
    expected = [linear_srgb_of(space, rgb) for rgb in COLOURS]
    # Its D50 is that of x 0.3457 y 0.3585; the one of ICC has 0.0002 less of Z.
    np.testing.assert_allclose(read_of(colours, COLOURS), expected, atol=4e-4)


def test_the_profile_that_littlecms_makes_for_srgb_is_srgb():
    made = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    read = profile.from_icc(made, 256)
    np.testing.assert_allclose(read.light, profile.srgb(256).light, atol=2e-5)
    np.testing.assert_allclose(read.primaries, np.eye(3), atol=1e-3)


def foot_of_four(x):
    return np.where(x >= 0.25, x**2, 0.25 * x)


@pytest.mark.parametrize(
    ("curve", "expected"),
    [
        (files.parametric_tag(0, 1.8), lambda x: x**1.8),
        (files.parametric_tag(1, 2.0, 1.25, -0.25), lambda x: np.maximum(1.25 * x - 0.25, 0) ** 2),
        (files.parametric_tag(2, 2.0, 0.95, 0.0, 0.05), lambda x: (0.95 * x) ** 2 + 0.05),
        (files.parametric_tag(4, 2.0, 1.0, 0.0, 0.25, 0.25, 0.0, 0.0), foot_of_four),
        (files.table_tag(np.linspace(0, 1, 33) ** 2 * 65535), lambda x: x**2),
        (files.gamma_tag(2.2), lambda x: x ** (round(2.2 * 256) / 256)),
        (b"curv" + bytes(8), lambda x: x),
    ],
    ids=["para 0", "para 1", "para 2", "para 4", "table", "gamma", "identity"],
)  # fmt: skip
def test_every_kind_of_tone_curve_is_followed(curve, expected):
    light = profile.from_icc(files.matrix_icc(XYZ_FROM_SRGB, curve), 256).light[1]
    # A table of 33 points is a polygon: its sagitta is a quarter of the squared step.
    np.testing.assert_allclose(light, expected(np.linspace(0, 1, 256)), atol=3e-4)


def test_codes_in_proportion_to_light_are_told():
    straight = profile.from_icc(files.matrix_icc(XYZ_FROM_SRGB, files.gamma_tag(1.0)), 256)
    assert straight.linear
    assert not profile.from_icc(P3, 256).linear


def test_a_phone_profile_gives_what_littlecms_makes_of_it():
    codes = (COLOURS.reshape(4, 5, 3) * 255).round().astype(np.uint8)
    file = files.saved(codes, "PNG", icc_profile=P3)

    picture = decode(file).picture

    light = np.stack([picture.light[c][codes[..., c]] for c in range(3)], -1) @ picture.primaries.T
    shown = np.array(
        [
            Color("srgb-linear", list(np.clip(rgb, 0, 1))).convert("srgb").coords()
            for rgb in light.reshape(-1, 3)
        ]
    )
    with Image.open(BytesIO(file)) as image:
        converted = ImageCms.profileToProfile(
            image,
            ImageCms.ImageCmsProfile(BytesIO(P3)),
            ImageCms.createProfile("sRGB"),
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        )
    np.testing.assert_allclose(
        shown * 255, np.asarray(converted).reshape(-1, 3).astype(float), atol=1.01
    )


def test_a_profile_of_tables_is_followed_by_the_colour_engine():
    """The tables say that codes are light, so sRGB's own codes for that light are expected."""
    codes = (COLOURS.reshape(4, 5, 3) * 255).round().astype(np.uint8)
    decoded = decode(files.saved(codes, "PNG", icc_profile=files.cube_icc(XYZ_FROM_SRGB)))

    expected = [
        Color("srgb-linear", list(rgb / 255)).convert("srgb").coords()
        for rgb in codes.reshape(-1, 3)
    ]
    np.testing.assert_allclose(
        decoded.picture.pixels.reshape(-1, 3), np.array(expected) * 255, atol=1.5
    )
    assert decoded.warnings == ()


def test_cameras_that_name_the_wider_space_in_exif_are_believed():
    exif = Image.Exif()
    exif[0x8769] = {0xA005: {1: "R03"}}
    picture = decode(files.saved(files.smooth(40, 30), "JPEG", exif=exif)).picture
    np.testing.assert_allclose(picture.primaries, profile.wide(256).primaries)


FLAT = np.full((3, 3), 1 / 3) * [[0.9642], [1], [0.8249]]
BROKEN = {
    "cut short": P3[:200],
    "no profile at all": b"x" * 500,
    "for printers": files.icc({}, space=b"CMYK"),
    "without tags": files.icc({}),
    "a tag beyond its end": P3[:140] + b"\xff\xff\xff\xff" + P3[144:],
    "very many tags": P3[:128] + b"\xff\xff\xff\xff" + P3[132:],
    "primaries too dark": files.matrix_icc(XYZ_FROM_SRGB * 0.7, files.SRGB_CURVE),
    "a falling curve": files.matrix_icc(XYZ_FROM_SRGB, files.table_tag([0, 40000, 30000, 65535])),
    "a curve too long": files.matrix_icc(XYZ_FROM_SRGB, b"curv" + bytes(4) + b"\xff" * 8),
    "an unknown curve": files.matrix_icc(XYZ_FROM_SRGB, files.parametric_tag(9, 1.0)),
    "all primaries alike": files.matrix_icc(FLAT, files.SRGB_CURVE),
}


@pytest.mark.parametrize("broken", BROKEN.values(), ids=BROKEN)
def test_a_broken_profile_is_told_and_the_picture_taken_for_srgb(broken):
    with pytest.raises(BrokenProfile):
        profile.from_icc(broken, 256)

    decoded = decode(files.saved(files.smooth(40, 30), "JPEG", icc_profile=broken))

    assert [remark.code for remark in decoded.warnings] == ["broken_profile"]
    np.testing.assert_array_equal(decoded.picture.light, profile.srgb(256).light)
    np.testing.assert_array_equal(decoded.picture.primaries, np.eye(3))
