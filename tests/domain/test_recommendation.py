"""What to do about a repair: read off the verdicts and the shop's own limits, nothing multiplied.

The differences are those of another program, checked in test_beside_car.
"""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.beside_car import beside, readings_of_car
from service.domain.recommendation import (
    UNSEEN,
    Plan,
    Tried,
    best_of,
    plan_of,
    recommend,
    turned_flake,
)
from service.domain.records.cards import Card
from service.domain.records.measuring import EyeCheck
from service.domain.terms import EyeWord, FinishKind, JointKind, Look, Word
from service.use_cases import job
from service.use_cases.measuring import LogEyeCheck
from tests.domain.test_beside_car import AT_EDGE, AT_FADE, BEYOND, RED, Repairing


@pytest.fixture
def hand():
    return Repairing()


def tried(hand, card, name, stored=True):
    eyes = tuple(hand.file.by(EyeCheck, "card_id", card))
    return Tried(name=name, beside=hand.held(card, stored), eyes=eyes)


def by_stored(hand, car, **fields):
    """What is recommended when only the car and its stored card were read."""
    card = hand.sprayed(RED, master=True)
    hand.open_repair()
    hand.read_car(car, **fields)
    return recommend(car_was_read=True, stored=tried(hand, card, "the stored card"))


def by_trials(hand, *labs, neighbours=(), car=RED):
    hand.open_repair()
    hand.read_car(car)
    cards = [hand.sprayed(lab) for lab in labs]
    trials = [tried(hand, c, f"batch {n}", stored=False) for n, c in enumerate(cards, 1)]
    return recommend(car_was_read=True, stored=None, trials=trials, neighbours=neighbours)


def test_nothing_is_advised_before_the_car_was_read():
    assert recommend(car_was_read=False, stored=None).plan is Plan.READ_CAR


def test_without_a_stored_card_a_trial_card_comes_first():
    advice = recommend(car_was_read=True, stored=None)
    assert advice.plan is Plan.TRIAL and advice.card_id is None


def test_a_car_that_matches_its_card_is_worth_a_trial_and_no_more_than_that(hand):
    advice = by_stored(hand, AT_EDGE)
    assert advice.plan is Plan.TRIAL
    assert "still matches" in advice.because[0]
    assert "prove it on a trial card" in advice.sentence


def test_a_car_that_has_moved_says_which_way_to_tint(hand):
    advice = by_stored(hand, BEYOND)
    assert advice.plan is Plan.TINT
    # The car is lighter than its card, so the paint has to become lighter.
    assert advice.sentence.startswith("Tint the stored formula, lighter")


def test_a_car_that_only_a_fade_would_hide_is_said_to_be_one(hand):
    advice = by_stored(hand, AT_FADE)
    assert advice.plan is Plan.TRIAL and "expect to blend out" in advice.sentence
    assert "1.80" in " ".join(advice.because)


def test_unlike_readings_are_to_be_made_alike(hand):
    advice = by_stored(hand, RED, illuminant="A")
    assert advice.plan is Plan.READ_ALIKE
    assert "D65" in advice.because[0] and "read the car again" in advice.because[0]


def test_one_reading_of_unknown_noise_is_to_be_taken_again(hand):
    advice = by_stored(hand, AT_FADE, repeats=((0, 0, 0),), standard_uncertainty=None)
    assert advice.plan is Plan.READ_MORE
    assert "edge to edge" not in advice.sentence


def test_a_trial_card_that_blends_is_sprayed_edge_to_edge(hand):
    advice = by_trials(hand, AT_EDGE)
    assert advice.plan is Plan.EDGE
    assert advice.sentence == "Spray edge to edge: batch 1 blends with the car"
    assert "limit 0.80 at a butt joint" in advice.because[0]


def test_one_that_only_the_fade_limit_lets_pass_is_blended_out(hand):
    advice = by_trials(hand, AT_FADE, neighbours=["Bonnet", "Left door"])
    assert advice.plan is Plan.FADE
    assert "out into the bonnet or the left door" in advice.sentence
    assert "1.80" in advice.because[1] and "0.80" in advice.because[1]


