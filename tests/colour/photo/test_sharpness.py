"""Sharpness, against edges blurred by a Gaussian of known width."""

import numpy as np
import pytest
from scipy import ndimage

from colour.photo.picture import Picture
from colour.photo.placing import Placement
from colour.photo.sharpness import edge_blur_mm, is_sharp, picture_blur_px
from colour.photo.target import Place

PIXELS_PER_MM = 8.0
WIDTH_MM, HEIGHT_MM = 120.0, 90.0
PLACES = [
    Place(name=f"{x} {y}", x_mm=x, y_mm=y, width_mm=11.0, height_mm=11.0)
    for x in range(10, 100, 15)
    for y in range(10, 70, 15)
]


def picture_of(codes):
    """Codes that go as the square root of light, so that a blur of codes is one of both."""
    levels = (np.arange(256) / 255) ** 2
    grey = np.repeat(np.rint(codes).astype(np.uint8)[..., None], 3, axis=-1)
    height, width = codes.shape
    return Picture(
        pixels=grey, light=np.stack([levels] * 3), primaries=np.eye(3), width=width, height=height
    )


def squares(blur_px=0.0, across_px=None):
    codes = np.full((int(HEIGHT_MM * PIXELS_PER_MM), int(WIDTH_MM * PIXELS_PER_MM)), 210.0)
    for place in PLACES:
        top, left = int(place.y_mm * PIXELS_PER_MM), int(place.x_mm * PIXELS_PER_MM)
        side = int(11 * PIXELS_PER_MM)
        codes[top : top + side, left : left + side] = 60.0
    return picture_of(ndimage.gaussian_filter(codes, (blur_px, across_px or blur_px)))


def placement(picture):
    right, bottom = picture.width - 0.5, picture.height - 0.5
    corners = [(-0.5, -0.5), (right, -0.5), (right, bottom), (-0.5, bottom)]
    return Placement.from_corners(corners, WIDTH_MM, HEIGHT_MM)


@pytest.mark.parametrize("blur_px", [2.0, 3.0, 4.0])
def test_the_blur_of_edges_is_that_of_the_gaussian_that_blurred_them(blur_px):
    picture = squares(blur_px)
    found = edge_blur_mm(picture, placement(picture), PLACES) * PIXELS_PER_MM
    # The staircase of nearest pixels adds about a third of a pixel.
    assert found == pytest.approx(blur_px + 0.3, abs=0.12 * blur_px + 0.3)


def test_more_blur_never_looks_like_less():
    """Beyond a third of what is looked at, the width is understated but still grows."""
    pictures = [squares(blur_px) for blur_px in (1.0, 2.0, 4.0, 6.0, 10.0)]
    found = [edge_blur_mm(picture, placement(picture), PLACES) for picture in pictures]
    assert np.all(np.diff(found) > 0)


def test_places_without_contrast_tell_nothing_of_blur():
    flat = picture_of(np.full((720, 960), 120.0))
    assert edge_blur_mm(flat, placement(flat), PLACES) is None
    assert picture_blur_px(flat) is None
    assert is_sharp(None)


@pytest.mark.parametrize("blur_px", [2.0, 5.0])
def test_a_picture_whose_places_are_unknown_tells_its_blur_from_its_steepest_steps(blur_px):
    found = picture_blur_px(squares(blur_px))
    assert found == pytest.approx(blur_px, rel=0.35)
    assert is_sharp(found) == (blur_px < 3)


def test_a_camera_moved_along_one_way_counts_as_blurred():
    assert not is_sharp(picture_blur_px(squares(0.7, across_px=8.0)))
