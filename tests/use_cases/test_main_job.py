"""The main job on a real store: log, read, judge, find what would show, release."""

from __future__ import annotations

from dataclasses import replace
from uuid import uuid4

import pytest

from service.domain.card_code import new_card_code
from service.domain.findings import findings_of
from service.domain.lookups import verdict_on_batch, verdict_on_joint
from service.domain.records.cards import Card
from service.domain.records.job import Area, Joint, Release
from service.domain.records.measuring import Reading, Verdict
from service.domain.records.spraying import Batch
from service.domain.refused import AlreadyThere, Invalid, KeyReused, NotAllowed, OutOfOrder
from service.domain.terms import FinishKind, JointKind, Stage, Subject, Word
from service.use_cases import cards, closing, correcting, job, measuring, shop, spraying
from tests.shop_hand import ShopHand

GREEN = (25.0, -12.0, 6.0)
BLUER = (25.0, -12.0, 4.0)
MIDDLING = (25.0, -12.0, 5.2)
"""About 0.6 from GREEN."""


@pytest.fixture
def hand(store):
    return ShopHand(store)


def with_master(hand, **finish):
    """A job whose first batch is the master."""
    hand.open(**finish)
    batch = hand.batch()
    card = hand.card(batch)
    hand.bake(card)
    reading = hand.read(card, GREEN)
    hand.master(card, reading)
    return batch, card, reading


def next_batch(hand, lab, **reading):
    batch = hand.batch()
    card = hand.card(batch)
    hand.bake(card)
    hand.read(card, lab, **reading)
    return batch, card


def test_each_batch_is_judged_against_the_master_as_its_card_is_read(hand):
    with_master(hand)
    good, _ = next_batch(hand, GREEN)
    bad, _ = next_batch(hand, BLUER)
    blends, shows = (verdict_on_batch(hand.file, id) for id in (good, bad))
    assert blends.word is Word.BLENDS
    assert shows.word is Word.SHOWS
    assert "bluer" in shows.words
    assert shows.sentence.startswith("Batch 3 would show against the master: ")
    assert shows.limit == 0.8 and "dental study" in shows.limit_origin
    assert shows.look == 1 and shows.risk_spent == pytest.approx(0.05 / 3)
    assert set(shows.reading_ids) <= {r.root for r in hand.file.all(Reading)}


def test_approving_the_master_judges_the_batches_read_before_it(hand):
    hand.open()
    first, second = hand.batch(), hand.batch()
    cards_made = hand.card(first), hand.card(second)
    hand.bake(*cards_made)
    readings = [hand.read(cards_made[0], GREEN), hand.read(cards_made[1], BLUER)]
    assert verdict_on_batch(hand.file, second) is None
    assert [f.code for f in findings_of(hand.file)] == ["finish_without_master"]
    hand.master(cards_made[0], readings[0])
    assert verdict_on_batch(hand.file, second).word is Word.SHOWS
    assert verdict_on_batch(hand.file, first) is None


def test_a_joint_is_judged_by_both_its_sides_not_by_the_master(hand):
    """Two batches that each blend with the master may show where they meet."""
    with_master(hand)
    lighter, _ = next_batch(hand, (25.45, -12.0, 6.0))
    darker, _ = next_batch(hand, (24.55, -12.0, 6.0))
    door, wing = hand.panel("Left door"), hand.panel("Left wing")
    joint = hand.on_job(job.AddJoint, kind=JointKind.BUTT, panel_a=door, panel_b=wing)
    hand.spray(lighter, panel_ids=(door,))
    hand.spray(darker, panel_ids=(wing,))
    assert verdict_on_batch(hand.file, lighter).delta_e_2000 < 0.5
    assert verdict_on_batch(hand.file, darker).delta_e_2000 < 0.5
    verdict = verdict_on_joint(hand.file, joint)
    batches = [verdict_on_batch(hand.file, b).delta_e_2000 for b in (lighter, darker)]
    assert verdict.delta_e_2000 == pytest.approx(sum(batches), rel=0.1)
    assert verdict.sentence.startswith("Batch 3 on the left wing ")


