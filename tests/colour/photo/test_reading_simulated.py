"""Simulated photographs read from their bytes: how right, how surely, and which are refused.

A small fixed draw of what tests/benchmarks/bench_photo_accuracy.py measures at length. Limits of
rms are the ones to be reached, without room. Shares of few photographs scatter, so a share to be
reached is held to the count that 99 of 100 such draws would reach if it were just met (binomial).
"""

import numpy as np
import pytest
from scipy import stats

from colour.photo.sheet import sheet_target
from demo_cards.photographing.setups import SPOILINGS, plausible, spoiled
from tests.photo_trials import (
    CHI_SQUARE_95,
    DARK,
    judged_cards,
    read_photograph,
    root_mean_square,
)

SHEET = sheet_target()
FRAME = (2048, 1536)
GOOD, BAD_OF_EACH = 12, 2
DARK_SEEDS = (3, 6, 9)  # one in four, of both families
# What a photograph spoiled in one way may rightly be refused for: a strong glare is cut off at
# white, a shadow's edge is uneven light, and what covers patches makes them wrong.
FITTING = {
    "overexposed": {"overexposed", "no_target"},
    "underexposed": {"underexposed", "no_target"},
    "glare": {"glare", "overexposed", "uneven_light"},
    "blurred": {"blurred", "no_target"},
    "uneven_light": {"uneven_light"},
    "shadow": {"uneven_light", "covered", "glare"},
    "covered": {"covered", "patches_wrong", "uneven_light", "no_target"},
    "wrong_patches": {"patches_wrong", "wrong_target"},
    "no_target": {"no_target"},
}


def fewest(count, share):
    return int(stats.binom.ppf(0.01, count, share))


@pytest.fixture(scope="module")
def good():
    """Readings by the family of camera, seed by seed."""
    readings = []
    for seed in range(GOOD):
        dice = np.random.default_rng([20, seed])
        cards = judged_cards(dice, SHEET, (4, 15) if seed in DARK_SEEDS else (15, 88))
        family = "matrix" if seed % 2 else "spectral"
        taken = plausible(dice, SHEET, cards=cards, camera=family, frame=FRAME).take(dice)
        readings.append((family, *read_photograph(taken.content, taken.truth, SHEET)))
    return readings


@pytest.fixture(scope="module")
def bad():
    """Readings by what was spoiled."""
    readings = {}
    for kind in SPOILINGS:
        for seed in range(BAD_OF_EACH):
            dice = np.random.default_rng([30, seed])
            taken = spoiled(dice, SHEET, kind, frame=FRAME).take(dice)
            some = readings.setdefault(kind, [])
            some.extend(read_photograph(taken.content, taken.truth, SHEET))
    return readings


def pairs(good, wanted=lambda pair: True):
    return [pair for _, reading in good for pair in reading.pairs if wanted(pair)]


def test_the_sheets_codes_are_found(good):
    found = sum(reading.markers for _, reading in good)
    assert found >= fewest(4 * GOOD, 0.98)


def test_good_photographs_are_not_refused(good):
    refused = {reading.messages for _, reading in good if reading.refused}
    assert GOOD - len(refused) >= fewest(GOOD, 0.97), refused


@pytest.mark.parametrize("family", ["matrix", "spectral"])
def test_the_difference_of_light_pairs_is_right(good, family):
    of_family = [each for each in good if each[0] == family]
    errors = [p.vector_error for p in pairs(of_family, lambda p: p.lightness >= DARK)]
    assert len(errors) > 5
    assert root_mean_square(errors) <= 0.25


def test_the_difference_of_dark_pairs_is_nearly_right(good):
    errors = [p.vector_error for p in pairs(good, lambda p: p.lightness < DARK)]
    assert len(errors) > 3
    assert root_mean_square(errors) <= 0.6


def test_the_stated_regions_cover_the_truth(good):
    differences = [pair.squares <= CHI_SQUARE_95 for pair in pairs(good)]
    own = [pair.window_squares(which) <= CHI_SQUARE_95 for pair in pairs(good) for which in (0, 1)]
    assert sum(differences) >= fewest(len(differences), 0.90)
    # Both pairs of a photograph share its master, so there are half as many chances.
    assert sum(own) / 2 >= fewest(len(own) // 2, 0.90)


def test_verdicts_do_not_contradict_the_truth(good):
    wrong = [pair for pair in pairs(good) if pair.is_wrong(pair.verdict())]
    assert len(pairs(good)) - len(wrong) >= fewest(len(pairs(good)), 0.95), wrong


def test_cards_that_show_are_called_so(good):
    shown = pairs(good, lambda p: p.true_difference >= 2 and p.lightness >= DARK)
    called = [pair.verdict() == "shows" for pair in shown]
    assert len(called) > 5
    assert sum(called) >= fewest(len(called), 0.80)


def test_the_cameras_are_not_of_the_readers_own_kind(good):
    """Patches are never foretold to where noise alone would have them, for all their number."""
    left_out = {
        each: np.median([r.left_out for family, r in good if family == each and r.pairs])
        for each in ("matrix", "spectral")
    }
    assert left_out["matrix"] > 0.1
    assert left_out["spectral"] > 0.2


def test_bad_photographs_are_refused(bad):
    everything = [reading for some in bad.values() for reading in some]
    refused = [reading for reading in everything if reading.refused]
    assert len(refused) >= fewest(len(everything), 0.95)


@pytest.mark.parametrize("kind", SPOILINGS)
def test_each_kind_of_bad_photograph_is_refused_in_words_that_fit(bad, kind):
    refused = [reading for reading in bad[kind] if reading.refused]
    assert refused
    for reading in refused:
        assert FITTING[kind] & set(reading.refused), reading.messages
        assert all(message.endswith(".") for message in reading.messages)


@pytest.mark.parametrize("kind", SPOILINGS)
def test_what_is_not_refused_is_warned_of_and_not_pretended(bad, kind):
    for reading in bad[kind]:
        if not reading.refused:
            assert FITTING[kind] & {*reading.warned} or "patch_disagrees" in reading.warned
            assert all(pair.vector_error < 0.6 for pair in reading.pairs)
