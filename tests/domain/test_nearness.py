"""How well a difference between two stored colours is known.

The published part is JCGM 100:2008, 5.1.2 (propagation of uncertainty, from memory) and 6.2.1
(expanded uncertainty, k = 2); the check itself is by simulation, with another program's ΔE00.
"""

import numpy as np
import pytest
from coloraide import Color

from colour.decision import UncertainColour, UncertainDifference
from colour.weighing import standard_uncertainty
from service.domain.nearness import doubt_of_difference, doubts_of_differences, in_noise

SILVER = (70.0, -0.6, 1.2)


def delta_e(one, other):
    colours = [Color("lab-d65", [float(v) for v in lab]) for lab in (one, other)]
    return colours[0].delta_e(colours[1], method="2000")


@pytest.mark.parametrize("other", [(69.2, -0.3, 0.2), (70.4, 0.6, 1.9), (71.9, -0.6, 1.2)])
def test_the_uncertainty_of_a_difference_is_that_of_simulated_readings(other):
    u, v = 0.05, 0.09
    rng = np.random.default_rng(31)
    draws = [
        delta_e(SILVER + rng.normal(0, u, 3), other + rng.normal(0, v, 3)) for _ in range(3000)
    ]
    # A standard deviation from n draws has a standard error of sd/√(2n): 1.3 % here.
    assert doubt_of_difference(SILVER, u, other, v) == pytest.approx(np.std(draws), rel=0.06)


def test_a_difference_is_as_well_known_from_either_side():
    one = doubt_of_difference(SILVER, 0.1, (69, 0, 1), 0.2)
    two = doubt_of_difference((69, 0, 1), 0.2, SILVER, 0.1)
    assert one == pytest.approx(two, rel=1e-6)


@pytest.mark.parametrize("other", [(69.2, -0.3, 0.2), SILVER, (71.9, 3.6, -2.2)])
def test_it_is_the_uncertainty_a_judgement_would_give(other):
    sides = (
        UncertainColour.from_mean(lab, np.eye(3) * figure**2)
        for lab, figure in ((SILVER, 0.05), (other, 0.09))
    )
    judged = standard_uncertainty(UncertainDifference.between(*sides))
    assert doubt_of_difference(SILVER, 0.05, other, 0.09) == pytest.approx(judged, rel=1e-9)


def test_many_pairs_at_once_are_as_one_at_a_time():
    pairs = [
        (SILVER, 0.05, (69, 0, 1), 0.1),
        (SILVER, None, (69, 0, 1), 0.1),
        ((5, 0, 0), 0.2, (5, 0, 0), 0.1),
    ]
    assert doubts_of_differences(pairs) == [doubt_of_difference(*pair) for pair in pairs]
    assert doubts_of_differences([]) == []


@pytest.mark.parametrize(("u", "v"), [(None, 0.1), (0.1, None), (None, None)])
def test_where_a_side_is_unknown_nobody_can_say(u, v):
    assert doubt_of_difference(SILVER, u, (69, 0, 1), v) is None
    assert not in_noise(0.0, u, v)


def test_two_values_are_told_apart_beyond_twice_the_uncertainty_of_their_difference():
    # 3, 4, 5: the difference of two values known to 0.03 and 0.04 is known to 0.05.
    assert in_noise(0.0999, 0.03, 0.04) and in_noise(-0.0999, 0.03, 0.04)
    assert not in_noise(0.1001, 0.03, 0.04) and not in_noise(-0.1001, 0.03, 0.04)
