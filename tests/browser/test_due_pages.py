"""Cards in storage in a real browser: the yearly round, from the audit to a card read again."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from service.domain.records.cards import Card
from service.use_cases import cards
from service.use_cases.sign_in import IDLE, LONGEST
from service.web.security import COOKIE
from tests.browser.conftest import axe_findings, kept_picture
from tests.browser.test_bench_pages import served
from tests.browser.test_kit_axe import TARGETS
from tests.web.pages.audit_shop import MASTER, AuditShop

pytestmark = pytest.mark.browser

YEAR = timedelta(days=365)
YELLOWER = (44.9, -4.8, -18.6)


class Rack:
    """A shop whose cards were read three years ago, one of them again since, served."""

    def __init__(self, shop: AuditShop, address: str) -> None:
        self.shop, self.address = shop, address
        self.codes = {n: shop.hand.file.get(Card, card).code for n, card in shop.told.cards.items()}

    def signed_in(self) -> dict[str, Any]:
        """What a browser keeps once the manager signed in."""
        sessions = self.shop.app.state.services.shop.sessions
        cookie = {
            "name": COOKIE,
            "value": sessions.start(self.shop.manager, idle=IDLE, longest=LONGEST),
            "domain": self.address.removeprefix("http://").partition(":")[0],
            "path": "/",
            "expires": -1,
            "httpOnly": True,
            "secure": False,
            "sameSite": "Lax",
        }
        return {"storage_state": {"cookies": [cookie], "origins": []}}

    def pages(self) -> dict[str, str]:
        """What the yearly round needs, by name."""
        return {
            "due": "/audit/due",
            "due-walk": "/audit/due?order=slot",
            "due-none": "/audit/due?months=100",
            "moved": "/audit/moved",
            "read-again": f"/c/{self.codes[3]}/readings/new?again=yes",
        }


@pytest.fixture(scope="module")
def rack(tmp_path_factory) -> Iterator[Rack]:
    shop = AuditShop(tmp_path_factory.mktemp("rack"))
    shop.hand.clock = datetime.now(UTC) - 3 * YEAR
    shop.story()
    for number, slot in ((1, "A-10"), (2, "A-2")):
        card = shop.told.cards[number]
        shop.hand.on_job(cards.PullCard, card_id=card, why="to look")
        shop.hand.on_job(cards.ReturnCard, card_id=card, state="As it was.", slot=slot)
    shop.hand.clock += 1.5 * YEAR
    shop.hand.read(shop.told.cards[2], YELLOWER)
    with served(shop.app) as address:
        yield Rack(shop, address)
    shop.close()


NAMES = "due due-walk due-none moved read-again".split()


def test_every_page_is_listed(rack):
    assert list(rack.pages()) == NAMES


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (1280, "dark")])
@pytest.mark.parametrize("name", NAMES)
def test_axe_finds_nothing(open_page, rack, name, width, scheme):
    where = rack.address + rack.pages()[name]
    page = open_page(where, width=width, scheme=scheme, **rack.signed_in())
    with kept_picture(page, "due", f"{name}-{width}-{scheme}"):
        assert axe_findings(page) == []


@pytest.mark.parametrize("name", NAMES)
def test_no_page_is_wider_than_its_screen_and_targets_suit_a_finger(open_page, rack, name):
    page = open_page(rack.address + rack.pages()[name], width=390, **rack.signed_in())
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    # Links inside a sentence are exempt, as in WCAG 2.2, 2.5.8.
    targets = [t for t in page.evaluate(TARGETS) if not t["what"].startswith('<a href="/jobs/')]
    assert targets
    assert [t for t in targets if t["height"] < 43.5 or t["width"] < 43.5] == []


def test_what_to_do_about_a_card_lies_on_a_phone_s_screen(open_page, rack):
    page = open_page(f"{rack.address}/audit/due", width=390, **rack.signed_in())
    box = page.get_by_role("link", name="Read it").first.bounding_box()
    assert box["x"] + box["width"] <= 390


def test_on_paper_the_walk_is_a_list_to_tick_off(open_page, rack):
    page = open_page(f"{rack.address}/audit/due?order=slot", width=1280, **rack.signed_in())
    page.emulate_media(media="print")
    with kept_picture(page, "due", "walk-on-paper"):
        slots = page.locator("tbody tr td:first-child").all_inner_texts()
        assert slots == ["A-2", "A-03", "A-10"]
        assert page.locator(".walk-tick:visible").count() == 3
        assert page.get_by_role("link", name="Read it").count() == 0
        assert not page.get_by_role("heading", name="After another time").is_visible()


@pytest.mark.parametrize(("width", "number"), [(390, 3), (1280, 1)])
def test_a_card_is_read_again_from_the_audit_without_script(open_page, rack, width, number):
    """Audit, due, read it, save: as it was read first, and its batch's verdict stays."""
    page = open_page(f"{rack.address}/audit", width=width, script=False, **rack.signed_in())
    page.get_by_role("link", name="due for their yearly reading").click()
    before = page.get_by_role("heading", level=1).inner_text()
    code = rack.codes[number]
    read_it = page.locator(f'a[href*="{code}/readings/new"]')
    read_it.click()
    assert "It was read first on" in page.locator("main").inner_text()
    for repeat in range(3):
        for axis, value in zip("Lab", MASTER, strict=True):
            page.get_by_label(f"{axis}* of reading {repeat + 1}").fill(f"{value + repeat / 100}")
    page.get_by_role("button", name="Save and judge").click()
    assert f"/c/{code}" in page.url
    assert "goes on resting on its first reading" in page.locator("main").inner_text()
    page.goto(f"{rack.address}/audit/due")
    assert page.get_by_role("heading", level=1).inner_text() != before
    assert read_it.count() == 0
