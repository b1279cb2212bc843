"""A repair, from the stored card to a trial card that blends; verdicts by the shop's limits."""

import pytest
from coloraide import Color

from service.domain.card_code import grouped
from service.domain.records.cards import Card, Zone
from service.domain.records.job import Job, Panel, Repair
from service.domain.records.measuring import Master, Reading, Verdict
from service.domain.terms import CardKind, FinishKind, JointKind, Stage, Subject, Word, ZoneState
from service.use_cases import job
from service.use_cases.cards import CardZone
from tests.web.pages.rack_shop import GREEN, YELLOWER, RackShop, codes_in

AGED = (22.9, -11.4, 5.3)
"""The green after some years: lighter and yellower; beyond the limit for an edge."""
CLOSE = (22.85, -11.4, 5.2)


@pytest.fixture
def shop(tmp_path):
    shop = RackShop(tmp_path)
    shop.story()
    yield shop
    shop.close()


def start(shop, **fields):
    sheet = shop.refinishing().open(f"/c/{shop.good.code}/repair")
    given = {"work_order": "R-100", "damage": "Stone chip", "panels": ["Left wing"], **fields}
    return sheet.send(**given)


def repair_page(shop):
    return shop.refinishing().open(f"/jobs/{shop.hand.job_id}/repair")


def delta_e(one, other):
    return Color("lab-d65", list(one)).delta_e(Color("lab-d65", list(other)), method="2000")


def test_these_colours_lie_where_the_tests_want_them():
    assert delta_e(GREEN, AGED) > 1.0 and delta_e(AGED, CLOSE) < 0.3


def test_a_repair_starts_from_a_card_with_its_finish_and_panels(shop):
    sheet = start(shop, panel_more="Mirror cap")
    assert "/car-readings/new" in sheet.address and "The repair is open." in sheet.main.text
    job_id = sheet.address.split("/")[2]
    file = shop.store.job(job_id)
    (repair,) = file.all(Repair)
    assert (repair.stored_job_id, repair.stored_finish_id) == (
        shop.stored_job,
        shop.stored_finish,
    )
    assert [p.name for p in file.all(Panel)] == ["Left wing", "Mirror cap"]
    assert grouped(shop.good.code) in file.get(Job, job_id).note


def test_the_vehicle_stands_in_the_form_already(shop):
    sheet = shop.refinishing().open(f"/c/{shop.good.code}/repair")
    assert sheet.main.one("input", name="title").attributes["value"] == "Invented van"
    assert list(sheet.choices("panels")) == ["Left wing", "Left door"]


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"panels": None}, "No panel was named"),
        ({"damage": ""}, "damage is missing"),
        ({"work_order": ""}, "work order is missing"),
    ],
)
def test_a_repair_that_says_too_little_is_refused_and_opens_nothing(shop, fields, said):
    sheet = start(shop, title="Kept", **fields)
    assert sheet.status == 422 and said in sheet.errors[0]
    assert sheet.main.one("input", name="title").attributes["value"] == "Kept"
    assert not any(s.line.repairs_job_id for s in shop.app.state.services.shop.queries.jobs().lines)


def test_a_repair_sent_twice_is_opened_once(shop):
    sheet = shop.refinishing().open(f"/c/{shop.good.code}/repair")
    given = {"work_order": "R-100", "damage": "Stone chip", "panels": ["Left wing"]}
    one, two = sheet.send(**given), sheet.send(**given)
    assert one.address == two.address
    assert len(shop.store.job(one.address.split("/")[2]).all(Panel)) == 1


def test_the_car_is_read_under_the_conditions_of_its_card(shop):
    shop.instrument(name="Sphere one")
    sheet = start(shop)
    fields = sheet.fields()
    assert fields["reading.illuminant"] == ["D65"] and fields["reading.observer"] == ["10"]
    assert fields["reading.geometry"] == ["d:8"] and fields["reading.specular"] == ["included"]
    # Two cards have the wing's coats; the one sprayed last stands for it.
    assert grouped(shop.spare.code) in sheet.main.text
    assert "reading.stage" not in fields, "how far the car's paint was finished is never guessed"


def typed(lab, repeats=3, key="only"):
    return {
        f"lab__{key}__{n}__{axis}": f"{value + (0.02, -0.02, 0.01)[n]:.2f}".replace(".", ",")
        for n in range(repeats)
        for axis, value in zip("Lab", lab, strict=True)
    }


