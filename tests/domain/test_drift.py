"""Drift: a card's newest reading beside its first; ΔE00 checked with another program's.

How long paint cures is common practice, no source.
"""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from coloraide import Color

from service.domain.drift import (
    MOVED_BY,
    RISK,
    course_of,
    drifts_between,
    drifts_of,
    moved_by,
    since_when,
)
from service.domain.lookups import readings_of_card
from service.domain.records.measuring import AngleReading
from service.domain.terms import FinishKind, Method, Stage
from tests.builders import JobBuilder
from tests.fakes import FakeStore
from tests.shop_hand import ShopHand

RED = (33.0, 38.0, 20.0)
PALER = (33.8, 36.9, 19.6)


@pytest.fixture
def hand():
    hand = ShopHand(FakeStore())
    hand.open()
    return hand


def read_twice(hand, first, second, **later):
    card = hand.card(hand.batch())
    hand.bake(card)
    hand.read(card, first)
    hand.clock += timedelta(hours=9)
    hand.read(card, second, **later)
    return drifts_of(readings_of_card(hand.file, card))


def test_the_newest_reading_is_told_against_the_first(hand):
    (drift,) = read_twice(hand, RED, PALER)
    expected = Color("lab-d65", list(RED)).delta_e(Color("lab-d65", list(PALER)), method="2000")
    assert drift.delta_e_2000 == pytest.approx(expected, abs=2e-3)
    assert drift.difference == pytest.approx((0.8, -1.1, -0.4), abs=1e-9)
    assert drift.words.startswith("lighter")
    assert drift.standard_uncertainty is not None and drift.standard_uncertainty > 0


def test_a_card_that_was_read_once_has_no_drift(hand):
    card = hand.card(hand.batch())
    hand.bake(card)
    hand.read(card, RED)
    assert drifts_of(readings_of_card(hand.file, card)) == []


@pytest.mark.parametrize(
    "unlike",
    [{"stage": Stage.POLISHED}, {"illuminant": "A"}, {"observer": 2}, {"geometry": "45:0"}],
    ids=str,
)
def test_readings_made_in_unlike_ways_say_nothing_of_drift(hand, unlike):
    assert read_twice(hand, RED, PALER, **unlike) == []


def test_the_middle_reading_of_three_is_passed_over(hand):
    card = hand.card(hand.batch())
    hand.bake(card)
    for lab in (RED, (60.0, 0.0, 0.0), RED):
        hand.read(card, lab)
    (drift,) = drifts_of(readings_of_card(hand.file, card))
    assert drift.delta_e_2000 == pytest.approx(0, abs=1e-9)
    assert drift.words == ""


def test_each_angle_drifts_by_itself():
    hand = ShopHand(FakeStore())
    hand.open(FinishKind.METALLIC)
    first, second = {15: (100, 0, 0), 110: (30, 0, 0)}, {15: (100, 0, 0), 110: (28, 0, 0)}
    still, moved = read_twice(hand, first, second)
    assert (still.angle, moved.angle) == (15, 110)
    assert still.delta_e_2000 == pytest.approx(0, abs=1e-9)
    assert moved.words == "darker"


def read_over(hand, *steps, **fields):
    """A card read after so many days each, of a colour each."""
    card = hand.card(hand.batch())
    start = hand.clock
    for days, lab in steps:
        hand.clock = start + timedelta(days=days)
        hand.read(card, lab, **fields)
    return start, readings_of_card(hand.file, card)


@pytest.fixture
def old(hand):
    hand.clock -= timedelta(days=2000)
    return hand


def test_years_apart_are_told_with_days_and_range(old):
    _, readings = read_over(old, (1, RED), (731, PALER))
    (drift,) = drifts_of(readings)
    assert drift.days == 730
    assert drift.moved is True
    assert MOVED_BY < drift.low < drift.delta_e_2000 < drift.high


def test_a_range_covers_the_truth_as_often_as_it_says():
    """Readings drawn around two known colours: 95 % within, by 400 draws give or take 3 %."""
    truth = Color("lab-d65", list(RED)).delta_e(Color("lab-d65", list(PALER)), method="2000")
    rng, job = np.random.default_rng(11), JobBuilder()
    taken = job.reading(job.card(job.batch(1)))
    within = []
    for _ in range(400):
        first, newest = (
            replace(taken, angles=(AngleReading(repeats=tuple(map(tuple, repeats.tolist()))),))
            for repeats in (rng.normal(lab, 0.05, size=(3, 3)) for lab in (RED, PALER))
        )
        (drift,) = drifts_between(first, newest)
        within.append(drift.low <= truth <= drift.high)
    assert np.mean(within) >= 0.92


