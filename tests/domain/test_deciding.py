"""The bridge to the colour science: angles, frames, looks and what the shop allows."""

from __future__ import annotations

import pytest

from colour.difference import delta_e_2000
from service.domain.deciding import AngleQuestion, decide
from service.domain.terms import Word

GREEN = (25.0, -12.0, 6.0)


def question(card, angle=None, repeats=3, uncertainty=0.05, limit=0.8, **more):
    return AngleQuestion(
        angle=angle,
        master=[GREEN] * repeats,
        card=[card] * repeats,
        limit=limit,
        master_uncertainty=uncertainty,
        card_uncertainty=uncertainty,
        **more,
    )


def judged(*questions, **more):
    return decide(questions, risk=0.05, **more)


def test_the_figures_are_of_the_colour_science():
    decision = judged(question((25.0, -12.0, 4.0)))
    assert decision.delta_e_2000 == delta_e_2000(GREEN, (25.0, -12.0, 4.0))
    assert decision.difference == (0.0, 0.0, -2.0)
    assert (decision.word, decision.words) == (Word.SHOWS, "bluer")
    assert decision.low < decision.delta_e_2000 < decision.high
    assert decision.risk_spent == pytest.approx(0.05 / 3)


def test_each_angle_is_held_to_its_own_limit_and_the_worst_for_its_limit_is_named():
    wide, narrow = (25.0, -12.0, 4.5), (25.0, -12.0, 5.2)
    decision = judged(question(wide, 15, limit=4.0), question(narrow, 110, limit=0.8))
    assert (decision.word, decision.angle, decision.limit) == (Word.BLENDS, 110, 0.8)
    decision = judged(question(wide, 15, limit=0.8), question(narrow, 110, limit=4.0))
    assert (decision.word, decision.angle, decision.limit) == (Word.SHOWS, 15, 0.8)


def test_the_worst_angle_decides_and_is_named():
    decision = judged(question(GREEN, 15), question((25.0, -12.0, 4.0), 45), question(GREEN, 110))
    assert (decision.word, decision.angle) == (Word.SHOWS, 45)
    assert [angle["angle"] for angle in decision.angles] == [15, 45, 110]
    assert [angle["verdict"] for angle in decision.angles] == ["blends", "shows", "blends"]


def test_one_angle_too_coarse_keeps_the_rest_from_blending():
    decision = judged(question(GREEN, 15), question(GREEN, 45, uncertainty=2.0))
    assert (decision.word, decision.angle) == (Word.CANNOT_TELL, 45)
    assert "too coarse" in decision.why


def test_two_single_readings_of_unknown_uncertainty_cannot_tell():
    decision = judged(question(GREEN, repeats=1, uncertainty=None))
    assert decision.word is Word.CANNOT_TELL
    assert decision.low is decision.high is decision.p_blends is None
    assert "Too few readings" in decision.why


def test_readings_of_one_frame_are_judged_by_the_frames_own_covariance():
    """The same two colours: apart they cannot be told, in one frame they can."""
    card = (25.0, -12.0, 5.8)
    coarse = {"repeats": 1, "uncertainty": 0.6}
    assert judged(question(card, **coarse)).word is Word.CANNOT_TELL
    small = tuple(tuple(0.05**2 * (i == j) for j in range(3)) for i in range(3))
    assert judged(question(card, joint_covariance=small, **coarse)).word is Word.BLENDS


def test_what_the_shop_allows_beyond_the_readings_widens_the_answer():
    near = question((25.3, -12.0, 6.0))
    wide = question((25.3, -12.0, 6.0), added_variance=0.4**2, to_panel=True)
    assert judged(near).word is Word.BLENDS
    decision = judged(wide)
    assert decision.word is Word.CANNOT_TELL
    assert decision.high > judged(near).high
    assert decision.angles[0]["risk_is_about"] == "panel"


def test_past_the_planned_looks_nothing_is_decided():
    decision = judged(question(GREEN), look=4, planned_looks=3)
    assert decision.word is Word.CANNOT_TELL
    assert decision.risk_spent == 0.0
    assert "planned looks" in decision.why


def test_beyond_five_there_is_no_figure_to_be_trusted():
    decision = judged(question((25.0, 8.0, 6.0)))
    assert decision.word is Word.SHOWS
    assert decision.over_five


def test_the_same_readings_give_the_same_bytes():
    one, other = (judged(question((25.1, -12.3, 5.7), 15)) for _ in range(2))
    assert repr(one) == repr(other)
