"""How often the decision is wrong, by simulation with a fixed seed.

Master and card are drawn as repeat readings around two true colours, and judged by the very code
a single judgement runs (`weigh` takes a batch). Wrong is `blends` or `shows` when the true
difference equals the limit. Each bound is the stated risk and a stated number of sampling errors.
The longer run, with a table, is tests/benchmarks/bench_decision.py.
"""

import numpy as np
import pytest

from colour.quadratic_form import local_form, truths_on_limit
from colour.uncertain_difference import UncertainDifference
from colour.uncertainty import UncertainColour
from colour.weighing import is_judgeable, weigh

COLOURS = {
    "silver": (70, -0.5, -1.5),
    "black": (5, 0.1, -0.2),
    "white": (95, -0.8, 2.0),
    "red": (42, 55, 32),
    "blue": (32, 10, -45),
}
LIMIT, RISK = 0.8, 0.05
by_sd = pytest.mark.parametrize("sd", [0.1, 0.2, 0.3])


def _directions(master):
    """Lab directions in which ΔE00 hears the noise of the readings loudest, least, and between."""
    factor = np.linalg.cholesky(local_form(master)).T
    _, axes = np.linalg.eigh(factor @ factor.T)
    quiet, middle, loud = np.linalg.solve(factor, axes).T
    return {"loud": loud, "back": -loud, "quiet": quiet, "between": loud + middle - quiet}


def _truth(master, direction, size):
    difference, _, _ = truths_on_limit(master, direction, np.array(size))
    return difference


def _read(rng, centre, trials, n, sd):
    return centre + sd * rng.normal(size=(trials, n, 3))


def _difference(masters, cards, stated):
    about = {} if stated is None else {"standard_uncertainty": stated}
    return UncertainDifference.between(
        UncertainColour.from_repeats(masters, **about), UncertainColour.from_repeats(cards, **about)
    )


def _verdicts(masters, cards, stated, risk=RISK):
    """Which of a batch of trials blend and which show."""
    difference = _difference(masters, cards, stated)
    judgeable = np.broadcast_to(is_judgeable(difference), difference.mean.shape[:-1])
    weighed = weigh(difference, limit=LIMIT, risk=risk)
    blends = judgeable & (weighed.p_blends < risk) & (weighed.power_at_zero >= 0.5)
    return blends, judgeable & (weighed.p_shows < risk)


def _at_most(trials, errors=3.3):
    """The risk and so many sampling errors of a share that equals it."""
    return RISK + errors * np.sqrt(RISK * (1 - RISK) / trials)


def _wrong_rates(n, sd, *, known, trials):
    rng = np.random.default_rng([n, round(10 * sd), known])
    rates = {}
    for name, lab in COLOURS.items():
        master = np.array(lab, dtype=float)
        for where, direction in _directions(master).items():
            card = master + _truth(master, direction, LIMIT)
            rates[name, where] = [
                verdicts.mean()
                for verdicts in _verdicts(
                    _read(rng, master, trials, n, sd),
                    _read(rng, card, trials, n, sd),
                    sd if known else None,
                )
            ]
    return rates


def _check(rates, trials):
    every = np.array(list(rates.values()))
    assert every.mean(axis=0).max() <= _at_most(trials * len(rates)), rates
    for name in COLOURS:
        of_colour = np.array([rate for (colour, _), rate in rates.items() if colour == name])
        assert of_colour.mean(axis=0).max() <= _at_most(trials * len(of_colour)), name
    for where in ("loud", "back", "quiet", "between"):
        of_truth = np.array([rate for (_, truth), rate in rates.items() if truth == where])
        assert of_truth.mean(axis=0).max() <= _at_most(trials * len(of_truth)), where


@by_sd
@pytest.mark.parametrize("n", [1, 2, 3, 5, 10])
def test_stated_noise_errs_no_more_than_the_risk(n, sd):
    trials = 80
    _check(_wrong_rates(n, sd, known=True, trials=trials), trials)


@by_sd
@pytest.mark.parametrize("n", [3, 5, 10])
def test_estimated_noise_errs_no_more_than_the_risk(n, sd):
    trials = 36
    _check(_wrong_rates(n, sd, known=False, trials=trials), trials)


@by_sd
def test_two_repeats_a_side_of_unknown_noise_never_say_either(sd):
    assert set(map(tuple, _wrong_rates(2, sd, known=False, trials=20).values())) == {(0.0, 0.0)}


@pytest.mark.parametrize("n", [1, 3])
def test_least_favourable_truth_uses_the_risk_up(n):
    # The bounds above could be met by never answering. With known noise and one reading the test
    # is exact at its worst truth: 5 %, to three sampling errors (2000 trials, 0.5 % each). With
    # three readings the larger of scatter and U makes it careful.
    rng = np.random.default_rng(5)
    wrong = []
    for lab in COLOURS.values():
        master = np.array(lab, dtype=float)
        for where in ("loud", "back"):
            card = master + _truth(master, _directions(master)[where], LIMIT)
            readings = (_read(rng, centre, 200, n, 0.1) for centre in (master, card))
            wrong.append([verdicts.mean() for verdicts in _verdicts(*readings, 0.1)])
    blends, shows = np.mean(wrong, axis=0)
    least = 0.035 if n == 1 else 0.008
    assert least <= blends <= _at_most(2000, 3)
    assert least <= shows <= _at_most(2000, 3)


