"""Cards laid side by side: pairs, directions, and what stands against a comparison."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.color import deltaE_ciede2000

from service.domain.line_making import all_lines
from service.domain.lines import CardLine
from service.domain.refused import Invalid
from service.use_cases.side_by_side import MOST_CARDS, lay_side_by_side
from tests.builders import JobBuilder


@pytest.fixture(scope="module")
def line():
    job = JobBuilder()
    card = job.card(job.batch(1))
    job.reading(card, (12.0, 0.0, 0.0))
    return next(line for line in all_lines(job.file) if isinstance(line, CardLine))


def cards(line, *labs):
    return [
        replace(line, id=f"card {n}", code=f"CODE{n:05}", l=lab[0], a=lab[1], b=lab[2])
        for n, lab in enumerate(labs)
    ]


def test_each_pair_comes_once_and_names_how_the_second_looks(line):
    laid = lay_side_by_side(cards(line, (12, 0, 0), (12, 0, -3), (12, 3, 0), (9, 0, 0)))
    words = {(pair.first[-1], pair.second[-1]): pair.words for pair in laid.pairs}
    assert len(words) == 6
    assert words["0", "1"] == "bluer"
    assert words["0", "2"] == "redder"
    assert words["0", "3"] == "darker"
    extremes = {card.code[-1]: card.extremes for card in laid.cards}
    assert extremes == {
        "0": (),
        "1": ("bluest",),
        "2": ("reddest",),
        "3": ("deepest",),
    }


labs = st.tuples(st.floats(2, 98), st.floats(-60, 60), st.floats(-60, 60))


@given(st.lists(labs, min_size=2, max_size=5))
def test_differences_are_those_of_scikit_image(line, values):
    """scikit-image's CIEDE2000, outside the project; 1.4e-4 is where it leaves the standard's
    mean hue above 360 degrees."""
    laid = lay_side_by_side(cards(line, *values))
    lab = {card.code: (card.line.l, card.line.a, card.line.b) for card in laid.cards}
    for pair in laid.pairs:
        expected = float(deltaE_ciede2000(lab[pair.first], lab[pair.second]))
        assert pair.delta_e_2000 == pytest.approx(expected, abs=2e-4)


def test_an_extreme_that_two_cards_share_is_nobodys(line):
    laid = lay_side_by_side(cards(line, (12, 0, -3), (12, 0, -3), (12, 0, 0)))
    assert [card.extremes for card in laid.cards] == [(), (), ("yellowest",)]


def test_a_card_never_read_is_said_and_left_out(line):
    one, other = cards(line, (12, 0, 0), (12, 0, -3))
    unread = replace(other, l=None, a=None, b=None)
    (pair,) = lay_side_by_side([one, unread]).pairs
    assert pair.delta_e_2000 is None
    assert "was never read. Read it first." in pair.why


def test_another_angle_is_not_compared(line):
    one, other = cards(line, (12, 0, 0), (12, 0, -3))
    (pair,) = lay_side_by_side([one, replace(other, angle=110)]).pairs
    assert pair.delta_e_2000 is None
    assert "at 110°" in pair.why and "Read both alike" in pair.why


@pytest.mark.parametrize("count", [0, 1, MOST_CARDS + 1])
def test_two_cards_are_wanted_and_not_too_many(line, count):
    with pytest.raises(Invalid, match=f"{count} cards were named"):
        lay_side_by_side(cards(line, *[(12, 0, 0)] * count))
