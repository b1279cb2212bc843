"""The sheet's codes are found to a fraction of a pixel, however the sheet lies.

Codes are drawn here from the modules segno makes, by averaging many points of each pixel, so that
their corners are known exactly.
"""

from itertools import pairwise

import numpy as np
import pytest
import segno
from scipy.ndimage import gaussian_filter
from skimage.transform import ProjectiveTransform

from colour.photo.picture import Picture
from colour.photo.sheet import sheet_target
from service.photos import profile
from service.photos.decode import decode
from service.photos.markers import find_codes, is_mirrored, sheets_seen
from tests.photos import picture_files as files

WIDTH_MM, HEIGHT_MM, CODE_MM = 297.0, 210.0, 18.0
PLACES = {"TL": (8.0, 8.0), "TR": (271.0, 8.0), "BR": (271.0, 184.0), "BL": (8.0, 184.0)}
FINER = 4  # points of a pixel each way, each somewhere in its own sixteenth
BLUR_REACH = 10  # pixels
SRGB = profile.srgb(256)


def modules_of(text):
    code = segno.make_qr(text, version=1 if len(text) <= 20 else None, error="m", boost_error=False)
    return np.array([list(row) for row in code.matrix])


def codes_from(light):
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055) * 255


class Sheet:
    """A white sheet of codes, seen through a pinhole camera."""

    def __init__(self, *, turn=0.0, tilt=0.0, tilt_axis=0.0, width=1600, height=1200, fill=0.86):
        self.size = (width, height)
        turned, axis = np.radians(turn), np.radians(tilt_axis)
        flat = np.array([[np.cos(turned), -np.sin(turned)], [np.sin(turned), np.cos(turned)]])
        along = np.array([np.cos(axis), np.sin(axis)])
        across = np.array([-along[1], along[0]])
        distance = 1.5 * WIDTH_MM

        def seen(points):
            at = (np.asarray(points, float) - (WIDTH_MM / 2, HEIGHT_MM / 2)) @ flat.T
            u, v = at @ along, at @ across
            depth = 1 + v * np.sin(np.radians(tilt)) / distance
            return (u[:, None] * along + (v * np.cos(np.radians(tilt)))[:, None] * across) / depth[
                :, None
            ]

        outline = np.array([(0, 0), (WIDTH_MM, 0), (WIDTH_MM, HEIGHT_MM), (0, HEIGHT_MM)])
        corners = seen(outline)
        low, high = corners.min(axis=0), corners.max(axis=0)
        scale = fill * min(width / (high - low)[0], height / (high - low)[1])
        corners = (corners - (low + high) / 2) * scale + (width / 2 - 0.3, height / 2 - 0.2)
        self.place = ProjectiveTransform.from_estimate(outline, corners)

    def corners_of(self, place, size=CODE_MM):
        x, y = place
        return self.place(np.array([(x, y), (x + size, y), (x + size, y + size), (x, y + size)]))

    def picture(self, *, blur=0.8, noise=1.5, light_fall=0.0, texts=None, seed=0):
        """sRGB codes, grey: black ink 0.04, paper 0.8 in linear light."""
        width, height = self.size
        dice = np.random.default_rng(seed)
        light = np.full((height, width), 0.8)
        for text, place in (texts or sheet_texts()).items():
            self._draw(light, text, place, blur, dice)
        fall = 1 - light_fall * np.linspace(0, 1, width) * np.linspace(1, 0.3, height)[:, None]
        codes = codes_from(light * fall)
        codes += dice.normal(0, noise, codes.shape)
        return np.repeat(codes.clip(0, 255).round().astype(np.uint8)[:, :, None], 3, axis=2)

    def _draw(self, light, text, place, blur, dice):
        modules = modules_of(text)
        count = len(modules)
        corners = self.corners_of(place)
        left, top = np.maximum(np.floor(corners.min(axis=0)).astype(int) - BLUR_REACH, 0)
        right, bottom = np.ceil(corners.max(axis=0)).astype(int) + BLUR_REACH
        shape = (bottom - top, FINER, right - left, FINER)
        rows, row_parts, columns, column_parts = np.ogrid[tuple(slice(size) for size in shape)]
        x = left + columns + (column_parts + dice.random(shape)) / FINER - 0.5
        y = top + rows + (row_parts + dice.random(shape)) / FINER - 0.5
        at = self.place.inverse(np.stack([x, y], axis=-1).reshape(-1, 2)) - place
        column, row = np.floor(at * count / CODE_MM).astype(int).T
        inside = (column >= 0) & (column < count) & (row >= 0) & (row < count)
        black = np.zeros(len(at))
        black[inside] = modules[row[inside], column[inside]]
        share = gaussian_filter(black.reshape(shape).mean(axis=(1, 3)), blur)
        light[top:bottom, left:right] += share * (0.04 - 0.8)


