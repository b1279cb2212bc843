"""The demo's check tile tells what its scenario put into it."""

from __future__ import annotations

import pytest
from skimage.color import deltaE_ciede2000

from demo_cards.script import told
from service.domain.instrument_findings import instrument_findings
from service.domain.records.shop import CheckTile, TileReading
from service.domain.tile_history import courses_of
from tests.demo_cards.conftest import Told


def test_the_instrument_moved_on_the_tile_over_three_years(demo: Told) -> None:
    shop = demo.store.shop()
    (tile,) = shop.all(CheckTile)
    read = shop.by(TileReading, "tile_id", tile.root)
    given, base = told("tile")["readings"], told("tile")["lab"]
    assert [one.observed_at.isoformat()[:10] for one in read] == [g["at"][:10] for g in given]
    (course,) = courses_of(shop, read[0].instrument_id)
    # By scikit-image, what was put in at the last reading; the readings' own noise is 0.05.
    there = [b + m for b, m in zip(base, given[-1]["moved"], strict=True)]
    moved = float(deltaE_ciede2000(base, there))
    assert course.newest is not None and course.drift is not None
    assert course.newest.delta_e_2000 == pytest.approx(moved, abs=0.12)
    assert course.drift.drifted and moved > 0.25


def test_the_manager_is_told_of_it(demo: Told) -> None:
    shop = demo.store.shop()
    last = max(one.observed_at for one in shop.all(TileReading))
    said = [one for one in instrument_findings(shop, last) if one.code == "drifted"]
    assert len(said) == 1 and said[0].instrument.name == "Single-angle instrument (invented)"
