"""Every kind of file to its codes, whole or reduced, and what is refused as no photograph."""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from colour.photo.outcome import PhotoRefused
from service.photos.decode import decode, describe
from tests.photos import picture_files as files

CODES = np.random.default_rng(7).integers(0, 256, (37, 53, 3), dtype=np.uint8)
DEEP = np.random.default_rng(8).integers(0, 65536, (37, 53, 3), dtype=np.uint16)


def codes_of(content):
    return [remark.code for remark in decode(content).warnings]


def reasons_of(content):
    with pytest.raises(PhotoRefused) as refusal:
        decode(content)
    return [reason.code for reason in refusal.value.reasons]


@pytest.mark.parametrize(
    ("kind", "options"),
    [
        ("PNG", {}),
        ("TIFF", {}),
        ("TIFF", {"compression": "tiff_lzw"}),
        ("WEBP", {"lossless": True}),
    ],
)
def test_lossless_pictures_of_8_bits_keep_every_code(kind, options):
    decoded = decode(files.saved(CODES, kind, **options))
    np.testing.assert_array_equal(decoded.picture.pixels, CODES)
    assert decoded.picture.light.shape == (3, 256)
    assert decoded.warnings == ()


@pytest.mark.parametrize(
    "content",
    [
        files.png_16(DEEP),
        files.tiff_16(DEEP),
        files.tiff_16(DEEP, byteorder=">"),
        files.tiff_16(DEEP, compression="zlib"),
        files.tiff_16(DEEP, compression="zlib", predictor=True, byteorder=">"),
        files.tiff_16(DEEP, rowsperstrip=5),
        files.tiff_16(DEEP, tile=(16, 16)),
    ],
    ids=["PNG", "TIFF", "big end first", "deflate", "predicted", "strips", "tiles"],
)
def test_pictures_of_16_bits_keep_every_code(content):
    picture = decode(content).picture
    assert picture.pixels.dtype == np.uint16
    np.testing.assert_array_equal(picture.pixels, DEEP)
    assert picture.light.shape == (3, 65536)


def test_an_opacity_channel_of_16_bits_is_left_out():
    opacity = np.full((*DEEP.shape[:2], 1), 1234, np.uint16)
    picture = decode(files.png_16(np.concatenate([DEEP, opacity], axis=2))).picture
    np.testing.assert_array_equal(picture.pixels, DEEP)


@pytest.mark.parametrize("make", [files.png_16, files.tiff_16], ids=["PNG", "TIFF"])
def test_grey_of_16_bits_becomes_three_channels_and_is_remarked_on(make):
    decoded = decode(make(DEEP[..., 0]))
    np.testing.assert_array_equal(decoded.picture.pixels, np.repeat(DEEP[..., :1], 3, axis=2))
    assert "no_colour" in {remark.code for remark in decoded.warnings}


def test_16_bits_without_a_profile_are_taken_for_srgb_and_that_is_said():
    assert codes_of(files.png_16(DEEP)) == ["no_profile"]


def test_a_linear_16_bit_picture_is_told_as_one():
    profile = files.matrix_icc(np.diag([0.9642, 1.0, 0.8249]), files.gamma_tag(1.0))
    decoded = decode(files.png_16(DEEP, icc=profile))
    assert decoded.picture.linear
    assert decoded.warnings == ()
    np.testing.assert_allclose(decoded.picture.light[0], np.linspace(0, 1, 65536), atol=1e-12)


def test_a_palette_and_transparency_are_resolved_to_colours():
    palette = Image.fromarray(CODES).quantize(64)
    np.testing.assert_array_equal(
        decode(files.saved(palette, "PNG")).picture.pixels, np.asarray(palette.convert("RGB"))
    )
    opacity = np.concatenate([CODES, CODES[..., :1]], axis=2)
    np.testing.assert_array_equal(decode(files.saved(opacity, "PNG")).picture.pixels, CODES)


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_picture_of_12_megapixels_is_read_at_half_its_width(kind):
    whole = files.smooth(4032, 3024)
    content = files.saved(whole, kind, **({"quality": 95} if kind == "JPEG" else {}))

    picture = decode(content).picture

    assert picture.pixels.shape == (1512, 2016, 3)
    assert (picture.width, picture.height) == (4032, 3024)
    assert picture.scale == 0.5
    with Image.open(BytesIO(content)) as image:
        full = np.asarray(image, float).reshape(12, 252, 16, 252, 3).mean(axis=(1, 3))
    reduced = picture.pixels.astype(float).reshape(12, 126, 16, 126, 3).mean(axis=(1, 3))
    np.testing.assert_allclose(reduced, full, atol=0.1)


