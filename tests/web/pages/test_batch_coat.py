"""Coats over several things at once, in the units at hand, and the joint inside a panel."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from service.domain.records.job import Area, Joint
from service.domain.records.spraying import Coat
from service.domain.terms import JointKind
from tests.web.pages.bench_shop import COMPONENTS, BenchShop


@pytest.fixture
def shop(tmp_path):
    made = BenchShop(tmp_path)
    yield made
    made.close()


def coats_page(shop, batch):
    return shop.browser().open(shop.at(f"/batches/{batch}/coats/new"))


def test_one_coat_goes_over_panels_and_cards_at_once(shop):
    shop.job()
    batch = shop.hand.batch(components=COMPONENTS)
    card = shop.hand.card(batch, coats=0)
    page = coats_page(shop, batch)
    page = page.send(
        panel_ids=[shop.wing, shop.door],
        card_ids=[card],
        set_up__gun="Gun 3",
        set_up__tip_mm="1,3",
        set_up__pressure_bar="29",
        set_up__pressure_bar__unit="psi",
        set_up__distance_mm="150",
        set_up__booth="Booth 2",
        set_up__booth_temperature_c="70",
        set_up__booth_temperature_c__unit="F",
        set_up__booth_humidity_percent="48",
        set_up__flash_minutes="8",
        set_up__hides="yes",
    )
    assert "The coat is on record." in page.main.text
    coats = shop.file.all(Coat)
    assert {c.panel_id or c.card_id for c in coats} == {shop.wing, shop.door, card}
    assert {c.number for c in coats} == {1}
    one = coats[0]
    # 29 psi and 70 °F by the factors of NIST SP 811.
    assert one.pressure_bar == pytest.approx(29 * 0.06894757, abs=1e-6)
    assert one.booth_temperature_c == pytest.approx(21.11111, abs=1e-5)
    assert (one.gun, one.tip_mm, one.flash_minutes, one.hides) == ("Gun 3", 1.3, 8.0, True)
    # On the page both units are said, so that nobody has to remember which was typed.
    assert "2 bar (29 psi)" in page.main.text and "21.1 °C (70 °F)" in page.main.text


def test_the_next_coat_starts_as_the_last_went_and_counts_on(shop):
    shop.job()
    batch = shop.hand.batch(components=COMPONENTS)
    page = coats_page(shop, batch)
    page.send(panel_ids=[shop.wing, shop.door], set_up__gun="Gun 3", set_up__hides="no")
    page = coats_page(shop, batch)
    assert page.fields()["panel_ids"] == [shop.wing, shop.door]
    assert page.fields()["set_up.gun"] == ["Gun 3"]
    assert page.fields()["set_up.hides"] == [""]
    assert "1 base coat so far" in page.main.text
    page.send()
    assert [c.number for c in shop.file.by(Coat, "panel_id", shop.door)] == [1, 2]


def test_a_card_that_came_with_its_coats_is_not_ticked_for_the_next(shop):
    shop.job()
    batch = shop.hand.batch(components=COMPONENTS)
    shop.hand.card(batch, coats=3)
    assert "card_ids" not in coats_page(shop, batch).fields()


def test_one_coat_from_two_pots_makes_a_joint_inside_the_panel(shop):
    shop.job()
    page = shop.browser().open(shop.at("/areas/new"))
    page = page.send(panel_id=shop.door, areas=["Front half", "Rear half"])
    front, rear = shop.file.by(Area, "panel_id", shop.door)
    first, refill = shop.hand.batch(), shop.hand.batch()
    coats_page(shop, first).send(area_ids=[front.root])
    page = coats_page(shop, refill)
    assert page.choices("area_ids")["Left door, Rear half"] == rear.root
    page.send(area_ids=[rear.root])
    within = [j for j in shop.file.all(Joint) if j.kind is JointKind.WITHIN]
    assert [{j.area_a, j.area_b} for j in within] == [{front.root, rear.root}]
    assert (
        "Left door, Front half to Left door, Rear half" in shop.browser().open(shop.at()).main.text
    )


def test_a_coat_that_went_nowhere_is_refused_and_kept_on_the_page(shop):
    shop.job()
    batch = shop.hand.batch()
    page = coats_page(shop, batch).send(set_up__gun="Gun 9", set_up__pressure_bar="x")
    assert page.status == 422
    assert page.errors == ["'x' is no number. Enter one, like 12.5 or 12,5."]
    page = page.send(set_up__pressure_bar="2")
    assert page.errors == ["The coat went nowhere. Name a panel, an area or a card."]
    assert page.fields()["set_up.gun"] == ["Gun 9"]


def test_a_figure_out_of_range_is_refused_at_its_field(shop):
    shop.job()
    batch = shop.hand.batch()
    page = coats_page(shop, batch).send(panel_ids=[shop.wing], set_up__booth_humidity_percent="140")
    assert page.errors == ["The humidity cannot be 140 %. Enter a value from 0 to 100 %."]
    field = page.main.one("input", id="f-set_up.booth_humidity_percent")
    assert field.attributes["aria-invalid"] == "true"
    assert shop.file.all(Coat) == []


def test_a_coat_sprayed_earlier_is_kept_by_the_shops_clock(shop):
    shop.job()
    batch = shop.hand.batch()
    # 09:30 in Lisbon is 08:30 UTC in summer.
    coats_page(shop, batch).send(panel_ids=[shop.wing], observed_at="2026-07-01T09:30")
    assert shop.file.all(Coat)[0].observed_at.isoformat() == "2026-07-01T08:30:00+00:00"


def test_the_flash_of_the_last_coat_runs_on_the_batch_page(shop):
    shop.job()
    batch = shop.hand.batch()
    page = coats_page(shop, batch).send(panel_ids=[shop.wing], set_up__flash_minutes="60")
    ends = shop.file.all(Coat)[0].observed_at + timedelta(minutes=60)
    clock = ends.astimezone(ZoneInfo("Europe/Lisbon")).strftime("%H:%M")
    assert f"The last coat flashes until {clock}." in page.main.text
    coats_page(shop, batch).send(set_up__flash_minutes="0")
    page = shop.browser().open(shop.at(f"/batches/{batch}"))
    assert "flashes until" not in page.main.text
