"""Placements: the known camera geometry of a pinhole, and corners no target has."""

import numpy as np
import pytest

from colour.photo.placing import Placement

SIZE = (4032, 3024)


def pinhole(points_mm, *, pitch_deg, yaw_deg, roll_deg, distance_mm=450.0, focal_px=3000.0):
    """Pixels of points on a plane seen by a pinhole camera, worked out in three dimensions."""
    points = np.asarray(points_mm, float) - [148.5, 105.0]
    flat = np.concatenate([points, np.zeros((*points.shape[:-1], 1))], axis=-1)
    p, y, r = np.radians([pitch_deg, yaw_deg, roll_deg])
    about_x = [[1, 0, 0], [0, np.cos(p), -np.sin(p)], [0, np.sin(p), np.cos(p)]]
    about_y = [[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]]
    about_z = [[np.cos(r), -np.sin(r), 0], [np.sin(r), np.cos(r), 0], [0, 0, 1]]
    turned = flat @ (np.array(about_x) @ about_y @ about_z).T + [0, 0, distance_mm]
    return turned[..., :2] / turned[..., 2:] * focal_px + (np.array(SIZE) - 1) / 2


CORNERS = np.array([[0, 0], [297, 0], [297, 210], [0, 210]], float)
GRID = np.stack(np.meshgrid(np.linspace(0, 297, 12), np.linspace(0, 210, 9)), axis=-1)


@pytest.mark.parametrize("roll_deg", [0, 90, 179, 250])
@pytest.mark.parametrize("tilt", [(0, 0), (35, 0), (-20, 25)])
def test_four_corners_place_the_whole_plane_of_a_pinhole_camera(tilt, roll_deg):
    view = {"pitch_deg": tilt[0], "yaw_deg": tilt[1], "roll_deg": roll_deg}
    placement = Placement.from_corners(pinhole(CORNERS, **view), 297, 210)
    np.testing.assert_allclose(placement.to_photo(GRID), pinhole(GRID, **view), atol=1e-6)
    np.testing.assert_allclose(placement.to_target(pinhole(GRID, **view)), GRID, atol=1e-6)


def test_points_with_noise_place_better_together_than_four_corners_alone():
    rng = np.random.default_rng(5)
    view = {"pitch_deg": 15, "yaw_deg": -10, "roll_deg": 30}
    markers = np.concatenate(
        [[x, y] + np.array([[0, 0], [18, 0], [18, 18], [0, 18]])
         for x in (8, 271) for y in (8, 184)]
    )  # fmt: skip
    worst = {"all": [], "four": []}
    for _ in range(40):
        noisy = pinhole(markers, **view) + rng.normal(0, 1.0, markers.shape)
        placement = Placement.from_points(markers, noisy, SIZE, fit_bend=False)
        outer = [0, 9, 14, 7]
        four = Placement.from_points(markers[outer], noisy[outer], SIZE, fit_bend=False)
        for name, found in (("all", placement), ("four", four)):
            worst[name].append(np.abs(found.to_photo(GRID) - pinhole(GRID, **view)).max())
    assert np.mean(worst["all"]) < 0.7 * np.mean(worst["four"])


def test_a_bent_lens_is_straightened_from_sixteen_points():
    view = {"pitch_deg": 10, "yaw_deg": 5, "roll_deg": 2}
    centre, half = (np.array(SIZE) - 1) / 2, np.hypot(*SIZE) / 2

    def bent(points):
        # The pixel whose straightened place is the pinhole's, by fixed point iteration.
        straight = pinhole(points, **view)
        at = straight.copy()
        for _ in range(60):
            radius = (((at - centre) / half) ** 2).sum(axis=-1, keepdims=True)
            at = centre + (straight - centre) / (1 + 0.03 * radius)
        return at

    markers = np.concatenate(
        [[x, y] + np.array([[0, 0], [18, 0], [18, 18], [0, 18]])
         for x in (8, 271) for y in (8, 174)]
    )  # fmt: skip
    placement = Placement.from_points(markers, bent(markers), SIZE, fit_bend=True)
    assert placement.bend == pytest.approx(0.03, abs=2e-3)
    assert np.abs(placement.to_photo(GRID) - bent(GRID)).max() < 0.6
    assert placement.misfit_mm < 0.02
    stiff = Placement.from_points(markers, bent(markers), SIZE, fit_bend=False)
    assert np.abs(stiff.to_photo(GRID) - bent(GRID)).max() > 2


@pytest.mark.parametrize(
    ("corners", "message"),
    [
        ([[0, 0], [10, 0], [20, 0], [0, 10]], "line"),
        ([[0, 0], [100, 100], [100, 0], [0, 100]], "crossing"),
        ([[0, 0], [0, 100], [100, 100], [100, 0]], "mirror"),
        ([[0, 0], [100, 0], [100, 100]], "four points"),
    ],
)
def test_corners_that_are_no_outline_are_told_apart(corners, message):
    with pytest.raises(ValueError, match=message):
        Placement.from_corners(corners, 100, 100)
