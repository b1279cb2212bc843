"""The audit: what would show, drifts or is missing, and filters that stay in the address."""

import csv
import io
from datetime import UTC, datetime, timedelta

import pytest

from service.domain.terms import MovementKind
from tests.web.pages.audit_shop import AuditShop, Told, table


@pytest.fixture
def shop(tmp_path):
    made = AuditShop(tmp_path)
    yield made
    made.close()


@pytest.fixture
def manager(shop):
    return shop.browser(shop.manager)


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """The story, for tests that only look."""
    made = AuditShop(tmp_path_factory.mktemp("told"))
    made.story()
    yield made
    made.close()


@pytest.fixture
def office(told):
    return told.browser(told.manager)


def figures(sheet, heading):
    """The counts under a heading: word to figure."""
    section = next(s for s in sheet.main.all("section") if s.text.startswith(heading))
    found = {}
    for item in section.one("ul", class_="counts").all("li"):
        number, _, word = item.text.partition(" ")
        found[word] = int(number)
    return found


def test_an_empty_shop_says_what_to_do_first(manager):
    sheet = manager.open("/audit")
    assert sheet.heading == "Nothing is on record yet"
    assert "Open a job at the bench" in sheet.main.text
    assert sheet.link("To the bench") == "/bench"


def test_the_heading_is_the_answer(told, office):
    sheet = office.open("/audit")
    assert sheet.heading == "One joint on one open job would show"
    assert "Every card is in its slot." in sheet.main.text
    joint = sheet.main.one("ol", class_="findings").all("a")[0]
    assert "Batch 3 on the bonnet would show against batch 1 on the wing" in joint.text
    assert joint.attributes["href"].endswith(told.told.joints["Wing Bonnet"])


def test_batches_and_joints_are_counted_by_their_word(told, office):
    sheet = office.open("/audit")
    nothing = {"Not comparable": 0, "Cannot tell": 0}
    # Batch 1 is the master's own, so two batches are judged against it.
    assert figures(sheet, "Batches against") == {"Shows": 1, "Blends": 1, **nothing}
    assert figures(sheet, "Joints") == {"Shows": 1, "Blends": 1, **nothing}


def test_what_was_accepted_by_name_no_longer_stands_in_the_heading(shop, manager):
    told = shop.story()
    shop.accept(joint_id=told.joints["Wing Bonnet"])
    sheet = manager.open("/audit")
    assert sheet.heading == (
        "No joint would show, but one batch on one open job would show against the master"
    )
    shop.accept(batch_id=told.batches[3])
    sheet = manager.open("/audit")
    assert sheet.heading == "The open job is in order"
    assert "One is accepted by name." in sheet.main.text


def test_a_batch_without_a_card_is_missing_and_not_in_order(shop, manager):
    told = shop.story()
    shop.accept(joint_id=told.joints["Wing Bonnet"])
    shop.accept(batch_id=told.batches[3])
    shop.sprayed(4, None, panels=("Door",), card=False)
    sheet = manager.open("/audit")
    assert sheet.heading.startswith("Nothing open would show so far, but")
    assert "One batch waits for a card, a reading or a master." in sheet.main.text


def test_cards_that_are_away_are_named_with_who_has_them(shop, manager):
    shop.story()
    shop.away(2, MovementKind.PULLED)
    shop.away(3, MovementKind.MISSING)
    sheet = manager.open("/audit")
    assert "One card is missing and one is out of the rack." in sheet.main.text
    rows = table(sheet, "Cards that are not")
    assert [row[1] for row in rows] == ["Missing", "Out with First Manager"]
    assert rows[0][2:] == ["A-03", "Body, batch 3", rows[0][4]]


def test_what_batches_have_in_common_is_shown_without_deciding_which_it_is(shop, manager):
    shop.story()
    shop.sprayed(4, (43.5, -4.9, -22.3), lot="B-2", booth="Booth 2", gun="spare gun")
    sheet = manager.open("/audit")
    section = next(s for s in sheet.main.all("section") if s.all("h2", id="drift"))
    assert section.one("h2").text == "Lot B-2 shows most: 2 of 2 batches"
    assert "The same batches have booth Booth 2 and gun spare gun in common" in section.text
    lots = table(sheet, "By lot")
    assert [row[:2] for row in lots] == [["B-2", "2 of 2"], ["B-1", "0 of 1"]]
    # The mean of two deviations that are known: 43.6 and 43.5 against 45.0 (repeats add nothing).
    assert lots[0][2:] == ["−1.45", "+0.10", "−2.25"]
    # All batches are of one product and one painter, so neither sets any apart.
    captions = [t.one("caption").text for t in section.all("table")]
    assert captions == ["By lot", "By booth", "By gun"]


def test_filters_stay_in_the_address_and_come_off_one_by_one(told, office):
    sheet = office.open("/audit?lot=B-2&booth=Booth+2")
    assert sheet.heading == "One batch of those picked out shows against the master"
    assert [row[0] for row in table(sheet, "Batches against their")] == ["Body 3"]
    applied = sheet.main.one("ul", class_="applied").all("a")
    assert [a.text for a in applied] == [
        "Lot: B-2 ×, take this filter off",
        "Booth: Booth 2 ×, take this filter off",
    ]
    without_lot = office.open(applied[0].attributes["href"])
    assert without_lot.address == "/audit?booth=Booth+2"
    assert without_lot.main.one("input", name="lot").attributes["value"] == ""
    booth = without_lot.main.one("select", name="booth")
    assert [o.text for o in booth.all("option") if "selected" in o.attributes] == ["Booth 2"]


