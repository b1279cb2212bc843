"""Correcting a record: old and new side by side, a reason, and the history of every change."""

import pytest

from service.domain.records.cards import Card
from service.domain.records.job import Finish, Joint, Panel
from service.domain.records.measuring import AngleReading, Reading
from service.domain.records.shop import Person, Product
from service.domain.records.spraying import Batch, Coat, Component
from service.domain.terms import FinishingKind, ZoneState
from service.use_cases import cards, check_tiles, job, spraying
from service.use_cases.correcting import JOB_KINDS, SHOP_KINDS
from tests.web.pages.audit_shop import AuditShop, table
from tests.web_shop import new_id


@pytest.fixture
def shop(tmp_path):
    made = AuditShop(tmp_path)
    made.story()
    yield made
    made.close()


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    made = AuditShop(tmp_path_factory.mktemp("correct"))
    made.story()
    made.product()
    instrument = made.instrument()
    hand, card = made.hand, made.told.cards[1]
    hand.do(
        check_tiles.LogTileReading,
        tile_id=hand.do(check_tiles.RegisterCheckTile, name="Grey tile"),
        instrument_id=instrument,
        illuminant="D65",
        observer=10,
        angles=(AngleReading(repeats=((56.0, 0.0, 0.0),)),),
    )
    hand.on_job(job.AddArea, panel_id=made.told.panels["Wing"], name="Upper half")
    hand.on_job(
        cards.AddZone,
        card_id=card,
        zone=cards.CardZone(name="bare", state=ZoneState.BARE_BASE, cleared=False),
    )
    hand.on_job(spraying.FinishSurface, kind=FinishingKind.CUT, grit=2000, card_ids=(card,))
    yield made
    made.close()


@pytest.fixture
def painter(shop):
    return shop.browser()


def address(shop, record):
    return f"/jobs/{shop.hand.job_id}/correct/{record.table}/{record.root}"


def newest(shop, kind, id=None):
    found = shop.hand.file.all(kind)
    return shop.hand.file.get(kind, id) if id else found[-1]


@pytest.mark.parametrize("name", sorted(JOB_KINDS))
def test_every_kind_of_record_has_a_form_with_what_stands_now(told, name):
    records = told.hand.file.all(JOB_KINDS[name])
    sheet = told.browser().open(address(told, records[-1]))
    assert sheet.status == 200
    assert sheet.heading.startswith("Correct ")
    assert sheet.main.all("p", class_="correction-was")
    # Sent as it stands it changes nothing, for every field of every kind.
    refused = sheet.send(why="Nothing in particular")
    assert refused.errors == ["Nothing is changed yet. Change a field, or go back."]


@pytest.mark.parametrize(
    "name", ["people", "instruments", "products", "check_tiles", "tile_readings"]
)
def test_the_shops_own_records_likewise(told, name):
    record = told.store.shop().all(SHOP_KINDS[name])[-1]
    sheet = told.browser(told.manager).open(f"/shop/correct/{name}/{record.root}")
    assert sheet.status == 200
    refused = sheet.send(why="Nothing in particular")
    assert refused.errors == ["Nothing is changed yet. Change a field, or go back."]


def test_a_field_is_corrected_with_its_reason_and_the_old_stays_on_record(shop, painter):
    coat = next(c for c in shop.hand.file.all(Coat) if c.booth == "Booth 2")
    sheet = painter.open(address(shop, coat))
    done = sheet.send(booth="Booth 3", tip_mm="1,3", why="The tablet remembered the last job.")
    assert done.heading.endswith("was corrected once")
    assert "It is on record, with your name and reason." in done.main.text
    assert sorted(table(done, "What changed")) == [
        ["Booth", "Booth 2", "Booth 3"],
        ["Tip, mm", "not recorded", "1.3"],
    ]
    assert "Reason: The tablet remembered the last job." in done.main.text
    now = newest(shop, Coat, coat.root)
    assert (now.booth, now.tip_mm, now.revision, now.corrects) == ("Booth 3", 1.3, 2, coat.root)
    assert now.author_id == shop.painter


def test_only_what_was_changed_is_in_the_correction(shop, painter):
    batch = newest(shop, Batch)
    painter.open(address(shop, batch)).send(note="Thinned a little", why="Forgotten.")
    now = newest(shop, Batch, batch.root)
    assert now.note == "Thinned a little"
    assert (now.number, now.finish_id, now.observed_at) == (
        batch.number,
        batch.finish_id,
        batch.observed_at,
    )


def test_a_correction_without_a_reason_is_refused_and_keeps_what_was_typed(shop, painter):
    batch = newest(shop, Batch)
    refused = painter.open(address(shop, batch)).send(note="Thinned a little", why="")
    assert refused.status == 422
    assert refused.errors == ["The reason is missing. Say why the entry changes."]
    assert refused.main.one("textarea", name="note").text == "Thinned a little"
    assert newest(shop, Batch, batch.root).revision == 1


