"""How the public functions take and give colours: shapes, floats, NaN, refusals."""

import subprocess
import sys
from decimal import Decimal

import numpy as np
import pytest

from colour import difference
from colour.difference import (
    components,
    delta_e_94,
    delta_e_2000,
    delta_e_ab,
    delta_e_cmc,
    steps_2000,
)

MASTER = (52.0, 38.0, 22.0)
SAMPLES = [(52.0, 38.0, 22.0), (51.2, 38.9, 21.0), (60.0, -3.0, 0.0), (5.0, 0.1, -1.2)]
FORMULAS = [delta_e_2000, delta_e_94, delta_e_cmc, delta_e_ab]


@pytest.mark.parametrize("formula", FORMULAS)
def test_one_master_against_many_equals_one_at_a_time(formula):
    one_by_one = [formula(MASTER, sample) for sample in SAMPLES]
    np.testing.assert_allclose(formula(MASTER, SAMPLES), one_by_one, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("formula", FORMULAS)
def test_many_masters_against_one_sample_equals_one_at_a_time(formula):
    one_by_one = [formula(sample, MASTER) for sample in SAMPLES]
    np.testing.assert_allclose(formula(SAMPLES, MASTER), one_by_one, rtol=1e-12, atol=1e-12)


def test_one_master_against_three_samples_is_not_mistaken_for_three_channels():
    # The case a well-known library answers with [29.0, 35.7, 38.7], no error: n equal to 3.
    samples = [(50.0 + step, 0.0, 0.0) for step in (1.0, 2.5, 3.0)]
    np.testing.assert_allclose(delta_e_ab((50.0, 0.0, 0.0), samples), [1.0, 2.5, 3.0])


@pytest.mark.parametrize("formula", FORMULAS)
@pytest.mark.parametrize(
    ("masters", "samples", "expected"),
    [
        ((3,), (3,), None),
        ((1, 3), (4, 3), (4,)),
        ((2, 1, 3), (4, 3), (2, 4)),
        ((2, 1, 3), (5, 1, 4, 3), (5, 2, 4)),
        ((0, 3), (3,), (0,)),
        ((2, 3, 4, 3), (2, 3, 4, 3), (2, 3, 4)),
        ((1, 3), (3,), (1,)),
    ],
)
def test_leading_axes_broadcast(formula, masters, samples, expected):
    rng = np.random.default_rng(7)
    master, sample = (rng.uniform(5, 60, shape) for shape in (masters, samples))
    result = formula(master, sample)
    if expected is None:
        assert type(result) is float
        return
    assert result.shape == expected
    both = np.broadcast_arrays(master, sample)
    for index in np.ndindex(expected):
        pair = tuple(tuple(colour[index].tolist()) for colour in both)
        assert result[index] == pytest.approx(formula(*pair), rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("formula", FORMULAS)
@pytest.mark.parametrize(
    "kind", [tuple, list, np.array, lambda v: np.array(v, dtype=np.float32), lambda v: tuple(v)]
)
def test_two_single_colours_give_a_float(formula, kind):
    result = formula(kind(MASTER), kind((50.0, 39.0, 20.5)))
    assert type(result) is float
    assert result == pytest.approx(formula(MASTER, (50.0, 39.0, 20.5)), rel=1e-6)


def test_integers_and_decimals_are_numbers():
    expected = delta_e_2000((50.0, 2.0, 3.0), (51.0, 2.0, 3.0))
    assert delta_e_2000((50, 2, 3), (51, 2, 3)) == expected
    exact = [[Decimal(50), Decimal(2), Decimal(3)]]
    np.testing.assert_allclose(delta_e_2000(exact, (51, 2, 3)), [expected])


def test_components_are_sample_minus_master():
    parts = components((50.0, 3.0, 4.0), (48.5, 6.0, 8.0))
    assert parts.delta_l == -1.5
    assert (parts.delta_a, parts.delta_b) == (3.0, 4.0)
    assert parts.delta_c == pytest.approx(5.0)
    assert parts.delta_h == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("sample", "sign"), [((50.0, 39.0, 1.0), 1), ((50.0, 39.0, -1.0), -1), ((50.0, 0.0, 0.0), 0)]
)
def test_hue_difference_is_positive_anticlockwise_and_zero_from_neutral(sample, sign):
    for shape in (tuple, lambda v: [v]):
        parts = components((50.0, 40.0, 0.0), shape(sample))
        assert np.sign(parts.delta_h) == sign


def test_components_of_many_keep_the_shape():
    parts = components(MASTER, SAMPLES)
    assert all(part.shape == (4,) for part in parts)
    one = components(MASTER, SAMPLES[1])
    np.testing.assert_allclose([part[1] for part in parts], one, rtol=1e-12)


def test_steps_of_many_keep_the_shape_and_end_in_the_difference():
    steps = steps_2000(MASTER, SAMPLES)
    assert all(np.shape(step) == (4,) for step in steps)
    np.testing.assert_allclose(steps.delta_e, delta_e_2000(MASTER, SAMPLES), rtol=1e-12)
    for i, sample in enumerate(SAMPLES):
        np.testing.assert_allclose(
            [step[i] for step in steps], steps_2000(MASTER, sample), rtol=1e-12, atol=1e-12
        )


@pytest.mark.parametrize("formula", FORMULAS)
@pytest.mark.parametrize("channel", [0, 1, 2])
@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_nan_in_gives_nan_out_and_touches_no_other_pair(formula, channel, bad):
    samples = np.array(SAMPLES)
    samples[1, channel] = bad
    result = formula(MASTER, samples)
    clean = formula(MASTER, SAMPLES)
    if np.isnan(bad):
        assert np.isnan(result[1])
    assert not np.isfinite(result[1])
    np.testing.assert_array_equal(np.delete(result, 1), np.delete(clean, 1))
    pair = formula(MASTER, tuple(samples[1].tolist()))
    assert type(pair) is float
    assert not np.isfinite(pair)


def test_a_nan_beside_opposite_hues_does_not_hide_them():
    # Both come through the same check of a chunk's largest turn.
    master = np.array([[50.0, 2.5, 0.0], [50.0, 2.5, 0.0]])
    sample = np.array([[50.0, -2.5, 1e-4], [50.0, np.nan, 0.0]])
    result = delta_e_2000(master, sample)
    expected = delta_e_2000(tuple(master[0].tolist()), tuple(sample[0].tolist()))
    assert result[0] == pytest.approx(expected, abs=1e-12)
    assert np.isnan(result[1])


@pytest.mark.parametrize("formula", FORMULAS)
def test_a_typed_minus_zero_is_zero(formula):
    for master, sample in [
        ((50.0, -0.0, -0.0), (50.0, 2.0, -0.0)),
        ((50.0, 20.0, -0.0), (50.0, 25.0, -0.0)),
        ((50.0, -0.0, -20.0), (50.0, 0.0, -25.0)),
    ]:
        cleaned = [tuple(value + 0.0 for value in colour) for colour in (master, sample)]
        assert formula(master, sample) == formula(*cleaned)
        np.testing.assert_array_equal(
            formula([master], [sample]), formula([cleaned[0]], cleaned[1])
        )


@pytest.mark.parametrize("formula", [*FORMULAS, components, steps_2000])
@pytest.mark.parametrize(
    ("master", "message"),
    [
        ((50.0, 1.0), r"master must hold L\*, a\*, b\* on its last axis, got shape \(2,\)"),
        ([[50.0], [1.0], [2.0]], r"master must hold L\*, a\*, b\* .* got shape \(3, 1\)"),
        (50.0, r"master must hold L\*, a\*, b\* .* got shape \(\)"),
        ([[50.0, 1.0, 2.0], [50.0, 1.0]], "master must hold .* rows of unlike length"),
    ],
)
def test_a_wrong_shape_is_refused_by_name(formula, master, message):
    with pytest.raises(ValueError, match=message):
        formula(master, MASTER)


@pytest.mark.parametrize("formula", [*FORMULAS, components, steps_2000])
@pytest.mark.parametrize(
    ("sample", "got"),
    [
        (("50", "1", "2"), "'50'"),
        ((50.0, 1.0, 2.0j), r"\(50\+0j\)"),
        ((50.0, None, 2.0), "dtype object"),
        ([[True, False, True]], "True"),
    ],
)
def test_what_is_no_number_is_refused_by_name(formula, sample, got):
    with pytest.raises(TypeError, match=f"sample must hold numbers, got {got}"):
        formula(MASTER, sample)


def test_sets_that_do_not_go_together_are_refused():
    with pytest.raises(ValueError, match=r"master of shape \(4, 3\) and sample of shape \(2, 3\)"):
        delta_e_2000(SAMPLES, SAMPLES[:2])


@pytest.mark.parametrize("samples", [MASTER, SAMPLES])
@pytest.mark.parametrize("factor", ["k_l", "k_c", "k_h"])
@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_a_meaningless_factor_is_refused(samples, factor, value):
    for formula in (delta_e_2000, steps_2000):
        with pytest.raises(ValueError, match=f"{factor} must be finite and above zero, got"):
            formula(MASTER, samples, **{factor: value})


@pytest.mark.parametrize("samples", [MASTER, SAMPLES])
def test_a_factor_that_is_no_number_is_refused(samples):
    with pytest.raises(TypeError, match="k_c must be a number, got '1'"):
        delta_e_2000(MASTER, samples, k_c="1")
    with pytest.raises(TypeError, match="l must be a number, got None"):
        delta_e_cmc(MASTER, samples, l=None)


@pytest.mark.parametrize("samples", [MASTER, SAMPLES])
@pytest.mark.parametrize("weight", ["l", "c"])
def test_a_meaningless_cmc_weight_is_refused(samples, weight):
    with pytest.raises(ValueError, match=f"{weight} must be finite and above zero, got 0"):
        delta_e_cmc(MASTER, samples, **{weight: 0})


def test_a_pair_is_compared_without_numpy():
    program = (
        "import sys; from colour.difference import *; pair = (50., 2., 3.), (51., 2., 2.);"
        "[f(*pair) for f in (delta_e_2000, delta_e_94, delta_e_cmc, delta_e_ab, components,"
        "steps_2000)]; sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", program]).returncode == 0


def test_every_public_name_is_there():
    assert all(hasattr(difference, name) for name in difference.__all__)
