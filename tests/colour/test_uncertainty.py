"""What repeat readings say, and how well they say it."""

import numpy as np
import pytest
from scipy import stats

from colour.scatter import raised
from colour.uncertain_difference import SCATTER_UNLIKE, UncertainDifference
from colour.uncertainty import (
    SCATTER_EXCEEDS_HISTORY,
    SCATTER_EXCEEDS_STATED,
    History,
    UncertainColour,
    pooled_history,
)

SILVER = np.array([70.0, -0.5, -1.5])


def _readings(n, sd, seed=1, centre=SILVER):
    return centre + sd * np.random.default_rng(seed).normal(size=(n, 3))


def _between(master, card, **about):
    return UncertainDifference.between(
        UncertainColour.from_repeats(master, **about), UncertainColour.from_repeats(card, **about)
    )


# One colour


def test_repeats_give_their_mean_and_scatter():
    readings = _readings(5, 0.1)
    colour = UncertainColour.from_repeats(readings)
    np.testing.assert_allclose(colour.mean, readings.mean(axis=0))
    np.testing.assert_allclose(colour.scatter, np.cov(readings.T))  # outside: numpy's estimator
    np.testing.assert_allclose(colour.covariance, np.cov(readings.T) / 5, rtol=1e-6)
    assert colour.degrees_of_freedom == 4


def test_one_reading_with_a_stated_uncertainty_has_that():
    colour = UncertainColour.from_repeats(SILVER, standard_uncertainty=0.2)
    np.testing.assert_allclose(colour.covariance, 0.04 * np.eye(3))
    assert np.isinf(colour.degrees_of_freedom)


def test_one_reading_alone_says_nothing_of_its_noise():
    assert UncertainColour.from_repeats(SILVER).degrees_of_freedom == 0


def test_alike_repeats_fall_back_on_the_stated_uncertainty():
    colour = UncertainColour.from_repeats([SILVER] * 4, standard_uncertainty=0.2)
    np.testing.assert_allclose(colour.covariance, 0.01 * np.eye(3))


def test_larger_scatter_replaces_the_stated_uncertainty_channel_by_channel():
    # Scatter along the axes: L* varies by more than U, a* and b* by less.
    spread = np.array([[0.3, 0, 0], [-0.3, 0, 0], [0, 0.02, 0.03], [0, -0.02, -0.03]])
    colour = UncertainColour.from_repeats(SILVER + spread, standard_uncertainty=0.2)
    expected = np.diag([np.cov(spread.T)[0, 0], 0.04, 0.04]) / 4
    np.testing.assert_allclose(colour.covariance, expected, atol=1e-12)


def test_raised_covariance_is_no_less_than_either_in_any_direction():
    rng = np.random.default_rng(2)
    for _ in range(200):
        a, b = rng.normal(size=(3, 2)), rng.normal(size=(3, 5))
        few, least = a @ a.T, b @ b.T / 5
        result = raised(few, least)
        for smaller in (few, least):
            assert np.linalg.eigvalsh(result - smaller)[0] > -1e-9
        np.testing.assert_allclose(raised(result, least), result, atol=1e-9)


def test_uncertainty_per_channel_is_taken():
    colour = UncertainColour.from_repeats(SILVER, standard_uncertainty=[0.1, 0.2, 0.3])
    np.testing.assert_allclose(colour.covariance, np.diag([0.01, 0.04, 0.09]))


def test_scatter_that_contradicts_the_stated_uncertainty_enters_as_scatter():
    colour = UncertainColour.from_repeats(_readings(4, 0.5), standard_uncertainty=0.1)
    assert colour.notes == (SCATTER_EXCEEDS_STATED,)
    assert colour.degrees_of_freedom == 3
    assert np.linalg.eigvalsh(colour.scatter)[-1] > 0.1
    np.testing.assert_allclose(colour.known, 0.01 * np.eye(3), atol=1e-12)


def test_honest_uncertainty_is_contradicted_once_in_a_hundred_times():
    readings = SILVER + 0.2 * np.random.default_rng(3).normal(size=(20_000, 3, 3))
    colour = UncertainColour.from_repeats(readings, standard_uncertainty=0.2)
    # Sampling error 0.07 %; four are allowed.
    assert np.isfinite(colour.degrees_of_freedom).mean() == pytest.approx(0.01, abs=0.0028)


@pytest.mark.parametrize(("decimals", "step"), [(2, 0.01), (1, 0.1)])
def test_alike_rounded_readings_are_no_better_than_their_rounding(decimals, step):
    # A steady instrument behind a rounding display: all three repeats show the same number.
    rng = np.random.default_rng(4)
    true = rng.uniform(20, 80, (4000, 1, 3))
    shown = np.round(true + 0.02 * step * rng.normal(size=(4000, 3, 3)), decimals)
    colour = UncertainColour.from_repeats(shown)
    errors = colour.mean - true[:, 0]
    alike = (shown == shown[:, :1]).all(axis=(1, 2))
    assert alike.mean() > 0.5
    said = np.sqrt(np.trace(colour.covariance, axis1=1, axis2=2)[alike].mean() / 3)
    happened = np.sqrt((errors[alike] ** 2).mean())
    assert happened <= said * 1.02
    assert said == pytest.approx(step / np.sqrt(12), rel=1e-6)


