"""The box that holds every colour within a difference: it must never leave one out."""

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from colour.difference import delta_e_2000
from colour.search_box import lab_box

axis = st.one_of(st.floats(-110, 110), st.floats(-4, 4), st.sampled_from([0.0, -0.0]))
lab = st.tuples(st.floats(-5, 130), axis, axis)


def leaves_out(query, other, radius):
    box = lab_box(query, radius)
    return any(abs(x - y) > half for x, y, half in zip(query, other, box, strict=True))


@given(lab, lab)
def test_the_box_of_a_colours_own_difference_holds_it(query, other):
    assert not leaves_out(query, other, delta_e_2000(query, other))


@given(lab, st.tuples(*[st.floats(-6, 6)] * 3))
def test_the_box_of_a_near_colours_difference_holds_it(query, step):
    other = tuple(value + change for value, change in zip(query, step, strict=True))
    assert not leaves_out(query, other, delta_e_2000(query, other))


@pytest.mark.parametrize("step", [0.3, 2, 5, 12, 40])
@pytest.mark.parametrize("chroma", [2, 12, 30, 110])
def test_no_colour_within_the_radius_lies_outside(step, chroma):
    rng = np.random.default_rng(int(10 * step) + chroma)
    for _ in range(60):
        query = np.array([rng.uniform(-2, 125), *rng.uniform(-chroma, chroma, 2)])
        others = query + rng.normal(0, step, (1500, 3))
        differences = delta_e_2000(query, others)
        for radius in np.quantile(differences, [0.0, 0.1, 0.9]):
            box = lab_box(tuple(query), float(radius))
            inside = others[differences <= radius]
            assert np.all(np.abs(inside - query) <= np.array(box))


def test_the_box_is_not_much_wider_than_it_must_be():
    # What is reached along each axis, against the half widths: the box is worth having.
    rng = np.random.default_rng(6)
    for query in [(70.0, -0.5, -1.5), (42.0, 58.0, 34.0), (30.0, 8.0, -45.0), (4.0, 0.0, 0.0)]:
        near = np.array(query) + rng.uniform(-1, 1, (200_000, 3)) * lab_box(query, 1.0)
        reached = np.abs(near[delta_e_2000(query, near) <= 1.0] - query).max(axis=0)
        assert np.all(reached >= 0.2 * np.array(lab_box(query, 1.0)))


def test_it_is_never_wider_than_the_plain_bound():
    # S_L ≤ 1.7471 for L* 0 to 100, and the a*b* bound with the worst R_T there is, worked out
    # by hand from the standard's formula: √(1 − √3/2) = 0.366, 0.045/2 = 0.0225.
    for query in [(50.0, 0.0, 0.0), (20.0, 30.0, -60.0), (90.0, -10.0, 70.0)]:
        for radius in (0.1, 1.0, 4.0):
            box = lab_box(query, radius)
            _, a, b = query
            plain = radius * (1 + 0.045 * math.hypot(1.5 * a, b)) / (0.366 - 0.0225 * radius)
            assert box.half_l <= 1.7471 * radius * 1.01
            assert box.half_a <= box.half_b <= plain * 1.001


def test_a_wider_radius_gives_a_wider_box():
    boxes = [lab_box((40.0, 20.0, -30.0), radius) for radius in np.linspace(0, 15, 60)]
    assert all(
        x <= y
        for low, high in zip(boxes, boxes[1:], strict=False)
        for x, y in zip(low, high, strict=True)
    )


def test_zero_radius_is_a_point_and_a_huge_one_is_everything():
    assert max(lab_box((40.0, 20.0, -30.0), 0.0)) < 1e-8
    box = lab_box((40.0, 20.0, -30.0), 50.0)
    assert box.half_a == box.half_b == math.inf
    assert 50 < box.half_l < 200


@pytest.mark.parametrize("radius", [-1.0, float("nan")])
def test_a_meaningless_radius_is_refused(radius):
    with pytest.raises(ValueError, match="radius must not be negative, got"):
        lab_box((50.0, 0.0, 0.0), radius)


def test_a_query_that_is_not_finite_is_refused():
    with pytest.raises(ValueError, match="query must be finite, got"):
        lab_box((50.0, float("nan"), 0.0), 1.0)


def test_the_box_needs_no_numpy():
    program = (
        "import sys; from colour.search_box import lab_box; lab_box((50., 2., 3.), 1.0);"
        "sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", program]).returncode == 0
