"""Every angle of the reading that stands for a card, against what the jobs' own files say."""

from __future__ import annotations

import pytest

from service.domain.lookups import readings_of_card, standing_reading
from service.domain.nearness import at_angles
from service.domain.records.measuring import AngleSpectrum
from service.domain.terms import FinishKind, Stage
from service.storage.queries.sql_queries import SqlQueries
from service.storage.store import ShopStore
from service.use_cases import correcting, measuring
from service.use_cases.nearest import ReadLike, nearest_at_angles
from tests.shop_hand import ShopHand

SILVER = {-15: (130.0, -1.0, -2.0), 15: (125.0, -1.0, -2.0), 45: (65.0, -0.8, -1.0)}
THREE = {15: (124.0, -1.0, -2.0), 45: (64.0, -0.5, -1.5), 110: (35.0, -0.5, 0.0)}
RED = (40.0, 50.0, 30.0)


@pytest.fixture
def hand(store: ShopStore) -> ShopHand:
    hand = ShopHand(store)
    hand.open(FinishKind.METALLIC)
    return hand


def by_the_files(hand: ShopHand, *cards: str) -> dict[str, object]:
    readings = {card: standing_reading(readings_of_card(hand.file, card)) for card in cards}
    return {card: at_angles(reading) for card, reading in readings.items() if reading is not None}


def test_every_angle_of_the_newest_reading_is_found(store: ShopStore, hand: ShopHand) -> None:
    cards = [hand.card(hand.batch()) for _ in range(3)]
    hand.read(cards[0], SILVER)
    hand.read(cards[0], THREE, standard_uncertainty=None)
    hand.read(cards[1], RED)
    found = SqlQueries(store).angles_of_cards([*cards, "no card", cards[0]])
    assert found == by_the_files(hand, *cards)
    assert [one.angle for one in found[cards[0]]] == [15, 45, 110]
    assert [one.angle for one in found[cards[1]]] == [None]
    assert cards[2] not in found


def test_dropped_and_moved_readings_are_where_they_belong(store: ShopStore, hand: ShopHand) -> None:
    one, other, third = (hand.card(hand.batch()) for _ in range(3))
    hand.read(one, SILVER)
    dropped = hand.read(one, THREE)
    moved = hand.read(other, RED)
    hand.on_job(measuring.DropReading, reading_id=dropped, why="Read on the wrong side")
    hand.on_job(
        correcting.Correct,
        table="readings",
        record_id=moved,
        changes={"card_id": third},
        why="It was the other card",
    )
    queries = SqlQueries(store)
    every = by_the_files(hand, one, other, third)
    assert set(every) == {one, third}
    assert queries.angles_of_cards([one, other, third]) == every
    for card in (one, other, third):
        alone = queries.angles_of_cards([card])
        assert alone == {id: angles for id, angles in every.items() if id == card}


def test_spectra_beside_the_colours_change_nothing(store: ShopStore, hand: ShopHand) -> None:
    card = hand.card(hand.batch())
    rows = tuple((0.1 + n / 100, 0.2, 0.3, 0.4) for n in range(3))
    spectrum = AngleSpectrum(
        angle=45, wavelengths_nm=(400.0, 420.0, 440.0, 460.0), reflectance=rows
    )
    hand.read(card, SILVER, spectra=(spectrum,), stage=Stage.BAKED)
    assert SqlQueries(store).angles_of_cards([card]) == by_the_files(hand, card)


def test_the_lists_own_colour_is_that_of_its_angle(store: ShopStore, hand: ShopHand) -> None:
    card = hand.card(hand.batch())
    hand.read(card, THREE)
    queries = SqlQueries(store)
    (line,) = queries.cards_by_id([card])
    at = {one.angle: one for one in queries.angles_of_cards([card])[card]}[line.angle]
    assert (line.l, line.a, line.b) == pytest.approx(at.lab)
    assert line.standard_uncertainty == pytest.approx(at.standard_uncertainty)


def test_the_nearest_at_several_angles_come_from_the_store(
    store: ShopStore, hand: ShopHand
) -> None:
    near, other = hand.card(hand.batch()), hand.card(hand.batch())
    hand.read(near, THREE)
    hand.read(other, {**THREE, 110: (30.0, -0.5, 0.0)})
    angles = at_angles(standing_reading(readings_of_card(hand.file, near)))  # type: ignore[arg-type]
    like = ReadLike(illuminant="D65", observer=10, geometry="d:8")
    found = nearest_at_angles(SqlQueries(store), angles, like, 8)
    assert [one.line.id for one in found.cards] == [near, other]
    assert found.cards[1].worst.angle == 110 and found.all_looked_at