def test_the_same_card_is_to_be_tinted_where_the_shop_allows_a_fade_no_more():
    """No source gives a figure for how much more a fade forgives, so none is made up."""
    advice = by_trials(Repairing(limits=job.Limits()), AT_FADE)
    assert advice.plan is Plan.TINT
    # The trial card is lighter than the car, so the paint has to become darker.
    assert advice.sentence.startswith("Tint batch 1 again, darker")


def test_a_card_beyond_every_limit_is_tinted_again(hand):
    assert by_trials(hand, BEYOND).plan is Plan.TINT


def test_the_trial_card_that_lies_best_decides(hand):
    advice = by_trials(hand, BEYOND, AT_EDGE, AT_FADE)
    assert advice.plan is Plan.EDGE and "batch 2" in advice.sentence
    assert any("3 cards were tried" in line for line in advice.limits)


def test_what_no_number_sees_is_always_said(hand):
    assert UNSEEN in by_trials(hand, AT_EDGE).limits


def test_an_eye_that_sees_what_the_numbers_do_not_is_heard_and_changes_nothing(hand):
    hand.open_repair()
    hand.read_car(RED)
    card = hand.sprayed(AT_EDGE)
    hand.on_job(
        LogEyeCheck,
        card_id=card,
        look=Look.FLOP,
        light="the sun",
        word=EyeWord.CLEARLY_SEEN,
        against_panel_id=hand.damaged,
    )
    advice = recommend(
        car_was_read=True, stored=None, trials=[tried(hand, card, "batch 1", stored=False)]
    )
    assert advice.plan is Plan.EDGE
    assert "An eye saw a clear difference at the flop under the sun." in advice.because


def test_a_face_and_a_flop_that_part_point_at_the_gun_before_the_tint():
    hand = Repairing(FinishKind.METALLIC)
    hand.open_repair()
    car = {15: (100.0, 0.0, 0.0), 45: (60.0, 0.0, 0.0), 110: (30.0, 0.0, 0.0)}
    hand.read_car(car)
    card = hand.sprayed({15: (97.0, 0.0, 0.0), 45: (60.0, 0.0, 0.0), 110: (33.0, 0.0, 0.0)})
    one = tried(hand, card, "batch 1", stored=False)
    assert turned_flake(one.beside.ways)
    advice = recommend(car_was_read=True, stored=None, trials=[one])
    assert any("how the flake lies" in line for line in advice.because)


def test_a_colour_lighter_at_every_angle_is_no_turned_flake():
    hand = Repairing(FinishKind.METALLIC)
    hand.open_repair()
    hand.read_car({15: (100.0, 0.0, 0.0), 45: (60.0, 0.0, 0.0), 110: (30.0, 0.0, 0.0)})
    card = hand.sprayed({15: (97.0, 0.0, 0.0), 45: (58.0, 0.0, 0.0), 110: (28.0, 0.0, 0.0)})
    assert not turned_flake(tried(hand, card, "batch 1", stored=False).beside.ways)


steps = st.floats(-4, 4).map(lambda x: round(x, 2))


@settings(max_examples=30, deadline=None)
@given(steps, steps, steps)
def test_the_plan_never_goes_beyond_what_the_verdicts_say(dl, da, db):
    hand = Repairing()
    hand.open_repair()
    hand.read_car(RED)
    card = hand.sprayed((RED[0] + dl, RED[1] + da, RED[2] + db))
    reading, holding = readings_of_car(hand.file)[-1], hand.file
    held = beside(holding, reading, holding, holding.get(Card, card), JointKind.BUTT)
    plan = plan_of(held)
    assert (plan is Plan.EDGE) == (held.edge.word is Word.BLENDS)
    if plan is Plan.FADE:
        assert held.fade.word is Word.BLENDS and held.edge.word is not Word.BLENDS
    if held.edge.word is Word.SHOWS and not (held.fade and held.fade.word is Word.BLENDS):
        assert plan is Plan.TINT


def test_no_number_is_said_that_is_neither_a_limit_nor_a_figure_of_the_verdict(hand):
    advice = by_trials(hand, AT_FADE, neighbours=["Bonnet"])
    hand_made = {"0.80", "1.80"}
    one = best_of([tried(hand, advice.card_id, "batch 1", stored=False)]).beside.edge.decision
    figures = {f"{x:.2f}" for x in (one.delta_e_2000, one.low, one.high)}
    said = set(re.findall(r"\d+\.\d\d", " ".join(advice.because)))
    assert said <= hand_made | figures
