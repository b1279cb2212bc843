"""The car beside cards: which reading is of the car, which card stands for it, by which limit."""

from datetime import timedelta

import pytest
from coloraide import Color

from service.domain.beside_car import (
    beside,
    edge_kind,
    neighbours,
    readings_of_car,
    readings_of_repair,
    stored_card,
    the_repair,
    trial_cards,
)
from service.domain.records.cards import Card
from service.domain.records.measuring import Reading
from service.domain.terms import FinishKind, JointKind, Stage, Word
from service.use_cases import job
from tests.fakes import FakeStore
from tests.shop_hand import ShopHand

RED = (33.0, 38.0, 20.0)
LIMITS = job.Limits(limit_butt=0.8, limit_gap=1.0, limit_fade=1.8, limit_origin="of the tests")


def delta_e(one, other):
    return Color("lab-d65", list(one)).delta_e(Color("lab-d65", list(other)), method="2000")


class Repairing(ShopHand):
    """A stored job with a read card, and a repair of its wing."""

    def __init__(self, kind=FinishKind.SOLID, limits=LIMITS):
        super().__init__(FakeStore())
        self.open(kind, limits=limits, coats_to_hide=3)
        self.stored_job, self.stored_finish = self.job_id, self.finish
        self.wing = self.panel("Left wing")

    def sprayed(self, lab, panel=None, master=False):
        """A batch on a panel with a baked card that was read; the card."""
        batch = self.batch()
        card = self.card(batch)
        if panel:
            self.spray(batch, panel_ids=(panel,))
        self.bake(card)
        reading = self.read(card, lab)
        if master:
            self.master(card, reading)
        return card

    def open_repair(self, panel="Left wing"):
        self.job_id = self.do(
            job.OpenJob,
            work_order=f"R-{len(self.job_id)}-{panel}",
            title="Invented van",
            repairs_job_id=self.stored_job,
            repairs_finish_id=self.stored_finish,
            damage="Stone chip",
        )
        self.finish = self.file.all(job.Finish)[0].root
        self.damaged = self.panel(panel)

    def read_car(self, lab, panel=None, **fields):
        fields.setdefault("stage", Stage.BAKED)
        return self.read(None, lab, panel_id=panel or self.damaged, **fields)

    @property
    def stored(self):
        return self.store.job(self.stored_job)

    def held(self, card, stored=True, kind=JointKind.BUTT):
        reading = readings_of_car(self.file)[-1]
        holding = self.stored if stored else self.file
        return beside(self.file, reading, holding, holding.get(Card, card), kind)


@pytest.fixture
def hand():
    return Repairing()


def test_a_job_that_goes_back_to_nothing_is_no_repair(hand):
    assert the_repair(hand.file) is None
    hand.open_repair()
    assert the_repair(hand.file).stored_job_id == hand.stored_job


def test_a_reading_is_of_the_car_until_its_panel_is_sprayed(hand):
    hand.open_repair()
    door = hand.panel("Left door")
    before = hand.read_car(RED)
    batch = hand.batch()
    hand.spray(batch, panel_ids=(hand.damaged,))
    after = hand.read_car(RED)
    beside_it = hand.read_car(RED, door)
    assert [r.root for r in readings_of_car(hand.file)] == [before, beside_it]
    assert [r.root for r in readings_of_repair(hand.file)] == [after]


def test_what_was_read_after_the_repair_does_not_count_for_the_car(hand):
    card = hand.sprayed(RED, master=True)
    hand.open_repair()
    hand.read_car(RED)
    seen = hand.held(card)
    batch = hand.batch()
    hand.spray(batch, panel_ids=(hand.damaged,))
    hand.clock += timedelta(days=1)
    hand.read_car((60.0, 0.0, 0.0))
    assert hand.held(card).edge.decision.delta_e_2000 == seen.edge.decision.delta_e_2000


