"""Cards measured again years later: what was sprayed is judged by what was read then.

That cards yellow in the dark and move while they cure is common practice, no source; the time
between two readings that counts as one age is the program's own.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from service.domain.judging import draft_for_batch, draft_for_joint
from service.domain.lookups import verdict_on_batch, verdict_on_joint
from service.domain.pooling import SAME_AGE
from service.domain.records.cards import Card
from service.domain.records.job import Finish
from service.domain.records.measuring import AngleReading, Verdict
from service.domain.refused import OutOfOrder
from service.domain.terms import CardKind, JointKind, Method, Stage, Subject, Word
from service.use_cases import closing, job, measuring
from tests.fakes import FakeStore
from tests.shop_hand import ShopHand

WHITE = (92.0, -0.8, 2.0)
YELLOWED = (91.6, -1.2, 4.4)
YEAR = timedelta(days=365)


@pytest.fixture
def hand():
    """A job of five years ago with a master."""
    hand = ShopHand(FakeStore())
    hand.clock = datetime.now(UTC) - 5 * YEAR
    hand.open()
    hand.first_batch = hand.batch()
    hand.master_card = card_of(hand, hand.first_batch)
    hand.master_reading = hand.read(hand.master_card, WHITE)
    hand.master(hand.master_card, hand.master_reading)
    return hand


def card_of(hand, batch, **fields):
    card = hand.card(batch, **fields)
    hand.bake(card)
    return card


def second_batch(hand, lab=WHITE):
    batch = hand.batch()
    card = card_of(hand, batch)
    return batch, card, hand.read(card, lab)


def verdicts(hand):
    return hand.file.all(Verdict)


def years_pass(hand, years=2.0):
    hand.clock += years * YEAR


def test_a_card_that_yellowed_in_the_rack_does_not_turn_its_batch_s_verdict(hand):
    batch, card, first = second_batch(hand)
    before = verdicts(hand)
    assert verdict_on_batch(hand.file, batch).word is Word.BLENDS
    years_pass(hand)
    hand.read(card, YELLOWED)
    assert verdicts(hand) == before
    draft = draft_for_batch(hand.file, batch)
    assert draft.word is Word.BLENDS
    assert draft.look == 1
    assert draft.reading_ids == (hand.master_reading, first)


def test_a_batch_that_showed_goes_on_showing_however_its_card_reads_now(hand):
    batch, card, _ = second_batch(hand, YELLOWED)
    years_pass(hand)
    hand.read(card, WHITE)
    assert verdict_on_batch(hand.file, batch).word is Word.SHOWS
    assert draft_for_batch(hand.file, batch).word is Word.SHOWS


@pytest.mark.parametrize(("days", "pooled"), [(89, True), (91, False)])
def test_readings_are_pooled_up_to_three_months_apart(hand, days, pooled):
    batch, card, first = second_batch(hand)
    at = hand.clock
    hand.clock = at + timedelta(days=days) - timedelta(minutes=1)
    second = hand.read(card, WHITE)
    draft = draft_for_batch(hand.file, batch)
    assert draft.look == (2 if pooled else 1)
    assert (second in draft.reading_ids) is pooled
    assert first in draft.reading_ids
    assert timedelta(days=89) < SAME_AGE < timedelta(days=91)


def test_three_readings_two_months_apart_each_do_not_creep_into_one_age(hand):
    batch, card, first = second_batch(hand)
    for _ in range(2):
        hand.clock += timedelta(days=60)
        last = hand.read(card, WHITE)
    draft = draft_for_batch(hand.file, batch)
    assert last not in draft.reading_ids
    assert first in draft.reading_ids


def test_once_the_first_reading_is_dropped_the_later_one_stands(hand):
    batch, card, first = second_batch(hand)
    years_pass(hand)
    later = hand.read(card, YELLOWED)
    hand.on_job(measuring.DropReading, reading_id=first, why="the cap was on the lens")
    verdict = verdict_on_batch(hand.file, batch)
    assert verdict.word is Word.SHOWS
    assert verdict.reading_ids == (hand.master_reading, later)


def test_dropping_the_later_reading_again_leaves_every_verdict_as_it_is(hand):
    batch, card, _ = second_batch(hand)
    before = verdicts(hand)
    years_pass(hand)
    later = hand.read(card, YELLOWED)
    hand.on_job(measuring.DropReading, reading_id=later, why="another card was read")
    assert verdicts(hand) == before
    assert verdict_on_batch(hand.file, batch).word is Word.BLENDS


def test_a_stage_reached_late_is_judged_by_its_own_first_reading(hand):
    """A restoration takes longer than a season: what is polished then was never read before."""
    batch, card, _ = second_batch(hand)
    hand.clock += timedelta(days=200)
    polished = hand.read(card, WHITE, stage=Stage.POLISHED)
    assert polished in verdict_on_batch(hand.file, batch).reading_ids
    years_pass(hand)
    hand.read(card, YELLOWED, stage=Stage.BAKED)
    assert polished in draft_for_batch(hand.file, batch).reading_ids


def test_another_card_of_the_batch_read_only_years_later_does_not_take_its_place(hand):
    batch, card, first = second_batch(hand)
    spare = card_of(hand, batch, kind=CardKind.TRIAL)
    before = verdicts(hand)
    years_pass(hand)
    hand.read(spare, YELLOWED)
    assert verdicts(hand) == before
    assert draft_for_batch(hand.file, batch).card_id == card


def test_a_card_read_in_a_way_that_compares_with_nothing_may_be_read_anew_however_late(hand):
    batch, card, _ = second_batch(hand)
    other = hand.batch()
    odd = card_of(hand, other)
    hand.read(odd, WHITE, illuminant="A")
    assert verdict_on_batch(hand.file, other).word is Word.NOT_COMPARABLE
    years_pass(hand)
    anew = hand.read(odd, WHITE)
    assert verdict_on_batch(hand.file, other).word is Word.BLENDS
    assert anew in verdict_on_batch(hand.file, other).reading_ids


def test_a_card_first_read_long_after_it_was_sprayed_is_judged_by_that_reading(hand):
    batch = hand.batch()
    card = card_of(hand, batch)
    years_pass(hand)
    late = hand.read(card, WHITE)
    assert late in verdict_on_batch(hand.file, batch).reading_ids


def joint_of_two(hand):
    batch, card, first = second_batch(hand)
    wing, door = hand.panel("Wing"), hand.panel("Door")
    hand.spray(hand.first_batch, panel_ids=(wing,))
    hand.spray(batch, panel_ids=(door,))
    joint = hand.on_job(job.AddJoint, panel_a=wing, panel_b=door, kind=JointKind.GAP)
    hand.on_job(closing.JudgeAgain, finish_id=hand.finish)
    return joint, card, first


def test_a_joint_rests_on_the_first_readings_of_both_its_cards(hand):
    joint, card, first = joint_of_two(hand)
    before = verdicts(hand)
    assert verdict_on_joint(hand.file, joint).word is Word.BLENDS
    years_pass(hand)
    for aged in (card, hand.master_card):
        hand.read(aged, YELLOWED)
    assert verdicts(hand) == before
    draft = draft_for_joint(hand.file, joint)
    assert (draft.word, draft.look) == (Word.BLENDS, 1)
    assert set(draft.reading_ids) == {hand.master_reading, first}


def test_a_spare_card_read_years_later_does_not_stand_for_a_side(hand):
    joint, card, _ = joint_of_two(hand)
    spare = card_of(hand, batch_of(hand, card))
    before = verdicts(hand)
    years_pass(hand)
    hand.read(spare, YELLOWED)
    assert verdicts(hand) == before
    draft = draft_for_joint(hand.file, joint)
    assert card in (draft.card_id, draft.other_card_id)


def batch_of(hand, card):
    return hand.file.get(Card, card).batch_id


def test_judging_again_years_later_finds_nothing_that_turned(hand):
    batch, card, _ = second_batch(hand)
    years_pass(hand)
    hand.read(card, WHITE)
    with pytest.raises(OutOfOrder, match="Nothing that bears on a verdict has changed"):
        hand.on_job(closing.JudgeAgain, finish_id=hand.finish)
    assert verdict_on_batch(hand.file, batch).word is Word.BLENDS


def framed(hand, *shown):
    """A photograph of cards that lie in it, each of a colour, with what they err alike."""
    readings = tuple(
        measuring.Measured(
            stage=Stage.BAKED,
            illuminant="D50",
            observer=2,
            geometry="photograph",
            method=Method.PHOTOGRAPH,
            card_id=card,
            angles=(AngleReading(repeats=(lab,)),),
        )
        for card, lab in shown
    )
    size = 3 * len(shown)
    covariance = tuple(
        tuple(0.5 + 0.002 * (i == j) if i % 3 == j % 3 else 0.0 for j in range(size))
        for i in range(size)
    )
    return hand.on_job(measuring.LogFrame, readings=readings, covariance=covariance)


def test_photographs_years_apart_are_not_averaged_and_the_first_stands(hand):
    batch = hand.batch()
    card = card_of(hand, batch)
    framed(hand, (hand.master_card, WHITE), (card, WHITE))
    before = verdict_on_batch(hand.file, batch)
    assert before.word is Word.BLENDS
    years_pass(hand)
    framed(hand, (hand.master_card, WHITE), (card, YELLOWED))
    assert verdict_on_batch(hand.file, batch) == before
    assert draft_for_batch(hand.file, batch).word is Word.BLENDS
    assert draft_for_batch(hand.file, batch).look == 1


def test_photographs_of_one_age_are_averaged_as_before(hand):
    batch = hand.batch()
    card = card_of(hand, batch)
    for _ in range(2):
        framed(hand, (hand.master_card, WHITE), (card, WHITE))
    assert draft_for_batch(hand.file, batch).look == 2


def test_an_instrument_s_reading_years_later_does_not_replace_a_photograph(hand):
    batch = hand.batch()
    card = card_of(hand, batch)
    framed(hand, (hand.master_card, WHITE), (card, WHITE))
    before = verdict_on_batch(hand.file, batch)
    years_pass(hand)
    hand.read(card, YELLOWED)
    assert verdict_on_batch(hand.file, batch) == before


def test_the_car_is_held_against_the_card_as_it_is_now(hand):
    years_pass(hand)
    again = hand.read(hand.master_card, YELLOWED)
    stored_job, stored_finish = hand.job_id, hand.finish
    hand.job_id = hand.do(
        job.OpenJob,
        work_order=f"R-{uuid4().hex[:6]}",
        title="Chip on the wing",
        repairs_job_id=stored_job,
        repairs_finish_id=stored_finish,
        damage="Stone chip",
    )
    hand.finish = hand.file.all(Finish)[0].root
    wing = hand.panel("Wing")
    hand.read(None, YELLOWED, panel_id=wing)
    (verdict,) = [v for v in verdicts(hand) if v.subject is Subject.CAR]
    assert verdict.word is Word.BLENDS
    assert again in verdict.reading_ids
    assert hand.master_reading not in verdict.reading_ids
