"""Drift: a card's newest reading beside its first; ΔE00 checked with another program's."""

from datetime import timedelta

import pytest
from coloraide import Color

from service.domain.drift import drifts_of
from service.domain.lookups import readings_of_card
from service.domain.terms import FinishKind, Stage
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
