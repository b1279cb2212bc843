"""Age as a reason: read long apart, and moved since it was first read.

That cards are read again yearly is a suggestion of common practice, no source.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from service.domain.ageing import span
from service.domain.comparability import Grade
from service.domain.judging import draft_for_batch, draft_for_car
from service.domain.records.cards import Card
from service.domain.records.job import Finish
from service.domain.records.measuring import Reading
from service.domain.terms import FinishKind, Word
from service.use_cases import job
from tests.fakes import FakeStore
from tests.shop_hand import ShopHand

WHITE = (92.0, -0.8, 2.0)
YELLOWED = (91.9, -0.9, 3.5)
YEAR = timedelta(days=365)


@pytest.fixture
def hand():
    return with_master(ShopHand(FakeStore()), WHITE)


def with_master(hand, lab, kind=FinishKind.SOLID):
    hand.clock = datetime.now(UTC) - 6 * YEAR
    hand.open(kind)
    hand.master_card = hand.card(hand.batch())
    hand.bake(hand.master_card)
    hand.master_reading = hand.read(hand.master_card, lab)
    hand.master(hand.master_card, hand.master_reading)
    return hand


def repair_of(hand):
    """A repair of the job at hand, which is then at hand."""
    hand.job_id = hand.do(
        job.OpenJob,
        work_order=f"R-{uuid4().hex[:6]}",
        title="Chip",
        repairs_job_id=hand.job_id,
        repairs_finish_id=hand.finish,
        damage="Stone chip",
    )
    hand.finish = hand.file.all(Finish)[0].root


def batch_read(hand, lab=WHITE):
    batch = hand.batch()
    card = hand.card(batch)
    hand.bake(card)
    hand.read(card, lab)
    return batch, card


def reasons(hand, batch):
    return {reason.code: reason for reason in draft_for_batch(hand.file, batch).reasons}


def test_a_master_read_years_before_the_card_is_noted_with_what_to_do(hand):
    hand.clock += 2 * YEAR
    batch, _ = batch_read(hand)
    reason = reasons(hand, batch)["read_long_apart"]
    assert reason.grade is Grade.NOTED
    assert reason.text == "The master was read 2 years before batch 2's card."
    assert "Read the master again today" in reason.remedy
    assert draft_for_batch(hand.file, batch).word is Word.BLENDS


@pytest.mark.parametrize(("days", "noted"), [(364, False), (367, True)])
def test_a_year_apart_is_not_long(hand, days, noted):
    hand.clock += timedelta(days=days)
    batch, _ = batch_read(hand)
    assert ("read_long_apart" in reasons(hand, batch)) is noted


def test_a_master_read_again_and_found_as_it_was_is_no_reason_any_more(hand):
    hand.clock += 2 * YEAR
    hand.read(hand.master_card, WHITE)
    batch, _ = batch_read(hand)
    assert reasons(hand, batch) == {}


def test_a_master_that_yellowed_is_told_by_how_much_and_which_way(hand):
    hand.clock += 2 * YEAR
    hand.read(hand.master_card, YELLOWED)
    batch, _ = batch_read(hand)
    draft = draft_for_batch(hand.file, batch)
    assert draft.word is Word.BLENDS
    (reason,) = draft.reasons
    assert (reason.code, reason.grade) == ("aged_card", Grade.NOTED)
    assert reason.text.startswith(
        "The master in the hand no longer looks as it was first read: 1.3"
    )
    assert "yellower (ΔL* −0.10, Δa* −0.10, Δb* +1.50) over 2 years" in reason.text
    assert "rests on its first reading" in reason.text


def test_noise_alone_is_not_taken_for_age(hand):
    hand.clock += 2 * YEAR
    hand.read(hand.master_card, (92.03, -0.77, 2.05))
    batch, _ = batch_read(hand)
    assert reasons(hand, batch) == {}


def test_too_few_readings_to_tell_are_said_to_be_too_few(hand):
    """One repeat of unknown noise on each side cannot tell what moved."""
    alone = {"repeats": ((0.0, 0.0, 0.0),), "standard_uncertainty": None}
    again = ShopHand(FakeStore())
    again.clock = datetime.now(UTC) - 6 * YEAR
    again.open()
    card = again.card(again.batch())
    again.bake(card)
    again.master(card, again.read(card, WHITE, **alone))
    again.clock += 2 * YEAR
    again.read(card, YELLOWED, **alone)
    batch, _ = batch_read(again)
    found = reasons(again, batch)
    assert "aged_card" not in found
    assert "too few times to tell whether it moved" in found["read_long_apart"].text


def test_a_card_read_again_within_the_season_has_not_aged(hand):
    batch, card = batch_read(hand)
    hand.clock += timedelta(days=60)
    hand.read(card, YELLOWED)
    assert reasons(hand, batch) == {}


def test_the_angle_that_moved_most_is_named():
    face, flop = {15: (100.0, 0.0, 1.0)}, {45: (60.0, 0.0, 1.0), 110: (30.0, 0.0, 0.0)}
    hand = with_master(ShopHand(FakeStore()), face | flop, FinishKind.METALLIC)
    batch, card = batch_read(hand, face | flop)
    hand.clock += 2 * YEAR
    hand.read(card, face | {45: (60.0, 0.0, 1.0), 110: (28.5, 0.0, 0.0)})
    text = reasons(hand, batch)["aged_card"].text
    assert "batch 2's card" in text.casefold()
    assert "at 110°, darker" in text


def test_the_car_is_told_that_the_stored_card_is_taken_as_it_is_now(hand):
    hand.clock += 3 * YEAR
    hand.read(hand.master_card, YELLOWED)
    stored = hand.file
    repair_of(hand)
    car = hand.read(None, YELLOWED, panel_id=hand.panel("Wing"))
    file = hand.file
    draft = draft_for_car(file, file.get(Reading, car), stored, stored.get(Card, hand.master_card))
    assert draft.word is Word.BLENDS
    (text,) = [reason.text for reason in draft.reasons if reason.code == "aged_card"]
    assert text.startswith("The stored card has moved since it was first read: 1.3")
    assert text.endswith("It is taken as it is now, which is not as it was sprayed.")
    assert draft.sentence.endswith(text)


def test_a_repair_s_batch_is_told_in_its_sentence_that_the_master_in_the_hand_moved(hand):
    """Whoever holds the new card beside the stored master sees another master than was approved."""
    hand.clock += 3 * YEAR
    hand.read(hand.master_card, YELLOWED)
    stored = hand.file
    repair_of(hand)
    batch, _ = batch_read(hand)
    draft = draft_for_batch(hand.file, batch, stored)
    assert draft.word is Word.BLENDS
    assert draft.sentence.startswith("Batch 1 blends with the master: ")
    assert "The master in the hand no longer looks as it was first read: 1.3" in draft.sentence


def test_a_stored_card_not_read_for_years_is_to_be_read_again_beside_the_car(hand):
    hand.clock += 3 * YEAR
    stored = hand.file
    repair_of(hand)
    car = hand.read(None, WHITE, panel_id=hand.panel("Wing"))
    file = hand.file
    draft = draft_for_car(file, file.get(Reading, car), stored, stored.get(Card, hand.master_card))
    (reason,) = [reason for reason in draft.reasons if reason.code == "read_long_apart"]
    assert reason.text == "The stored card was read 3 years before the car."
    assert reason.remedy.endswith("The car is held against the card as it reads now.")


@pytest.mark.parametrize(
    ("days", "said"),
    [(1, "1 day"), (45, "45 days"), (420, "14 months"), (729, "2 years"), (1096, "3 years")],
)
def test_a_stretch_of_time_is_said_as_people_say_it(days, said):
    assert span(timedelta(days=days)) == said