def test_a_panel_is_held_against_the_card_of_what_was_sprayed_on_it(hand):
    hand.sprayed(RED, master=True)
    on_the_wing = hand.sprayed((33.2, 38.0, 20.0), hand.wing)
    found = stored_card(hand.stored, hand.stored_finish, "left WING")
    assert found.card.root == on_the_wing
    assert found.why.startswith("it stands for Left wing")


def test_else_against_the_master_and_else_against_the_card_read_last(hand):
    assert stored_card(hand.stored, hand.stored_finish, "Left wing") is None
    first = hand.sprayed(RED)
    newest = hand.sprayed(RED)
    assert stored_card(hand.stored, hand.stored_finish, "Left wing").card.root == newest
    hand.master(first, hand.file.by(Reading, "card_id", first)[0].root)
    found = stored_card(hand.stored, hand.stored_finish, "Left wing")
    assert found.card.root == first and "master" in found.why


def test_the_neighbours_are_those_it_meets_and_no_part_of_itself(hand):
    door, roof = hand.panel("Left door"), hand.panel("Roof", areas=("Front", "Rear"))
    hand.panel("Bonnet")
    hand.on_job(job.AddJoint, kind=JointKind.GAP, panel_a=hand.wing, panel_b=door)
    hand.on_job(job.AddJoint, kind=JointKind.FADE, panel_a=roof, panel_b=hand.wing)
    assert neighbours(hand.stored, hand.stored_finish, "left wing") == ["Left door", "Roof"]
    assert neighbours(hand.stored, hand.stored_finish, "Bonnet") == []


def test_an_edge_is_judged_by_the_strictest_joint_the_panel_meets_others_at(hand):
    assert edge_kind(hand.stored, hand.stored_finish, "Left wing") is JointKind.BUTT
    door, roof = hand.panel("Left door"), hand.panel("Roof")
    hand.on_job(job.AddJoint, kind=JointKind.GAP, panel_a=hand.wing, panel_b=door)
    assert edge_kind(hand.stored, hand.stored_finish, "Left wing") is JointKind.GAP
    hand.on_job(job.AddJoint, kind=JointKind.BUTT, panel_a=hand.wing, panel_b=roof)
    assert edge_kind(hand.stored, hand.stored_finish, "Left wing") is JointKind.BUTT


# Colours off RED by so much that another program puts them between two of the limits above.
AT_EDGE, AT_GAP, AT_FADE, BEYOND = (
    (33.25, 38.0, 20.0),
    (34.05, 38.0, 20.0),
    (34.55, 38.0, 20.0),
    (36.5, 38.0, 20.0),
)


def test_the_colours_of_these_tests_lie_where_their_names_say():
    found = [delta_e(RED, lab) for lab in (AT_EDGE, AT_GAP, AT_FADE, BEYOND)]
    assert found[0] < 0.4 < 0.81 < found[1] < 0.95 and 1.1 < found[2] < 1.6 and found[3] > 2


@pytest.mark.parametrize(
    ("lab", "kind", "edge", "fade"),
    [
        (AT_EDGE, JointKind.BUTT, Word.BLENDS, None),
        (AT_FADE, JointKind.BUTT, Word.SHOWS, Word.BLENDS),
        (BEYOND, JointKind.BUTT, Word.SHOWS, Word.SHOWS),
        (AT_EDGE, JointKind.GAP, Word.BLENDS, None),
        (AT_FADE, JointKind.GAP, Word.SHOWS, Word.BLENDS),
    ],
)
def test_each_kind_of_joint_is_judged_by_the_shops_own_limit(hand, lab, kind, edge, fade):
    card = hand.sprayed(RED, master=True)
    hand.open_repair()
    hand.read_car(lab)
    seen = hand.held(card, kind=kind)
    limits = {JointKind.BUTT: LIMITS.limit_butt, JointKind.GAP: LIMITS.limit_gap}
    assert seen.edge.limit == limits[kind]
    assert seen.edge.decision.delta_e_2000 == pytest.approx(delta_e(RED, lab), abs=2e-3)
    assert seen.edge.word is edge
    assert (seen.fade.word if seen.fade else None) is fade


