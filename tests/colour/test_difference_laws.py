"""Laws the differences must obey whatever the colours."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from colour.difference import (
    components,
    delta_e_94,
    delta_e_2000,
    delta_e_ab,
    delta_e_cmc,
    steps_2000,
)

FORMULAS = [delta_e_2000, delta_e_94, delta_e_cmc, delta_e_ab]

lightness = st.floats(0, 130)  # a metallic near its highlight passes 100
axis = st.one_of(st.floats(-128, 128), st.floats(-3, 3), st.sampled_from([0.0, -0.0, 25.0]))
lab = st.tuples(lightness, axis, axis)
factor = st.floats(0.25, 4)


def opposite_hues(master, sample):
    _, a1, b1 = master
    _, a2, b2 = sample
    cross, dot = a1 * b2 - b1 * a2, a1 * a2 + b1 * b2
    return dot < 0 and abs(cross) <= 1e-9 * abs(dot)


@given(lab, lab)
def test_swapping_master_and_sample_changes_neither_symmetric_difference(master, sample):
    for formula in (delta_e_2000, delta_e_ab):
        assert formula(master, sample) == formula(sample, master)
        assert formula([master], sample)[0] == formula([sample], master)[0]


@given(lab, lab)
def test_swapping_master_and_sample_flips_every_sign(master, sample):
    assume(not opposite_hues(master, sample))  # exactly opposite: no shorter way round
    forth, back = components(master, sample), components(sample, master)
    np.testing.assert_allclose(forth, [-part for part in back], rtol=0, atol=1e-12)


@pytest.mark.parametrize("formula", FORMULAS)
@given(lab)
def test_a_colour_does_not_differ_from_itself(formula, colour):
    assert formula(colour, colour) == 0.0
    assert formula([colour], colour)[0] == 0.0


@pytest.mark.parametrize("formula", FORMULAS)
@given(lab, lab)
def test_unlike_colours_differ(formula, master, sample):
    assume(max(abs(x - y) for x, y in zip(master, sample, strict=True)) > 1e-6)
    assert formula(master, sample) > 0
    assert formula([master], sample)[0] > 0


@given(lab, lab)
def test_components_add_up_to_the_plain_difference(master, sample):
    d = components(master, sample)
    total = delta_e_ab(master, sample)
    assert math.hypot(d.delta_l, d.delta_a, d.delta_b) == pytest.approx(total, abs=1e-10)
    assert math.hypot(d.delta_l, d.delta_c, d.delta_h) == pytest.approx(total, abs=1e-10)


@given(lab, st.lists(lab, min_size=1, max_size=6))
def test_broadcasting_equals_one_at_a_time(master, samples):
    for formula in FORMULAS:
        one_by_one = [formula(master, sample) for sample in samples]
        np.testing.assert_allclose(formula(master, samples), one_by_one, rtol=1e-9, atol=1e-10)


@given(lab, lab, factor, factor, factor)
def test_array_plain_and_textbook_forms_agree(master, sample, k_l, k_c, k_h):
    factors = {"k_l": k_l, "k_c": k_c, "k_h": k_h}
    plain = delta_e_2000(master, sample, **factors)
    assert delta_e_2000([master], sample, **factors)[0] == pytest.approx(plain, rel=1e-9, abs=1e-10)
    textbook = steps_2000([master], sample, **factors)
    np.testing.assert_allclose(
        [step[0] for step in textbook],
        steps_2000(master, sample, **factors),
        rtol=1e-9,
        atol=1e-10,
    )


@given(lab, lab, factor)
def test_factors_all_alike_divide_the_difference(master, sample, scale):
    alike = {"k_l": scale, "k_c": scale, "k_h": scale}
    expected = delta_e_2000(master, sample) / scale
    assert delta_e_2000(master, sample, **alike) == pytest.approx(expected, rel=1e-12)
    assert delta_e_2000([master], sample, **alike)[0] == pytest.approx(
        expected, rel=1e-9, abs=1e-10
    )


@given(lab, lab, factor)
def test_doubling_both_cmc_weights_halves_all_but_the_hue_term(master, sample, scale):
    # Doubling l and c halves what lightness and chroma add, and nothing else.
    once = delta_e_cmc(master, sample, l=scale, c=scale) ** 2
    twice = delta_e_cmc(master, sample, l=2 * scale, c=2 * scale) ** 2
    hue = delta_e_cmc(master, sample, l=1e9, c=1e9) ** 2
    assert once - hue == pytest.approx(4 * (twice - hue), rel=1e-6, abs=1e-6)


@given(lightness, lightness)
def test_of_greys_only_lightness_counts(first, second):
    mean = (first + second) / 2 - 50
    s_l = 1 + 0.015 * mean**2 / math.sqrt(20 + mean**2)
    difference = abs(first - second)
    assert delta_e_2000((first, 0.0, 0.0), (second, 0.0, 0.0)) == pytest.approx(difference / s_l)
    for formula in (delta_e_94, delta_e_ab):
        assert formula((first, 0.0, 0.0), (second, 0.0, 0.0)) == pytest.approx(difference)


@given(lab, lab)
def test_the_lightness_term_alone_never_exceeds_the_difference(master, sample):
    # Facts of the form: it is a positive quadratic form in (ΔL', ΔC', ΔH').
    steps = steps_2000(master, sample)
    squares_lost = 1e-150  # below this the squares are no longer floats
    assert steps.delta_e >= abs(steps.delta_l / steps.s_l) * (1 - 1e-12) - squares_lost
    least = math.sqrt(1 - steps.r_t**2 / 4)
    assert steps.delta_e >= least * abs(steps.delta_c / steps.s_c) * (1 - 1e-9) - squares_lost
    assert steps.delta_e >= least * abs(steps.delta_h / steps.s_h) * (1 - 1e-9) - squares_lost


@given(lab, lab)
def test_a_mirrored_pair_keeps_its_plain_difference_and_turns_its_hue_round(master, sample):
    assume(not opposite_hues(master, sample))
    mirrored = [(x, a, -b) for x, a, b in (master, sample)]
    here, there = components(master, sample), components(*mirrored)
    assert there.delta_h == pytest.approx(-here.delta_h, abs=1e-12)
    assert there.delta_c == pytest.approx(here.delta_c, abs=1e-12)
    assert delta_e_94(*mirrored) == pytest.approx(delta_e_94(master, sample), abs=1e-12)
