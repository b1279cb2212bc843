"""The page that prints labels, in a real browser: taps, axe, three widths, both schemes."""

from __future__ import annotations

import pytest
import zxingcpp

from tests.browser.conftest import axe_findings, kept_picture
from tests.browser.test_kit_axe import TARGETS
from tests.browser.test_rack_pages import Rack, rack  # noqa: F401  a fixture
from tests.paper_pages import Pages

pytestmark = pytest.mark.browser

PRINT_BLANK_TAPS = 2
"""From the bench: Print labels for new cards, Make the PDF."""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 820, 1280])
def test_axe_finds_nothing_and_nothing_is_cut_off(open_page, rack, width, scheme):  # noqa: F811
    page = open_page(f"{rack.address}/labels", width=width, scheme=scheme, **rack.signed_in())
    with kept_picture(page, "paper", f"page-labels-{width}-{scheme}"):
        assert axe_findings(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        small = [one for one in page.evaluate(TARGETS) if min(one["width"], one["height"]) < 44]
        assert small == []


def test_blank_labels_take_two_taps_from_the_bench(open_page, rack):  # noqa: F811
    page = open_page(f"{rack.address}/bench", accept_downloads=True, **rack.signed_in())
    taps = 0
    page.get_by_role("link", name="Print labels for new cards").click()
    taps += 1
    with page.expect_download() as coming:
        page.get_by_role("button", name="Make the PDF").click()
        taps += 1
    assert taps <= PRINT_BLANK_TAPS
    made = coming.value
    assert made.suggested_filename == "labels-blank-a4-21.pdf"
    pages = Pages(made.path().read_bytes())
    assert len(zxingcpp.read_barcodes(pages.picture(0, 203))) == 21


def test_what_cannot_be_printed_is_said_and_axe_finds_nothing(chromium, rack):  # noqa: F811
    # Not by open_page: the browser's console calls the answer of a refused form an error.
    context = chromium.new_context(viewport={"width": 390, "height": 844}, **rack.signed_in())
    page = context.new_page()
    page.goto(f"{rack.address}/labels?slot=Z-99")
    page.get_by_role("button", name="Make the PDF").click()
    with kept_picture(page, "paper", "page-labels-refused"):
        assert "There is no card in slot Z-99" in page.inner_text("#errors")
        assert page.locator("#f-slot").input_value() == "Z-99"
        assert axe_findings(page) == []
    context.close()


def test_a_cards_papers_are_fetched_from_its_page(open_page, rack):  # noqa: F811
    code = rack.code("A-05")
    page = open_page(f"{rack.address}/c/{code}", accept_downloads=True, **rack.signed_in())
    for text, name in (("Print its label", "label"), ("Print its sheet", "card")):
        with page.expect_download() as coming:
            page.get_by_role("link", name=text).click()
        assert coming.value.suggested_filename == f"{name}-{code}.pdf"
        assert "nvented" in Pages(coming.value.path().read_bytes()).text()
