"""Cards in storage: due to be read again, and moved since they were first read."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta

import pytest

from service.domain.card_code import grouped
from service.domain.records.cards import Card
from service.domain.records.measuring import Verdict
from service.use_cases import cards
from service.web.pages.audit_slots import slot_order
from tests.web.pages.audit_shop import MASTER, NEAR, AuditShop, table

YEAR = timedelta(days=365)
YELLOWER = (44.9, -4.8, -18.6)


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """A job of three years ago whose second card moved, and a job of this week."""
    made = AuditShop(tmp_path_factory.mktemp("told"))
    made.hand.clock = datetime.now(UTC) - 3 * YEAR
    made.story()
    # As somebody writes slots, and as nobody should sort them.
    for number, slot in ((1, "A-10"), (2, "A-2"), (3, "A-1b")):
        card = made.told.cards[number]
        made.hand.on_job(cards.PullCard, card_id=card, why="to look")
        made.hand.on_job(cards.ReturnCard, card_id=card, state="As it was.", slot=slot)
    made.codes = {n: made.hand.file.get(Card, card).code for n, card in made.told.cards.items()}
    made.old_job = made.hand.job_id
    made.hand.clock += 1.5 * YEAR
    made.hand.read(made.told.cards[2], YELLOWER)
    made.hand.clock += 1.4 * YEAR
    made.hand.open()
    made.sprayed(9, NEAR)
    yield made
    made.close()


@pytest.fixture
def office(told):
    return told.browser(told.manager)


def test_the_heading_counts_and_masters_come_first(office):
    sheet = office.open("/audit/due")
    assert sheet.heading == "Three cards are due for their yearly reading"
    rows = table(sheet, "Cards in the rack that are due")
    assert [row[4] for row in rows][0].startswith("Master of Body")
    assert all("Read it" in row[2] for row in rows)
    assert "One of them is a master." in sheet.document.text
    assert "Two are the last cards of their batches in the rack." in sheet.document.text


def test_each_row_tells_when_it_was_read_and_by_how_much_it_is_over(told, office):
    row = next(
        row
        for row in table(office.open("/audit/due"), "Cards in the rack that are due")
        if row[0] == "A-2"
    )
    assert row[1] == grouped(told.codes[2])
    assert "Last card of Body, batch 2" in row[4]
    # Read again a year and a half after the first time, so due for about five months.
    days = int(row[3].replace("\u202f", " ").split()[0])
    assert 150 < days < 200


def test_on_a_walk_the_slots_come_as_people_count_them(office):
    sheet = office.open("/audit/due").follow("In the order of the slots, for a walk")
    rows = table(sheet, "Cards in the rack that are due, in the order of the slots")
    assert [row[0] for row in rows] == ["A-1B", "A-2", "A-10"]
    assert sheet.follow("Masters and last cards first").heading == sheet.heading


def test_slots_are_ordered_by_number_and_those_without_one_come_last():
    slots = ["B1", "", "A10", "a2", "12", "A2b", "3"]
    assert sorted(slots, key=slot_order) == ["3", "12", "a2", "A2b", "A10", "B1", ""]


def test_another_time_is_asked_for_in_the_address(office):
    sheet = office.open("/audit/due?months=24")
    assert sheet.heading == "Two cards were read last more than 24 months ago"
    assert office.open("/audit/due?months=40").heading == (
        "No card was read last more than 40 months ago"
    )
    assert sheet.follow("In the order of the slots, for a walk").heading == sheet.heading


@pytest.mark.parametrize("months", ["0", "121", "-3", "a year", "1.5", "9" * 30, "٣٤٥"])
def test_months_that_cannot_be_are_refused_with_what_can(office, months):
    sheet = office.open(f"/audit/due?months={months}")
    assert sheet.status == 422
    assert sheet.errors and ("1 to 120" in sheet.errors[0] or "such as 12" in sheet.errors[0])
    assert sheet.heading == "Three cards are due for their yearly reading"


def test_a_mark_of_no_page_is_refused(office):
    sheet = office.open("/audit/due?after=x")
    assert sheet.status == 422 and "is not the mark of a page" in sheet.html


def test_the_file_has_the_same_cards(told, office):
    sheet = office.open("/audit/due?order=slot")
    answer = office.client.get(sheet.link("Save these as a CSV file"))
    rows = list(csv.DictReader(io.StringIO(answer.text, newline="")))
    assert {row["code"] for row in rows} == {told.codes[n] for n in (1, 2, 3)}
    assert {row["held_back"] for row in rows} == {"master", "last"}
    assert all(int(row["days_over"]) > 0 for row in rows)


def test_the_form_of_a_card_that_is_due_says_that_it_starts_as_its_first_reading(told):
    bench = told.browser()
    plain = bench.open(f"/c/{told.codes[3]}/readings/new")
    sheet = bench.open("/audit/due").main
    href = next(
        a.attributes["href"]
        for a in sheet.all("a")
        if told.codes[3] in a.attributes["href"] and "readings/new" in a.attributes["href"]
    )
    form = bench.open(href)
    assert "It was read first on" in form.main.text
    assert "As its first reading." in form.main.text
    assert "As its first reading." not in plain.main.text


def test_the_audit_says_how_many_are_due_and_leads_there(office):
    sheet = office.open("/audit")
    link = next(a for a in sheet.document.all("a") if "due for their yearly" in a.text)
    assert link.text == "Three cards are due for their yearly reading"
    assert office.open(link.attributes["href"]).heading == link.text
    assert sheet.follow("Cards that moved in storage").status == 200


def test_cards_that_moved_are_told_with_vector_range_and_days(told, office):
    sheet = office.open("/audit/moved")
    assert sheet.heading == "One card no longer reads as it first did"
    (row,) = table(sheet, "Newest reading less the first")
    assert row[0].startswith(grouped(told.codes[2]))
    assert "Greyer" in row[2] and "part may be cure" in row[2]
    assert row[1].startswith("0.75") and "95 %" in row[1].replace("\u202f", " ")
    assert [row[3], row[4], row[5]] == ["−0.25", "+0.25", "+1.35"]
    assert "18 months apart" in row[6]


def test_the_card_says_whether_it_moved_since_when_and_what_may_be_cure(told, office):
    text = office.open(f"/c/{told.codes[2]}").main.text
    assert "It reads otherwise by more than noise explains: 0.75, greyer (ΔL* −0.25" in text
    assert "Since it was first read, 547 days before. It was still curing then" in text
    assert "95 %" in text.replace("\u202f", " ")
    assert "by more than noise explains" not in office.open(f"/c/{told.codes[3]}").main.text


def test_a_card_read_thrice_shows_every_reading_against_the_first(tmp_path):
    shop = AuditShop(tmp_path)
    try:
        shop.hand.clock = datetime.now(UTC) - 2 * YEAR
        shop.story()
        for days in (7, 30, 400):
            shop.hand.clock += timedelta(days=days)
            shop.hand.read(shop.told.cards[2], NEAR)
        code = shop.hand.file.get(Card, shop.told.cards[2]).code
        sheet = shop.browser().open(f"/c/{code}")
        rows = table(sheet, "Against the reading of")
        assert [int(row[0]) for row in rows] == [7, 37, 437]
        assert "Noise may explain what lies between" in sheet.main.text
    finally:
        shop.close()


def test_the_verdict_of_a_card_that_moved_stays_as_it_was(told):
    file = told.store.job(told.old_job)
    (verdict,) = [v for v in file.all(Verdict) if v.batch_id == told.told.batches[2]]
    assert verdict.word == "blends"


def test_a_shop_without_cards_says_what_to_do(tmp_path):
    shop = AuditShop(tmp_path)
    try:
        office = shop.browser(shop.manager)
        assert office.open("/audit/due").heading == "No card is due for its yearly reading"
        assert "A card in the rack is due a year after" in office.open("/audit/due").main.text
        assert office.open("/audit/moved").heading == "No card is known to have moved"
        assert "due for" not in office.open("/audit").document.one("main").text
    finally:
        shop.close()


def test_reading_a_card_again_leads_to_the_card_and_says_what_it_means(tmp_path):
    shop = AuditShop(tmp_path)
    try:
        shop.hand.clock = datetime.now(UTC) - 2 * YEAR
        shop.story()
        shop.hand.clock = datetime.now(UTC) - timedelta(hours=1)
        bench = shop.browser()
        code = shop.hand.file.get(Card, shop.told.cards[2]).code
        shop.hand.read(shop.told.cards[2], NEAR, illuminant="A", observer=2)
        plain, form = (bench.open(f"/c/{code}/readings/new{q}") for q in ("", "?again=yes"))
        assert plain.fields()["reading.illuminant"] == ["A"]
        assert form.fields()["reading.illuminant"] == ["D65"]
        assert form.fields()["reading.observer"] == ["10"]
        values = {
            f"lab__only__{n}__{axis}": value
            for n in range(3)
            for axis, value in zip("Lab", MASTER, strict=True)
        }
        after = form.send(**values)
        assert after.address.startswith(f"/c/{code}")
        assert "goes on resting on its first reading" in after.main.text
    finally:
        shop.close()
