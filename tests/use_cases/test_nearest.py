"""The nearest cards at several angles: ranked by the worst, exactly, and what is lacking said."""

from __future__ import annotations

import random

import pytest
from skimage.color import deltaE_ciede2000

from service.domain.nearness import AtAngle
from service.domain.terms import FinishKind
from service.use_cases import nearest
from service.use_cases.nearest import ReadLike, nearest_at_angles
from tests.fakes import FakeQueries, FakeStore
from tests.shop_hand import ShopHand

ANGLES = (15, 45, 110)
LIKE = ReadLike(illuminant="D65", observer=10, geometry="d:8")
SILVER = {15: (95.0, -1.0, -2.0), 45: (62.0, -0.8, -1.0), 110: (35.0, -0.5, 0.0)}
READ = tuple(AtAngle(angle, lab, 0.03) for angle, lab in SILVER.items())


def stored(*cards):
    """A shop with a card of each set of colours; the queries over it, and the cards' ids."""
    hand = ShopHand(FakeStore())
    hand.open(FinishKind.METALLIC)
    ids = []
    for labs in cards:
        ids.append(hand.card(hand.batch()))
        if labs:
            hand.read(ids[-1], labs, repeats=((0.0, 0.0, 0.0),))
    return FakeQueries(hand.store), ids


def moved(**steps):
    return {
        angle: tuple(v + s for v, s in zip(lab, steps.get(f"at_{angle}", (0, 0, 0)), strict=True))
        for angle, lab in SILVER.items()
    }


def test_the_worst_angle_ranks_though_another_card_is_nearer_at_45():
    near_at_45 = moved(at_110=(4.0, 0.0, 0.0))
    even = moved(at_15=(0.8, 0, 0), at_45=(0.8, 0, 0), at_110=(0.8, 0, 0))
    queries, (first, second) = stored(near_at_45, even)
    found = nearest_at_angles(queries, READ, LIKE, 8)
    assert [one.line.id for one in found.cards] == [second, first]
    worst = found.cards[1].worst
    assert worst.angle == 110
    assert worst.delta_e_2000 == pytest.approx(deltaE_ciede2000(SILVER[110], near_at_45[110]))
    assert [one.angle for one in found.cards[0].angles] == list(ANGLES)


@pytest.mark.parametrize("count", [1, 3, 8])
def test_the_answer_is_that_of_comparing_every_card(monkeypatch, count):
    """Against scikit-image, card by card; the first look is made small, so that it takes more."""
    monkeypatch.setattr(nearest, "FIRST", 2)
    monkeypatch.setattr(nearest, "FURTHER", 2)
    dice = random.Random(count)
    cards = [
        {a: tuple(v + dice.gauss(0, 1.5) for v in lab) for a, lab in SILVER.items()}
        for _ in range(60)
    ]
    queries, ids = stored(*cards)
    worst = {
        id: max(float(deltaE_ciede2000(SILVER[a], labs[a])) for a in ANGLES)
        for id, labs in zip(ids, cards, strict=True)
    }
    found = nearest_at_angles(queries, READ, LIKE, count)
    assert [one.line.id for one in found.cards] == sorted(ids, key=worst.get)[:count]
    assert [one.worst.delta_e_2000 for one in found.cards] == pytest.approx(
        sorted(worst.values())[:count], abs=1e-3
    )
    assert found.all_looked_at


def test_an_angle_the_card_lacks_is_said_and_not_taken_for_a_match():
    queries, (card, unread) = stored({45: SILVER[45], 15: SILVER[15]}, None)
    (near,) = nearest_at_angles(queries, READ, LIKE, 8).cards
    assert (near.line.id, near.lacking) == (card, (110,))
    assert [one.angle for one in near.angles] == [15, 45]


def test_of_cards_equally_far_the_one_read_at_more_angles_comes_first():
    half = {45: SILVER[45]}
    queries, (first, second, third) = stored(half, SILVER, half)
    found = nearest_at_angles(queries, READ, LIKE, 3).cards
    assert found[0].line.id == second and {one.line.id for one in found[1:]} == {first, third}


def test_it_is_said_when_not_all_could_be_looked_at(monkeypatch):
    monkeypatch.setattr(nearest, "FIRST", 2)
    monkeypatch.setattr(nearest, "MOST", 4)
    dice = random.Random(1)
    cards = [
        {**moved(at_110=(9.0, 0, 0)), 45: (62.0 + dice.random() / 9, -0.8, -1.0)} for _ in range(9)
    ]
    found = nearest_at_angles(stored(*cards)[0], READ, LIKE, 2)
    assert len(found.cards) == 2 and not found.all_looked_at


def test_one_angle_or_one_geometry_asks_nothing_more(monkeypatch):
    queries, ids = stored((40.0, 50.0, 30.0), (40.0, 50.0, 33.0))
    monkeypatch.setattr(queries, "angles_of_cards", None)
    found = nearest_at_angles(queries, [AtAngle(None, (40.0, 50.0, 30.5))], LIKE, 8)
    assert [one.line.id for one in found.cards] == ids
    assert found.cards[0].worst.delta_e_2000 == pytest.approx(
        deltaE_ciede2000((40.0, 50.0, 30.5), (40.0, 50.0, 30.0)), abs=1e-6
    )


def test_the_specular_mode_counts_where_it_is_said():
    queries, _ = stored(SILVER)
    for specular, found in (("included", 1), ("excluded", 0), ("", 1)):
        like = ReadLike(illuminant="D65", observer=10, geometry="d:8", specular=specular)
        assert len(nearest_at_angles(queries, READ, like, 8).cards) == found