def test_a_reading_of_the_car_is_judged_and_says_what_to_do(shop):
    sphere = shop.instrument()
    form = start(shop)
    sheet = form.send(reading__stage="baked", reading__instrument_id=sphere, **typed(AGED))
    job_id = sheet.address.split("/")[2]
    assert "The reading is on record" in sheet.main.text
    assert sheet.heading.startswith("Tint the stored formula, ")
    assert "yellower" in sheet.heading
    file = shop.store.job(job_id)
    (reading,) = file.all(Reading)
    assert reading.panel_id == file.all(Panel)[0].root and len(reading.angles[0].repeats) == 3
    (verdict,) = file.by(Verdict, "subject", Subject.CAR)
    assert verdict.word is Word.SHOWS and verdict.sentence in sheet.main.text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({}, "No colour was typed"),
        ({"lab__only__1__L": "22"}, "a* of reading 2 is missing"),
        ({"lab__only__0__L": "dark"}, "'dark' is no number"),
        ({**typed(AGED), "reading__stage": None}, "stage is missing"),
        ({**typed(AGED), "reading__panel_id": "elsewhere"}, "No panel was picked"),
        ({**typed((180, 0, 0))}, "L* cannot be 180"),
    ],
    ids=["nothing", "half", "word", "stage", "panel", "beyond"],
)
def test_a_reading_that_says_too_little_is_refused_and_kept(shop, fields, said):
    form = start(shop)
    sheet = form.send(**{"reading__stage": "baked", **fields})
    assert sheet.status == 422 and any(said in error for error in sheet.errors), sheet.errors
    kept = [name for name in fields if name.startswith("lab") and fields[name]]
    for name in kept:
        field = sheet.main.one("input", name=name.replace("__", "."))
        assert field.attributes["value"] == fields[name]
    assert shop.store.job(form.address.split("/")[2]).all(Reading) == []


def test_before_a_reading_the_page_asks_for_one(shop):
    shop.repair()
    sheet = repair_page(shop)
    assert sheet.heading == "Read the car near the damage first"
    assert sheet.link("Read the car") == f"/jobs/{shop.hand.job_id}/car-readings/new"


def test_a_car_that_still_matches_leads_to_a_trial_of_the_stored_mix(shop):
    shop.repair()
    shop.read_car(GREEN)
    sheet = repair_page(shop)
    assert sheet.heading == "Mix the stored formula and prove it on a trial card"
    assert "it stands for Left wing" in sheet.main.text
    assert "Deep fir base" in sheet.main.text and "B-77" in sheet.main.text
    assert sheet.link("Mix a trial batch") == f"/jobs/{shop.hand.job_id}/batches/new"


def test_a_panel_is_held_against_the_card_of_its_own_batch(shop):
    shop.repair("Left door")
    shop.read_car(YELLOWER)
    sheet = repair_page(shop)
    # The door was sprayed from the second and then the third batch; the top one hides.
    assert grouped(shop.bad.code) in sheet.main.text
    assert sheet.heading == "Mix the stored formula and prove it on a trial card"


def test_trial_cards_are_held_against_the_car_until_one_blends(shop):
    shop.repair()
    shop.read_car(AGED)
    one = shop.hung(GREEN, "C-01", kind=CardKind.TRIAL)
    sheet = repair_page(shop)
    assert sheet.heading.startswith("Tint batch 1 again, ")
    assert "it would show against the car" in sheet.heading
    assert sheet.link("Mix a trial batch")
    two = shop.hung(CLOSE, "C-02", kind=CardKind.TRIAL)
    sheet = repair_page(shop)
    assert sheet.heading == "Spray edge to edge: batch 2 blends with the car"
    items = sheet.main.all("ol", class_="laid")[0].all("li")
    assert [grouped(h.code) in item.text for h, item in zip((one, two), items, strict=True)]
    assert "Shows" in items[0].text and "Blends" in items[1].text
    assert f"{delta_e(GREEN, AGED):.2f}" in items[0].text
    assert sheet.link("Approve the trial card as the repair’s master") == f"/c/{two.code}/master"


def test_the_pot_for_the_car_follows_the_card_that_proved_it(shop):
    shop.repair()
    shop.read_car(AGED)
    trial = shop.hung(CLOSE, "C-01", kind=CardKind.TRIAL)
    shop.refinishing().open(f"/c/{trial.code}/master").send()
    assert shop.hand.file.all(Master)[-1].card_id == trial.card
    sheet = repair_page(shop)
    assert "Approve the trial card" not in sheet.main.text
    assert f"like={trial.batch}" in sheet.link("Mix the pot for the car like it")


def test_a_fade_is_advised_by_the_shops_own_limit_alone(tmp_path):
    shop = RackShop(tmp_path)
    limits = job.Limits(limit_fade=2.4, limit_origin="of this test")
    shop.story(limits=limits)
    shop.repair()
    shop.read_car(AGED)
    shop.hung(GREEN, "C-01", kind=CardKind.TRIAL)
    sheet = repair_page(shop)
    assert sheet.heading == "Blend batch 1 out into the left door; do not stop at an edge"
    assert "2.40" in sheet.main.text
    shop.close()


def test_a_batch_without_a_card_or_a_reading_is_pointed_at(shop):
    shop.repair()
    shop.read_car(AGED)
    batch = shop.hand.batch()
    assert "Spray a trial card of batch 1" in repair_page(shop).main.text
    shop.hand.card(batch)
    assert "Read the card of batch 1" in repair_page(shop).main.text


