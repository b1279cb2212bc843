"""The manager's work in a real browser, on the demo's shop: axe, targets, and the whole walk."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest

from demo_cards.load import load, people
from service.app import create_app
from service.domain.records.cards import Card
from service.domain.records.job import Finish, Joint
from service.domain.records.measuring import Reading, Verdict
from service.domain.records.shop import Instrument, Person, Product
from service.domain.records.spraying import Batch
from service.settings import Settings
from service.use_cases.sign_in import IDLE, LONGEST
from service.web.security import COOKIE
from tests.browser.conftest import axe_findings, kept_picture
from tests.browser.test_bench_pages import served
from tests.browser.test_kit_axe import TARGETS

pytestmark = pytest.mark.browser

WIDTHS, SCHEMES = (390, 820, 1280), ("light", "dark")


class Office:
    """The demo's shop, served, with its manager signed in."""

    def __init__(self, app: Any, address: str) -> None:
        self.shop = app.state.services.shop
        self.address = address
        names = {p.name: p for p in self.shop.store.shop().all(Person)}
        self.manager = names[next(p.name for p in people() if "manager" in p.roles)]
        jobs = self.shop.queries.jobs().lines
        self.van = next(one.line.id for one in jobs if one.line.released_at is None)

    def signed_in(self) -> dict[str, Any]:
        """What a browser keeps once the manager signed in."""
        token = self.shop.sessions.start(self.manager.root, idle=IDLE, longest=LONGEST)
        cookie = {
            "name": COOKIE,
            "value": token,
            "domain": self.address.removeprefix("http://").partition(":")[0],
            "path": "/",
            "expires": -1,
            "httpOnly": True,
            "secure": False,
            "sameSite": "Lax",
        }
        return {"storage_state": {"cookies": [cookie], "origins": []}}

    def pages(self) -> dict[str, str]:
        """The pages of the office by name."""
        file, book = self.shop.store.job(self.van), self.shop.store.shop()
        job = f"/jobs/{self.van}"
        finishes = {finish.name: finish.root for finish in file.all(Finish)}
        verdicts = file.all(Verdict)

        def newest(word: str, subject: str) -> Verdict:
            return [v for v in verdicts if v.word == word and v.subject == subject][-1]

        shows, unlike = newest("shows", "joint"), newest("not_comparable", "batch")
        return {
            "audit": "/audit",
            "audit-narrowed": "/audit?lot=FL-0421&word=shows",
            "audit-nothing": "/audit?lot=nowhere",
            "finish-metallic": f"{job}/finishes/{finishes['Frost Lake']}",
            "finish-solid": f"{job}/finishes/{finishes['Deep Fir']}",
            "joint-shows": f"{job}/joints/{shows.joint_id}",
            "joint-blends": f"{job}/joints/{newest('blends', 'joint').joint_id}",
            "verdict-shows": f"{job}/verdicts/{newest('shows', 'batch').root}",
            "verdict-unlike": f"{job}/verdicts/{unlike.root}",
            "accept": f"{job}/accept?joint_id={shows.joint_id}",
            "release": f"{job}/release",
            "correct-batch": f"{job}/correct/batches/{file.all(Batch)[0].root}",
            "correct-reading": f"{job}/correct/readings/{file.all(Reading)[0].root}",
            "correct-product": f"/shop/correct/products/{book.all(Product)[0].root}",
            "correct-person": f"/shop/correct/people/{self.manager.root}",
            "history": f"{job}/history/jobs/{self.van}",
            "journal": f"{job}/journal",
            "shop-journal": "/shop/journal",
            "shop-book": "/shop",
            "person-new": "/shop/people/new",
            "instrument-new": "/shop/instruments/new",
            "product-new": "/shop/products/new",
            "token-new": "/shop/tokens/new",
        }


NAMES = (
    "audit audit-narrowed audit-nothing finish-metallic finish-solid joint-shows joint-blends "
    "verdict-shows verdict-unlike accept release correct-batch correct-reading correct-product "
    "correct-person history journal shop-journal shop-book person-new instrument-new product-new "
    "token-new"
).split()


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory) -> Any:
    folder = tmp_path_factory.mktemp("office")
    load(folder, date(2026, 11, 2))
    return folder


@pytest.fixture(scope="module")
def office(demo_folder) -> Iterator[Office]:
    app = create_app(Settings(data_dir=demo_folder, zone="Europe/Lisbon"))
    with served(app) as address:
        yield Office(app, address)
    app.state.database.close()


def test_every_page_of_the_office_is_listed(office):
    assert list(office.pages()) == NAMES


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("name", NAMES)
def test_axe_finds_nothing(open_page, office, name, scheme):
    where = office.address + office.pages()[name]
    page = open_page(where, width=WIDTHS[0], scheme=scheme, **office.signed_in())
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        with kept_picture(page, "audit", f"{name}-{width}-{scheme}"):
            assert axe_findings(page) == [], width


@pytest.mark.parametrize("name", NAMES)
def test_no_page_is_wider_than_its_screen_and_targets_suit_a_finger(open_page, office, name):
    page = open_page(office.address + office.pages()[name], **office.signed_in())
    for width in (320, *WIDTHS):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        if width < 1000:
            # Links inside a sentence are exempt, as in WCAG 2.2, 2.5.8.
            targets = [
                found
                for found in page.evaluate(TARGETS)
                if not found["what"].startswith("<a href") or 'class="' in found["what"][:60]
            ]
            assert targets
            small = [t for t in targets if t["height"] < 43.5 or t["width"] < 43.5]
            assert small == [], width