def test_a_deep_picture_is_reduced_by_means_of_its_codes():
    deep = np.tile(DEEP[:36, :52], (100, 68, 1))
    picture = decode(files.png_16(deep)).picture
    blocks = DEEP[:36, :52].astype(float).reshape(18, 2, 26, 2, 3).mean(axis=(1, 3))
    assert picture.pixels.shape == (1800, 1768, 3)
    np.testing.assert_allclose(picture.pixels[:18, :26], blocks, atol=0.51)


def test_small_pictures_stay_whole():
    assert decode(files.saved(files.smooth(2000, 1500), "JPEG")).picture.pixels.shape == (
        1500,
        2000,
        3,
    )


@pytest.mark.parametrize("quality", [60, 80, 92, 98])
def test_jpeg_quality_is_estimated_from_the_tables(quality):
    picture = decode(files.saved(CODES, "JPEG", quality=quality)).picture
    assert picture.quality == pytest.approx(quality, abs=1)
    assert decode(files.saved(CODES, "PNG")).picture.quality is None


def test_a_phones_file_of_several_pictures_gives_its_first():
    first, second = files.smooth(64, 48, seed=1), files.smooth(32, 24, seed=2)
    file = BytesIO()
    first.save(file, "MPO", save_all=True, append_images=[second], quality=95)
    decoded = decode(file.getvalue())
    assert (decoded.kind, decoded.picture.width) == ("JPEG", 64)
    np.testing.assert_allclose(decoded.picture.pixels.mean(), np.asarray(first).mean(), atol=1)


def test_heic_is_read_where_its_library_is_installed():
    heif = pytest.importorskip("pillow_heif")
    exif = Image.Exif()
    exif[0x0112] = 6
    picture = files.smooth(64, 48)
    file = BytesIO()
    heif.from_pillow(picture).save(file, quality=95, exif=exif.tobytes())

    decoded = decode(file.getvalue())

    upright = np.asarray(picture.rotate(-90, expand=True), float)
    assert decoded.kind == "HEIC"
    assert decoded.picture.pixels.shape == upright.shape
    np.testing.assert_allclose(decoded.picture.pixels.mean((0, 1)), upright.mean((0, 1)), atol=2)
    described = describe(file.getvalue())
    assert (described.width, described.height) == (48, 64)


def test_heic_without_its_library_says_how_to_go_on(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pillow_heif", None)
    with pytest.raises(PhotoRefused, match=r"keepcard\[heic\]"):
        decode(b"\x00\x00\x00\x18ftypheic" + bytes(20))


def test_a_tiff_of_several_pages_gives_its_first_and_says_so():
    pages = [Image.fromarray(CODES), files.smooth(20, 20)]
    content = files.saved(pages[0], "TIFF", save_all=True, append_images=pages[1:])
    assert codes_of(content) == ["several_pages"]
    np.testing.assert_array_equal(decode(content).picture.pixels, CODES)


NO_PHOTOGRAPHS = {
    "CMYK": (files.saved(files.smooth(40, 30).convert("CMYK"), "JPEG"), "unsupported"),
    "floating point": (
        files.saved(Image.fromarray(CODES[..., 0].astype(np.float32)), "TIFF"),
        "unsupported",
    ),
    "a raw file": (
        files.tiff_16(DEEP, extratags=[(50706, 1, 4, b"\x01\x04\x00\x00", True)]),
        "unsupported",
    ),
    "planes apart": (
        files.tiff_16(np.moveaxis(DEEP, -1, 0).copy(), planarconfig="separate"),
        "unsupported",
    ),
    "a moving WebP": (
        files.saved(
            files.smooth(40, 30), "WEBP", save_all=True, append_images=[files.smooth(40, 30, 3)]
        ),
        "not_an_image",
    ),
}


@pytest.mark.parametrize(("content", "code"), NO_PHOTOGRAPHS.values(), ids=NO_PHOTOGRAPHS)
def test_what_no_camera_writes_is_refused(content, code):
    assert reasons_of(content) == [code]


def test_every_refusal_names_the_value_and_what_to_do():
    with pytest.raises(PhotoRefused, match=r"31000 by 16 pixels.*Send it with fewer pixels"):
        decode(files.saved(Image.new("L", (31000, 16)), "PNG"))