def test_the_nearest_stored_cards_leave_out_the_repairs_own(shop):
    shop.repair()
    shop.read_car(AGED)
    trial = shop.hung(CLOSE, "C-01")
    codes = codes_in(repair_page(shop))
    assert trial.code not in codes
    assert set(codes) == {h.code for h in (shop.master, shop.spare, shop.good, shop.bad)}


def test_readings_after_the_spraying_are_told_apart(shop):
    shop.repair()
    shop.read_car(AGED)
    batch = shop.hand.batch()
    shop.hand.spray(batch, panel_ids=(shop.damaged,))
    shop.read_car(CLOSE)
    sheet = repair_page(shop)
    assert "After it was sprayed" in sheet.main.text
    assert sheet.heading.startswith("Tint the stored formula")


def test_each_panel_that_was_read_can_be_looked_at(shop):
    shop.repair()
    first = shop.damaged
    shop.read_car(AGED)
    shop.damaged = shop.hand.panel("Left door")
    shop.read_car(GREEN)
    sheet = repair_page(shop)
    assert "read on the Left door" in sheet.main.text
    other = sheet.follow("Left wing")
    assert f"panel={first}" in other.address and "read on the Left wing" in other.main.text


def test_unlike_conditions_are_named_with_their_remedy(shop):
    shop.repair()
    shop.read_car(AGED, illuminant="A")
    sheet = repair_page(shop)
    assert sheet.heading == "Read the car as its card was read"
    assert "under D65" in sheet.main.text and "under A" in sheet.main.text


def test_an_effect_finish_is_told_angle_by_angle(tmp_path):
    shop = RackShop(tmp_path)
    shop.hand.open(FinishKind.METALLIC)
    wing = shop.wing = shop.hand.panel("Left wing")
    door = shop.hand.panel("Left door")
    shop.hand.on_job(job.AddJoint, kind=JointKind.GAP, panel_a=wing, panel_b=door)
    silver = {15: (100.0, 0.0, 1.0), 45: (60.0, 0.0, 1.0), 110: (30.0, 0.0, 1.0)}
    stored = shop.hung(silver, "M-1", panel=wing)
    shop.hand.master(stored.card, stored.reading)
    shop.stored_job, shop.stored_finish = shop.hand.job_id, shop.hand.finish
    shop.repair()
    sphere = shop.instrument()
    form = shop.refinishing().open(f"/jobs/{shop.hand.job_id}/car-readings/new")
    assert form.heading == "Read the car near the damage, at 15°, 45°, 110°"
    sent = {}
    for angle, lab in silver.items():
        yellower = (*lab[:2], lab[2] + 2.0 * (angle == 110))
        sent |= typed(yellower, key=str(angle))
    sheet = form.send(reading__stage="baked", reading__instrument_id=sphere, **sent)
    assert sheet.heading.startswith("Tint the stored formula, yellower")
    rows = [r.text for r in sheet.main.all("tr") if "°" in r.text]
    assert any(r.startswith("110° the car yellower") and "+2.00" in r for r in rows)
    assert any(r.startswith("15° no direction stands out") for r in rows)
    shop.close()


def test_a_job_that_repairs_nothing_says_how_to_start_one(shop):
    sheet = shop.refinishing().open(f"/jobs/{shop.stored_job}/repair")
    assert sheet.status == 409 and "start the repair from it" in sheet.main.text


def test_a_car_can_be_read_on_any_job(shop):
    form = shop.refinishing().open(f"/jobs/{shop.stored_job}/car-readings/new")
    sheet = form.send(reading__panel_id=shop.wing, reading__stage=Stage.BAKED.value, **typed(GREEN))
    assert sheet.address.startswith(f"/jobs/{shop.stored_job}")
    readings = shop.store.job(shop.stored_job).by(Reading, "panel_id", shop.wing)
    assert len(readings) == 1


def test_the_stored_card_is_still_in_its_own_job(shop):
    shop.repair()
    shop.read_car(GREEN)
    before = len(shop.store.job(shop.stored_job).all(Card))
    repair_page(shop)
    assert len(shop.store.job(shop.stored_job).all(Card)) == before


def test_the_car_is_laid_along_the_steps_of_a_let_down_card(tmp_path):
    shop = RackShop(tmp_path)
    shop.story()
    shop.repair()
    hand = shop.hand
    batch = hand.batch()
    zones = tuple(
        CardZone(name=f"step {step}", state=ZoneState.LET_DOWN_STEP, cleared=True, mid_coats=step)
        for step in range(4)
    )
    card = hand.card(batch, kind=CardKind.TRIAL, zones=zones)
    for zone in hand.file.by(Zone, "card_id", card):
        step = zone.mid_coats or 0
        hand.read(card, (20.0 + step, -11.4, 4.0 + 0.5 * step), zone_id=zone.root)
    shop.read_car((21.5, -11.4, 4.75))
    said = repair_page(shop).main.text
    assert "The car lies between steps 1 and 2: 1.5 mid-coats, 90 % range" in said
    assert "Check the ground coat first" in said
    assert "0.00 is left, limit 0.80" in said
    shop.close()
