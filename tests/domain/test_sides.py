"""What stands for a side of a joint."""

from __future__ import annotations

from service.domain.sides import joint_gap, side_at
from service.domain.terms import CardKind, CoatRole, FinishKind, JointKind, Stage
from tests.builders import JobBuilder


def test_a_card_with_the_same_coats_stands_for_the_side():
    job = JobBuilder()
    door = job.panel("Left door")
    ground, base = job.batch(1, CoatRole.GROUND), job.batch(2)
    job.coats(ground, 1, panel=door)
    job.coats(base, 3, panel=door)
    other = job.card(base, coats=3)
    same = job.card(base)
    job.coats(ground, 1, card=same)
    job.coats(base, 3, card=same)
    side = side_at(job.file, door.root, None)
    assert side.card_id == same.root != other.root
    assert "same coats" in side.why


def test_else_the_batch_of_the_last_coat_that_hides_stands_for_it():
    job = JobBuilder(coats_to_hide=2)
    door = job.panel("Left door")
    first, second = job.batch(1), job.batch(2)
    job.coats(first, 1, panel=door)
    job.coats(second, 2, panel=door, first=2)
    card = job.card(second, coats=3)
    side = side_at(job.file, door.root, None)
    assert side.card_id == card.root
    assert "hides" in side.why


def test_a_last_coat_that_does_not_hide_leaves_the_side_without_a_card():
    job = JobBuilder(FinishKind.METALLIC, coats_to_hide=2)
    door = job.panel("Left door")
    first, second = job.batch(1), job.batch(2)
    job.coats(first, 2, panel=door)
    job.coats(second, 1, panel=door, first=3)
    job.card(second, coats=3)
    side = side_at(job.file, door.root, None)
    assert side.card_id is None
    assert "nothing shows that batch 2 hides" in side.why
    assert "same coats" in side.remedy


def test_a_mid_coat_never_hides_by_its_number_alone():
    job = JobBuilder(FinishKind.TRI_COAT, coats_to_hide=2)
    door = job.panel("Left door")
    base, mid = job.batch(1), job.batch(2, CoatRole.MID)
    job.coats(base, 2, panel=door)
    job.coats(mid, 4, panel=door)
    job.card(mid, coats=4)
    assert side_at(job.file, door.root, None).card_id is None


def test_an_unsprayed_panel_has_no_side_yet():
    job = JobBuilder()
    side = side_at(job.file, job.panel("Left door").root, None)
    assert side.card_id is None
    assert "no colour coat" in side.why


def test_a_panel_of_two_batches_needs_its_area_named():
    job = JobBuilder(coats_to_hide=1)
    bonnet = job.panel("Bonnet")
    left, right = job.area(bonnet, "left"), job.area(bonnet, "right")
    first, second = job.batch(1), job.batch(2)
    job.coats(first, 1, area=left)
    job.coats(second, 1, area=right)
    cards = [job.card(first, coats=1), job.card(second, coats=1)]
    assert side_at(job.file, bonnet.root, None).card_id is None
    assert side_at(job.file, bonnet.root, left.root).card_id == cards[0].root
    assert side_at(job.file, bonnet.root, right.root).card_id == cards[1].root


def test_the_card_finished_furthest_stands_and_retention_goes_before_trial():
    job = JobBuilder(coats_to_hide=1)
    door = job.panel("Left door")
    batch = job.batch(1)
    job.coats(batch, 1, panel=door)
    trial = job.card(batch, coats=1, kind=CardKind.TRIAL)
    kept = job.card(batch, coats=1)
    assert side_at(job.file, door.root, None).card_id == kept.root
    job.reading(trial, stage=Stage.BAKED)
    assert side_at(job.file, door.root, None).card_id == trial.root
    job.reading(kept, stage=Stage.BAKED)
    assert side_at(job.file, door.root, None).card_id == kept.root


def test_joint_gaps_name_what_is_missing():
    job = JobBuilder(coats_to_hide=1)
    door, wing = job.panel("Left door"), job.panel("Left wing")
    joint = job.joint(door, wing, JointKind.GAP)
    first, second = job.batch(1), job.batch(2)
    assert joint_gap(job.file, joint) == "no_side"
    job.coats(first, 1, panel=door)
    job.coats(first, 1, panel=wing)
    assert joint_gap(job.file, joint) == "one_stack"
    job.coats(second, 1, panel=wing, first=2)
    assert joint_gap(job.file, joint) == "no_side"
    cards = [job.card(first, coats=1), job.card(second, coats=1)]
    assert joint_gap(job.file, joint) == "no_reading"
    job.reading(cards[0])
    job.reading(cards[1])
    assert joint_gap(job.file, joint) == ""