@pytest.mark.parametrize("known", [0.05, None], ids=["known noise", "noise by its scatter"])
def test_noise_is_called_a_move_no_more_often_than_the_stated_risk(known):
    """A card that stands still, and one that moved by half a unit, each read afresh 300 times."""
    rng, job = np.random.default_rng(5), JobBuilder()
    taken = job.reading(job.card(job.batch(1)), standard_uncertainty=known)

    def told(*labs):
        first, newest = (
            replace(taken, angles=(AngleReading(repeats=tuple(map(tuple, repeats.tolist()))),))
            for repeats in (rng.normal(lab, 0.05, size=(3, 3)) for lab in labs)
        )
        return drifts_between(first, newest)[0].moved is True

    bluer = (RED[0], RED[1], RED[2] - 1.0)
    moved = Color("lab-d65", list(RED)).delta_e(Color("lab-d65", list(bluer)), method="2000")
    assert 0.5 < moved < 0.8
    assert np.mean([told(RED, RED) for _ in range(300)]) <= RISK
    # Three repeats a side know little of their own scatter, and are too few to tell at times.
    assert np.mean([told(RED, bluer) for _ in range(300)]) >= (0.9 if known else 0.5)


def test_one_repeat_of_unknown_noise_cannot_tell(old):
    _, readings = read_over(
        old, (1, RED), (731, PALER), repeats=((0.0, 0.0, 0.0),), standard_uncertainty=None
    )
    (drift,) = drifts_of(readings)
    assert (drift.moved, drift.low, drift.high) == (None, None, None)


def test_the_course_lays_each_reading_against_the_first(old):
    _, readings = read_over(old, (1, RED), (8, RED), (31, PALER), (760, PALER))
    (course,) = course_of(readings)
    assert [round(point.days) for point in course.points] == [0, 7, 30, 759]
    assert course.points[0].delta_e_2000 == 0 and course.points[0].standard_uncertainty is None
    expected = Color("lab-d65", list(RED)).delta_e(Color("lab-d65", list(PALER)), method="2000")
    assert course.points[2].delta_e_2000 == pytest.approx(expected, abs=2e-3)
    assert course.points[3].difference == pytest.approx((0.8, -1.1, -0.4), abs=1e-9)
    assert course.points[3].standard_uncertainty > 0


def test_only_another_age_counts_as_moved(old):
    _, readings = read_over(old, (1, RED), (31, PALER))
    assert moved_by(readings) is None
    _, readings = read_over(old, (1, RED), (400, PALER))
    assert moved_by(readings) == drifts_of(readings)[0].delta_e_2000


def test_photographs_of_one_card_do_not_drift(old):
    card = old.card(old.batch())
    for _ in range(2):
        old.read(card, RED, method=Method.PHOTOGRAPH)
        old.clock += timedelta(days=400)
    assert drifts_of(readings_of_card(old.file, card)) == []


@pytest.mark.parametrize(
    ("first", "newest", "said"),
    [
        (1, 30, "still curing, when colour and gloss move"),
        (1, 400, "part of this may be cure"),
        (60, 400, "In storage, since it was first read 340 days before."),
    ],
)
def test_cure_is_told_from_storage(old, first, newest, said):
    start, readings = read_over(old, (first, RED), (newest, PALER))
    (drift,) = drifts_of(readings)
    assert said in since_when(drift, start)
    assert f"{newest - first} days before" in since_when(drift, start)


def test_two_instruments_tell_of_a_card_only_when_they_are_known_to_stand_apart_by_so_much():
    """√(0.3² + 0.4²) = 0.5 per channel comes in, however often each of them read."""
    job = JobBuilder()
    taken = job.reading(job.card(job.batch(1)), RED)
    one = replace(taken, instrument_id="one", inter_instrument_uncertainty=0.3)
    other = replace(
        job.reading(job.card(job.batch(2)), PALER),
        instrument_id="other",
        observed_at=taken.observed_at + timedelta(days=400),
        inter_instrument_uncertainty=0.4,
        card_id=taken.card_id,
    )
    (drift,) = drifts_of([one, other])
    assert drift.moved is False and drift.low < 0.2 < drift.high
    (alike,) = drifts_of([one, replace(other, instrument_id="one")])
    assert alike.moved is True
    assert drift.standard_uncertainty > 10 * alike.standard_uncertainty
    assert drifts_of([one, replace(other, inter_instrument_uncertainty=None)]) == []
    assert drifts_of([one, replace(other, instrument_id=None)]) == []


def test_a_second_instrument_has_a_course_of_its_own_where_nobody_knows_how_they_differ(old):
    _, readings = read_over(old, (1, RED), (400, PALER), (800, PALER))
    first, second, third = (
        replace(reading, instrument_id=name)
        for reading, name in zip(readings, ("one", "other", "other"), strict=True)
    )
    (drift,) = drifts_of([third, first, second])
    assert (drift.first.root, drift.newest.root) == (second.root, third.root)
