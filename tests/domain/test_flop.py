"""A reading's flop index, and how a card's face and flop lie beside the master's."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.domain.flop import flop_beside, flop_of, flop_words
from service.domain.records.measuring import Reading
from service.domain.terms import FinishKind, Method, Stage
from tests.builders import JobBuilder

SILVER = {15: (125.0, -1.0, -2.0), 45: (65.0, -0.8, -1.0), 110: (35.0, -0.5, 0.0)}
TURNED = {**SILVER, 15: (127.5, -1.0, -2.0), 110: (33.0, -0.5, 0.0)}


def read(labs, repeats=3, **fields) -> Reading:
    job = JobBuilder(FinishKind.METALLIC)
    card = job.card(job.batch(1))
    fields = {"geometry": "multi-angle", "standard_uncertainty": 0.1, **fields}
    return replace(job.reading(card, labs, repeats=repeats), **fields)


def test_the_index_of_a_reading_is_alman_s_with_the_noise_of_the_reading():
    """By hand: 90^1.11 = 147.642, 65^0.86 = 36.233, 2.69 x 147.642 / 36.233 = 10.961."""
    flop = flop_of(read(SILVER))
    assert flop.index == pytest.approx(10.961, abs=2e-3)
    assert flop.words == "some flop"
    assert 0 < flop.standard_uncertainty < 0.1
    once = flop_of(read(SILVER, repeats=1))
    assert once.standard_uncertainty == pytest.approx(flop.standard_uncertainty * 3**0.5, rel=0.01)


def test_the_uncertainty_is_unknown_where_nothing_is_known_of_the_noise():
    assert flop_of(read(SILVER, repeats=1, standard_uncertainty=None)).standard_uncertainty is None


@pytest.mark.parametrize("labs", [(40.0, 0.0, 0.0), {45: SILVER[45]}, {15: SILVER[15]}])
def test_a_reading_without_face_middle_and_flop_has_no_index(labs):
    assert flop_of(read(labs)) is None


def test_a_solid_read_at_three_angles_has_no_flop():
    solid = flop_of(read({15: (41.2, 0.0, 0.0), 45: (41.0, 0.0, 0.0), 110: (40.9, 0.0, 0.0)}))
    assert solid.index < 1 and solid.words == "no flop stands out"


def test_face_and_flop_are_told_in_words():
    words = flop_words(read(SILVER), read(TURNED))
    assert words == "lighter at the face, darker at the flop, so it travels more"
    assert flop_words(read(TURNED), read(SILVER)).endswith("so it travels less")


def test_cards_alike_are_given_no_words():
    assert flop_words(read(SILVER), read(SILVER)) == ""


@pytest.mark.parametrize(
    "unlike",
    [
        {"illuminant": "A"},
        {"observer": 2},
        {"geometry": "45:0"},
        {"method": Method.PHOTOGRAPH},
        {"stage": Stage.BASE_DRY},
    ],
)
def test_unlike_readings_are_not_laid_side_by_side(unlike):
    assert flop_words(read(SILVER), replace(read(TURNED), **unlike)) == ""


def test_what_two_instruments_stand_apart_by_hides_what_is_smaller():
    near = {**SILVER, 110: (33.9, -0.5, 0.0)}
    apart = {"inter_instrument_uncertainty": 0.6}
    of_one = [read(labs, instrument_id="a", **apart) for labs in (SILVER, near)]
    assert "darker at the flop" in flop_words(*of_one)
    other = read(near, instrument_id="b", **apart)
    assert flop_words(of_one[0], other) == ""
    (*_, flop) = flop_beside(of_one[0], other).places
    assert flop.expanded_uncertainty > abs(flop.size)
