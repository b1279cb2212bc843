"""Control charts against the handbook's and the paper's worked examples."""

from __future__ import annotations

import numpy as np
import pytest

from colour import control

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (public domain): a chart of single
# values, batch means of a process.
NIST_INDIVIDUALS = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
# The same, 6.3.2.4: the EWMA of twenty values, λ = 0.3, start 50, s = 2.0539.
NIST_EWMA = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]  # fmt: skip
NIST_EWMA_POINTS = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip
# Tracy, Young, Mason, Journal of Quality Technology 24 (1992) 88-95: 14 rows of three variables;
# read in a worked example of an open-source library, the T² values with it.
TYM = np.array(
    """14.92 85.77 42.26 16.90 83.77 43.44 17.38 84.46 42.74 16.90 86.27 43.60 16.92 85.23 43.18
    16.71 83.81 43.72 17.07 86.08 43.33 16.93 85.85 43.41 16.71 85.73 43.28 16.88 86.27 42.59
    16.73 83.46 44.00 17.07 85.81 42.78 17.60 85.92 43.11 16.90 84.23 43.48""".split(),
    dtype=float,
).reshape(14, 3)
TYM_T2 = [10.93, 2.04, 5.58, 3.86, 0.04, 2.25, 1.44, 1.21, 0.68, 2.17, 4.17, 1.40, 2.33, 0.90]


def test_the_handbooks_chart_of_individuals_to_its_printed_digits():
    made = control.individuals(NIST_INDIVIDUALS)
    assert float(made.centre) == pytest.approx(50.81, abs=5e-5)
    assert made.upper[0] == pytest.approx(55.8041, abs=5e-5)
    assert made.lower is not None and made.lower[0] == pytest.approx(45.8159, abs=5e-5)
    assert made.signals == () and made.runs == ()
    ranges = control.moving_range(NIST_INDIVIDUALS)
    assert float(ranges.centre) == pytest.approx(1.8778, abs=5e-5)
    assert ranges.upper[0] == pytest.approx(6.1347, abs=5e-5)


def test_the_handbooks_ewma_to_its_printed_digits():
    made = control.ewma(NIST_EWMA, weight=0.3, target=50, standard_deviation=2.0539)
    np.testing.assert_allclose(made.points, NIST_EWMA_POINTS, atol=0.00501)
    # The handbook prints where the limits end; those of the first points are narrower.
    reach = control.steady_reach(weight=0.3, sigma=3, standard_deviation=2.0539)
    assert 50 + reach == pytest.approx(52.5884, abs=5e-5)
    assert made.upper[-1] == pytest.approx(52.5884, abs=1e-4)
    # Exact limits of the first three points, computed apart from this program.
    np.testing.assert_allclose(made.upper[:3], [51.8485, 52.2564, 52.4314], atol=5e-5)
    assert made.signals == ()


def test_the_papers_t_squared_to_its_printed_digits():
    held = control.baseline_of(TYM)
    np.testing.assert_allclose(held.mean, [16.83, 85.19, 43.2086], atol=0.005)
    np.testing.assert_allclose(
        held.covariance,
        [[0.3641, -0.0214, 0.1004], [-0.0214, 1.0366, -0.2444], [0.1004, -0.2444, 0.2250]],
        atol=5e-5,
    )
    # Limits by the paper's own formula, from another computation: 0.05 to 0.001.
    for alpha, limit in ((0.05, 6.357), (0.01, 8.001), (0.005, 8.546), (0.001, 9.539)):
        made = control.t_squared(TYM, alpha=alpha)
        np.testing.assert_allclose(made.points, TYM_T2, atol=0.00501)
        assert made.upper[0] == pytest.approx(limit, abs=5e-4)
        assert made.signals == (0,), "the first row signals, as in the paper"
        assert made.lower is None
    later = control.t_squared(TYM, alpha=0.01, phase=2)
    assert later.upper[0] == pytest.approx(23.615, abs=5e-4)
    assert control.t_squared(TYM, phase=2).upper[0] == pytest.approx(34.12, abs=5e-3)


