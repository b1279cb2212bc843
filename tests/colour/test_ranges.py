"""Ranges of many differences are those that judging each alone gives, and hold the truth."""

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from colour.decision import judge_difference
from colour.ranges import ranges_of
from colour.uncertain_difference import UncertainDifference

MASTER = (45.0, -5.0, -20.0)
STEPS = [(0.3, 0.1, -0.2), (0.8, 0.1, -0.2), (-0.5, 0.4, 0.9), (0.02, 0.0, 0.01)]
COVARIANCES = [np.eye(3) * v for v in (0.0017, 0.01, 0.0004, 0.002)]


@pytest.mark.parametrize("degrees", [[np.inf] * 4, [4.0, np.inf, 8.0, 4.0]], ids=["known", "mixed"])
def test_a_batch_is_one_judgement_after_the_other(degrees):
    found = ranges_of([MASTER] * 4, STEPS, COVARIANCES, degrees)
    for (low, high), step, covariance, of in zip(found, STEPS, COVARIANCES, degrees, strict=True):
        between = UncertainDifference.of(MASTER, step, covariance, degrees_of_freedom=of)
        alone = judge_difference(between, limit=0.8).interval
        assert (low, high) == pytest.approx((alone.low, alone.high), abs=2e-6)


def test_the_range_holds_the_truth_in_95_of_100_readings():
    """A Monte Carlo with ΔE00 by scikit-image; 1,500 draws have a standard error of 0.6 %."""
    rng = np.random.default_rng(11)
    truth, count = np.array([0.5, 0.3, -0.6]), 1500
    covariance = np.diag([0.01, 0.004, 0.006])
    seen = rng.multivariate_normal(truth, covariance, size=count)
    true = float(deltaE_ciede2000(np.array(MASTER), np.array(MASTER) + truth))
    found = ranges_of(
        np.tile(MASTER, (count, 1)),
        seen,
        np.tile(covariance, (count, 1, 1)),
        np.full(count, np.inf),
    )
    held = np.mean((found[:, 0] <= true) & (true <= found[:, 1]))
    assert 0.935 < held <= 0.99  # it promises 95 %, and is a little wider than it must be


def test_shapes_that_do_not_belong_together_are_refused():
    with pytest.raises(ValueError, match=r"must have shapes \(2, 3, 3\) and \(2,\)"):
        ranges_of([MASTER] * 2, STEPS[:2], COVARIANCES[:1], [np.inf])