@pytest.mark.parametrize("width", WIDTHS)
def test_no_letter_of_a_chart_is_below_eleven_pixels(open_page, office, width):
    where = office.address + office.pages()["finish-metallic"]
    page = open_page(where, width=width, **office.signed_in())
    sizes = page.evaluate(
        "[...document.querySelectorAll('.chart svg text')].map(e => [e.getScreenCTM().a *"
        " parseFloat(getComputedStyle(e).fontSize), e.textContent])"
    )
    assert len(sizes) > 20
    assert [found for found in sizes if found[0] < 11] == []


@pytest.mark.parametrize("width", [390, 1280])
def test_from_the_heading_to_the_readings_without_script(open_page, office, width):
    """Would a job show a joint? Which, why, and on which readings does that rest?"""
    page = open_page(f"{office.address}/audit", width=width, script=False, **office.signed_in())
    heading = page.get_by_role("heading", level=1)
    assert re.fullmatch(r"Three joints on one open job would show", heading.inner_text())
    page.locator(".findings a").first.click()
    assert heading.inner_text().endswith("would show")
    seen = page.locator(".verdict-hero").inner_text()
    page.get_by_role("link", name="What this rests on").click()
    assert page.locator(".verdict-hero").inner_text() == seen
    repeats = page.locator("table", has=page.locator("caption", has_text="Each repeat"))
    assert repeats.count() == 2 and repeats.first.locator("tbody tr").count() >= 9
    page.get_by_role("link", name="Its history").first.click()
    assert "stands as it was entered" in heading.inner_text()


@pytest.mark.parametrize("width", [390, 1280])
def test_which_lot_drifts_is_asked_by_filters_that_come_off_again(open_page, office, width):
    page = open_page(f"{office.address}/audit", width=width, script=False, **office.signed_in())
    page.locator("summary", has_text="Narrow the list").click()
    page.get_by_label("Lot", exact=True).fill("FL-0421")
    page.get_by_label("Verdict").select_option("shows")
    page.get_by_role("button", name="Show these").click()
    assert "lot=FL-0421" in page.url and "word=shows" in page.url
    heading = page.get_by_role("heading", level=1)
    assert heading.inner_text() == "One batch of those picked out shows against the master"
    with page.expect_download() as file:
        page.get_by_role("link", name="Save these as a CSV file").click()
    assert len(file.value.path().read_text(encoding="utf-8-sig").splitlines()) == 2
    page.get_by_role("link", name="Verdict: shows").click()
    assert "word" not in page.url and "lot=FL-0421" in page.url
    page.get_by_role("link", name="Lot: FL-0421").click()
    assert page.url.endswith("/audit")


def test_charts_lead_to_their_batches_and_angles_to_each_other(open_page, office):
    where = office.address + office.pages()["finish-metallic"]
    page = open_page(where, width=1280, **office.signed_in())
    assert page.locator(".angles [aria-current]").inner_text() == "110°"
    assert (
        "Batch 6 lies furthest from the master at 110°"
        in page.locator("figcaption").first.inner_text()
    )
    page.get_by_role("link", name="45°").click()
    assert page.locator(".angles [aria-current]").inner_text() == "45°"
    page.locator("figure.chart").nth(1).locator("a.point").last.click()
    assert "/batches/" in page.url


def test_a_joint_is_accepted_an_entry_corrected_and_a_token_revoked(open_page, office):
    page = open_page(f"{office.address}/audit", width=390, script=False, **office.signed_in())
    heading = page.get_by_role("heading", level=1)
    page.get_by_role("link", name=re.compile("stands against its release")).click()
    before = int(page.locator(".findings").first.locator("li").count())
    page.get_by_role("link", name=re.compile("Accept it with a reason")).first.click()
    page.get_by_label("Why it may stay as it is").fill("Agreed with the owner on the phone.")
    page.get_by_role("button", name="Accept it").click()
    assert page.locator(".findings").first.locator("li").count() == before - 1
    assert "“Agreed with the owner on the phone.”" in page.locator("main").inner_text()

    file = office.shop.store.job(office.van)
    batch = file.all(Batch)[-1]
    page.goto(f"{office.address}/jobs/{office.van}/correct/batches/{batch.root}")
    page.get_by_label("Note").fill("Stirred twice")
    page.get_by_label("Why the entry changes").fill("It was not written down.")
    page.get_by_role("button", name="Put the correction on record").click()
    assert "was corrected" in heading.inner_text()
    row = page.locator("tr", has_text="Note")
    assert "Stirred twice" in row.inner_text()

    page.goto(f"{office.address}/shop/tokens/new")
    page.get_by_label("What it is for").fill("Bench computer")
    page.get_by_label("Whose name it writes in").select_option(office.manager.root)
    page.get_by_label("Manager").check()
    page.get_by_role("button", name="Give out the token").click()
    assert heading.inner_text() == "Copy this token now: it is not shown again"
    page.get_by_role("link", name="I have noted it").click()
    page.get_by_role("link", name="Revoke Bench computer").click()
    page.get_by_label("Why it is revoked").fill("Only to try it.")
    page.get_by_role("button", name="Revoke it").click()
    assert heading.inner_text() == "Token “Bench computer” was withdrawn"
    assert file.all(Card) and file.all(Joint) and office.shop.store.shop().all(Instrument)


def test_paper_has_the_figures_and_none_of_the_buttons(open_page, office):
    where = office.address + office.pages()["finish-metallic"]
    page = open_page(where, width=1280, scheme="dark", **office.signed_in())
    page.emulate_media(media="print", color_scheme="dark")
    with kept_picture(page, "audit", "finish-print"):
        assert page.locator("figure.chart").first.is_visible()
        assert page.locator("table").first.is_visible()
        assert not page.get_by_role("button", name="Judge this finish again").is_visible()