def sheet_texts(design="A4", print_code="0000"):
    return {f"KC/{design}/{corner}/{print_code}": place for corner, place in PLACES.items()}


def as_picture(pixels, *, width=None, height=None):
    return Picture(
        pixels=pixels,
        light=SRGB.light,
        primaries=SRGB.primaries,
        width=width or pixels.shape[1],
        height=height or pixels.shape[0],
    )


def errors_of(found, sheet, places=None):
    places = places or sheet_texts()
    assert found.markers.keys() == places.keys()
    return np.concatenate(
        [
            np.linalg.norm(found.markers[text] - sheet.corners_of(place), axis=1)
            for text, place in places.items()
        ]
    )


# The most that corners may be off by on average. Straight ones are off by more than turned ones,
# for every edge then falls on the same place among the pixels.
HOW_IT_LIES = [
    pytest.param({}, {}, 0.08, id="straight"),
    pytest.param({"turn": 7}, {}, 0.03, id="a little turned"),
    pytest.param({"turn": 90}, {}, 0.08, id="on its side"),
    pytest.param({"turn": 133}, {}, 0.03, id="turned far"),
    pytest.param({"turn": 180}, {}, 0.08, id="upside down"),
    pytest.param({"tilt": 35}, {}, 0.08, id="tilted 35 degrees"),
    pytest.param({"tilt": 35, "tilt_axis": 60, "turn": 40}, {}, 0.08, id="tilted and turned"),
    pytest.param({}, {"blur": 2.0}, 0.15, id="soft"),
    pytest.param({}, {"noise": 9.0}, 0.12, id="noisy"),
    pytest.param({}, {"light_fall": 0.85}, 0.08, id="light from one side"),
    pytest.param({"width": 3200, "height": 2400}, {}, 0.08, id="fine"),
    pytest.param({"width": 900, "height": 700}, {"blur": 0.6}, 0.10, id="coarse"),
]  # fmt: skip


@pytest.mark.parametrize(("lies", "taken", "most"), HOW_IT_LIES)
def test_corners_are_found_to_a_fraction_of_a_pixel(lies, taken, most):
    sheet = Sheet(**lies)
    errors = errors_of(find_codes(as_picture(sheet.picture(**taken))), sheet)
    assert errors.mean() <= most
    assert errors.max() <= 4 * most


def test_refining_cuts_the_readers_own_error_by_far(monkeypatch):
    sheet = Sheet(turn=11, tilt=20)
    picture = as_picture(sheet.picture())
    refined = errors_of(find_codes(picture), sheet)
    monkeypatch.setattr("service.photos.markers.fitted_corners", lambda *_: None)
    plain = errors_of(find_codes(picture), sheet)
    assert refined.mean() < plain.mean() / 5


def test_corners_run_clockwise_from_the_codes_own_top_left():
    found = find_codes(as_picture(Sheet(turn=90).picture()))
    for corners in found.markers.values():
        # On its side, the code's top left is the picture's top right.
        assert corners[0] == pytest.approx((corners[:, 0].max(), corners[:, 1].min()), abs=0.5)
        for a, b in pairwise([*corners, corners[0]]):
            middle = corners.mean(axis=0)
            assert np.linalg.det([a - middle, b - middle]) > 0


