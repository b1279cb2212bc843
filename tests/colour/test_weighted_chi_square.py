"""The chance of a length, held against other implementations and published worked examples."""

import numpy as np
import pytest
from scipy import stats

from colour.weighted_chi_square import length_distribution, scale_nodes


def test_equal_noise_agrees_with_the_noncentral_chi_square_of_scipy():
    # Outside: scipy.stats.ncx2 (Boost). Noise from 1/30000 of the centre's length to 5 times it.
    rng = np.random.default_rng(1)
    variance = 10 ** rng.uniform(-9, 1.4, 4000)
    centre = rng.normal(size=(4000, 3))
    centre /= np.linalg.norm(centre, axis=1)[:, None]
    noise = np.sqrt(variance)[:, None] * rng.normal(size=(4000, 3))
    length = np.linalg.norm(centre + noise, axis=1)
    variances = np.repeat(variance[:, None], 3, axis=1)
    ours, _ = length_distribution(length, variances, centre**2)
    theirs = stats.ncx2.cdf(length**2 / variance, 3, 1 / variance)
    np.testing.assert_allclose(ours, theirs, atol=1e-5)
    lower = (theirs > 1e-6) & (theirs < 0.5)
    assert lower.sum() > 1000
    np.testing.assert_allclose(ours[lower], theirs[lower], rtol=1e-7)


def test_no_centre_agrees_with_the_chi_square_of_scipy():
    length = np.linspace(0.01, 6, 200)
    ours, density = length_distribution(length, np.ones((200, 3)), np.zeros((200, 3)))
    np.testing.assert_allclose(ours, stats.chi2.cdf(length**2, 3), atol=1e-6)
    np.testing.assert_allclose(density, stats.chi.pdf(length, 3), atol=1e-5)


@pytest.mark.parametrize(
    ("variances", "centres"),
    [
        ((0.02, 0.3, 1.0), (0.5, 0.0, 0.2)),
        ((1e-4, 0.05, 0.06), (0.64, 0.0, 0.0)),
        ((0.01, 0.01, 0.5), (0.0, 0.0, 0.64)),
        ((0.0, 0.02, 0.03), (0.1, 0.2, 0.3)),
        ((2.0, 0.1, 0.1), (0.0, 0.0, 0.0)),
    ],
)
def test_unequal_noise_agrees_with_simulation(variances, centres):
    # 400,000 draws: a sampling error of 8e-4 at most, four of which are allowed.
    rng = np.random.default_rng(2)
    drawn = np.sqrt(centres) + np.sqrt(variances) * rng.normal(size=(400_000, 3))
    lengths = np.sort(np.linalg.norm(drawn, axis=1))
    at = lengths[[4_000, 20_000, 100_000, 200_000, 380_000, 396_000]]
    shape = (len(at), 3)
    ours, _ = length_distribution(
        at, np.broadcast_to(variances, shape), np.broadcast_to(centres, shape)
    )
    np.testing.assert_allclose(ours, [0.01, 0.05, 0.25, 0.5, 0.95, 0.99], atol=3.2e-3)


def test_density_is_the_slope_of_the_chance():
    rng = np.random.default_rng(3)
    variances, centres = rng.uniform(0.01, 1, (50, 3)), rng.uniform(0, 1, (50, 3))
    length = rng.uniform(0.2, 2, 50)
    above, _ = length_distribution(length + 1e-5, variances, centres)
    below, _ = length_distribution(length - 1e-5, variances, centres)
    _, density = length_distribution(length, variances, centres)
    np.testing.assert_allclose(density, (above - below) / 2e-5, rtol=1e-4, atol=1e-6)


def test_zero_length_has_no_chance_and_a_huge_one_all_of_it():
    variances, centres = np.full((2, 3), 0.04), np.full((2, 3), 0.2)
    chance, _ = length_distribution(np.array([0.0, 100.0]), variances, centres)
    np.testing.assert_allclose(chance, [0.0, 1.0], atol=1e-7)


def test_wildly_unequal_noise_gives_a_chance_without_a_warning():
    rng = np.random.default_rng(4)
    variances = 10 ** rng.uniform(-7, 1, (20_000, 3))
    centres = np.eye(3)[rng.integers(3, size=20_000)]
    length = rng.uniform(0.01, 3, 20_000)
    chance, density = length_distribution(length, variances, centres)
    assert ((chance >= 0) & (chance <= 1)).all()
    assert np.isfinite(density).all()


# JCGM 106:2012 examples; the numbers are from memory, the arithmetic is redone here. In one
# dimension the chance of a length is the conformance probability of an interval: its half-width
# is the length, and the estimate's offset from its middle is the centre.
@pytest.mark.parametrize(
    ("estimate", "uncertainty", "low", "high", "printed"),
    [
        pytest.param(13.6, 1.8, 12.5, 16.3, 0.6626, id="oil"),
        # One-sided limits: the far end lies many uncertainties away.
        pytest.param(-5.47, 0.05, -6.40, -5.40, 0.9192, id="zener"),
        pytest.param(509.7, 8.6, 490.0, 690.0, 0.9890, id="container"),
    ],
)
def test_one_dimension_gives_the_conformance_probability_of_jcgm_106(
    estimate, uncertainty, low, high, printed
):
    half_width, offset = (high - low) / 2, estimate - (low + high) / 2
    chance, _ = length_distribution(
        np.array(half_width),
        np.array([uncertainty**2, 0.0, 0.0]),
        np.array([offset**2, 0.0, 0.0]),
    )
    assert float(chance) == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize("nu", [3.0, 3.5, 4.0, 6.0, 10.0, 18.0, 50.0, 1000.0])
@pytest.mark.parametrize(("tail", "error"), [(0.2, 1e-6), (0.05, 1e-5), (0.0167, 1e-4)])
def test_scale_nodes_turn_a_normal_tail_into_students(nu, tail, error):
    # Outside: scipy.stats.t.
    nodes, weights = scale_nodes(nu)
    quantile = stats.t.ppf(tail, nu)
    chance = (weights * stats.norm.cdf(quantile * nodes)).sum()
    assert chance == pytest.approx(tail, rel=error)


def test_scale_nodes_reproduce_a_printed_t_table():
    # Upper 5 % points as every table of Student's t prints them (from memory).
    for nu, printed in ((3, 2.353), (4, 2.132), (6, 1.943), (10, 1.812), (18, 1.734)):
        nodes, weights = scale_nodes(float(nu))
        chance = (weights * stats.norm.sf(printed * nodes)).sum()
        slope = stats.t.pdf(printed, nu)
        assert chance == pytest.approx(0.05, abs=5.1e-4 * slope)


def test_known_noise_has_one_scale():
    nodes, weights = scale_nodes(np.inf)
    assert nodes.tolist() == [1.0] and weights.tolist() == [1.0]