@pytest.mark.parametrize(
    ("field", "typed", "error"),
    [
        ("tip_mm", "wide", "'wide' is no number"),
        ("number", "2.5", "'2.5' is no whole number"),
        ("number", "", "Number cannot be empty"),
        ("tip_mm", "40", "The tip cannot be 40 mm"),
        ("observed_at", "", "When it happened cannot be empty"),
        ("role", "primer", "'primer' is unknown"),
    ],
)
def test_what_cannot_be_taken_is_named_at_its_field(shop, painter, field, typed, error):
    refused = painter.open(address(shop, newest(shop, Coat))).send(**{field: typed}, why="A slip.")
    assert refused.status == 422
    assert error in refused.errors[0]
    assert refused.main.all("a", href=f"#f-{field}")
    assert newest(shop, Coat).revision == 1


def test_a_record_may_be_moved_to_another_and_what_bears_on_it_is_judged_again(shop, painter):
    told = shop.told
    coat = next(
        c
        for c in shop.hand.file.by(Coat, "panel_id", told.panels["Bonnet"])
        if c.batch_id == told.batches[3]
    )
    sheet = painter.open(address(shop, coat))
    assert sheet.choices("batch_id")["Batch 2"] == told.batches[2]
    assert set(sheet.choices("panel_id")) == {"Not recorded", "Wing", "Door", "Bonnet"}
    done = sheet.send(batch_id=told.batches[2], why="It was the second pot.")
    assert table(done, "What changed") == [["Batch", "batch 3", "batch 2"]]
    assert newest(shop, Coat, coat.root).batch_id == told.batches[2]


def test_the_time_is_read_on_the_shops_clock(shop, painter):
    coat = newest(shop, Coat)
    sheet = painter.open(address(shop, coat))
    sheet.send(observed_at="2026-01-15T10:00", why="The clock ran fast.")
    assert newest(shop, Coat, coat.root).observed_at.isoformat() == "2026-01-15T10:00:00+00:00"
    # Lisbon is an hour ahead of UTC in July (IANA time zone database).
    again = painter.open(address(shop, coat))
    again.send(observed_at="2026-07-15T10:00", why="And in summer.")
    assert newest(shop, Coat, coat.root).observed_at.isoformat() == "2026-07-15T09:00:00+00:00"


def test_a_thing_entered_in_error_is_withdrawn_with_a_reason(shop, painter):
    component = newest(shop, Component)
    sheet = painter.open(address(shop, component))
    forms = [f for f in sheet.main.all("form") if f.attributes.get("method") == "post"]
    withdraw = {
        e.attributes["name"]: [e.attributes.get("value", "")] for e in forms[1].all("input")
    }
    refused = painter.post(forms[1].attributes["action"], {**withdraw, "why_withdrawn": [""]})
    assert refused.errors == ["The reason is missing. Say why the entry changes."]
    done = painter.post(
        forms[1].attributes["action"], {**withdraw, "why_withdrawn": ["It is of another pot."]}
    )
    assert done.heading.endswith("was withdrawn")
    assert "Reason: It is of another pot." in done.main.text
    assert shop.hand.file.find(Component, component.root) is None
    gone = painter.open(address(shop, component))
    assert gone.status == 404


def test_a_job_cannot_be_withdrawn(told):
    job = told.hand.job_id
    sheet = told.browser().open(f"/jobs/{job}/correct/jobs/{job}")
    assert not sheet.main.all("input", name="withdraw")


def test_sent_twice_it_is_corrected_once(shop, painter):
    batch = newest(shop, Batch)
    sheet = painter.open(address(shop, batch))
    sheet.send(note="Thinned a little", why="Forgotten.")
    again = sheet.send(note="Thinned a little", why="Forgotten.")
    assert again.heading.endswith("was corrected once")
    assert newest(shop, Batch, batch.root).revision == 2


def test_the_history_goes_back_to_the_first_entry(shop, painter):
    batch = newest(shop, Batch)
    for note in ("One", "Two", "Three"):
        painter.open(address(shop, batch)).send(note=note, why=f"Reason {note}")
    sheet = painter.open(f"/jobs/{shop.hand.job_id}/history/batches/{batch.root}")
    assert sheet.heading == f"Batch {batch.number} was corrected 3 times"
    said = [p.text for p in sheet.main.all("p", class_="journal-what")]
    assert said == ["Pat corrected it"] * 3 + ["Pat entered it"]
    untouched = painter.open(f"/jobs/{shop.hand.job_id}/history/panels/{newest(shop, Panel).root}")
    assert untouched.heading == "Bonnet stands as it was entered"