def test_fine_readings_keep_the_scatter_they_have():
    readings = _readings(6, 0.2)
    np.testing.assert_allclose(
        UncertainColour.from_repeats(readings).covariance, np.cov(readings.T) / 6, rtol=1e-9
    )


def test_known_mean_keeps_its_covariance():
    colour = UncertainColour.from_mean(SILVER, np.diag([0.5, 1.0, 1.0]), n=4)
    np.testing.assert_allclose(colour.covariance, np.diag([0.5, 1.0, 1.0]))
    np.testing.assert_allclose(colour.after_more(4).covariance, np.diag([0.25, 0.5, 0.5]))


@pytest.mark.parametrize(
    ("readings", "about", "message"),
    [
        ([[70.0, 1.0]], {}, r"readings must hold L\*, a\*, b\* on its last axis, got shape"),
        (np.empty((0, 3)), {}, "readings must hold one reading at least, got none"),
        ([[70, 1, np.nan]], {}, "readings must be finite, got nan in row 0"),
        (SILVER, {"standard_uncertainty": 0.0}, r"finite and above 0, got 0\.0; leave it out"),
        (SILVER, {"standard_uncertainty": np.nan}, "standard_uncertainty must be finite"),
        (SILVER, {"standard_uncertainty": [0.1, 0.2]}, "one number or one per channel"),
        (SILVER, {"display_step": 0.0}, "display_step must be finite and above 0, got 0"),
    ],
)
def test_bad_readings_are_refused_in_plain_words(readings, about, message):
    with pytest.raises(ValueError, match=message):
        UncertainColour.from_repeats(readings, **about)


# History


def test_history_pools_squares_and_degrees_of_freedom():
    first, second = _readings(3, 0.1, seed=5), _readings(4, 0.1, seed=6, centre=[30, 1, 2])
    history = pooled_history([first, second])
    squares = np.cov(first.T) * 2 + np.cov(second.T) * 3
    np.testing.assert_allclose(history.covariance, squares / 5)
    assert history.degrees_of_freedom == 5


def test_history_joins_the_scatter_of_both_sides_once():
    master, card = _readings(2, 0.1, seed=7), _readings(2, 0.1, seed=8)
    history = History(covariance=0.01 * np.eye(3), degrees_of_freedom=20)
    difference = _between(master, card, history=history)
    assert difference.degrees_of_freedom == 22
    squares = np.cov(master.T) + np.cov(card.T) + 20 * history.covariance
    np.testing.assert_allclose(difference.covariance, squares / 22, rtol=1e-9)


def test_single_readings_rest_on_the_history():
    history = History(covariance=0.01 * np.eye(3), degrees_of_freedom=12)
    difference = _between(SILVER, SILVER + 0.1, history=history)
    np.testing.assert_allclose(difference.covariance, 0.02 * np.eye(3))
    assert difference.degrees_of_freedom == 12


def test_history_quieter_than_the_readings_is_left_aside():
    history = History(covariance=1e-4 * np.eye(3), degrees_of_freedom=50)
    difference = _between(_readings(3, 0.3, seed=9), _readings(3, 0.3, seed=10), history=history)
    assert difference.degrees_of_freedom == 4
    assert SCATTER_EXCEEDS_HISTORY in difference.notes


def test_history_of_single_readings_is_refused():
    with pytest.raises(ValueError, match="a history needs repeats, got single readings only"):
        pooled_history([[SILVER], [SILVER]])


# Differences


def test_difference_pools_the_scatter_of_both_sides():
    # Outside: scipy's two-sample t test; noise in lightness alone makes it one-dimensional.
    master, card = _readings(4, [0.2, 0, 0], seed=11), _readings(4, [0.2, 0, 0], seed=12)
    difference = _between(master, card)
    test = stats.ttest_ind(card[:, 0], master[:, 0])
    assert difference.degrees_of_freedom == test.df == 6
    error = np.sqrt(difference.covariance[0, 0])
    assert difference.mean[0] / error == pytest.approx(test.statistic, rel=1e-6)


def test_unlike_scatter_keeps_its_own_and_welchs_degrees_of_freedom():
    # Outside: scipy's t test with unequal variances (Welch, Satterthwaite).
    master, card = _readings(8, [0.02, 0, 0], seed=13), _readings(5, [0.5, 0, 0], seed=14)
    difference = _between(master, card)
    test = stats.ttest_ind(card[:, 0], master[:, 0], equal_var=False)
    assert difference.notes == (SCATTER_UNLIKE,)
    assert float(difference.degrees_of_freedom) == pytest.approx(test.df, rel=1e-3)
    error = np.sqrt(difference.covariance[0, 0])
    assert difference.mean[0] / error == pytest.approx(test.statistic, rel=1e-3)


