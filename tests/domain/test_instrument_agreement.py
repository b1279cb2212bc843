"""How an instrument repeats and how far two stand apart, from what they read of the same tiles."""

from __future__ import annotations

import math
from statistics import pvariance, variance

import numpy as np
import pytest

from service.domain.instrument_agreement import LEAST_DEGREES, apart_from_others, repeatability_of
from tests.tile_shop import GREY, TileShop


@pytest.fixture
def shop():
    made = TileShop()
    made.sphere, made.second = made.instrument(), made.instrument("Second sphere")
    made.grey = made.tile()
    return made


def test_sets_of_repeats_are_pooled_as_the_textbooks_pool_variances(shop):
    """s² = Σ(n−1)s² / Σ(n−1), the sample variances by Python's own statistics module."""
    first = ((0.05, 0.01, 0.0), (-0.03, 0.02, 0.04), (0.02, -0.04, 0.01), (-0.06, 0.0, 0.0))
    later = ((0.02, 0.0, -0.02), (-0.02, 0.01, 0.02))
    shop.read(shop.sphere, shop.grey, repeats=first)
    shop.read(shop.sphere, shop.tile("White tile"), (95.0, 0.0, 2.0), 5, repeats=later)
    found = repeatability_of(shop.file, shop.sphere.root)
    for axis, seen in enumerate(found.deviations):
        a, b = ([row[axis] for row in rows] for rows in (first, later))
        pooled = (3 * variance(a) + variance(b)) / 4
        assert seen == pytest.approx(math.sqrt(pooled), rel=1e-9)
    assert (found.readings, found.sets, found.degrees) == (6, 2, 4)
    assert found.figure == max(found.deviations)


def test_a_drift_between_sets_is_not_in_the_repeatability(shop):
    for days, l in ((0, 56.0), (30, 56.8)):  # noqa: E741
        shop.read(shop.sphere, shop.grey, (l, -0.2, 0.4), days)
    found = repeatability_of(shop.file, shop.sphere.root)
    assert found.figure < 0.03


def test_it_is_offered_from_nine_degrees_of_freedom_on(shop):
    for days in range(5):
        found = repeatability_of(shop.file, shop.sphere.root)
        assert found is None or not found.offered
        shop.read(shop.sphere, shop.grey, days=days)
    found = repeatability_of(shop.file, shop.sphere.root)
    assert found.offered
    assert found.degrees == 10 >= LEAST_DEGREES


def test_single_readings_say_nothing_of_repeatability(shop):
    shop.read(shop.sphere, shop.grey, repeats=((0.0, 0.0, 0.0),))
    assert repeatability_of(shop.file, shop.sphere.root) is None


def test_the_noisiest_angle_gives_the_figure(shop):
    quiet = shop.read(shop.sphere, shop.grey, {45: GREY})
    loud = tuple((3 * l, 3 * a, 3 * b) for l, a, b in quiet.angles[0].repeats)  # noqa: E741
    middle = tuple(sum(channel) / 3 for channel in zip(*loud, strict=True))
    about = tuple(tuple(x - m for x, m in zip(row, middle, strict=True)) for row in loud)
    shop.read(shop.sphere, shop.grey, {15: (70.0, 0.0, 0.0)}, 1, repeats=about)
    assert repeatability_of(shop.file, shop.sphere.root).angle == 15


def test_two_instruments_stand_apart_by_the_difference_of_their_newest_readings(shop):
    shop.read(shop.sphere, shop.grey, (57.0, 0.0, 0.0))
    shop.read(shop.sphere, shop.grey, GREY, 10)
    shop.read(shop.second, shop.grey, (56.2, -0.3, 0.6), 12)
    (apart,) = apart_from_others(shop.file, shop.sphere.root)
    (on,) = apart.on
    assert apart.other.name == "Second sphere"
    assert on.difference == pytest.approx((0.2, -0.1, 0.2))
    assert on.days == 2
    # √((0.04 + 0.01 + 0.04) / 3), and the figure with ν = 3: √(0.03 / 2 · 3).
    assert apart.root_mean_square == pytest.approx(math.sqrt(0.03))
    assert apart.figure == pytest.approx(math.sqrt(0.045))


def test_it_is_the_same_seen_from_the_other_one(shop):
    shop.read(shop.sphere, shop.grey, GREY)
    shop.read(shop.second, shop.grey, (56.2, -0.3, 0.6), 1)
    (one,) = apart_from_others(shop.file, shop.sphere.root)
    (other,) = apart_from_others(shop.file, shop.second.root)
    assert one.figure == pytest.approx(other.figure)
    assert one.on[0].difference == pytest.approx(tuple(-d for d in other.on[0].difference))


def test_tiles_of_unlike_conditions_are_not_compared(shop):
    shop.read(shop.sphere, shop.grey)
    shop.read(shop.second, shop.grey, geometry="45:0")
    shop.read(shop.second, shop.grey, illuminant="A")
    shop.read(shop.second, shop.tile("White tile"))
    assert apart_from_others(shop.file, shop.sphere.root) == []


def test_the_angles_of_one_tile_do_not_pass_for_several_tiles(shop):
    several = {15: (70.0, 0.0, 0.0), 45: GREY, 110: (30.0, 0.0, 0.0)}
    moved = {angle: (lab[0] + 0.3, *lab[1:]) for angle, lab in several.items()}
    shop.read(shop.sphere, shop.grey, several)
    shop.read(shop.second, shop.grey, moved)
    (apart,) = apart_from_others(shop.file, shop.sphere.root)
    assert (apart.tiles, len(apart.on)) == (1, 3)
    assert apart.figure == pytest.approx(math.sqrt(0.03 / 2 * 3))


def test_over_many_tiles_the_figure_comes_to_the_spread_the_instruments_were_given(shop):
    """Biases drawn with a standard deviation of 0.12 a channel: 40 tiles find it within 15 %."""
    chance = np.random.default_rng(4)
    given = 0.12
    drawn = chance.normal(0, given, (2, 40, 3))
    for number in range(40):
        tile = shop.tile(f"Tile {number}")
        for instrument, bias in zip((shop.sphere, shop.second), drawn[:, number], strict=True):
            lab = tuple(float(x) for x in np.array([50.0 + number, 5.0, -5.0]) + bias)
            shop.read(instrument, tile, lab)
    (apart,) = apart_from_others(shop.file, shop.sphere.root)
    assert apart.tiles == 40
    assert apart.figure == pytest.approx(given, rel=0.15)
    spread = [pvariance(list(channel), 0.0) for channel in (drawn[1] - drawn[0]).T]
    assert apart.root_mean_square**2 == pytest.approx(sum(spread) / 3, rel=0.02)


def test_what_the_figures_add_covers_the_very_difference_they_come_from(shop):
    """With u put in for both, u² + u² a channel is no less than the mean square that was seen."""
    shop.read(shop.sphere, shop.grey, GREY)
    shop.read(shop.second, shop.grey, (56.2, -0.3, 0.6))
    (apart,) = apart_from_others(shop.file, shop.sphere.root)
    assert 2 * apart.figure**2 >= apart.root_mean_square**2
