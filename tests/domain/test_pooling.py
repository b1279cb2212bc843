"""Readings of one age: which are pooled, which are a surface's first, which its newest."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.pooling import SAME_AGE, alike, as_it_is_now, as_sprayed
from service.domain.terms import Stage
from tests.builders import MONDAY, JobBuilder

JOB = JobBuilder()
CARD = JOB.card(JOB.batch(1))
TAKEN = JOB.reading(CARD)


def read_on(*days, stage=Stage.BAKED):
    return [replace(TAKEN, stage=stage, observed_at=MONDAY + timedelta(days=day)) for day in days]


def days_of(readings):
    return [(reading.observed_at - MONDAY).days for reading in readings]


@pytest.mark.parametrize(
    ("model", "pooled"), [(0, [0, 90]), (1, [0, 90, 180]), (3, [400, 400]), (4, [400, 400])]
)
def test_what_is_pooled_with_a_reading_lies_within_three_months_of_it(model, pooled):
    readings = read_on(0, 90, 180, 400, 400)
    assert days_of(alike(readings, readings[model])) == pooled


def test_the_first_period_is_counted_for_each_stage_from_its_own_first_reading():
    base, baked = read_on(0, 91, stage=Stage.BASE_DRY), read_on(200, 290, 291)
    assert days_of(as_sprayed([*base, *baked])) == [0, 200, 290]


def test_readings_that_arrive_out_of_order_are_told_by_when_they_were_made():
    assert days_of(as_sprayed(read_on(800, 3, 0))) == [3, 0]
    assert days_of(as_it_is_now(read_on(800, 3, 715, 0))) == [800, 715]


def test_of_nothing_there_is_nothing():
    assert as_sprayed([]) == as_it_is_now([]) == []


@given(st.lists(st.integers(0, 3000), min_size=1, max_size=12))
def test_a_period_holds_its_end_and_spans_no_more_than_three_months(days):
    readings = read_on(*days)
    for period, end in ((as_sprayed(readings), min(days)), (as_it_is_now(readings), max(days))):
        found = days_of(period)
        assert end in found
        assert max(found) - min(found) <= SAME_AGE.days
        assert sorted(found) == sorted(d for d in days if abs(d - end) <= SAME_AGE.days)
