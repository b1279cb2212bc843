"""Card and master read by different instruments: what is said, and what it adds."""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.domain.comparability import Grade, reasons_against
from service.domain.instruments import variance_between_instruments
from service.domain.judging import draft_for_batch
from service.domain.specimens import specimen_of_card
from service.domain.terms import Method, Word
from tests.builders import MONDAY, JobBuilder, make_id

ONE, OTHER = make_id("instrument one"), make_id("instrument other")
GREY = (50.0, 0.0, 0.0)


class TwoCards:
    """A master's card and a batch's, each read as a test says."""

    def __init__(self, master, card, **policy):
        self.job = job = JobBuilder(**policy)
        at = MONDAY + timedelta(hours=6)
        batches = [job.batch(1), job.batch(2)]
        cards = [job.card(batch, coats=3) for batch in batches]
        for one in cards:
            job.bake(one, at=MONDAY)
        self.readings = [
            job.reading(one, said.pop("lab", GREY), at=at, **said)
            for one, said in zip(cards, (dict(master), dict(card)), strict=True)
        ]
        job.master(cards[0], self.readings[0])
        self.sides = [
            specimen_of_card(job.file, one, reading, name)
            for one, reading, name in zip(
                cards, self.readings, ("the master", "batch 2's card"), strict=True
            )
        ]
        self.draft = draft_for_batch(job.file, batches[1].root)

    @property
    def reasons(self):
        return reasons_against(self.job.file, self.job.finish, *self.sides)

    @property
    def graded(self):
        return {reason.code: reason.grade for reason in self.reasons}


def by(instrument, figure=None, **more):
    return {"instrument_id": instrument, "inter_instrument_uncertainty": figure, **more}


def test_what_one_instrument_read_is_compared_without_a_word():
    assert TwoCards(by(ONE, 0.2), by(ONE, 0.2)).graded == {}


def test_a_shop_that_names_no_instrument_hears_nothing_of_them():
    assert TwoCards({}, {}).graded == {}


def test_one_named_instrument_is_noted_and_no_figure_is_made_up():
    cards = TwoCards(by(ONE, 0.2), {})
    assert cards.graded == {"instrument_not_named": Grade.NOTED}
    assert "batch 2's card" in cards.reasons[0].text
    assert variance_between_instruments(*cards.readings) == 0
    assert cards.draft.word is Word.BLENDS


def test_two_instruments_of_known_figures_are_noted_and_their_variances_are_added():
    cards = TwoCards(by(ONE, 0.06), by(OTHER, 0.08))
    assert cards.graded == {"other_instrument": Grade.NOTED}
    assert "0.06 and 0.08 per channel" in cards.reasons[0].text
    assert cards.reasons[0].text.endswith("0.1.")
    assert variance_between_instruments(*cards.readings) == pytest.approx(0.01)


def test_the_figures_enter_the_standard_uncertainty_of_the_difference():
    # Alike greys: ΔE00 has one gradient g, so u² = g²(scatter + added); by JCGM 100, eq. 10, the
    # ratio of the squares is that of the variances.
    alone = TwoCards(by(ONE), by(ONE, lab=(50.4, 0.0, 0.0))).draft.decision
    apart = TwoCards(by(ONE, 0.06), by(OTHER, 0.08, lab=(50.4, 0.0, 0.0))).draft.decision
    of_readings = 2 * 0.05**2 / 3
    ratio = (apart.standard_uncertainty / alone.standard_uncertainty) ** 2
    assert ratio == pytest.approx((of_readings + 0.01) / of_readings, rel=1e-6)


def test_more_repeats_do_not_lessen_what_two_instruments_stand_apart_by():
    few = TwoCards(by(ONE, 0.3, repeats=3), by(OTHER, 0.4, repeats=3)).draft
    many = TwoCards(by(ONE, 0.3, repeats=300), by(OTHER, 0.4, repeats=300)).draft
    assert few.word is many.word is Word.CANNOT_TELL
    assert many.decision.standard_uncertainty > 0.3


def test_an_unknown_figure_only_cannot_tell_and_says_what_to_do():
    cards = TwoCards(by(ONE, 0.06), by(OTHER))
    assert cards.graded == {"other_instrument_unknown": Grade.ONLY_CANNOT_TELL}
    assert cards.draft.word is Word.CANNOT_TELL
    assert "check tile" in cards.draft.next_step
    assert "batch 2's card" in cards.reasons[0].text


def test_another_colour_shows_whatever_instruments_read_it():
    draft = TwoCards(by(ONE), by(OTHER, lab=(57.0, 0.0, 0.0))).draft
    assert draft.word is Word.SHOWS
    assert draft.decision.over_five


def test_past_its_calibration_even_another_colour_cannot_be_told():
    past = by(ONE, lab=(57.0, 0.0, 0.0), past_calibration=True)
    draft = TwoCards(by(ONE), past).draft
    assert draft.word is Word.CANNOT_TELL


def test_a_shop_may_grade_the_unknown_figure_as_noted_with_a_figure_of_its_own():
    policy = {
        "grades": {"other_instrument_unknown": "noted"},
        "widening": {"other_instrument_unknown": 0.1},
    }
    shop = TwoCards(by(ONE), by(OTHER), **policy).draft
    known = TwoCards(by(ONE, 0.06), by(OTHER, 0.08)).draft
    assert shop.decision.standard_uncertainty == pytest.approx(known.decision.standard_uncertainty)


def test_photographs_do_not_ask_for_an_instrument():
    cards = TwoCards(by(ONE, 0.1), {"method": Method.PHOTOGRAPH})
    assert not {"other_instrument", "other_instrument_unknown", "instrument_not_named"} & set(
        cards.graded
    )