@pytest.mark.parametrize("orientation", range(1, 9))
def test_positions_are_those_of_the_upright_photograph(orientation):
    from PIL import Image

    sheet = Sheet(turn=5, width=1200, height=900)
    upright = sheet.picture(blur=0.6)
    # The file keeps what becomes upright when turned as Exif says.
    kept = {
        1: upright, 2: upright[:, ::-1], 3: upright[::-1, ::-1], 4: upright[::-1],
        5: upright.swapaxes(0, 1), 6: np.rot90(upright, 1), 7: upright[::-1, ::-1].swapaxes(0, 1),
        8: np.rot90(upright, -1),
    }[orientation]  # fmt: skip
    exif = Image.Exif()
    exif[0x0112] = orientation
    content = files.saved(np.ascontiguousarray(kept), "PNG", exif=exif)

    picture = decode(content).picture

    np.testing.assert_array_equal(picture.pixels, upright)
    assert errors_of(find_codes(picture), sheet).mean() < 0.06


def test_positions_of_a_reduced_picture_are_those_of_the_whole():
    sheet = Sheet(width=4032, height=3024)
    content = files.saved(sheet.picture(blur=1.6), "JPEG", quality=92)
    picture = decode(content).picture
    assert picture.scale == 0.5
    assert errors_of(find_codes(picture), sheet).mean() < 0.15


@pytest.mark.parametrize("turn", [0, 90, 200])
def test_a_sheet_seen_in_a_mirror_is_told(turn):
    pixels = Sheet(turn=turn).picture()
    markers = sheet_target().markers
    assert not is_mirrored(find_codes(as_picture(pixels)), markers)
    mirrored = find_codes(as_picture(np.ascontiguousarray(pixels[:, ::-1])))
    assert is_mirrored(mirrored, markers)


def test_a_picture_of_16_bits_and_one_in_linear_codes_serve_as_well():
    sheet = Sheet(turn=3)
    codes = sheet.picture().astype(np.uint16) * 257
    deep = profile.srgb(65536)
    straight = np.linspace(0, 1, 65536)
    light = (deep.light[0][codes] * 65535).round().astype(np.uint16)
    cases = ((codes, deep.light, False), (light, np.stack([straight] * 3), True))
    for pixels, table, linear in cases:
        picture = Picture(
            pixels=pixels, light=table, primaries=np.eye(3), width=1600, height=1200, linear=linear
        )
        assert errors_of(find_codes(picture), sheet).mean() < 0.06


def test_labels_are_told_from_the_sheets_own_codes():
    sheet = Sheet()
    label = (140.0, 100.0)
    texts = {**sheet_texts("LT", "7K2M"), "SOME-CARD-0042": label}
    found = find_codes(as_picture(sheet.picture(texts=texts)))
    assert found.markers.keys() == sheet_texts("LT", "7K2M").keys()
    [(text, corners)] = found.codes
    assert text == "SOME-CARD-0042"
    assert np.linalg.norm(corners - sheet.corners_of(label), axis=1).max() < 4
    [seen] = sheets_seen(found.markers)
    assert (seen.design, seen.print_code) == ("LT", "7K2M")


def test_two_sheets_in_one_frame_are_both_named():
    texts = {**sheet_texts(), "KC/A4/TL/7K2M": (140.0, 100.0)}
    found = find_codes(as_picture(Sheet().picture(texts=texts)))
    assert [seen.print_code for seen in sheets_seen(found.markers)] == ["0000", "7K2M"]


def test_the_same_code_twice_is_told():
    sheet = Sheet()
    pixels = sheet.picture()
    window = pixels[40:400, 100:460].copy()
    pixels[400:760, 600:960] = window
    found = find_codes(as_picture(pixels))
    assert found.twice == ("KC/A4/TL/0000",)


def test_an_empty_picture_holds_no_codes():
    found = find_codes(as_picture(np.full((40, 50, 3), 128, np.uint8)))
    assert (found.markers, found.codes, found.twice) == ({}, [], ())
    assert sheets_seen(found.markers) == ()


def test_a_picture_of_one_pixel_holds_no_codes():
    assert find_codes(as_picture(np.zeros((1, 1, 3), np.uint8))).markers == {}
