"""Which cards are held back, and that the verb holds back the same."""

import pytest

from service.domain.keeping import HeldBack, held_back
from service.domain.records.cards import Card
from service.domain.refused import NotAllowed
from service.use_cases.cards import PullCard
from tests.fakes import FakeStore
from tests.shop_hand import ShopHand


@pytest.fixture
def hand():
    hand = ShopHand(FakeStore())
    hand.open()
    return hand


def held(hand, card):
    return held_back(hand.file, hand.file.get(Card, card))


def pulled(hand, card):
    """Whether somebody who is no manager may pull it."""
    try:
        hand.on_job(PullCard, card_id=card, why="To see", by=hand.refinisher)
    except NotAllowed:
        return False
    return True


def test_the_master_is_held_back(hand):
    batch = hand.batch()
    master, other = hand.card(batch), hand.card(batch)
    hand.bake(master)
    hand.master(master, hand.read(master, (30, 1, 1)))
    assert held(hand, master) is HeldBack.MASTER and not pulled(hand, master)
    assert held(hand, other) is None and pulled(hand, other)


def test_the_last_card_of_a_batch_is_held_back(hand):
    card = hand.card(hand.batch())
    assert held(hand, card) is HeldBack.LAST and not pulled(hand, card)


def test_a_card_is_the_last_once_the_others_are_out(hand):
    batch = hand.batch()
    one, two = hand.card(batch), hand.card(batch)
    assert held(hand, two) is None
    assert pulled(hand, one)
    assert held(hand, two) is HeldBack.LAST and not pulled(hand, two)
