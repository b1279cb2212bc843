"""What a manager is told of the instruments."""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.domain.instrument_findings import instrument_findings
from tests.builders import MONDAY
from tests.tile_shop import TileShop

DARKER = (55.6, -0.2, 0.4)


def found(shop, days=0.0):
    return instrument_findings(shop.file, MONDAY + timedelta(days=days))


def test_an_instrument_in_order_says_nothing():
    shop = TileShop()
    sphere = shop.instrument(calibration_due=MONDAY + timedelta(days=200))
    shop.instrument("Another")
    shop.read(sphere, shop.tile())
    assert found(shop) == []


@pytest.mark.parametrize(
    ("days", "code", "said"),
    [
        (-31, None, ""),
        (-30, "due_soon", "Bench sphere is due for calibration in 30 days."),
        (-1, "due_soon", "in 1 day."),
        (-0.5, "due_soon", "within a day"),
        (0.5, "past_calibration", "Bench sphere has been past its calibration since today."),
        (40, "past_calibration", "for 40 days."),
        (400, "past_calibration", "for 13 months."),
    ],
)
def test_calibration_that_is_due_or_over_is_said_with_what_to_do(days, code, said):
    shop = TileShop()
    shop.instrument(calibration_due=MONDAY)
    findings = found(shop, days)
    assert [finding.code for finding in findings] == ([code] if code else [])
    if findings:
        assert said in findings[0].sentence
        assert "calibrated" in findings[0].remedy


def test_drift_is_said_by_its_worst_tile_and_after_what_is_past_calibration():
    shop = TileShop()
    late = shop.instrument("Old sphere", calibration_due=MONDAY - timedelta(days=9))
    sphere = shop.instrument()
    grey, white = shop.tile(), shop.tile("White tile")
    for tile, lab, moved in ((grey, (56.0, 0.0, 0.0), 0.3), (white, (95.0, 0.0, 2.0), 0.9)):
        shop.read(sphere, tile, lab)
        shop.read(sphere, tile, (lab[0] - moved, *lab[1:]), 40)
    shop.read(late, grey)
    findings = found(shop, 60)
    assert [(f.code, f.instrument.name) for f in findings] == [
        ("past_calibration", "Old sphere"),
        ("drifted", "Bench sphere"),
    ]
    assert findings[1].sentence.startswith("Bench sphere no longer reads White tile as it did.")
    assert "over 40 days" in findings[1].sentence


def test_a_new_reference_after_the_service_ends_the_finding():
    shop = TileShop()
    sphere, grey = shop.instrument(), shop.tile()
    shop.read(sphere, grey)
    shop.read(sphere, grey, DARKER, 30)
    assert [f.code for f in found(shop, 31)] == ["drifted"]
    shop.read(sphere, grey, DARKER, 40, is_reference=True)
    assert found(shop, 41) == []
