"""The rack: one search box, filters in the address, paging by key, typos caught."""

import pytest

from service.domain.card_code import CARD_ALPHABET, grouped, new_card_code
from service.domain.records.cards import Card
from service.domain.terms import FinishKind
from service.use_cases.cards import PullCard
from service.use_cases.job import AddFinish, OpenJob
from service.web.pages import rack
from tests.web.pages.rack_shop import RackShop, codes_in, query_of


@pytest.fixture
def shop(tmp_path):
    shop = RackShop(tmp_path)
    yield shop
    shop.close()


@pytest.fixture
def mine(shop):
    """The story, to go on from."""
    shop.story()
    return shop


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """The story, to be read only."""
    shop = RackShop(tmp_path_factory.mktemp("rack"))
    shop.story()
    yield shop
    shop.close()


def search(shop, **fields):
    browser = shop.refinishing()
    query = "&".join(f"{name}={value}" for name, value in fields.items())
    return browser.open(f"/rack?{query}")


def test_an_empty_rack_says_what_to_do_first(shop):
    sheet = shop.refinishing().open("/rack")
    assert sheet.status == 200
    assert "A card is logged at the bench" in sheet.main.text
    assert sheet.link("Go to the bench") == "/bench"


def test_the_rack_opens_with_the_newest_cards(told):
    sheet = told.refinishing().open("/rack")
    assert sheet.heading == "Find a card by its code, or by anything known of it"
    assert codes_in(sheet) == [h.code for h in (told.bad, told.good, told.spare, told.master)]


@pytest.mark.parametrize("typing", [str, str.lower, grouped, lambda c: f" {grouped(c).lower()} "])
def test_a_code_typed_in_any_way_goes_straight_to_its_card(told, typing):
    sheet = search(told, text=typing(told.good.code))
    assert sheet.address == f"/c/{told.good.code}"


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("fir", {"master", "spare", "good", "bad"}),
        ("g-31 wing", {"master", "spare"}),
        ("invented van door", {"good", "bad"}),
        ("a-03", {"good"}),
    ],
)
def test_any_words_find_what_they_all_fit(told, words, found):
    sheet = search(told, text=words)
    assert set(codes_in(sheet)) == {getattr(told, name).code for name in found}


def test_a_typo_in_a_code_is_caught_and_the_card_it_was_meant_for_offered(told):
    code = told.good.code
    wrong = next(c for c in CARD_ALPHABET if c not in code)
    sheet = search(told, text=code[:3] + wrong + code[4:])
    assert "has a wrong character, or two swapped" in sheet.main.text
    assert codes_in(sheet) == [code]
    assert "Did you mean this card?" in sheet.main.text


def test_a_good_code_without_a_card_is_no_typo(told):
    code = new_card_code()
    sheet = search(told, text=code)
    assert f"No card has the code {grouped(code)}" in sheet.main.text
    assert codes_in(sheet) == []


def test_a_work_order_that_looks_like_a_code_is_searched_for(mine):
    mine.hand.job_id = mine.hand.do(OpenJob, work_order="ABCD-1234-5", title="Other van")
    mine.hand.finish = mine.hand.on_job(AddFinish, name="Body", kind=FinishKind.SOLID)
    card = mine.hung(None, "B-01")
    sheet = search(mine, text="ABCD-1234-5")
    assert codes_in(sheet) == [card.code]
    assert "wrong character" not in sheet.main.text


def test_filters_narrow_what_the_words_find_and_each_can_be_taken_off(told):
    sheet = search(told, text="fir", slot="a-03", whereabouts="in")
    assert codes_in(sheet) == [told.good.code]
    off = [a for a in sheet.main.all("a") if "take this filter off" in a.text]
    assert [query_of(a.attributes["href"]) for a in off] == [
        {"text": ["fir"], "whereabouts": ["in"]},
        {"text": ["fir"], "slot": ["a-03"]},
    ]
    assert sheet.main.one("details", class_="filters").has(open="")


