"""Drawings of a comparison in a real browser: axe, letters, widths, and choosing an angle."""

from __future__ import annotations

import gzip
from collections.abc import Iterator
from typing import Any

import pytest

from service.domain.records.cards import Card
from tests.browser.conftest import axe_findings, kept_picture
from tests.browser.test_bench_pages import served
from tests.browser.test_kit_axe import TARGETS
from tests.web.pages.figure_shop import DARK_FLOP, FigureShop

pytestmark = pytest.mark.browser

WIDTHS, SCHEMES = (390, 820, 1280), ("light", "dark")
PLACES = [
    "flake-verdict",
    "flake-card",
    "missing-verdict",
    "solid-verdict",
    "solid-card",
    "solid-master",
    "joint-joint",
    "joint-verdict",
]


def _told(shop: FigureShop, story: str) -> dict[str, str]:
    """Tell a story; the addresses of its pages."""
    if story == "joint":
        shop.story()
        verdict = shop.verdict(joint_id=shop.told.joints["Wing Bonnet"])
    else:
        if story == "flake":
            shop.flake()
        elif story == "missing":
            shop.flake({angle: lab for angle, lab in DARK_FLOP.items() if angle != 75})
        else:
            shop.solid_with_spectra()
        verdict = shop.verdict(batch_id=shop.told.batches[2])
    job = f"/jobs/{verdict.job_id}"
    codes = {n: shop.hand.file.get(Card, card).code for n, card in shop.told.cards.items()}
    return {
        f"{story}-verdict": f"{job}/verdicts/{verdict.root}",
        f"{story}-joint": f"{job}/joints/{verdict.joint_id}",
        f"{story}-card": f"/c/{codes[2]}",
        f"{story}-master": f"/c/{codes[1]}",
    }


