"""Readings are their true colour and the stated noise, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2

from demo_cards.readings_made import repeats_of, true_colours
from demo_cards.script import card_id, instrument_id, told
from service.domain.records.measuring import Reading
from service.domain.records.shop import Instrument
from tests.demo_cards.conftest import Told

TRUE = {"15": (100.0, -1.0, -2.0), "45": (60.0, -1.0, -3.0)}


def test_the_same_name_gives_the_same_reading_and_another_name_another():
    one = repeats_of(TRUE, 0.06, 3, seed=1, name="a")
    assert one == repeats_of(TRUE, 0.06, 3, seed=1, name="a")
    assert one != repeats_of(TRUE, 0.06, 3, seed=1, name="b")
    assert [angle.angle for angle in one] == [15, 45]
    assert all(len(angle.repeats) == 3 for angle in one)


def test_noise_has_the_stated_size_in_every_channel():
    """Bounds are the 0.01 % and 99.99 % points of chi-square for the sum of squares."""
    (angle,) = repeats_of({"": (20.0, -12.0, 3.0)}, 0.05, 4000, seed=1, name="many")
    off = (np.array(angle.repeats) - (20.0, -12.0, 3.0)) / 0.05
    sums = (off**2).sum(axis=0)
    # Rounding to 0.01 adds its own variance, (0.01)²/12.
    sums /= 1 + (0.01 / 0.05) ** 2 / 12
    low, high = chi2.ppf([0.0001, 0.9999], 4000)
    assert ((low < sums) & (sums < high)).all()


@pytest.mark.parametrize("several_angles", [True, False])
def test_the_demos_own_readings_scatter_as_their_instrument_is_registered(
    demo: Told, several_angles: bool
):
    instrument = demo.store.shop().get(Instrument, instrument_id(several_angles))
    sigma = instrument.standard_uncertainty
    assert sigma is not None
    squares, degrees = 0.0, 0
    for reading in demo.van.by(Reading, "instrument_id", instrument.root):
        for angle in reading.angles:
            repeats = np.array(angle.repeats)
            squares += float(((repeats - repeats.mean(axis=0)) ** 2).sum())
            degrees += 3 * (len(repeats) - 1)
    low, high = chi2.ppf([0.001, 0.999], degrees)
    assert low < squares / sigma**2 < high


def test_a_card_lies_off_its_master_by_its_own_figures():
    colours = told("colours")
    master = true_colours(colours, "Frost Lake", "polished", "2")
    drifted = true_colours(colours, "Frost Lake", "polished", "6")
    assert master == {
        angle: tuple(lab) for angle, lab in colours["finishes"]["Frost Lake"]["polished"].items()
    }
    assert np.subtract(drifted["110"], master["110"]) == pytest.approx(colours["cards"]["6"]["110"])
    assert card_id("6") != card_id("2")
