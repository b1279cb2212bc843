"""Instruments and check tiles in a real browser: axe, targets, and the walk of a tile reading."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from service.domain.records.shop import TileReading
from tests.browser.conftest import axe_findings, kept_picture
from tests.browser.test_bench_pages import Bench, served
from tests.browser.test_kit_axe import TARGETS
from tests.web.pages.test_shop_book_instruments import DARKER, DAY, GREY, TilesShop

pytestmark = pytest.mark.browser

FACES = {15: (92.0, 0.2, 1.4), 45: (60.5, -0.3, 0.2), 110: (31.0, -0.4, -1.1)}


@pytest.fixture(scope="module")
def bench(tmp_path_factory) -> Iterator[Bench]:
    """Three instruments: one that drifted, one in order beside it, one of several angles."""
    shop = TilesShop(tmp_path_factory.mktemp("instruments"))
    hand = shop.hand
    second = shop.instrument(name="Second sphere", calibration_due=datetime.now(UTC) - 12 * DAY)
    several = shop.instrument(
        name="Three angles",
        geometry="multi-angle",
        specular=None,
        calibration_due=datetime.now(UTC) + 200 * DAY,
    )
    for days, l in ((200, 56.0), (140, 55.9), (90, 55.8), (30, 55.7), (4, 55.5)):  # noqa: E741
        shop.tile_reading((l, -0.2 + (200 - days) / 900, 0.4), days_ago=days)
    shop.tile_reading(GREY, days_ago=4, by=second)
    for days, moved in ((60, 0.0), (2, 0.05)):
        shop.tile_reading(
            {angle: (l + moved, a, b) for angle, (l, a, b) in FACES.items()},  # noqa: E741
            days_ago=days,
            by=several,
            geometry="multi-angle",
        )
    pages = {
        "drifted": f"/shop/instruments/{shop.sphere}",
        "past": f"/shop/instruments/{second}",
        "several": f"/shop/instruments/{several}",
        "reading": f"/shop/instruments/{shop.sphere}/tile-readings/new",
        "reading-several": f"/shop/instruments/{several}/tile-readings/new",
        "tile": "/shop/tiles/new",
        "instrument": "/shop/instruments/new",
        "book": "/shop",
    }
    assert hand.store is shop.store
    with served(shop.app) as address:
        yield Bench(shop, address, pages)
    shop.close()


def opened(open_page, bench, name, width, scheme="light"):
    return open_page(
        bench.address + bench.pages[name],
        width=width,
        scheme=scheme,
        **bench.signed_in(bench.shop.manager),
    )


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize(
    "name",
    ["drifted", "past", "several", "reading", "reading-several", "tile", "instrument", "book"],
)
def test_the_pages_of_instruments_can_be_used(open_page, bench, name, width):
    page = opened(open_page, bench, name, width)
    with kept_picture(page, "instruments", f"{name}-{width}"):
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert axe_findings(page) == []
        least = 72 if name.startswith("reading") else 44
        targets = [
            found
            for found in page.evaluate(TARGETS)
            # Links within a sentence are left to the sentence.
            if not found["what"].startswith("<a href") or 'class="' in found["what"][:60]
        ]
        small = [t for t in targets if t["height"] < least - 0.5]
        assert small == []


@pytest.mark.parametrize("name", ["drifted", "reading"])
def test_the_dark_pages_can_be_read(open_page, bench, name):
    page = opened(open_page, bench, name, 390, "dark")
    with kept_picture(page, "instruments", f"{name}-390-dark"):
        assert axe_findings(page) == []


def test_a_tile_is_read_from_its_instruments_page(open_page, bench):
    before = len(bench.shop.store.shop().all(TileReading))
    page = open_page(bench.address + bench.pages["drifted"], **bench.signed_in())
    page.get_by_role("link", name="Read a check tile").click()
    for repeat in (1, 2, 3):
        for axis, value in zip("Lab", DARKER, strict=True):
            page.get_by_label(f"{axis}* of reading {repeat}").fill(str(value).replace(".", ","))
    page.get_by_role("button", name="Save the tile reading").click()
    assert page.get_by_text("The reading of the tile is on record.").is_visible()
    assert page.get_by_role("heading", level=1).inner_text() == "Bench sphere has drifted"
    assert len(bench.shop.store.shop().all(TileReading)) == before + 1


def test_a_refused_reading_keeps_what_was_typed_and_takes_the_eye_to_it(chromium, bench):
    # Not by open_page: a browser notes the answer 422 as trouble of its own.
    context = chromium.new_context(viewport={"width": 390, "height": 844}, **bench.signed_in())
    try:
        page = context.new_page()
        page.goto(bench.address + bench.pages["reading"])
        page.get_by_label("L* of reading 1").fill("56,1")
        page.get_by_label("a* of reading 1").fill("-0,2")
        page.get_by_role("button", name="Save the tile reading").click()
        with kept_picture(page, "instruments", "reading-refused-390"):
            assert "b* of reading 1 is missing" in page.locator("#errors").inner_text()
            assert page.get_by_label("L* of reading 1").input_value() == "56,1"
            assert axe_findings(page) == []
    finally:
        context.close()
