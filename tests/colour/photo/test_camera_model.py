"""The camera model: Lab against scikit-image, its slopes against differences."""

import numpy as np
from skimage.color import rgb2lab

from colour.photo import camera_model as model

RNG = np.random.default_rng(11)
LIGHT = RNG.uniform(0.003, 0.95, (40, 3))
POSITION = RNG.uniform(-1, 1, (40, 2))


def plain_parameters():
    theta = np.zeros(model.SIZE)
    theta[model.MATRIX] = model.RELATIVE_XYZ_FROM_SRGB.ravel()
    return theta


def any_parameters():
    return plain_parameters() + RNG.normal(0, 0.05, model.SIZE)


def test_without_corrections_the_model_is_srgb():
    """scikit-image's rgb2lab takes encoded sRGB, IEC 61966-2-1, under D65 and 2 degrees."""
    encoded = np.where(LIGHT <= 0.0031308, LIGHT * 12.92, 1.055 * LIGHT ** (1 / 2.4) - 0.055)
    expected = rgb2lab(encoded[:, None, :], illuminant="D65", observer="2")[:, 0]
    found = model.predict(plain_parameters(), model.seen(LIGHT, POSITION), 1.0)
    # The matrix of the standard has four digits, scikit-image's has six.
    np.testing.assert_allclose(found, expected, atol=0.05)


def test_lab_and_relative_xyz_are_inverses_also_below_the_joint():
    xyz = np.concatenate([RNG.uniform(0, 1, (30, 3)), RNG.uniform(-0.002, 0.009, (30, 3))])
    lab, _ = model.lab_with_slope(xyz)
    np.testing.assert_allclose(model.relative_xyz(lab), xyz, atol=1e-12)


def test_slopes_by_the_parameters_are_those_of_differences():
    theta = any_parameters()
    places = model.seen(LIGHT, POSITION)
    _, slopes, _ = model.predict_with_slopes(theta, places, 0.9)
    step = 1e-6
    for index, one in enumerate(np.eye(model.SIZE) * step):
        up, down = (model.predict(theta + sign * one, places, 0.9) for sign in (1, -1))
        np.testing.assert_allclose(
            slopes[:, :, index], (up - down) / (2 * step), rtol=2e-4, atol=2e-4
        )


def test_slopes_by_the_light_are_those_of_differences():
    theta = any_parameters()
    _, _, by_light = model.predict_with_slopes(theta, model.seen(LIGHT, POSITION), 0.9)
    for channel in range(3):
        step = np.zeros(3)
        step[channel] = 1e-6
        up, down = (
            model.predict(theta, model.seen(LIGHT + sign * step, POSITION), 0.9) for sign in (1, -1)
        )
        np.testing.assert_allclose(
            by_light[:, :, channel], (up - down) / 2e-6, rtol=1e-4, atol=1e-3
        )


def test_the_light_field_has_no_constant_and_grows_by_order():
    grid = np.stack(np.meshgrid(np.linspace(-1, 1, 41), np.linspace(-1, 1, 41)), -1).reshape(-1, 2)
    basis = model.field_basis(grid)
    assert basis.shape[1] == model.LIGHT_TERMS == len(model.field_orders())
    assert np.linalg.matrix_rank(np.column_stack([np.ones(len(grid)), basis])) == basis.shape[1] + 1
    assert list(model.field_orders()) == [1] * 2 + [2] * 3 + [3] * 4 + [4] * 5