def test_a_refill_inside_a_panel_makes_a_joint_of_its_own(hand):
    with_master(hand)
    first, _ = next_batch(hand, GREEN)
    refill, _ = next_batch(hand, BLUER)
    bonnet = hand.panel("Bonnet", areas=("left", "right"))
    left, right = (area.root for area in areas_of(hand, bonnet))
    hand.spray(first, coats=2, panel_ids=(bonnet,))
    hand.on_job(spraying.SprayCoat, batch_id=first, area_ids=(left,), number=3)
    hand.on_job(spraying.SprayCoat, batch_id=refill, area_ids=(right,), number=3)
    (joint,) = hand.file.all(Joint)
    assert joint.kind is JointKind.WITHIN
    assert {joint.area_a, joint.area_b} == {left, right}
    finding = next(f for f in findings_of(hand.file) if f.joint_id == joint.root)
    assert finding.code == "side_without_card"
    assert "Bonnet, right" in finding.sentence


def areas_of(hand, panel):
    return hand.file.by(Area, "panel_id", panel)


def test_what_would_show_comes_first_and_the_worst_of_it_before_the_rest(hand):
    with_master(hand)
    next_batch(hand, BLUER)
    next_batch(hand, (25.0, -12.0, 2.0))
    hand.spray(hand.batch(), panel_ids=(hand.panel("Roof"),))
    hand.card(hand.batch())
    numbers = {b.root: b.number for b in hand.file.all(Batch)}
    codes = [(f.code, numbers[f.batch_id]) for f in findings_of(hand.file)]
    assert codes[:2] == [("batch_shows", 3), ("batch_shows", 2)]
    assert sorted(codes[2:]) == [("batch_without_card", 4), ("card_without_reading", 5)]


def test_the_wrong_tin_is_a_different_colour_not_a_number(hand):
    with_master(hand)
    wrong, _ = next_batch(hand, (25.0, 8.0, 6.0))
    verdict = verdict_on_batch(hand.file, wrong)
    assert verdict.word is Word.SHOWS
    assert verdict.over_five
    assert "different colour" in verdict.sentence and "over 5" in verdict.sentence


def test_the_wrong_tin_shows_even_on_a_card_that_was_never_baked(hand):
    with_master(hand)
    wrong, close = hand.batch(), hand.batch()
    hand.read(hand.card(wrong), (25.0, 8.0, 6.0), stage=Stage.CLEARED)
    hand.read(hand.card(close), BLUER, stage=Stage.CLEARED)
    words = [verdict_on_batch(hand.file, batch).word for batch in (wrong, close)]
    assert words == [Word.SHOWS, Word.CANNOT_TELL]


def test_a_card_read_before_clear_says_when_it_can_be_judged(hand):
    with_master(hand)
    batch = hand.batch()
    card = hand.card(batch)
    hand.read(card, BLUER, stage=Stage.BASE_DRY)
    verdict = verdict_on_batch(hand.file, batch)
    assert verdict.word is Word.NOT_COMPARABLE
    assert verdict.reasons == ("unlike_clear",)
    assert "Readable after clear, bake and cooling: about" in verdict.sentence


def test_a_second_reading_is_a_second_look_and_replaces_no_verdict(hand):
    with_master(hand)
    batch, card = next_batch(hand, MIDDLING)
    hand.read(card, MIDDLING)
    verdicts = [v for v in hand.file.by(Verdict, "batch_id", batch)]
    assert [v.look for v in verdicts] == [1, 2]
    assert len(verdicts[1].reading_ids) == 3


def test_a_dropped_reading_counts_no_more_but_stays_on_record(hand):
    with_master(hand)
    batch, card = next_batch(hand, GREEN)
    wrong = hand.read(card, (29.0, -12.0, 6.0))
    before = verdict_on_batch(hand.file, batch)
    with pytest.raises(Invalid, match="reason"):
        hand.on_job(measuring.DropReading, reading_id=wrong, why=" ")
    hand.on_job(measuring.DropReading, reading_id=wrong, why="The instrument slipped")
    after = verdict_on_batch(hand.file, batch)
    assert wrong in before.reading_ids and wrong not in after.reading_ids
    assert after.word is Word.BLENDS
    assert hand.file.latest_revision(Reading, wrong).withdrawn


