"""The pot against the product's own sheet."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from service.domain.mixing import pot_life_ends, ratio_deviations
from service.domain.records.shop import Product
from service.domain.terms import ComponentRole
from tests.builders import MONDAY, JobBuilder, make_id

# Two parts base to one part reducer: a common kind of ratio on sheets; common practice, no source.
SHEET = Product(
    id=make_id("product"),
    shop_id=make_id("shop"),
    author_id=make_id("painter"),
    observed_at=MONDAY,
    received_at=MONDAY,
    name="Invented basecoat",
    role=ComponentRole.BASE,
    sheet="invented sheet 1",
    mix_ratio=((ComponentRole.BASE, 2.0), (ComponentRole.REDUCER, 1.0)),
    ratio_tolerance_percent=5,
)


def poured(base, reducer, unit="ml"):
    job = JobBuilder()
    batch = job.batch(1)
    return [
        job.component(batch, product="base", role=ComponentRole.BASE, amount=base, unit=unit),
        job.component(batch, product="thin", role=ComponentRole.REDUCER, amount=reducer, unit=unit),
    ]


@pytest.mark.parametrize("reducer", [190.0, 200.0, 210.0])
def test_a_pot_within_the_sheets_tolerance_is_in_order(reducer):
    assert ratio_deviations(SHEET, poured(400.0, reducer)) == []


@pytest.mark.parametrize("reducer", [189.0, 211.0, 0.0])
def test_a_pot_off_the_ratio_is_named_with_what_the_sheet_asks(reducer):
    (deviation,) = ratio_deviations(SHEET, poured(400.0, reducer))
    assert deviation.wanted == 200.0
    assert deviation.sentence == (f"Reducer: {reducer:g} ml poured, the sheet asks for 200 ml.")


def test_parts_by_volume_are_not_checked_by_weight():
    assert ratio_deviations(SHEET, poured(400.0, 10.0, unit="g")) is None


def test_a_missing_amount_leaves_the_ratio_unchecked():
    assert ratio_deviations(SHEET, poured(400.0, None)) is None


def test_pot_life_counts_from_mixing():
    job = JobBuilder()
    batch = job.batch(1)
    assert pot_life_ends(batch) is None
    timed = type(batch)(
        **{name: getattr(batch, name) for name in ("id", "shop_id", "author_id", "job_id")},
        observed_at=datetime(2026, 6, 1, 9, 0, tzinfo=UTC),
        received_at=MONDAY,
        finish_id=batch.finish_id,
        number=1,
        role=batch.role,
        pot_life_minutes=90,
    )
    assert pot_life_ends(timed) == datetime(2026, 6, 1, 10, 30, tzinfo=UTC)
