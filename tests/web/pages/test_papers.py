"""Papers over HTTP: what each route gives, to whom, and what it says when it cannot."""

import re
from dataclasses import replace
from urllib.parse import quote

import pytest
import zxingcpp

from service.domain.card_code import new_card_code, read_card_code
from service.domain.lookups import the_job
from service.domain.terms import Role
from service.use_cases.label_stock import STOCKS
from service.web.access import access_table
from tests.paper_pages import Pages
from tests.web.pages.rack_shop import RackShop

AGED = (22.9, -11.4, 5.3)


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A shop that is only read."""
    shop = RackShop(tmp_path_factory.mktemp("shop"))
    shop.story()
    yield shop
    shop.close()


@pytest.fixture
def repairing(tmp_path):
    """A shop in which a repair is started."""
    shop = RackShop(tmp_path)
    shop.story()
    yield shop
    shop.close()


def get(shop, address, person=None):
    return shop.browser(person or shop.refinisher).client.get(address, follow_redirects=False)


def pages_of(answer):
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    return Pages(answer.content)


def scanned(pages):
    found = []
    for page in range(len(pages)):
        codes = zxingcpp.read_barcodes(pages.picture(page, 300))
        found += [code.text for code in codes]
    return found


def named(answer):
    return re.fullmatch(
        r'attachment; filename="([A-Za-z0-9.-]+)"', answer.headers["content-disposition"]
    )[1]


def test_the_label_of_a_card_leads_the_rack_to_it(shop):
    answer = get(shop, f"/c/{shop.good.code}/label.pdf")
    pages = pages_of(answer)
    assert named(answer) == f"label-{shop.good.code}.pdf"
    assert "Slot A-03" in pages.text() and "Deep fir" in pages.text()
    (code,) = scanned(pages)
    opened = get(shop, f"/rack?text={code}")
    assert opened.status_code == 303
    assert opened.headers["location"].endswith(f"/c/{shop.good.code}")


def test_with_a_public_address_a_phone_opens_the_card_itself(shop, monkeypatch):
    services = shop.app.state.services
    known = replace(services.settings, public_address="https://cards.example")
    monkeypatch.setattr(services, "settings", known)
    (code,) = scanned(pages_of(get(shop, f"/c/{shop.good.code}/label.pdf")))
    assert code == f"HTTPS://CARDS.EXAMPLE/C/{shop.good.code}"
    # A phone opens it; a scanner at the desk types it into the search box.
    for address in (code.removeprefix("HTTPS://CARDS.EXAMPLE"), f"/rack?text={quote(code)}"):
        opened = get(shop, address)
        assert opened.status_code == 303
        assert opened.headers["location"].endswith(f"/c/{shop.good.code}")


def test_a_blank_label_opens_the_bench_to_log_its_card(shop):
    answer = get(shop, "/labels.pdf?count=3&stock=a4-21&start=2")
    codes = scanned(pages_of(answer))
    assert named(answer) == "labels-blank-a4-21.pdf"
    assert len({read_card_code(code) for code in codes}) == 3
    opened = get(shop, f"/C/{codes[0]}")
    assert opened.status_code == 303
    beyond = get(shop, opened.headers["location"])
    assert f"code={codes[0]}" in beyond.headers["location"]


def test_labels_of_a_job_of_a_slot_and_of_codes(shop):
    order = the_job(shop.hand.file).work_order
    of_job = scanned(pages_of(get(shop, f"/labels.pdf?order={order}&stock=a4-24")))
    hung = [shop.master.code, shop.spare.code, shop.good.code, shop.bad.code]
    assert sorted(of_job) == sorted(hung)
    of_slot = scanned(pages_of(get(shop, "/labels.pdf?slot=A-04&stock=roll-62x29")))
    assert of_slot == [shop.bad.code]
    typed = f"{shop.bad.code.lower()},%20{shop.good.code}"
    of_codes = scanned(pages_of(get(shop, f"/labels.pdf?codes={typed}&stock=letter-30")))
    assert sorted(of_codes) == sorted([shop.bad.code, shop.good.code])


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("count=0&stock=a4-21", "There cannot be 0 labels. Print 1 to 500 at once."),
        ("count=9999&stock=a4-21", "There cannot be 9999 labels."),
        ("count=1.5&stock=a4-21", "1.5 is no whole number."),
        ("count=1&stock=a4-21&start=22", "The sheet has no place 22."),
        ("count=1&stock=x", "There is no stock 'x'."),
        ("order=W-none&stock=a4-21", "No job has the work order W-none."),
        ("slot=Z-9&stock=a4-21", "There is no card in slot Z-9"),
        ("codes=7K3Q&stock=a4-21", "'7K3Q' is not a card code."),
        ("codes=7K3Q-X9WD-4&stock=a4-21", "7K3Q-X9WD-4"),
        ("stock=a4-21", "There cannot be 0 labels."),
        ("slot=A-01&order=W-1&stock=a4-21", "Fill in one of work order, slot and codes"),
    ],
)
def test_what_cannot_be_printed_is_said_on_the_page_and_what_was_typed_stays(shop, query, said):
    sheet = shop.browser(shop.refinisher).open(f"/labels.pdf?{query}")
    assert sheet.status == 422
    assert any(said in error for error in sheet.errors), sheet.errors
    form = sheet.main.all("form")[0]
    if "start=22" in query:
        assert form.one("input", name="start").attributes["value"] == "22"


def test_the_page_offers_every_stock_and_starts_with_the_shops_paper(shop):
    sheet = shop.browser(shop.refinisher).open("/labels")
    assert sheet.heading == "Print labels for cards"
    select = sheet.main.one("select", name="stock")
    offered = [option.attributes["value"] for option in select.all("option")]
    assert sorted(filter(None, offered)) == sorted(stock.name for stock in STOCKS)
    assert select.all("option")[0].attributes["value"] in ("", "a4-21")
    assert "search box of the rack" in sheet.html


@pytest.mark.parametrize(
    ("paper", "size"), [("a4", (210, 297)), ("letter", (215.9, 279.4)), ("", (210, 297))]
)
def test_the_sheet_of_a_card_holds_what_is_known_of_it(shop, paper, size):
    answer = get(shop, f"/c/{shop.bad.code}/sheet.pdf?paper={paper}")
    pages = pages_of(answer)
    assert pages.size_mm() == pytest.approx(size, abs=0.1)
    shown = pages.text()
    for words in (
        "would show against the master",
        "Slot A-04",
        "Deep fir base",
        "B-77",
        "F-31",
        "base gun 2",
        "tip 1.3 mm",
        "D65/10°",
        "Left wing to Left door",
        "Page 1 of",
    ):
        assert words.replace("\u202f", " ") in shown.replace("\u202f", " "), words


def test_the_report_of_a_job_says_where_its_journal_stood(shop):
    job_id = shop.hand.job_id
    answer = get(shop, f"/jobs/{job_id}/report.pdf")
    pages = pages_of(answer)
    head = shop.app.state.services.shop.queries.journal(job_id, limit=1)[0]
    shown = pages.text()
    assert head.hash in shown.replace(" ", "")
    assert f"this job {head.position} " in shown
    assert "on this job would show" in shown


def test_the_sheet_of_a_repair_holds_the_advice_of_its_page(repairing):
    shop = repairing
    job_id = shop.repair()
    unread = pages_of(get(shop, f"/jobs/{job_id}/repair.pdf"))
    assert "Read the car" in unread.text()
    shop.read_car(AGED)
    shown = pages_of(get(shop, f"/jobs/{job_id}/repair.pdf")).text()
    sheet = shop.refinishing().open(f"/jobs/{job_id}/repair")
    assert sheet.heading in shown
    assert "/repair.pdf?panel=" in sheet.link("Print the repair sheet")
    for words in ("Stone chip", "Why", "Notes:", "Caution: solvents burn", "nearest to the car"):
        assert words in shown, words


def test_a_job_that_repairs_nothing_has_no_repair_sheet(shop):
    answer = get(shop, f"/jobs/{shop.hand.job_id}/repair.pdf")
    assert answer.status_code == 409
    assert "Print its report instead" in answer.text


def test_other_papers_and_unknown_things_are_refused(shop):
    assert get(shop, f"/c/{shop.good.code}/sheet.pdf?paper=a5").status_code == 422
    assert get(shop, f"/c/{shop.good.code}/label.pdf?stock=x").status_code == 422
    assert get(shop, f"/c/{new_card_code()}/label.pdf").status_code == 404
    assert get(shop, "/jobs/none/report.pdf").status_code == 404


@pytest.mark.parametrize(
    "path",
    [
        "/labels",
        "/labels.pdf",
        "/c/{code}/label.pdf",
        "/c/{code}/sheet.pdf",
        "/jobs/{job_id}/report.pdf",
        "/jobs/{job_id}/repair.pdf",
    ],
)
def test_everybody_here_may_print_and_nobody_else(shop, path):
    assert access_table()["GET", path].roles == frozenset(Role)
    assert not access_table()["GET", path].public


def test_a_stranger_is_sent_to_sign_in(shop):
    browser = shop.browser()
    browser.client.cookies.clear()
    answer = browser.client.get("/labels.pdf?count=1&stock=a4-21", follow_redirects=False)
    assert answer.status_code in (303, 401)
    assert b"%PDF" not in answer.content


def test_pages_lead_to_their_papers(shop):
    browser = shop.browser(shop.refinisher)
    assert browser.open(f"/c/{shop.good.code}").link("Print its label").endswith("/label.pdf")
    assert browser.open(f"/c/{shop.good.code}").link("Print its sheet").endswith("/sheet.pdf")
    assert browser.open("/rack").link("Print labels for cards") == "/labels"
    job = browser.open(f"/jobs/{shop.hand.job_id}")
    assert job.link("Print its report").endswith("/report.pdf")
    assert "/labels?order=" in job.link("Print labels of its cards")