def test_a_correction_is_a_new_row_with_a_reason_and_judges_again(hand):
    with_master(hand)
    batch, card = next_batch(hand, GREEN, illuminant="D50")
    assert verdict_on_batch(hand.file, batch).word is Word.NOT_COMPARABLE
    reading = hand.file.by(Reading, "card_id", card)[0]
    hand.on_job(
        correcting.Correct,
        table="readings",
        record_id=reading.root,
        changes={"illuminant": "D65"},
        why="Typed the wrong illuminant",
    )
    assert verdict_on_batch(hand.file, batch).word is Word.BLENDS
    assert len(hand.file.by(Verdict, "batch_id", batch)) == 2
    with pytest.raises(Invalid, match="cannot be corrected here"):
        hand.on_job(
            correcting.Correct,
            table="readings",
            record_id=reading.root,
            changes={"job_id": str(uuid4())},
            why="Try to move it",
        )


def test_a_metallic_is_judged_at_each_angle_and_the_worst_decides(hand):
    silver = {15: (95.0, -0.5, 1.0), 45: (62.0, -0.3, 0.5), 110: (36.0, 0.1, -0.5)}
    flop = {**silver, 110: (36.0, 0.1, -2.6)}
    hand.open(kind=FinishKind.METALLIC)
    first = hand.batch()
    card = hand.card(first)
    hand.bake(card)
    hand.master(card, hand.read(card, silver))
    good, _ = next_batch(hand, silver)
    bad, _ = next_batch(hand, flop)
    missing, _ = next_batch(hand, {15: silver[15], 45: silver[45]})
    assert verdict_on_batch(hand.file, good).word is Word.BLENDS
    verdict = verdict_on_batch(hand.file, bad)
    assert (verdict.word, verdict.angle) == (Word.SHOWS, 110)
    assert "at 110°" in verdict.sentence
    held = verdict_on_batch(hand.file, missing)
    assert (held.word, held.reasons) == (Word.CANNOT_TELL, ("angle_missing",))


def test_one_command_sent_twice_is_carried_out_once(hand):
    hand.open()
    batch = hand.batch()
    command = cards.LogCard(
        id=str(uuid4()), job_id=hand.job_id, batch_id=batch, code=new_card_code(), slot="a1"
    )
    first, second = hand.send(command), hand.send(command)
    assert first == second
    assert len(hand.file.all(Card)) == 1
    with pytest.raises(KeyReused, match="already used for another entry"):
        hand.send(replace(command, slot="B2"))


def test_one_label_is_on_one_card_only(hand):
    hand.open()
    batch = hand.batch()
    hand.card(batch)
    code = hand.file.all(Card)[0].code
    with pytest.raises(AlreadyThere, match="already on another card"):
        hand.on_job(cards.LogCard, batch_id=batch, code=code)


def test_the_last_card_and_the_master_leave_only_by_a_manager(hand):
    _, master_card, _ = with_master(hand)
    batch, card = next_batch(hand, GREEN)
    for one in (master_card, card):
        with pytest.raises(NotAllowed, match="Only a manager may pull"):
            hand.on_job(cards.PullCard, by=hand.painter, card_id=one, why="A chip")
    hand.card(batch)
    hand.on_job(cards.PullCard, by=hand.painter, card_id=card, why="A chip")
    with pytest.raises(OutOfOrder, match="is out with Pat"):
        hand.on_job(cards.PullCard, by=hand.refinisher, card_id=card, why="Me too")
    hand.on_job(cards.ReturnCard, by=hand.painter, card_id=card, state="Clean", slot="b7")
    hand.on_job(cards.PullCard, by=hand.painter, card_id=card, why="Again")
    hand.on_job(cards.PullCard, card_id=master_card, why="By a manager")