def test_quiet_side_read_often_does_not_vouch_for_the_other():
    master, card = _readings(10, 0.1, seed=15), _readings(3, 0.15, seed=16)
    difference = _between(master, card)
    own = np.cov(master.T) / 10 + np.cov(card.T) / 3
    assert np.linalg.eigvalsh(difference.covariance - own)[0] > -1e-12


def test_frame_gives_the_covariance_of_the_difference():
    # Outside: simulation, 200,000 draws of the joint normal.
    rng = np.random.default_rng(17)
    square = rng.normal(size=(6, 6))
    joint = square @ square.T / 6
    difference = UncertainDifference.in_frame(SILVER, SILVER + [0.5, 0, 0], joint)
    drawn = rng.multivariate_normal(np.zeros(6), joint, 200_000)
    np.testing.assert_allclose(
        difference.covariance, np.cov((drawn[:, 3:] - drawn[:, :3]).T), atol=0.05
    )
    np.testing.assert_allclose(difference.mean, [0.5, 0, 0])
    assert difference.stated


def test_shared_errors_of_one_frame_cancel():
    shared = np.tile(np.eye(3), (2, 2)) * 4.0
    joint = shared + 0.01 * np.eye(6)
    difference = UncertainDifference.in_frame(SILVER, SILVER, joint)
    np.testing.assert_allclose(difference.covariance, 0.02 * np.eye(3), atol=1e-9)


def test_cross_covariance_says_the_same_as_the_joint_one():
    rng = np.random.default_rng(18)
    square = rng.normal(size=(6, 6))
    joint = square @ square.T / 6
    master = UncertainColour.from_mean(SILVER, joint[:3, :3])
    card = UncertainColour.from_mean(SILVER + 0.2, joint[3:, 3:])
    difference = UncertainDifference.between(master, card, cross_covariance=joint[:3, 3:])
    frame = UncertainDifference.in_frame(SILVER, SILVER + 0.2, joint)
    np.testing.assert_allclose(difference.covariance, frame.covariance)


def test_impossible_cross_covariance_is_refused():
    side = UncertainColour.from_mean(SILVER, 0.01 * np.eye(3))
    with pytest.raises(ValueError, match="cross_covariance is larger than"):
        UncertainDifference.between(side, side, cross_covariance=0.02 * np.eye(3))


def test_joint_through_a_shared_master_adds_vectors_and_covariances():
    noise = np.diag([0.01, 0.02, 0.03])
    one = UncertainDifference.of(SILVER, [0.5, 0.1, 0.0], noise)
    other = UncertainDifference.of(SILVER, [-0.4, 0.0, 0.2], 2 * noise)
    joint = one.through_shared_master(other)
    np.testing.assert_allclose(joint.reference, SILVER + [0.5, 0.1, 0.0])
    np.testing.assert_allclose(joint.mean, [-0.9, -0.1, 0.2])
    np.testing.assert_allclose(joint.covariance, 3 * noise)
    assert joint.stated


def test_joint_through_a_shared_master_combines_degrees_of_freedom():
    # Equal scatters add theirs (GUM G.4, Welch-Satterthwaite).
    one = UncertainDifference.of(SILVER, [0, 0, 0], np.eye(3), degrees_of_freedom=4)
    other = UncertainDifference.of(SILVER, [0, 0, 0], np.eye(3), degrees_of_freedom=6)
    assert float(one.through_shared_master(other).degrees_of_freedom) == pytest.approx(
        4 / (1 / 4 + 1 / 6)
    )


def test_widening_adds_what_readings_do_not_lessen():
    difference = UncertainDifference.of(SILVER, [0.5, 0, 0], 0.01 * np.eye(3))
    wider = difference.widened(standard_uncertainty=0.1).widened(
        covariance=np.diag([0.04, 0, 0]), to_panel=True
    )
    np.testing.assert_allclose(wider.covariance, np.diag([0.06, 0.02, 0.02]))
    np.testing.assert_allclose(wider.fixed, np.diag([0.05, 0.01, 0.01]))
    assert wider.of_panel and not difference.of_panel


@pytest.mark.parametrize(
    ("covariance", "message"),
    [
        (np.eye(2), r"covariance must have shape \(3, 3\), got \(2, 2\)"),
        (np.diag([1, 1, -1]), "gives a negative variance in some direction"),
        ([[1, 0.5, 0], [0, 1, 0], [0, 0, 1]], "covariance must be symmetric"),
        (np.full((3, 3), np.nan), "covariance must be finite"),
    ],
)
def test_bad_covariance_is_refused(covariance, message):
    with pytest.raises(ValueError, match=message):
        UncertainDifference.of(SILVER, [0, 0, 0], covariance)
