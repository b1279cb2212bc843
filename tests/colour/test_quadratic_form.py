"""The local form of CIEDE2000 against the formula itself."""

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from colour.difference import delta_e_2000
from colour.quadratic_form import local_form, size, truths_on_limit

COLOURS = {
    "silver": (70, -0.5, -1.5),
    "black": (5, 0.1, -0.2),
    "white": (95, -0.8, 2.0),
    "red": (42, 55, 32),
    "blue": (32, 10, -45),
    "neutral": (60, 0.0, 0.0),
    "neutral black": (0.5, 0.0, 0.0),
}
by_colour = pytest.mark.parametrize("name", COLOURS)


def _directions(count=400):
    directions = np.random.default_rng(1).normal(size=(count, 3))
    return directions / np.linalg.norm(directions, axis=1)[:, None]


@by_colour
def test_form_at_the_midpoint_gives_the_formula(name):
    # Outside: scikit-image's CIEDE2000. Half a Lab unit: differences of 0.1 to 0.75.
    middle, step = np.array(COLOURS[name], dtype=float), _directions() / 4
    formula = deltaE_ciede2000(
        np.broadcast_to(middle - step, step.shape), np.broadcast_to(middle + step, step.shape)
    )
    np.testing.assert_allclose(size(2 * step, local_form(middle)), formula, rtol=0.012)


def test_form_of_a_tiny_difference_meets_the_formula_to_a_millionth():
    rng = np.random.default_rng(2)
    middle = rng.uniform([5, -60, -60], [95, 60, 60], (300, 3))
    step = _directions(300) * 1e-4
    np.testing.assert_allclose(
        size(2 * step, local_form(middle)),
        deltaE_ciede2000(middle - step, middle + step),
        rtol=1e-5,
    )


@by_colour
@pytest.mark.parametrize(("limit", "error"), [(0.3, 5e-5), (0.8, 1e-4), (1.8, 1e-3), (3.0, 5e-3)])
def test_truths_on_the_limit_are_on_it_by_the_formula(name, limit, error):
    master = np.array(COLOURS[name], dtype=float)
    difference, form, _ = truths_on_limit(master, _directions(), np.array(limit))
    formula = deltaE_ciede2000(np.broadcast_to(master, difference.shape), master + difference)
    np.testing.assert_allclose(formula, limit, rtol=error)
    np.testing.assert_allclose(size(difference, form), limit, rtol=1e-12)


@by_colour
@pytest.mark.parametrize(("limit", "error"), [(0.8, 0.02), (1.8, 0.05), (3.0, 0.09)])
def test_form_at_a_truth_foretells_the_formula_nearby(name, limit, error):
    # A noise of a quarter of the limit around each truth: what the decision asks of the form.
    master = np.array(COLOURS[name], dtype=float)
    difference, form, _ = truths_on_limit(master, _directions(), np.array(limit))
    noise = np.random.default_rng(3).normal(size=difference.shape)
    noise *= (limit / 4 / size(noise, form))[:, None]
    seen = delta_e_2000(master, master + difference + noise)
    np.testing.assert_allclose(size(difference + noise, form), seen, rtol=error)


def test_form_is_positive_definite_over_the_gamut_of_paints():
    lab = np.random.default_rng(4).uniform([0, -100, -100], [100, 100, 100], (20_000, 3))
    assert np.linalg.eigvalsh(local_form(lab)).min() > 0