@pytest.mark.parametrize("known", [True, False], ids=["stated", "estimated"])
@pytest.mark.parametrize("name", COLOURS)
def test_three_readings_a_side_at_sd_01_are_useful(name, known):
    # 200 trials in a random direction each.
    rng = np.random.default_rng([*name.encode(), known])
    master = np.array(COLOURS[name], dtype=float)
    directions = rng.normal(size=(200, 3))
    for size, word, wanted in ((0.3, 0, 0.90), (1.4, 1, 0.90)):
        difference, _, _ = truths_on_limit(master, directions, np.full(200, size))
        cards = (master + difference)[:, None]
        said = _verdicts(
            _read(rng, master, 200, 3, 0.1),
            _read(rng, cards, 200, 3, 0.1),
            0.1 if known else None,
        )[word]
        assert said.mean() >= wanted


def _looks(rng, sizes, risks, *, known, trials, where):
    """Share of trials that were wrong at any look, readings being added from look to look."""
    wrong = []
    for lab in COLOURS.values():
        master = np.array(lab, dtype=float)
        card = master + _truth(master, _directions(master)[where], LIMIT)
        masters = _read(rng, master, trials, max(sizes), 0.1)
        cards = _read(rng, card, trials, max(sizes), 0.1)
        ever = np.zeros((2, trials), dtype=bool)
        for size, risk in zip(sizes, risks, strict=True):
            said = _verdicts(masters[:, :size], cards[:, :size], 0.1 if known else None, risk)
            ever |= np.array(said)
        wrong.append(ever.mean(axis=1))
    return np.mean(wrong, axis=0)


@pytest.mark.parametrize("known", [True, False], ids=["stated", "estimated"])
@pytest.mark.parametrize("where", ["loud", "back", "between"])
def test_three_looks_together_err_no_more_than_the_risk(known, where):
    rng = np.random.default_rng([*where.encode(), known])
    wrong = _looks(rng, (3, 6, 9), [RISK / 3] * 3, known=known, trials=80, where=where)
    assert wrong.max() <= _at_most(400)


def test_looking_again_with_the_full_risk_would_err_more():
    # Why looks share it. Five looks, 1500 trials: three sampling errors are 1.7 %.
    rng = np.random.default_rng(9)
    wrong = _looks(rng, (1, 3, 6, 10, 15), [RISK] * 5, known=True, trials=300, where="loud")
    assert wrong.min() > _at_most(1500, 3)


@pytest.mark.parametrize("times", [1.5, 2.0, 3.0])
def test_understated_uncertainty_does_not_let_the_errors_through(times):
    # U says 0.1 while readings scatter `times` as much: the scatter seen takes over.
    rng = np.random.default_rng(10)
    wrong = []
    for lab in COLOURS.values():
        master = np.array(lab, dtype=float)
        card = master + _truth(master, _directions(master)["loud"], LIMIT)
        readings = (_read(rng, centre, 60, 3, 0.1 * times) for centre in (master, card))
        wrong.append([verdicts.mean() for verdicts in _verdicts(*readings, 0.1)])
    assert np.mean(wrong, axis=0).max() <= _at_most(300)


@pytest.mark.parametrize(("n", "m"), [(3, 3), (10, 3), (5, 3)])
def test_restless_card_beside_a_quiet_master_does_not_let_the_errors_through(n, m):
    rng = np.random.default_rng([11, n, m])
    wrong = []
    for lab in COLOURS.values():
        master = np.array(lab, dtype=float)
        card = master + _truth(master, _directions(master)["loud"], LIMIT)
        masters, cards = _read(rng, master, 100, n, 0.1), _read(rng, card, 100, m, 0.2)
        wrong.append([verdicts.mean() for verdicts in _verdicts(masters, cards, None)])
    assert np.mean(wrong, axis=0).max() <= _at_most(500)


@pytest.mark.parametrize("sd", [0.005, 0.02, 0.05])
def test_rounded_displays_do_not_let_the_errors_through(sd):
    # Shown to 0.1, so that the repeats are often all alike; truths lie anywhere in their cells.
    rng = np.random.default_rng(12)
    wrong = []
    for lab in COLOURS.values():
        master = np.array(lab, dtype=float)
        truth = _truth(master, _directions(master)["loud"], LIMIT)
        shift = rng.uniform(-0.05, 0.05, (100, 1, 3))
        masters = np.round(_read(rng, master + shift, 100, 3, sd), 1)
        cards = np.round(_read(rng, master + shift + truth, 100, 3, sd), 1)
        wrong.append([verdicts.mean() for verdicts in _verdicts(masters, cards, None)])
    assert np.mean(wrong, axis=0).max() <= _at_most(500)