def test_a_job_is_released_when_all_blends_or_is_accepted_by_name(hand):
    with_master(hand)
    bad, _ = next_batch(hand, BLUER)
    with pytest.raises(closing.StillOpen, match="Batch 2 would show"):
        hand.on_job(closing.ReleaseJob)
    with pytest.raises(NotAllowed):
        hand.on_job(closing.Accept, by=hand.painter, batch_id=bad, why="Looks fine")
    hand.on_job(closing.Accept, batch_id=bad, why="Inside the boot, the owner knows")
    hand.on_job(closing.ReleaseJob)
    assert len(hand.file.all(Release)) == 1


def test_an_acceptance_holds_only_for_the_verdict_it_was_given_for(hand):
    with_master(hand)
    bad, card = next_batch(hand, BLUER)
    hand.on_job(closing.Accept, batch_id=bad, why="The owner knows")
    assert findings_of(hand.file) == []
    hand.read(card, BLUER)
    assert [f.code for f in findings_of(hand.file)] == ["batch_shows"]


def test_a_repair_judges_the_car_against_the_stored_master(hand):
    with_master(hand, colour_code="G-17")
    stored_job, stored_finish = hand.job_id, hand.finish
    hand.job_id = hand.do(
        job.OpenJob,
        work_order="R-1",
        title="Invented van, three years on",
        repairs_job_id=stored_job,
        repairs_finish_id=stored_finish,
        damage="Stone chip on the left wing",
    )
    (finish,) = hand.file.all(job.Finish)
    assert finish.colour_code == "G-17"
    hand.finish = finish.root
    wing = hand.panel("Left wing")
    hand.read(None, GREEN, panel_id=wing)
    hand.read(None, (26.5, -11.0, 7.0), panel_id=hand.panel("Right wing"))
    same, faded = [v for v in hand.file.all(Verdict) if v.subject is Subject.CAR]
    assert same.word is Word.BLENDS
    assert same.sentence.startswith("The car at the left wing blends with the stored card ")
    assert faded.word is Word.SHOWS and "lighter" in faded.words


def test_trial_cards_of_a_repair_are_judged_by_the_stored_master(hand):
    _, stored_card, _ = with_master(hand)
    hand.job_id = hand.do(
        job.OpenJob,
        work_order="R-2",
        title="Invented van, three years on",
        repairs_job_id=hand.job_id,
        repairs_finish_id=hand.finish,
        damage="Stone chip on the left wing",
    )
    hand.finish = hand.file.all(job.Finish)[0].root
    first, _ = next_batch(hand, BLUER)
    second, card = next_batch(hand, GREEN)
    words = {b: verdict_on_batch(hand.file, b) for b in (first, second)}
    assert [v.word for v in words.values()] == [Word.SHOWS, Word.BLENDS]
    assert {v.other_card_id for v in words.values()} == {stored_card}
    assert [f.code for f in findings_of(hand.file)] == ["batch_shows"]
    hand.master(card, hand.file.by(Reading, "card_id", card)[0].root)
    assert verdict_on_batch(hand.file, first).other_card_id == card


def test_judging_again_makes_a_new_verdict_only_when_something_changed(hand):
    with_master(hand)
    bad, _ = next_batch(hand, BLUER)
    with pytest.raises(OutOfOrder, match="every verdict stands"):
        hand.on_job(closing.JudgeAgain, finish_id=hand.finish)
    limits = job.Limits(limit_master=3.0, limit_origin="This van is inside a barn")
    hand.on_job(job.SetPolicy, finish_id=hand.finish, limits=limits, why="The owner asked")
    assert verdict_on_batch(hand.file, bad).limit == 0.8
    hand.on_job(closing.JudgeAgain, finish_id=hand.finish)
    old, new = hand.file.by(Verdict, "batch_id", bad)
    assert (old.word, new.word) == (Word.SHOWS, Word.BLENDS)
    assert (old.limit, new.limit) == (0.8, 3.0)


def test_roles_are_held_to_what_they_may_do(hand):
    hand.open()
    with pytest.raises(NotAllowed, match="Only a manager may register an instrument"):
        hand.do(shop.RegisterInstrument, by=hand.painter, name="Spectro")
