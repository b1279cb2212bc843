"""Taking in a readings file in a real browser: taps counted, axe finding nothing, no script."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from service.domain.lookups import verdict_on_batch
from service.domain.records.measuring import Reading
from tests.browser.conftest import axe_findings, kept_picture
from tests.browser.test_bench_pages import Bench, Finger, served
from tests.browser.test_kit_axe import TARGETS, TEXT_SIZES
from tests.web.pages.bench_shop import DARK_RED, BenchShop, Sprayed
from tests.web.pages.test_readings_file import SAID, bare, csv

pytestmark = pytest.mark.browser

TAPS = 5
"""From the bench: to the form, into the chooser, onto the file, look at it, store."""


@dataclass
class Desk(Bench):
    """A served shop with a read master and cards that wait for a reading, and files of them."""

    cards: tuple[Sprayed, ...]
    folder: Path

    def file(self, name: str, content: bytes) -> str:
        path = self.folder / name
        path.write_bytes(content)
        return str(path)


@pytest.fixture(scope="module")
def desk(tmp_path_factory) -> Iterator[Desk]:
    folder = tmp_path_factory.mktemp("files")
    shop = BenchShop(folder / "shop")
    shop.instrument()
    shop.job()
    master = shop.batch_with_card(shop.wing, DARK_RED)
    shop.hand.master(master.card, master.reading)
    cards = tuple(shop.batch_with_card(shop.door if n == 0 else "") for n in range(4))
    with served(shop.app) as address:
        yield Desk(shop=shop, address=address, pages={}, cards=cards, folder=folder)
    shop.close()


def press(page: Any, button: str) -> None:
    with page.expect_navigation():
        page.get_by_role("button", name=button).click()


def checked(page: Any, name: str, width: int) -> None:
    """Nothing for axe to find, nothing too small for a bench, nothing beside the screen."""
    with kept_picture(page, "readings-file", f"{name}-{width}"):
        for fold in page.locator("summary").all():
            if fold.locator("..").get_attribute("open") is None:
                fold.click()
        page.evaluate("scrollTo(0, 0)")
        assert axe_findings(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        targets = page.evaluate(TARGETS)
        assert [t for t in targets if t["height"] < 43.5 or t["width"] < 43.5] == []
        assert [found for found in page.evaluate(TEXT_SIZES) if found[0] < 17.9] == []


@pytest.mark.parametrize("width", [390, 1280])
def test_from_the_bench_to_stored_in_five_taps(open_page, desk, width):
    cards = desk.cards[:2] if width == 390 else desk.cards[2:]
    codes = [card.code for card in cards]
    page = open_page(f"{desk.address}/bench", width=width, **desk.signed_in())
    finger = Finger(page)
    finger.tap("link", "Take in a readings file")
    checked(page, "new", width)
    finger.taps += 2  # into the field, and onto the file in the device's own chooser
    page.set_input_files("[name=file]", desk.file("monday.csv", csv(*codes, start=31.6)))
    finger.taps += 1
    press(page, "Look at it")
    assert finger.heading == "Two readings of two cards, not stored yet"
    before = len(desk.shop.file.all(Reading))
    checked(page, "looked-at", width)
    finger.taps += 1
    press(page, "Store two readings")
    assert finger.taps <= TAPS
    assert len(desk.shop.file.all(Reading)) == before + 2
    assert finger.heading == "Two readings of two cards are on record"
    main = page.locator("main").inner_text()
    for card in cards:
        assert verdict_on_batch(desk.shop.file, card.batch).sentence in main
    checked(page, "stored", width)
    page.locator(".batch-name a").first.click()
    assert f"/batches/{cards[0].batch}" in page.url


@pytest.mark.parametrize("width", [390, 1280])
def test_what_the_file_leaves_open_is_asked_without_script(open_page, desk, width):
    card = desk.cards[0]
    page = open_page(f"{desk.address}/c/{card.code}", width=width, script=False, **desk.signed_in())
    page.get_by_role("link", name="Take readings from a file").click()
    start = {390: 32.3, 1280: 32.6}[width]
    page.set_input_files("[name=file]", desk.file("bare.csv", bare(card.code, start=start)))
    press(page, "Look at it")
    assert page.locator("h1").inner_text() == "Say what the file does not"
    page.get_by_text("Baked", exact=False).first.click()
    page.select_option("[name=illuminant]", "D65")
    page.select_option("[name=observer]", "10")
    page.get_by_text("Bench sphere").first.click()
    press(page, "Go on")
    assert page.locator("h1").inner_text() == "One reading of one card, not stored yet"
    assert "Bench sphere" in page.locator("main").inner_text()
    before = len(desk.shop.file.all(Reading))
    press(page, "Store one reading")
    assert len(desk.shop.file.all(Reading)) == before + 1
    assert desk.shop.file.all(Reading)[-1].geometry == "d:8"


@pytest.mark.parametrize("width", [390, 1280])
def test_axe_finds_nothing_where_it_asks_and_where_it_refuses(open_page, desk, width):
    card = desk.cards[0]
    page = open_page(f"{desk.address}/readings/new", width=width, **desk.signed_in())
    page.set_input_files("[name=file]", desk.file("bare.csv", bare(card.code, start=33.0)))
    press(page, "Look at it")
    checked(page, "asks", width)
    page.goto(f"{desk.address}/readings/new")
    content = (
        csv(card.code) + f"White tile,1,95,0,0,{SAID}\n{card.code} back,1,1,1,1,{SAID}\n".encode()
    )
    page.set_input_files("[name=file]", desk.file("tile.csv", content))
    press(page, "Look at it")
    assert page.locator("h1").inner_text() == "Nothing of this file can be stored yet"
    checked(page, "refused", width)