def test_codes_and_figures_that_were_read_are_not_open_to_correction(told):
    painter = told.browser()
    card = painter.open(address(told, newest(told, Card)))
    assert not card.main.all("input", name="code")
    reading = painter.open(address(told, newest(told, Reading)))
    assert not [e for e in reading.main.all("input") if e.attributes["name"].startswith("angles")]
    sent = reading.send(angles="0", why="To see.")
    assert sent.errors == ["Nothing is changed yet. Change a field, or go back."]


@pytest.mark.parametrize("name", ["verdicts", "masters", "nonsense"])
def test_what_cannot_be_corrected_is_refused_in_words(told, name):
    sheet = told.browser().open(f"/jobs/{told.hand.job_id}/correct/{name}/{told.hand.job_id}")
    assert sheet.status == 404
    assert "There is no record that can be corrected" in sheet.main.text


def test_only_a_manager_corrects_the_shops_book(told):
    person = told.store.shop().all(Person)[0]
    sheet = told.browser().open(f"/shop/correct/people/{person.root}")
    assert sheet.status == 403
    assert "Only a manager may correct the shop's book" in sheet.main.text


def test_roles_and_ratios_are_corrected_as_sets(shop):
    office = shop.browser(shop.manager)
    sheet = office.open(f"/shop/correct/people/{shop.painter}")
    done = sheet.send(roles=["painter", "refinisher"], why="She finds cards too now.")
    assert table(done, "What changed") == [["Roles", "Painter", "Painter, Refinisher"]]
    product = shop.product()
    sheet = office.open(f"/shop/correct/products/{product}")
    done = sheet.send(mix_ratio__reducer="1.5", why="The new sheet.")
    assert table(done, "What changed") == [
        ["Mix ratio by volume", "base 2, reducer 1", "base 2, reducer 1.5"]
    ]
    kept = shop.store.shop().get(Product, product)
    assert [(role.value, parts) for role, parts in kept.mix_ratio] == [
        ("base", 2.0),
        ("reducer", 1.5),
    ]


def test_the_last_manager_stays_one(shop):
    office = shop.browser(shop.manager)
    refused = office.open(f"/shop/correct/people/{shop.manager}").send(
        roles=["painter"], why="Wants to spray."
    )
    assert refused.status == 422
    assert refused.errors == ["This is the only manager. Make somebody else a manager first."]


def test_a_joint_keeps_two_sides(shop, painter):
    joint = newest(shop, Joint)
    refused = painter.open(address(shop, joint)).send(panel_b=joint.panel_a, why="A slip.")
    assert refused.status == 422
    assert "Both sides of the joint are the same place" in refused.errors[0]


def test_every_entry_of_a_job_is_reached_from_the_job(told):
    browser, file = told.browser(), told.hand.file
    start = f"/jobs/{told.hand.job_id}/correct/jobs/{told.hand.job_id}"
    waiting, seen = [start], set()
    while waiting:
        at = waiting.pop()
        if at in seen:
            continue
        seen.add(at)
        for item in browser.open(at).main.all("ul", class_="belonging"):
            waiting += [a.attributes["href"] for a in item.all("a")]
    there = {
        f"/jobs/{told.hand.job_id}/correct/{name}/{record.root}"
        for name, kind in JOB_KINDS.items()
        for record in file.all(kind)
    }
    assert seen == there


@pytest.mark.parametrize(
    ("kind", "id_of", "still"),
    [
        (Finish, lambda shop: shop.hand.finish, "This finish still has 3 panels and 3 batches."),
        (
            Panel,
            lambda shop: shop.told.panels["Wing"],
            "This panel still has 2 joints and 3 coats.",
        ),
        (Batch, lambda shop: shop.told.batches[3], "This batch still has 6 coats and 1 card."),
    ],
)
def test_what_others_stand_on_is_not_withdrawn_from_under_them(shop, painter, kind, id_of, still):
    record = newest(shop, kind, id_of(shop))
    withdrawal = {"id": [new_id()], "withdraw": ["yes"], "why_withdrawn": ["A slip."]}
    refused = painter.post(address(shop, record), withdrawal)
    assert refused.status == 409
    assert refused.errors == [f"{still} Withdraw or correct those first, then this."]
    assert shop.hand.file.find(kind, record.root) is not None


def test_a_pot_entered_in_error_can_be_withdrawn_once_nothing_stands_on_it(shop, painter):
    batch = shop.hand.batch(number=9)
    withdrawal = {"id": [new_id()], "withdraw": ["yes"], "why_withdrawn": ["Never mixed."]}
    done = painter.post(address(shop, newest(shop, Batch, batch)), withdrawal)
    assert done.heading == "Batch 9 was withdrawn"
    assert painter.open(f"/jobs/{shop.hand.job_id}").status == 200
