"""The history of an instrument on its check tiles: drift, rate, temperature, new references."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from service.domain.tile_history import courses_of, drift_words
from tests.tile_shop import GREY, TileShop

DARKER = (55.6, -0.2, 0.4)


@pytest.fixture
def shop():
    made = TileShop()
    made.sphere, made.grey = made.instrument(), made.tile()
    return made


def only(shop):
    (course,) = courses_of(shop.file, shop.sphere.root)
    return course


def test_one_reading_is_what_later_ones_are_held_against(shop):
    shop.read(shop.sphere, shop.grey)
    course = only(shop)
    assert (course.steps, course.drift, course.newest) == ((), None, None)
    assert course.conditions == "D65/10°, d:8, specular included"
    assert "Read once so far" in drift_words(course)


def test_each_later_reading_is_told_from_the_first_with_its_uncertainty(shop):
    shop.read(shop.sphere, shop.grey)
    shop.read(shop.sphere, shop.grey, (55.9, -0.1, 0.5), days=30)
    shop.read(shop.sphere, shop.grey, DARKER, days=90)
    course = only(shop)
    assert [step.days for step in course.steps] == [30, 90]
    assert course.steps[0].difference == pytest.approx((-0.1, 0.1, 0.1), abs=1e-9)
    for step, lab in zip(course.steps, ((55.9, -0.1, 0.5), DARKER), strict=True):
        # scikit-image's own CIEDE2000.
        assert step.delta_e_2000 == pytest.approx(float(deltaE_ciede2000(GREY, lab)), abs=1e-6)
        assert 0 < step.standard_uncertainty < 0.05


def test_the_uncertainty_is_the_repeat_noise_of_both_means_by_jcgm_100(shop):
    """Of two alike means of n, of an instrument of stated u: √(u²/n + u²/n), along ΔL* alone."""
    sphere = replace(shop.sphere, standard_uncertainty=0.06)
    shop.file = shop.file.with_records([sphere])
    shop.read(sphere, shop.grey, repeats=((0.0, 0.0, 0.0),) * 3)
    shop.read(sphere, shop.grey, DARKER, 30, repeats=((0.0, 0.0, 0.0),) * 3)
    (step,) = only(shop).steps
    along_lightness = float(deltaE_ciede2000(GREY, DARKER)) / 0.4
    expected = along_lightness * np.sqrt(2 * 0.06**2 / 3)
    assert step.standard_uncertainty == pytest.approx(expected, rel=1e-3)


def test_an_instrument_that_reads_the_same_has_not_drifted(shop):
    for days in (0, 30, 60):
        shop.read(shop.sphere, shop.grey, days=days)
    course = only(shop)
    assert course.drift.drifted is False
    assert course.drift.low == 0
    assert drift_words(course) == "No drift shows beyond the noise over 60 days."


def test_an_instrument_that_reads_darker_drifted_and_says_how_fast(shop):
    shop.read(shop.sphere, shop.grey)
    shop.read(shop.sphere, shop.grey, DARKER, days=182.625)
    course = only(shop)
    assert course.drift.drifted is True
    assert 0 < course.drift.low < course.steps[-1].delta_e_2000 < course.drift.high
    said = drift_words(course)
    seen = course.steps[-1].delta_e_2000
    assert f"It drifted by {seen:.2f} over 6 months, darker" in said
    assert f"about {2 * seen:.1f} a year if it goes on so" in said


def test_a_long_history_may_be_cut_to_its_newest_readings(shop):
    for days in range(4):
        shop.read(shop.sphere, shop.grey, days=days)
    (course,) = courses_of(shop.file, shop.sphere.root, newest=2, with_range=False)
    assert [step.days for step in course.steps] == [2, 3]
    assert (course.drift.drifted, course.drift.low) == (False, None)


def test_a_history_of_days_names_no_rate(shop):
    shop.read(shop.sphere, shop.grey)
    shop.read(shop.sphere, shop.grey, DARKER, days=3)
    assert "a year" not in drift_words(only(shop))


def test_single_readings_say_plainly_that_they_are_too_few(shop):
    once = ((0.0, 0.0, 0.0),)
    shop.read(shop.sphere, shop.grey, repeats=once)
    shop.read(shop.sphere, shop.grey, DARKER, 30, repeats=once)
    course = only(shop)
    assert (course.drift.drifted, course.steps[0].standard_uncertainty) == (None, None)
    assert drift_words(course).startswith("Too few readings to tell: read it three times")


def test_the_noise_of_other_readings_helps_single_ones(shop):
    once = ((0.0, 0.0, 0.0),)
    white = shop.tile("White tile")
    for days in range(4):
        shop.read(shop.sphere, white, (95.0, 0.0, 2.0), days)
    shop.read(shop.sphere, shop.grey, repeats=once)
    shop.read(shop.sphere, shop.grey, DARKER, 30, repeats=once)
    course = next(c for c in courses_of(shop.file, shop.sphere.root) if c.tile == shop.grey)
    assert course.drift.drifted is True


def test_the_newest_marked_reference_is_what_later_readings_are_held_against(shop):
    shop.read(shop.sphere, shop.grey)
    shop.read(shop.sphere, shop.grey, DARKER, 30)
    marked = shop.read(shop.sphere, shop.grey, DARKER, 40, is_reference=True)
    shop.read(shop.sphere, shop.grey, DARKER, 70)
    course = only(shop)
    assert course.reference == marked
    assert [step.days for step in course.steps] == [30]
    assert course.drift.drifted is False


def test_a_warmer_tile_is_said_with_the_drift(shop):
    shop.read(shop.sphere, shop.grey, surface_temperature_c=22.0)
    shop.read(shop.sphere, shop.grey, DARKER, 30, surface_temperature_c=28.5)
    assert only(shop).steps[0].warmer_c == 6.5
    assert "6.5 °C warmer than at the reference, which may be all of it" in drift_words(only(shop))
    shop.read(shop.sphere, shop.grey, DARKER, 40, surface_temperature_c=None)
    assert only(shop).steps[-1].warmer_c is None


def test_unlike_conditions_and_angles_each_have_a_history_of_their_own(shop):
    faces = {15: (70.0, 0.0, 1.0), 45: (45.0, 0.0, 0.0)}
    several = {"geometry": "multi-angle", "specular": None}
    shop.read(shop.sphere, shop.grey)
    shop.read(shop.sphere, shop.grey, days=10, illuminant="A")
    shop.read(shop.sphere, shop.grey, faces, 20, **several)
    shop.read(shop.sphere, shop.grey, faces | {15: (69.4, 0.0, 1.0)}, 30, **several)
    courses = courses_of(shop.file, shop.sphere.root)
    assert [(c.angle, len(c.steps)) for c in courses] == [(None, 0), (None, 0), (15, 1), (45, 1)]
    assert [c.drift.drifted for c in courses[2:]] == [True, False]
    assert drift_words(courses[2]).startswith("It drifted at 15° by")


def test_a_withdrawn_tile_or_reading_counts_no_more(shop):
    shop.read(shop.sphere, shop.grey)
    gone = shop.read(shop.sphere, shop.grey, DARKER, 30)
    row = {"id": "9" * 8 + gone.id[8:], "revision": 2, "reason": "Dusty.", "withdrawn": True}
    shop.file = shop.file.with_records([replace(gone, corrects=gone.id, **row)])
    assert only(shop).steps == ()
    tile = replace(shop.grey, corrects=shop.grey.id, **{**row, "id": "8" * 8 + shop.grey.id[8:]})
    shop.file = shop.file.with_records([tile])
    assert courses_of(shop.file, shop.sphere.root) == []


@pytest.mark.parametrize("seed", range(3))
def test_noise_alone_is_seldom_called_drift(seed):
    """At a true drift of nothing the stated risk of 5 % is an upper bound."""
    chance = np.random.default_rng(seed)
    called = 0
    for _ in range(30):
        shop = TileShop()
        sphere, grey = shop.instrument(), shop.tile()
        for days in (0, 30):
            noise = tuple(map(tuple, chance.normal(0, 0.04, (3, 3))))
            shop.read(sphere, grey, days=days, repeats=noise)
        (course,) = courses_of(shop.file, sphere.root, with_range=False)
        called += course.drift.drifted is True
    assert called <= 3


def test_one_wild_reading_does_not_upset_the_noise_of_the_others(shop):
    """Scatter is pooled without the two readings compared, not taken away from a total."""
    shop.read(shop.sphere, shop.grey)
    for days in (1, 2):
        shop.read(shop.sphere, shop.grey, days=days, repeats=((0.0, 0.0, 0.0), (0.0001, 0.0, 0.0)))
    wild = ((40.0, 30.0, -20.0), (-40.0, 10.0, 60.0), (0.0, -40.0, -40.0))
    shop.read(shop.sphere, shop.grey, days=3, repeats=wild)
    assert only(shop).drift.drifted is None