@pytest.mark.parametrize(
    ("query", "numbers"),
    [
        ("", [3, 2, 1]),
        ("word=shows", [3]),
        ("word=blends", [2]),
        ("product=Deep+basecoat", [3, 2, 1]),
        ("gun=spare+gun", [3]),
        ("lot=B-1", [2, 1]),
        ("lot=nowhere", []),
        ("sprayed_to=2001-01-01", []),
        ("gap=no_card", []),
    ],
)
def test_each_filter_picks_the_batches_it_says(told, office, query, numbers):
    sheet = office.open(f"/audit?{query}")
    rows = table(sheet, "Batches against their")
    if not numbers:
        assert rows == [["No batch fits. Take a filter off."]]
        assert sheet.heading == "No batch fits these filters"
    else:
        assert [row[0] for row in rows] == [f"Body {number}" for number in numbers]


def test_a_painter_and_a_finish_are_filtered_by_name(told, office):
    sheet = office.open(f"/audit?painter_id={told.painter}&finish_id={told.hand.finish}")
    words = [a.text.partition(" ×")[0] for a in sheet.main.one("ul", class_="applied").all("a")]
    assert words == ["Finish: Body", "Painter: Pat"]
    assert office.open(f"/audit?painter_id={told.manager}").heading == "No batch fits these filters"


def test_a_day_that_is_none_is_refused_at_its_field_and_the_rest_is_shown(told, office):
    sheet = office.open("/audit?sprayed_from=soon&lot=B-2")
    assert sheet.status == 422
    assert sheet.errors == ["'soon' is no day. Write it like 2026-11-25."]
    assert sheet.main.one("input", name="sprayed_from").attributes["value"] == "soon"
    assert [row[0] for row in table(sheet, "Batches against their")] == ["Body 3"]
    swapped = office.open("/audit?sprayed_from=2026-02-01&sprayed_to=2026-01-01")
    assert "Swap the two days" in swapped.errors[0]


def test_a_word_that_is_none_is_refused_and_not_passed_on(told, office):
    sheet = office.open("/audit?word=matches")
    assert sheet.status == 422
    assert sheet.errors == ["'matches' is not listed. Pick one of the list."]


def test_the_file_holds_the_batches_of_this_view_and_no_others(told, office):
    sheet = office.open("/audit?lot=B-1&booth=Booth+1")
    answer = office.client.get(sheet.link("Save these as a CSV file"))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert answer.headers["content-type"].startswith("text/csv")
    assert [row["number"] for row in rows] == ["2", "1"]
    assert {row["lots"] for row in rows} == {"B-1"}


def test_batches_go_on_by_key_with_the_filters_kept(told, office, monkeypatch):
    from service.web.pages import audit

    monkeypatch.setattr(audit, "BATCHES", 2)
    sheet = office.open("/audit?product=Deep+basecoat")
    assert [row[0] for row in table(sheet, "Batches against their")] == ["Body 3", "Body 2"]
    after = sheet.follow("Show the next ones")
    assert [row[0] for row in table(after, "Batches against their")] == ["Body 1"]
    assert after.main.one("ul", class_="applied").text.startswith("Product: Deep basecoat")
    assert after.follow("Back to the start").address == "/audit?product=Deep+basecoat"


def test_finishes_lead_to_their_page_and_to_their_own_view(told, office):
    sheet = office.open("/audit")
    rows = table(sheet, "Each finish against its master")
    assert rows[0][0] == "Body"
    assert rows[0][2:5] == ["3", "2", "1"]
    assert sheet.follow("Body").heading == "Batch 3 of Body shows against the master"
    only = [a for a in sheet.main.all("a") if a.text.startswith("Only this")][0]
    assert office.open(only.attributes["href"]).address == f"/audit?finish_id={told.hand.finish}"


def test_jobs_beyond_those_looked_into_are_counted_all_the_same(shop, manager, monkeypatch):
    from service.web.pages import audit

    monkeypatch.setattr(audit, "JOBS_LOOKED_INTO", 1)
    shop.story()
    shop.told = Told()
    shop.story()
    sheet = manager.open("/audit")
    assert sheet.heading == "Two joints on two open jobs would show"
    assert len(sheet.main.all("div", class_="audit-job")) == 1
    assert "One more open job wants a look" in sheet.main.text
    monkeypatch.setattr(audit, "OPEN_JOBS", 1)
    assert "Only the newest are looked at here: 1 open job." in manager.open("/audit").main.text


def test_only_a_manager_sees_the_audit(shop):
    shop.story()
    sheet = shop.browser(shop.painter).open("/audit")
    assert sheet.status == 403
    assert "Only a manager may see the audit" in sheet.main.text


BLUE_AGAIN = (43.5, -4.9, -22.3)


def test_a_hostile_name_is_text_and_nothing_else(shop, manager):
    shop.story()
    shop.sprayed(4, BLUE_AGAIN, lot="<script>alert(1)</script>")
    sheet = manager.open("/audit?lot=%3Cscript%3Ealert(1)%3C/script%3E")
    assert "<script" not in sheet.html
    assert "Lot: <script>alert(1)</script>" in sheet.main.text


def test_an_instrument_past_its_calibration_stands_on_the_audit(tmp_path):
    shop = AuditShop(tmp_path)
    shop.story()
    assert "looking after" not in shop.browser(shop.manager).open("/audit").main.text
    shop.instrument(name="Old sphere", calibration_due=datetime.now(UTC) - timedelta(days=40))
    sheet = shop.browser(shop.manager).open("/audit")
    assert "One instrument wants looking after" in sheet.main.text
    assert "Old sphere has been past its calibration for" in sheet.main.text
    shop.close()