def test_a_gap_may_hide_what_a_butt_joint_does_not(hand):
    card = hand.sprayed(RED, master=True)
    hand.open_repair()
    hand.read_car(AT_GAP)
    words = [hand.held(card, kind=kind).edge.word for kind in (JointKind.BUTT, JointKind.GAP)]
    assert words[0] is not Word.BLENDS and words != [Word.SHOWS, Word.SHOWS]


def test_no_fade_is_judged_where_the_shop_allows_it_no_more_than_an_edge():
    hand = Repairing(limits=job.Limits())
    card = hand.sprayed(RED, master=True)
    hand.open_repair()
    hand.read_car(AT_FADE)
    seen = hand.held(card)
    assert seen.edge.word is Word.SHOWS and seen.fade is None


def test_what_cannot_be_compared_is_not_judged_as_a_fade_either(hand):
    card = hand.sprayed(RED, master=True)
    hand.open_repair()
    hand.read_car(AT_FADE, illuminant="A")
    seen = hand.held(card)
    assert seen.edge.word is Word.NOT_COMPARABLE and seen.fade is None and seen.ways == ()


def test_a_trial_card_is_called_one_in_its_reasons(hand):
    hand.open_repair()
    hand.read_car(RED, illuminant="A")
    card = hand.sprayed(RED)
    (reason,) = hand.held(card, stored=False).edge.reasons[:1]
    assert "The trial card" in reason.text and "stored" not in reason.text + reason.remedy


def test_the_way_is_told_from_the_card_to_the_car(hand):
    card = hand.sprayed(RED, master=True)
    hand.open_repair()
    hand.read_car(BEYOND)
    (way,) = hand.held(card).ways
    assert way.words.startswith("lighter")
    assert way.difference == pytest.approx((3.5, 0, 0), abs=1e-9)
    assert way.delta_e_2000 == pytest.approx(delta_e(RED, BEYOND), abs=2e-3)


def test_cards_that_were_never_read_are_no_trial_yet(hand):
    hand.open_repair()
    hand.card(hand.batch())
    assert trial_cards(hand.file, hand.finish) == []
    read = hand.sprayed(RED)
    assert [card.root for card in trial_cards(hand.file, hand.finish)] == [read]


def test_a_question_asked_twice_is_worked_out_once(hand):
    card = hand.sprayed(RED, master=True)
    hand.open_repair()
    hand.read_car(RED)
    file, stored = hand.file, hand.stored
    reading = readings_of_car(file)[0]
    one, two = (beside(file, reading, stored, stored.get(Card, card)) for _ in range(2))
    assert one.edge is two.edge


@pytest.mark.parametrize(
    ("kind", "limit"), [(JointKind.BUTT, 0.8 * 1.5), (JointKind.GAP, 1.0 * 1.5)]
)
def test_an_angles_own_limit_moves_with_the_joints(kind, limit):
    """The limit at 110° is half as large again as elsewhere, so it is at a joint too."""
    limits = job.Limits(
        limit_butt=0.8,
        limit_gap=1.0,
        limit_fade=1.8,
        angle_limits={"110": 1.2},
        limit_origin="of the tests",
    )
    hand = Repairing(FinishKind.METALLIC, limits)
    faces = {15: (60.0, 4.0, 2.0), 45: (40.0, 3.0, 1.0), 110: (25.0, 2.0, 0.0)}
    card = hand.sprayed(faces, master=True)
    hand.open_repair()
    hand.read_car({**faces, 110: (28.5, 2.0, 0.0)})
    edge = hand.held(card, kind=kind).edge
    assert (edge.word, edge.decision.angle) == (Word.SHOWS, 110)
    assert edge.limit == pytest.approx(limit)
    assert f"at 110°, limit {limit:.2f}" in edge.sentence
    held = {one["angle"]: one["limit"] for one in edge.decision.angles}
    assert held == pytest.approx({15: limit / 1.5, 45: limit / 1.5, 110: limit})