@pytest.fixture(scope="module")
def drawn(tmp_path_factory) -> Iterator[dict[str, tuple[str, dict[str, Any]]]]:
    """Where each page is served, and what a browser keeps once the manager signed in."""
    found, closing = {}, []
    for story in ("flake", "missing", "solid", "joint"):
        shop = FigureShop(tmp_path_factory.mktemp(story))
        pages = _told(shop, story)
        serving = served(shop.app)
        address = serving.__enter__()
        closing.append((serving, shop))
        cookie = {
            **shop.cookie(),
            "domain": address.removeprefix("http://").partition(":")[0],
            "path": "/",
            "expires": -1,
            "httpOnly": True,
            "secure": False,
            "sameSite": "Lax",
        }
        state = {"storage_state": {"cookies": [cookie], "origins": []}}
        found |= {name: (address + path, state) for name, path in pages.items()}
    yield found
    for serving, shop in closing:
        serving.__exit__(None, None, None)
        shop.close()


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("name", PLACES)
def test_axe_finds_nothing_and_no_page_is_wider_than_its_screen(open_page, drawn, name, scheme):
    address, state = drawn[name]
    page = open_page(f"{address}?angle=45", width=WIDTHS[0], scheme=scheme, **state)
    assert page.locator("figure.chart").count() >= 1
    for width in (390, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        with kept_picture(page, "figures", f"{name}-{width}-{scheme}"):
            assert axe_findings(page) == [], width
    for width in (320, *WIDTHS):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("name", PLACES)
def test_letters_can_be_read_and_stay_inside_their_drawing(open_page, drawn, name):
    address, state = drawn[name]
    page = open_page(f"{address}?angle=45", **state)
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        letters = page.evaluate(
            """() => [...document.querySelectorAll('figure.chart svg text')]
              .filter(e => e.checkVisibility()).map(e => {
                const box = e.getBoundingClientRect();
                const view = e.closest('figure').getBoundingClientRect();
                return {text: e.textContent, x: box.left, y: box.top, right: box.right,
                  bottom: box.bottom, out: Math.max(view.left - box.left, box.right - view.right),
                  size: e.getScreenCTM().a * parseFloat(getComputedStyle(e).fontSize),
                  figure: e.closest('figure').textContent.slice(0, 40)};
              })"""
        )
        assert len(letters) >= 8
        assert [one for one in letters if one["size"] < 11] == [], width
        assert [one for one in letters if one["out"] > 1] == [], width
        crossing = [
            (one["text"], other["text"])
            for i, one in enumerate(letters)
            for other in letters[:i]
            if one["figure"] == other["figure"]
            and min(one["right"], other["right"]) - max(one["x"], other["x"]) > 1
            and min(one["bottom"], other["bottom"]) - max(one["y"], other["y"]) > 3
        ]
        assert crossing == [], width


@pytest.mark.parametrize("name", ["flake-verdict", "solid-card", "joint-joint"])
def test_targets_suit_a_finger(open_page, drawn, name):
    address, state = drawn[name]
    page = open_page(f"{address}?angle=45", width=390, **state)
    small = [
        found
        for found in page.evaluate(TARGETS)
        if (not found["what"].startswith("<a href") or 'class="' in found["what"][:60])
        and (found["height"] < 43.5 or found["width"] < 43.5)
    ]
    assert small == []


@pytest.mark.parametrize("width", [390, 1280])
def test_an_angle_is_chosen_by_its_address_and_a_point_leads_to_its_card(open_page, drawn, width):
    address, state = drawn["flake-verdict"]
    page = open_page(address, width=width, script=False, **state)
    current = page.locator(".figure-angles [aria-current]")
    assert current.inner_text() == "110°"
    assert "beyond the limit of 0.80 at 110°" in page.locator("main").inner_text()
    page.locator(".figure-angles").get_by_role("link", name="15°", exact=True).click()
    assert current.inner_text() == "15°" and page.url.endswith("angle=15#where")
    assert "within the limit of 1.40 at 15°" in page.locator("main").inner_text()
    page.locator("#where").locator("xpath=..").locator("a.point").first.click()
    assert "/c/" in page.url


@pytest.mark.parametrize("width", [390, 1280])
def test_the_numbers_of_a_spectrum_are_one_click_away(open_page, drawn, width):
    for name in ("solid-verdict", "solid-card"):
        address, state = drawn[name]
        page = open_page(address, width=width, script=False, **state)
        table = page.locator("table", has=page.locator("caption", has_text="Light reflected"))
        assert not table.is_visible()
        page.locator("summary", has_text="The spectrum in numbers").click()
        assert table.is_visible() and table.locator("tbody tr").count() == 41


def test_dashes_tell_the_two_spectra_apart_without_colour(open_page, drawn):
    address, state = drawn["solid-verdict"]
    page = open_page(address, width=1280, **state)
    found = page.evaluate(
        """() => [...document.querySelectorAll('figure.chart .line')].map(e => {
          const s = getComputedStyle(e); return [s.stroke, s.strokeDasharray]; })"""
    )
    assert len({stroke for stroke, _ in found}) == 1
    assert {dashes for _, dashes in found} == {"none", "8px, 5px"}


def test_paper_has_the_drawings_and_their_numbers(open_page, drawn):
    address, state = drawn["solid-verdict"]
    page = open_page(address, width=1280, scheme="dark", **state)
    page.emulate_media(media="print", color_scheme="dark")
    with kept_picture(page, "figures", "solid-verdict-print"):
        assert all(figure.is_visible() for figure in page.locator("figure.chart").all())
        table = page.locator("table", has=page.locator("caption", has_text="Light reflected"))
        assert table.is_visible()
        stroke = page.locator(".line").first.evaluate("e => getComputedStyle(e).stroke")
        assert stroke == "rgb(0, 0, 0)"


@pytest.mark.parametrize("name", PLACES)
def test_the_first_load_is_at_most_100_kilobytes(open_page, drawn, name):
    address, state = drawn[name]
    page = open_page(address, **state)
    loaded = page.evaluate("performance.getEntriesByType('resource').map(e => e.name)")
    bodies = [page.request.get(url).body() for url in {address, *loaded}]
    assert len(bodies) >= 4
    assert sum(len(gzip.compress(body)) for body in bodies) <= 100_000
