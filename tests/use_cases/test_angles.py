"""Judging at several angles: each by itself, the worst decides, and none is left out unsaid."""

from __future__ import annotations

import json

import pytest

from colour.angles import SIX_ANGLES
from service.domain.lookups import policy_in_force, verdict_on_batch, verdict_on_joint
from service.domain.refused import Invalid
from service.domain.terms import FinishKind, JointKind, Word
from service.use_cases import closing, job
from tests.fakes import FakeStore
from tests.shop_hand import ShopHand

PEARL = {
    -15: (118.0, 3.0, -12.0),
    15: (112.0, 2.0, -10.0),
    25: (92.0, 1.0, -9.0),
    45: (64.0, 0.0, -7.0),
    75: (47.0, -0.5, -5.0),
    110: (40.0, -1.0, -4.0),
}
"""An invented white pearl; lightness falls from the light to the flop."""


def moved(angle, by=(0.0, 0.0, -4.0)):
    """The same with one angle moved, by default bluer."""
    lab = tuple(value + step for value, step in zip(PEARL[angle], by, strict=True))
    return {**PEARL, angle: lab}


def without(*angles):
    return {angle: lab for angle, lab in PEARL.items() if angle not in angles}


class Angled(ShopHand):
    """A pearl with its master, read at six angles."""

    def __init__(self, kind=FinishKind.PEARL, master=PEARL, **limits):
        super().__init__(FakeStore())
        limits.setdefault("required_angles", SIX_ANGLES)
        self.open(kind, limits=job.Limits(**limits))
        card = self.card(self.batch())
        self.bake(card)
        self.master(card, self.read_at(card, master))

    def read_at(self, card, labs, **fields):
        fields.setdefault("geometry", "multi-angle" if isinstance(labs, dict) else "d:8")
        return self.read(card, labs, **fields)

    def judged(self, labs, **fields):
        batch = self.batch()
        card = self.card(batch)
        self.bake(card)
        self.read_at(card, labs, **fields)
        return verdict_on_batch(self.file, batch)


@pytest.fixture
def hand():
    return Angled()


def evidence(verdict):
    return {one["angle"]: one for one in json.loads(verdict.evidence)["angles"]}


def test_six_angles_alike_blend_and_each_has_its_working(hand):
    verdict = hand.judged(PEARL)
    assert verdict.word is Word.BLENDS
    assert list(evidence(verdict)) == list(SIX_ANGLES)


@pytest.mark.parametrize("angle", SIX_ANGLES)
def test_one_angle_that_shows_decides_whichever_it_is(hand, angle):
    verdict = hand.judged(moved(angle))
    assert (verdict.word, verdict.angle) == (Word.SHOWS, angle)
    assert f"at {angle}°" in verdict.sentence and "bluer" in verdict.sentence
    words = {at: one["verdict"] for at, one in evidence(verdict).items()}
    assert words == {at: "shows" if at == angle else "blends" for at in SIX_ANGLES}


@pytest.mark.parametrize("angle", SIX_ANGLES)
def test_a_missing_angle_never_blends_and_is_asked_for(hand, angle):
    verdict = hand.judged(without(angle))
    assert verdict.word is Word.CANNOT_TELL
    assert verdict.reasons[0] == "angle_missing"
    assert f"needs a reading at {angle}°, and batch 2's card has none there" in verdict.sentence
    assert f"Read batch 2's card at {angle}°." in verdict.next_step


def test_an_angle_the_master_lacks_is_asked_of_the_master():
    verdict = Angled(master=without(-15)).judged(PEARL)
    assert verdict.word is Word.CANNOT_TELL
    assert "needs a reading at -15°, and the master has none there" in verdict.sentence


def test_a_different_colour_at_one_angle_shows_whatever_is_missing(hand):
    far = {angle: moved(45, (0.0, 0.0, -12.0))[angle] for angle in (15, 45, 75, 110)}
    verdict = hand.judged(far)
    assert (verdict.word, verdict.angle, verdict.over_five) == (Word.SHOWS, 45, True)
    assert "different colour" in verdict.sentence


def test_a_different_colour_shows_though_a_lesser_one_is_worse_for_its_limit():
    hand = Angled(angle_limits={"45": 0.3, "15": 3.0})
    labs = {**without(110), 45: moved(45)[45], 15: moved(15, (0.0, 12.0, 0.0))[15]}
    verdict = hand.judged(labs)
    assert (verdict.word, verdict.angle, verdict.over_five) == (Word.SHOWS, 15, True)


def test_a_lesser_difference_waits_for_the_missing_angle(hand):
    assert hand.judged({**without(-15), 110: moved(110)[110]}).word is Word.CANNOT_TELL


def test_angles_beyond_the_required_ones_neither_hold_nor_help():
    hand = Angled(required_angles=(15, 45, 110))
    verdict = hand.judged(moved(75, (0.0, 0.0, -9.0)))
    assert verdict.word is Word.BLENDS
    assert list(evidence(verdict)) == [15, 45, 110]