def test_the_limits_of_t_squared_are_those_of_the_distributions_themselves():
    """scipy.stats, another road to the same quantiles."""
    stats = pytest.importorskip("scipy.stats")
    rows = np.random.default_rng(4).normal(size=(25, 3))
    m, p = rows.shape
    first = control.t_squared(rows, alpha=0.01)
    assert first.upper[0] == pytest.approx(
        (m - 1) ** 2 / m * stats.beta.ppf(0.99, p / 2, (m - p - 1) / 2), rel=1e-9
    )
    later = control.t_squared(rows, alpha=0.01, phase=2, baseline=control.baseline_of(rows))
    assert later.upper[0] == pytest.approx(
        p * (m + 1) * (m - 1) / (m * m - m * p) * stats.f.ppf(0.99, p, m - p), rel=1e-9
    )


def test_false_signals_come_as_often_as_stated():
    """Theory: 0.0027 outside three standard deviations; T² by its own alpha, in either phase."""
    generator = np.random.default_rng(7)
    known = control.individuals(generator.normal(size=200_000), target=0, standard_deviation=1)
    assert len(known.signals) / 200_000 == pytest.approx(0.0027, abs=0.0004)
    first = later = 0
    for _ in range(2000):
        rows = generator.normal(size=(31, 3))
        held = control.baseline_of(rows[:30])
        first += len(control.t_squared(rows[:30], alpha=0.01).signals)
        later += len(control.t_squared(rows[30:], alpha=0.01, phase=2, baseline=held).signals)
    assert first / (2000 * 30) == pytest.approx(0.01, abs=0.002)
    assert later / 2000 == pytest.approx(0.01, abs=0.008)


def test_a_shift_of_one_standard_deviation_is_found_within_the_theorys_run_length():
    """Single values need 43.9 points for a shift of 1 σ (1 / P(|z + 1| > 3), exact)."""
    generator = np.random.default_rng(9)
    single, average = [], []
    for _ in range(1500):
        values = generator.normal(loc=1.0, size=600)
        for found, made in (
            (single, control.individuals(values, target=0, standard_deviation=1)),
            (average, control.ewma(values, target=0, standard_deviation=1)),
        ):
            found.append(made.signals[0] + 1)
    assert np.mean(single) == pytest.approx(43.9, rel=0.1)
    # The weighted average is there for this; it must be several times sooner.
    assert np.mean(average) < np.mean(single) / 3


def test_eight_in_a_row_on_one_side_is_a_run_and_a_point_on_the_centre_ends_it():
    up = [1.0] * 8
    assert control.individuals(up, target=0, standard_deviation=1).runs == (7,)
    assert control.individuals([*up, 1.0], target=0, standard_deviation=1).runs == (7, 8)
    broken = [1.0] * 4 + [0.0] + [1.0] * 7
    assert control.individuals(broken, target=0, standard_deviation=1).runs == ()
    both = [1.0] * 7 + [-1.0] * 8
    assert control.individuals(both, target=0, standard_deviation=1).runs == (14,)


def test_an_ewma_of_weight_one_is_the_chart_of_individuals():
    one = control.ewma(NIST_INDIVIDUALS, weight=1)
    other = control.individuals(NIST_INDIVIDUALS)
    np.testing.assert_allclose(one.points, other.points)
    np.testing.assert_allclose(one.upper, other.upper)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: control.individuals([]), "one series"),
        (lambda: control.individuals([1.0]), "one value has no spread"),
        (lambda: control.individuals([2.0, 2.0, 2.0]), "all values are the same"),
        (lambda: control.individuals([1.0, np.nan, 2.0]), "row 2 is not"),
        (lambda: control.individuals([1, 2], standard_deviation=0), "above 0"),
        (lambda: control.individuals([1, 2], target=np.inf), "target"),
        (lambda: control.ewma([1, 2], weight=0), "weight"),
        (lambda: control.moving_range([1.0]), "two at least"),
        (lambda: control.t_squared(TYM[:4]), "5 rows at least, got 4"),
        (lambda: control.t_squared(TYM[:, [0, 0]]), "move as one"),
        (lambda: control.t_squared(TYM * [1, 0, 1]), "move as one or do not move"),
        (lambda: control.t_squared(TYM, phase=3), "phase"),
        (lambda: control.t_squared(TYM, alpha=0), "alpha"),
        (lambda: control.t_squared(TYM, baseline=control.baseline_of(TYM)), "phase 1"),
        (
            lambda: control.t_squared(TYM, phase=2, baseline=control.baseline_of(TYM[:, :2])),
            "2 variables and the rows have 3",
        ),
    ],
)
def test_what_gives_no_chart_is_refused_in_words(call, said):
    with pytest.raises(ValueError, match=said):
        call()
