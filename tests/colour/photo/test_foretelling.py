"""What patches foretell, against plain dense Gaussian conditioning and really leaving one out.

Rasmussen and Williams, Gaussian Processes for Machine Learning (2006): equations 2.23 and 2.24
(conditioning) are what the dense side follows.
"""

import numpy as np
import pytest

from colour.photo.foretelling import (
    CHANNEL,
    Foretelling,
    one_paint_covariance,
    smooth_covariance,
    unlike_print_covariance,
)

PATCHES, OTHERS, PARAMETERS, SCALE = 9, 3, 5, 0.7


@pytest.fixture
def case():
    rng = np.random.default_rng(5)
    lab = rng.uniform((5, -40, -40), (95, 40, 40), (PATCHES + OTHERS, 3))
    return {
        "lab": lab,
        "slopes": rng.normal(0, 1, (PATCHES + OTHERS, 3, PARAMETERS)),
        "noise": rng.uniform(0.05, 0.6, (PATCHES, 3)),
        "shown": rng.normal(0, 2, (PATCHES, 3)),
    }


def dense_covariance(case):
    """Of all colours, coordinate by coordinate of each; noise on the patches alone."""
    flat = case["slopes"].reshape(-1, PARAMETERS)
    smooth = smooth_covariance(case["lab"], case["lab"])
    whole = flat @ flat.T + np.kron(smooth, np.diag((SCALE * CHANNEL) ** 2))
    noise = np.concatenate([case["noise"].ravel(), np.zeros(3 * OTHERS)])
    return whole + np.diag(noise)


def foretelling_of(case):
    lab = case["lab"][:PATCHES]
    return Foretelling.of(
        case["slopes"][:PATCHES], smooth_covariance(lab, lab), SCALE, case["noise"]
    )


def solved(foretelling, shown):
    return foretelling.solve(shown.T[:, :, None])[..., 0].T


def test_the_inverse_in_parts_is_the_inverse_of_the_whole(case):
    n = 3 * PATCHES
    values = np.random.default_rng(6).normal(0, 1, (3, PATCHES, 4))
    expected = np.linalg.inv(dense_covariance(case)[:n, :n]) @ values.transpose(1, 0, 2).reshape(
        n, 4
    )
    found = foretelling_of(case).solve(values).transpose(1, 0, 2).reshape(n, 4)
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-9)


def test_the_blocks_are_those_on_the_diagonal_of_the_inverse(case):
    n = 3 * PATCHES
    inverse = np.linalg.inv(dense_covariance(case)[:n, :n]).reshape(PATCHES, 3, PATCHES, 3)
    expected = inverse[np.arange(PATCHES), :, np.arange(PATCHES)]
    np.testing.assert_allclose(foretelling_of(case).blocks(), expected, rtol=1e-9, atol=1e-9)


def test_each_patch_is_left_out_as_if_it_had_never_been_there(case):
    n = 3 * PATCHES
    whole = dense_covariance(case)[:n, :n]
    foretelling = foretelling_of(case)
    errors, spread = foretelling.left_out(solved(foretelling, case["shown"]))
    for patch in range(PATCHES):
        own = np.arange(3 * patch, 3 * patch + 3)
        rest = np.setdiff1d(np.arange(n), own)
        pull = whole[np.ix_(own, rest)] @ np.linalg.inv(whole[np.ix_(rest, rest)])
        foretold = pull @ case["shown"].ravel()[rest]
        np.testing.assert_allclose(errors[patch], case["shown"][patch] - foretold, atol=1e-9)
        left = whole[np.ix_(own, own)] - pull @ whole[np.ix_(rest, own)]
        np.testing.assert_allclose(spread[patch], left, atol=1e-9)


def test_other_colours_are_foretold_as_by_conditioning_on_the_patches(case):
    n = 3 * PATCHES
    whole = dense_covariance(case)
    pull = whole[n:, :n] @ np.linalg.inv(whole[:n, :n])
    lab = case["lab"]
    foretelling = foretelling_of(case)
    mean, joint = foretelling.foretell(
        solved(foretelling, case["shown"]),
        case["slopes"][PATCHES:],
        smooth_covariance(lab[PATCHES:], lab[:PATCHES]),
        smooth_covariance(lab[PATCHES:], lab[PATCHES:]),
        SCALE,
    )
    np.testing.assert_allclose(mean.ravel(), pull @ case["shown"].ravel(), atol=1e-9)
    np.testing.assert_allclose(joint, whole[n:, n:] - pull @ whole[:n, n:], atol=1e-9)


def test_smooth_errors_have_a_covariance_that_can_be():
    rng = np.random.default_rng(7)
    lab = rng.uniform((0, -80, -80), (100, 80, 80), (120, 3))
    for covariance in (
        smooth_covariance(lab, lab),
        one_paint_covariance(lab, 0.5),
        unlike_print_covariance(lab, 0.9),
    ):
        np.testing.assert_allclose(covariance, covariance.T, atol=1e-12)
        values = np.linalg.eigvalsh(covariance)
        assert values.min() > -1e-9 * values.max()


def test_the_nearer_two_colours_are_the_less_of_an_error_is_left_in_their_difference():
    steps = np.array([0.0, 1.0, 4.0, 12.0, 40.0])
    left = []
    for step in steps:
        lab = np.array([[50.0, 0.0, 0.0], [50.0 + step, 0.0, 0.0]])
        shared = unlike_print_covariance(lab, 0.9)
        left.append(shared[0, 0] + shared[3, 3] - 2 * shared[0, 3])
    assert left[0] == pytest.approx(0, abs=1e-12)
    assert np.all(np.diff(left) > 0)