def test_the_search_box_keeps_the_filters_and_the_filters_keep_the_words(told):
    sheet = search(told, text="fir", slot="A-03")
    forms = {form.attributes.get("role"): form for form in sheet.main.all("form")}
    kept = forms["search"].one("input", name="slot")
    assert kept.attributes["value"] == "A-03"
    narrowing = sheet.main.one("details", class_="filters")
    assert narrowing.one("input", name="text").attributes["value"] == "fir"


@pytest.mark.parametrize(
    ("fields", "found"),
    [
        ({"panel": "door"}, {"good", "bad"}),
        ({"colour": "g-31", "slot": "A-01"}, {"master"}),
        ({"colour": "scarlet"}, set()),
        ({"sprayed_to": "2001-01-01"}, set()),
        ({"whereabouts": "out"}, set()),
    ],
)
def test_each_filter_narrows(told, fields, found):
    sheet = search(told, **fields)
    assert set(codes_in(sheet)) == {getattr(told, name).code for name in found}


def test_a_painter_is_a_filter(mine):
    mine.hand.card(mine.good.batch, by=mine.painter)
    assert len(codes_in(search(mine, painter_id=mine.painter))) == 1
    sheet = search(mine, painter_id=mine.manager)
    assert len(codes_in(sheet)) == 4
    assert "Sprayed by First Manager" in sheet.main.text


def test_a_date_that_is_none_says_so_at_its_field(told):
    sheet = search(told, sprayed_from="yesterday")
    assert sheet.status == 422
    assert sheet.document.one("title").text.startswith("Error:")
    assert "yesterday" in sheet.errors[0]


def test_nothing_that_fits_says_what_else_to_try(told):
    sheet = search(told, text="scarlet")
    assert sheet.heading == "No card fits that"
    assert sheet.link("Search by a reading of the car") == "/rack/nearest"


def test_pages_follow_each_other_and_hold_each_card_once(told, monkeypatch):
    monkeypatch.setattr(rack, "HITS", 3)
    browser = told.refinishing()
    first = browser.open("/rack?text=fir")
    assert len(codes_in(first)) == 3
    second = first.follow("Show the next ones")
    assert query_of(second.address)["text"] == ["fir"]
    assert len(codes_in(second)) == 1
    all_codes = codes_in(first) + codes_in(second)
    assert len(set(all_codes)) == 4
    assert codes_in(second.follow("Back to the start")) == codes_in(first)


def test_a_hit_says_slot_finish_job_verdict_and_who_has_it(mine):
    mine.hand.on_job(PullCard, card_id=mine.bad.card, why="To hold beside the car")
    sheet = search(mine, whereabouts="out")
    (hit,) = sheet.main.all("div", class_="hit")
    for said in ("Not in the rack", "Out with First Manager", "slot A-04", "Body", "Invented van"):
        assert said in hit.text
    assert "Shows" in hit.text and hit.all("svg", class_="mark-shows")
    good = search(mine, slot="A-03").main.one("div", class_="hit")
    assert "Blends" in good.text and "Slot A-03" in good.text
    master = search(mine, slot="A-01").main.one("div", class_="hit")
    assert "Master" in master.text


def test_ticked_cards_are_laid_side_by_side(told):
    sheet = search(told, text="fir")
    boxes = sheet.main.all("input", name="codes")
    assert len(boxes) == 4
    assert {box.attributes["value"] for box in boxes} == {
        card.code for card in told.store.job(told.stored_job).all(Card)
    }


def test_repairs_in_hand_lead_to_their_pages(mine):
    job_id = mine.repair()
    sheet = mine.refinishing().open("/rack")
    assert sheet.link("Invented van, again") == f"/jobs/{job_id}/repair"


def test_words_from_the_address_are_never_taken_for_markup(told):
    sheet = search(told, text="%3Cb%3Efir")
    assert "<b>fir" not in sheet.html