def test_an_angle_read_a_moment_before_counts_with_the_newest_reading(hand):
    """Somebody reads all six, then 45° once more: what was read is not lost."""
    batch = hand.batch()
    card = hand.card(batch)
    hand.bake(card)
    hand.read_at(card, PEARL)
    hand.read_at(card, {45: PEARL[45]})
    assert verdict_on_batch(hand.file, batch).word is Word.BLENDS


@pytest.mark.parametrize("grade", ["noted"])
@pytest.mark.parametrize("code", ["angle_missing", "unlike_angle"])
def test_no_policy_lets_a_missing_angle_blend(hand, code, grade):
    with pytest.raises(Invalid, match="nothing blends at an angle nobody looked from"):
        hand.on_job(
            job.SetPolicy,
            finish_id=hand.finish,
            limits=job.Limits(required_angles=SIX_ANGLES, grades={code: grade}),
            why="To try it",
        )


def test_several_angles_against_one_geometry_are_not_compared(hand):
    verdict = hand.judged((64.0, 0.0, -7.0))
    assert verdict.word is Word.NOT_COMPARABLE
    assert {"unlike_geometry", "angle_missing"} <= set(verdict.reasons)
    assert "The master was read at multi-angle, batch 2's card at d:8." in verdict.sentence
    assert "Read batch 2's card with an instrument of geometry multi-angle." in verdict.next_step


def test_a_solid_read_at_angles_and_at_one_geometry_says_which_is_which():
    hand = Angled(FinishKind.SOLID, master={45: (64.0, 0.0, -7.0)}, required_angles=())
    verdict = hand.judged((64.0, 0.0, -7.0), geometry="multi-angle")
    assert verdict.word is Word.NOT_COMPARABLE
    assert "The master was read at 45°, batch 2's card by an instrument with one geometry." in (
        verdict.sentence
    )
    other = hand.judged({25: (64.0, 0.0, -7.0)})
    assert "The master was read at 45°, batch 3's card at 25°." in other.sentence


def test_a_solid_of_no_common_angle_is_told_nothing_where_the_shop_only_warns():
    grades = {"unlike_angle": "only_cannot_tell"}
    hand = Angled(FinishKind.SOLID, master={45: PEARL[45]}, required_angles=(), grades=grades)
    verdict = hand.judged({110: PEARL[110]})
    assert verdict.word is Word.CANNOT_TELL and verdict.delta_e_2000 is None
    assert "Read batch 2's card at 45°." in verdict.next_step


def test_each_angle_is_held_to_its_own_limit_on_record():
    hand = Angled(angle_limits={"110": 2.5, "-15": 3.0}, limit_butt=0.4, limit_master=0.8)
    near = moved(110, (0.0, 0.0, -1.6))
    verdict = hand.judged(near)
    assert (verdict.word, verdict.limit) == (Word.BLENDS, 2.5)
    assert "at 110°, limit 2.50" in verdict.sentence
    held = {angle: one["limit"] for angle, one in evidence(verdict).items()}
    assert held == {-15: 3.0, 15: 0.8, 25: 0.8, 45: 0.8, 75: 0.8, 110: 2.5}
    strict = Angled().judged(near)
    assert (strict.word, strict.limit) == (Word.SHOWS, 0.8)


def test_a_joints_limit_at_an_angle_moves_in_proportion():
    hand = Angled(angle_limits={"110": 1.6}, limit_butt=0.4, limit_master=0.8)
    panels = [hand.panel(name) for name in ("Wing", "Door")]
    for panel, labs in zip(panels, (PEARL, moved(110, (0.0, 0.0, -4.5))), strict=True):
        batch = hand.batch()
        card = hand.card(batch)
        hand.bake(card)
        hand.spray(batch, panel_ids=(panel,))
        hand.read_at(card, labs)
    joint = hand.on_job(job.AddJoint, kind=JointKind.BUTT, panel_a=panels[0], panel_b=panels[1])
    hand.on_job(closing.JudgeAgain, finish_id=hand.finish)
    verdict = verdict_on_joint(hand.file, joint)
    assert (verdict.word, verdict.angle) == (Word.SHOWS, 110)
    assert verdict.limit == pytest.approx(0.8)
    held = {angle: one["limit"] for angle, one in evidence(verdict).items()}
    assert held[45] == 0.4 and held[110] == pytest.approx(0.8)


def test_the_next_step_names_the_angle_and_the_others_left_open():
    hand = Angled()
    noisy = {"standard_uncertainty": 0.35}
    verdict = hand.judged(
        {**PEARL, 45: (64.0, 0.0, -7.9), 110: (40.0, -1.0, -4.85), 15: PEARL[15]}, **noisy
    )
    assert verdict.word is Word.CANNOT_TELL
    assert f"at {verdict.angle}°" in verdict.sentence
    assert verdict.next_step.startswith(f"At {verdict.angle}°: ")
    assert "Not settled at " in verdict.next_step and "either." in verdict.next_step


def test_policies_keep_their_angles_in_order(hand):
    assert policy_in_force(hand.file, hand.finish).required_angles == SIX_ANGLES
